"""What a site file says of money beside the rate: prices, incentives, a loan, a discount rate."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

import numpy as np
from pydantic import Field, field_validator, model_validator

from profiles.loads.circuit import NotNegative
from profiles.noun import BadInput, Noun


class Incentive(Noun):
    """Money that somebody else pays, in a year."""

    name: str = Field(description="who pays, and under which programme; confirm it and its last date")
    amount: NotNegative | None = Field(None, description="what it pays [currency]")
    frac: Annotated[float, Field(gt=0, le=1)] | None = Field(
        None, description="share of the installed price that it pays, instead of amount [0 to 1]"
    )
    at_most: NotNegative | None = Field(None, description="most that a share pays [currency]")
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

    @model_validator(mode="after")
    def _amount_or_share(self) -> Incentive:
        if (self.amount is None) == (self.frac is None):
            raise BadInput("needs one of amount and frac", way_out="write amount = 800.0, or frac = 0.3 of the price")
        if self.at_most is not None and self.frac is None:
            raise BadInput(
                "limits a share", key="at_most", value=self.at_most, way_out="give frac, or amount alone without it"
            )
        return self

    def pays(self, price):
        """What it pays on an installed price, one number or an array of them. [currency]

        Examples
        --------
        >>> Incentive(name="credit", frac=0.3, at_most=2000.0).pays(9000.0)
        2000.0
        """
        if self.frac is None:
            return self.amount
        most = float("inf") if self.at_most is None else self.at_most
        return np.minimum(self.frac * price, most) if np.ndim(price) else min(self.frac * price, most)


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


class SolarMoney(Noun):
    """What a new roof costs, and how it fades."""

    installed_price: NotNegative | None = Field(None, description="of the roof and its inverter [currency]")
    price_per_kw: NotNegative | None = Field(
        None, description="the same per kW of solar.dc_kw, instead of installed_price [currency/kW]"
    )
    fade_frac_per_year: Annotated[float, Field(ge=0, lt=1)] = Field(
        0.005,
        description="loss of output a year; default: median of Jordan and Kurtz, Progress in Photovoltaics 21 (2013) "
        "12-29 [0 to 1]",
    )
    yearly_cost: NotNegative = Field(0.0, description="upkeep, insurance of the roof [currency/year]")
    incentives: tuple[Incentive, ...] = Field((), description="rebates and credits on solar, by year; not tax advice")
    replacements: tuple[Replacement, ...] = Field((), description="inverter bought again, by year")

    @model_validator(mode="after")
    def _one_price(self) -> SolarMoney:
        if (self.installed_price is None) == (self.price_per_kw is None):
            raise BadInput("needs one of installed_price and price_per_kw", way_out="give what the roof costs")
        return self

    def price_of(self, dc_kw: float | None) -> float | None:
        """Installed price of a roof of so many kW; None where its kW are not known. [currency]

        Examples
        --------
        >>> SolarMoney(price_per_kw=2500.0).price_of(4.0)
        10000.0
        """
        if self.installed_price is not None:
            return self.installed_price
        return None if dc_kw is None else self.price_per_kw * dc_kw


class Money(Noun):
    """What turns a bill saving into a cash flow."""

    years: Annotated[int, Field(ge=1, le=50)] = Field(15, description="length of the cash flow [years]")
    discount_rate_frac: Annotated[float, Field(gt=-1)] = Field(0.05, description="discount rate a year [0 to 1]")
    price_escalation_frac: Annotated[float, Field(gt=-1)] = Field(
        0.0, description="rise of energy prices a year, from the second year on [0 to 1]"
    )
    other_installed_price: NotNegative = Field(0.0, description="panel, labour, permit [currency]")
    yearly_cost: NotNegative = Field(0.0, description="upkeep, insurance, subscription [currency/year]")
    yearly_cost_escalation_frac: Annotated[float, Field(gt=-1)] = Field(
        0.0, description="rise of yearly costs a year, from the second year on [0 to 1]"
    )
    incentives: tuple[Incentive, ...] = Field(
        (), description="rebates and credits on the battery and its installation, by year; not tax advice"
    )
    replacements: tuple[Replacement, ...] = Field((), description="equipment bought again, by year")
    loan: Loan | None = Field(None, description="part of the price that is borrowed")
    unserved_worth_per_kwh: NotNegative = Field(
        0.0, description="what a kWh served in an outage is worth to the client; printed apart [currency/kWh]"
    )
    solar: SolarMoney | None = Field(None, description="price, fade and incentives of a roof that is new")

    @model_validator(mode="after")
    def _within_years(self) -> Money:
        for key, dated in self._dated():
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

    def _dated(self):
        """What is paid in a year, by the key that holds it."""
        yield from (("incentives", self.incentives), ("replacements", self.replacements))
        if self.solar is not None:
            yield from (("solar.incentives", self.solar.incentives), ("solar.replacements", self.solar.replacements))
