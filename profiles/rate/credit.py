"""Credits on a bill: a fixed amount or a share of it, in some months or on some dates."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator, model_validator

from profiles.noun import BadInput, Noun
from profiles.rate.charges import TAXED, Fraction, Month, NotNegative, iso_day


class Credit(Noun):
    """What is taken off a bill before or beside its taxes."""

    name: str = Field(description="name of the credit")
    per_month: NotNegative | None = Field(
        None, description="taken off each month that it is on; a billing cycle in proportion [currency/month]"
    )
    amount: NotNegative | None = Field(
        None, description="taken off once for each of its dates, in the bill that holds the date [currency]"
    )
    frac: Fraction | None = Field(None, description="share of the lines named by on, instead of an amount [0 to 1]")
    on: tuple[TAXED, ...] | None = Field(None, description="kinds of line that frac is of; omitted: the month's total")
    months: tuple[Month, ...] | None = Field(None, min_length=1, description="months that it is on; omitted: all")
    dates: tuple[str, ...] = Field((), description="dates of amount, ISO")
    taxed: bool = Field(False, description="true: taxes are on what is left; false: on the bill without it")
    beyond_bill: Literal["pay", "carry", "lose"] | None = Field(
        None,
        description="what becomes of a credit that exceeds the bill: paid out, carried to the next bills or lost; "
        "omitted: refused where it happens",
    )

    @field_validator("dates")
    @classmethod
    def _are_days(cls, dates: tuple[str, ...]) -> tuple[str, ...]:
        for text in dates:
            iso_day(text)
        return dates

    @model_validator(mode="after")
    def _one_kind(self) -> Credit:
        given = [key for key in ("per_month", "amount", "frac") if getattr(self, key) is not None]
        if len(given) != 1:
            raise BadInput(
                f"has {' and '.join(given) or 'no amount'}",
                key=f'credit "{self.name}"',
                way_out="give one of per_month, amount and frac",
            )
        if (self.amount is not None) != bool(self.dates):
            raise BadInput(
                "goes with amount",
                key="dates",
                value=self.dates,
                way_out='write amount = 60.0, dates = ["2025-04-15"]',
            )
        if self.on is not None and self.frac is None:
            raise BadInput("is what a share is of", key="on", value=self.on, way_out="give frac")
        return self
