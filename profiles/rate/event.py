"""Event days: dates that the utility names, with a price of their own or a rebate for what is not used."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator, model_validator

from profiles.hours import window_minutes
from profiles.noun import BadInput, Noun
from profiles.rate.charges import NotNegative, Signed, iso_day


class Event(Noun):
    """Dates with a price of their own in some hours, or with a rebate."""

    name: str = Field("event", description="name of the event")
    dates: tuple[str, ...] = Field(min_length=1, description="dates, ISO")
    hours: str = Field("00:00-24:00", description='windows of the local day such as "16:00-21:00"')
    price_per_kwh: NotNegative | None = Field(None, description="price of a bought kWh in these hours [currency/kWh]")
    adder_per_kwh: Signed | None = Field(
        None, description="added to the price that the period has, instead of price_per_kwh [currency/kWh]"
    )
    credit_per_kwh: NotNegative | None = Field(
        None, description="what net billing pays in these hours; else as on other days [currency/kWh]"
    )
    rebate_per_kwh: NotNegative | None = Field(
        None, description="paid for each kWh bought less than on like days before [currency/kWh]"
    )
    rebate_days: Annotated[int, Field(ge=1, le=30)] = Field(
        10, description="weekdays before that are no holidays and no events, whose same hours are looked at [d]"
    )
    rebate_best: Annotated[int, Field(ge=1, le=30)] | None = Field(
        None, description="of these the days with the highest use, whose mean is the baseline; omitted: all [d]"
    )

    @field_validator("dates")
    @classmethod
    def _are_days(cls, dates: tuple[str, ...]) -> tuple[str, ...]:
        for text in dates:
            iso_day(text)
        if len(set(dates)) < len(dates):
            raise BadInput("must each be there once", value=dates, way_out="strike out the second")
        return dates

    @field_validator("hours")
    @classmethod
    def _known_hours(cls, hours: str) -> str:
        window_minutes(hours, key="")
        return hours

    @model_validator(mode="after")
    def _has_an_effect(self) -> Event:
        if self.price_per_kwh is not None and self.adder_per_kwh is not None:
            raise BadInput(
                "stands beside price_per_kwh",
                key="adder_per_kwh",
                value=self.adder_per_kwh,
                way_out="give one of the two",
            )
        given = (self.price_per_kwh, self.adder_per_kwh, self.credit_per_kwh, self.rebate_per_kwh)
        if all(one is None for one in given):
            raise BadInput(
                "changes nothing", key="event", value=self.name, way_out="give a price, an adder or a rebate"
            )
        if self.rebate_best is not None and self.rebate_best > self.rebate_days:
            raise BadInput(
                f"is more than rebate_days = {self.rebate_days}",
                key="rebate_best",
                value=self.rebate_best,
                way_out="the best days are some of them",
            )
        return self

    @property
    def is_priced(self) -> bool:
        """Does it change a price, so that its kWh are counted for themselves?"""
        return any(one is not None for one in (self.price_per_kwh, self.adder_per_kwh, self.credit_per_kwh))
