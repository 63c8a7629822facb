"""Bills as the utility printed them, and the file that holds them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import ConfigDict, Field, model_validator

from profiles.files import read_toml
from profiles.noun import BadInput, Noun, read_noun

KINDS = Literal[
    "fixed", "energy", "nonbypassable", "rider", "demand", "export", "carried", "minimum", "tax", "credit", "true-up"
]


class PrintedLine(Noun):
    """A line as the utility printed it; a credit is negative."""

    name: str = Field(description="name of the line; one of our names is compared with that line")
    kind: KINDS = Field(description="what it is: fixed, energy, nonbypassable, rider, demand, export, tax ...")
    amount: float = Field(description="[currency]")


class PrintedBill(Noun):
    """A bill as the utility printed it."""

    model_config = ConfigDict(serialize_by_alias=True)

    from_: str = Field(alias="from", description="read date that begins it, ISO")
    to: str = Field(description="read date that ends it, ISO; its own day is not in it")
    kwh: Annotated[float, Field(ge=0)] | None = Field(None, description="energy bought [kWh]")
    kwh_by_period: dict[str, Annotated[float, Field(ge=0)]] | None = Field(
        None, description='energy bought by period, named as in the rate, such as "summer on-peak" [kWh]'
    )
    exported_kwh: Annotated[float, Field(ge=0)] | None = Field(None, description="energy sold [kWh]")
    amount: float = Field(description="what was charged for this bill, without arrears [currency]")
    lines: tuple[PrintedLine, ...] = Field((), description="its lines")

    @model_validator(mode="after")
    def _in_order(self) -> PrintedBill:
        for key, text in (("from", self.from_), ("to", self.to)):
            if not _is_date(text):
                raise BadInput("must be an ISO date", key=key, value=text, way_out='write "2025-01-14"')
        if not self.from_ < self.to:
            raise BadInput("must lie after from", key="to", value=self.to, way_out="give the two read dates in order")
        return self


def _is_date(text: str) -> bool:
    """Is it a day as "2025-01-14", and in no other of the standard's forms? Days are compared as texts."""
    try:
        return dt.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


class PrintedBills(Noun):
    """A file of printed bills."""

    bill: tuple[PrintedBill, ...] = Field(min_length=1, description="the bills in order of their dates")


def read_printed_bills(path: str | Path) -> tuple[PrintedBill, ...]:
    """Read a TOML file of [[bill]] tables.

    Raises
    ------
    BadInput
        No such file, a key that is wrong, bills that overlap.
    """
    try:
        data = read_toml(path)
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}", file=path, way_out="check the path") from None
    bills = read_noun(PrintedBills, _with_quoted_dates(data), file=path).bill
    for before, after in zip(bills[:-1], bills[1:], strict=True):
        if after.from_ < before.to:
            raise BadInput(
                "begins before the bill above it ends",
                file=path,
                key="bill.from",
                value=after.from_,
                way_out=f"the bill above ends on {before.to}",
            )
    return bills


def _with_quoted_dates(data: dict) -> dict:
    """The same tables; a date that TOML read as one (no quotes) is its text again."""
    tables = data.get("bill")
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        return data
    text = lambda value: value.isoformat() if type(value) is dt.date else value
    return {**data, "bill": [{key: text(value) for key, value in table.items()} for table in tables]}
