"""What a site file says of money beside the rate: prices, incentives, a loan, a discount rate."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field, field_validator, model_validator

from profiles.loads.circuit import NotNegative
from profiles.noun import BadInput, Noun


class Incentive(Noun):
    """Money that somebody else pays, in a year."""

    name: str = Field(description="who pays, and under which programme; confirm it and its last date")
    amount: NotNegative = Field(description="what it pays [currency]")
    year: Annotated[int, Field(ge=0)] = Field(0, description="year in which it is paid; 0: at installation")
    last_date: str | None = Field(
        None, description='last day on which it is granted, ISO such as "2026-12-31"; printed, never judged'
    )

    @field_validator("last_date")
    @classmethod
    def _is_a_day(cls, last_date: str | None) -> str | None:
        try:
            fits = last_date is None or dt.date.fromisoformat(last_date).isoformat() == last_date
        except ValueError:
            fits = False
        if not fits:
            raise BadInput("must be an ISO date", value=last_date, way_out='write "2026-12-31"')
        return last_date


class Replacement(Noun):
    """Equipment that is bought again."""

    name: str = Field(description="what is replaced")
    year: Annotated[int, Field(ge=1)] = Field(description="year in which it is paid")
    price: NotNegative = Field(description="price then, with labour [currency]")
    renews_capacity: bool = Field(False, description="true: the battery is as new from the next year on")


class Loan(Noun):
    """Part of the price that is borrowed, repaid in equal yearly amounts."""

    amount: NotNegative = Field(description="borrowed at installation [currency]")
    rate_frac: NotNegative = Field(description="interest a year [0 to 1]")
    years: Annotated[int, Field(ge=1)] = Field(description="yearly payments")


class Money(Noun):
    """What turns a bill saving into a cash flow."""

    years: Annotated[int, Field(ge=1, le=50)] = Field(15, description="length of the cash flow [years]")
    discount_rate_frac: Annotated[float, Field(gt=-1)] = Field(0.05, description="discount rate a year [0 to 1]")
    price_escalation_frac: Annotated[float, Field(gt=-1)] = Field(
        0.0, description="rise of energy prices a year, from the second year on [0 to 1]"
    )
    other_installed_price: NotNegative = Field(0.0, description="panel, labour, permit [currency]")
    yearly_cost: NotNegative = Field(0.0, description="upkeep, insurance, subscription [currency/year]")
    incentives: tuple[Incentive, ...] = Field((), description="rebates and credits by year; not tax advice")
    replacements: tuple[Replacement, ...] = Field((), description="equipment bought again, by year")
    loan: Loan | None = Field(None, description="part of the price that is borrowed")
    unserved_worth_per_kwh: NotNegative = Field(
        0.0, description="what a kWh served in an outage is worth to the client; printed apart [currency/kWh]"
    )

    @model_validator(mode="after")
    def _within_years(self) -> Money:
        for key, dated in (("incentives", self.incentives), ("replacements", self.replacements)):
            for one in dated:
                if one.year > self.years:
                    raise BadInput(
                        f"lies beyond years = {self.years}",
                        key=f'{key} "{one.name}".year',
                        value=one.year,
                        way_out="raise money.years or drop it",
                    )
        if self.loan is not None and self.loan.years > self.years:
            raise BadInput(
                f"lies beyond years = {self.years}",
                key="loan.years",
                value=self.loan.years,
                way_out="raise money.years, so that every payment is counted",
            )
        return self
