"""The charges that make up a rate: periods and their tiers, seasons, demand, exports, riders, taxes."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, field_validator, model_validator

from profiles.hours import window_minutes
from profiles.noun import BadInput, Noun

MOST = 1e6
"""Beyond any price, charge or credit of a residential rate."""
NotNegative = Annotated[float, Field(ge=0, le=MOST)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Month = Annotated[int, Field(ge=1, le=12)]
Signed = Annotated[float, Field(ge=-MOST, le=MOST)]
TwelveNotNegative = Annotated[tuple[NotNegative, ...], Field(min_length=12, max_length=12)]
Twelve = Annotated[tuple[Signed, ...], Field(min_length=12, max_length=12)]
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
TAXED = Literal["fixed", "energy", "nonbypassable", "rider", "demand", "export", "minimum", "credit"]


def day_names(days: str) -> tuple[str, ...]:
    """The names in a list such as "mon, tue, sat"."""
    return tuple(part.strip().lower() for part in days.split(","))


def known_days(days: str) -> str:
    """A kind of day or names of days, as they are written."""
    if days not in ("all", "weekday", "weekend") and not set(day_names(days)) <= set(WEEKDAYS):
        raise BadInput("must be kinds or names of days", value=days, way_out='write "weekday" or "mon, tue, sat"')
    return days


class Window(Noun):
    """Days and hours of the local wall clock in which something holds."""

    days: str = Field(
        "all",
        description='"all", "weekday", "weekend" or names such as "mon, tue, sat"; '
        "a holiday of the rate counts as weekend and, by name, as sun",
    )
    hours: str = Field("00:00-24:00", description='windows of the local day such as "06:00-10:00, 17:00-21:00"')

    _known_days = field_validator("days")(known_days)

    @field_validator("hours")
    @classmethod
    def _known_hours(cls, hours: str) -> str:
        window_minutes(hours, key="")
        return hours


class Tier(Noun):
    """A block of a month's energy at one price."""

    up_to: float | None = Field(None, gt=0, description="upper end, cumulative [rate.tier_unit]; the last has none")
    price_per_kwh: NotNegative = Field(description="price of the kWh in this tier [currency/kWh]")


class Period(Window):
    """A time-of-use period: the first of its season that matches a step gives the price."""

    name: str = Field(description='name such as "on-peak"')
    price_per_kwh: NotNegative | None = Field(None, description="price of a bought kWh [currency/kWh]")
    tiers: tuple[Tier, ...] | None = Field(None, description="prices by amount, instead of one price")
    credit_per_kwh: NotNegative | None = Field(
        None, description="what net billing pays for an exported kWh in this period [currency/kWh]; else rate.export's"
    )

    @model_validator(mode="after")
    def _one_price(self) -> Period:
        if (self.price_per_kwh is None) == (self.tiers is None):
            raise BadInput("needs one of price_per_kwh and tiers", way_out="give the price of a kWh [currency/kWh]")
        check_tiers(self.tiers, "up_to")
        return self


class Season(Noun):
    """Months, or dates, that share a set of periods."""

    model_config = ConfigDict(serialize_by_alias=True)

    name: str = Field(description='name such as "summer"')
    months: tuple[Month, ...] | None = Field(None, min_length=1, description="months of the season, 1 to 12")
    from_: str | None = Field(None, alias="from", description='first day "MM-DD", instead of months')
    to: str | None = Field(None, description='last day "MM-DD", included; may lie before "from", over New Year')
    periods: tuple[Period, ...] = Field(min_length=1, description="time-of-use periods, first match wins")

    @model_validator(mode="after")
    def _months_or_dates(self) -> Season:
        if (self.months is None) == (self.from_ is None) or (self.from_ is None) != (self.to is None):
            raise BadInput('needs either months or both "from" and "to"', way_out="write months = [6, 7, 8, 9]")
        for key, text in (("from", self.from_), ("to", self.to)):
            if text is not None:
                month_day(text, key=key)
        return self


class DemandTier(Noun):
    """A block of a month's demand at one price."""

    up_to: float | None = Field(None, gt=0, description="upper end, cumulative [kW]; the last has none")
    per_kw: NotNegative = Field(description="price of a kW in this tier [currency/kW]")


class Demand(Window):
    """A charge on the highest mean power of a month within a window."""

    name: str = Field("demand", description="name of the charge")
    per_kw: NotNegative | None = Field(None, description="price of the month's highest kW [currency/kW]")
    tiers: tuple[DemandTier, ...] | None = Field(None, description="prices by amount, instead of per_kw")
    window_min: Literal[1, 5, 10, 15, 20, 30, 60] = Field(60, description="length of the mean that counts [min]")
    block: Literal["fixed", "rolling"] = Field(
        "fixed", description='"fixed": blocks from the full hour; "rolling": a block ends with every step'
    )
    also: tuple[Window, ...] = Field((), description="more days and hours that count for the same highest kW")
    months: tuple[Month, ...] | None = Field(None, min_length=1, description="months that are charged; omitted: all")
    ratchet_frac: Fraction | Annotated[tuple[Fraction, ...], Field(min_length=12, max_length=12)] = Field(
        0.0, description="share of the highest of the 11 months before, billed at least [0 to 1]; or 12 by month"
    )
    ratchet_months: tuple[Month, ...] | None = Field(None, description="months whose peak can ratchet; omitted: all")
    days_meant: Annotated[int, Field(ge=1, le=31)] = Field(
        1, description="the mean of the highest kW of so many days counts, instead of the highest alone [d]"
    )

    @model_validator(mode="after")
    def _one_price(self) -> Demand:
        if (self.per_kw is None) == (self.tiers is None):
            raise BadInput("needs one of per_kw and tiers", way_out="give the price of a kW [currency/kW]")
        check_tiers(self.tiers, "up_to")
        return self


class ExportHours(Noun):
    """What an exported kWh earns in each hour of the local day."""

    months: tuple[Month, ...] | None = Field(None, min_length=1, description="months, 1 to 12; omitted: all")
    days: str = Field("all", description="kind or names of days, as of a period")
    credit_per_kwh: Annotated[tuple[Signed, ...], Field(min_length=24, max_length=24)] = Field(
        description="24 credits, that of 00:00 to 01:00 first [currency/kWh]"
    )

    _known_days = field_validator("days")(known_days)


class Export(Noun):
    """What a kWh sent out earns."""

    method: Literal["net-metering", "net-billing", "none"] = Field(
        "none",
        description='"net-metering": the retail price, netted over the month in each period; '
        '"net-billing": credit_per_kwh; "none": nothing',
    )
    credit_per_kwh: NotNegative | TwelveNotNegative | None = Field(
        None, description="what net billing pays [currency/kWh], one number or 12 by month"
    )
    netting: Literal["step", "hour", "day", "month"] | None = Field(
        None,
        description="interval in which import and export of a period cancel before they are priced; "
        'default "step" (the meter\'s own), "month" for net metering',
    )
    unused: Literal["carry", "carry-kwh", "pay", "lose"] | None = Field(
        None,
        description="a month's credit beyond its energy charge: carried as money or as kWh, paid out or lost; "
        'default "carry" for net metering, "pay" for net billing',
    )
    true_up_month: Month | None = Field(None, description="at its end carried credit is settled; omitted: never")
    true_up_per_kwh: NotNegative = Field(0.0, description="paid then for each kWh of surplus [currency/kWh]")
    nonbypassable_per_kwh: NotNegative = Field(
        0.0, description="part of the retail price that exports do not earn back [currency/kWh]"
    )
    by_hour: tuple[ExportHours, ...] = Field(
        (), description="credits of net billing by hour, months and kind of day, first match wins; else the period's"
    )

    @model_validator(mode="after")
    def _fits_method(self) -> Export:
        if self.method == "net-metering" and (self.credit_per_kwh is not None or self.netting not in (None, "month")):
            raise BadInput(
                "of net-metering nets over the month at the retail price",
                key="method",
                value=self.method,
                way_out='omit credit_per_kwh and netting, or write "net-billing"',
            )
        if self.nonbypassable_per_kwh and self.method != "net-metering":
            raise BadInput(
                "is part of a netted price",
                key="nonbypassable_per_kwh",
                value=self.nonbypassable_per_kwh,
                way_out='use it with "net-metering"; elsewhere it is in price_per_kwh or a rider',
            )
        if self.method == "none" and self.model_fields_set - {"method"}:
            beside = ", ".join(sorted(self.model_fields_set - {"method"}))
            raise BadInput(
                f"pays nothing, so it stands alone, without {beside}",
                key="method",
                value="none",
                way_out='write "net-billing" or "net-metering"',
            )
        if self.by_hour and self.method != "net-billing":
            raise BadInput(
                "is what net billing pays", key="by_hour", value=self.method, way_out='write method = "net-billing"'
            )
        if self.by_hour and self.netting_interval != "step":
            raise BadInput(
                "has no one price by hour", key="netting", value=self.netting_interval, way_out='write netting = "step"'
            )
        if self.unused == "carry-kwh" and self.method != "net-metering":
            raise BadInput("is a rule of net metering", key="unused", value=self.unused, way_out='write "carry"')
        if self.true_up_month and self.unused_rule not in ("carry", "carry-kwh"):
            raise BadInput(
                "settles carried credit", key="true_up_month", value=self.true_up_month, way_out='set unused = "carry"'
            )
        return self

    @property
    def netting_interval(self) -> str:
        """The interval with its default filled in."""
        return self.netting or ("month" if self.method == "net-metering" else "step")

    @property
    def unused_rule(self) -> str:
        """What becomes of unused credit, with its default filled in."""
        return self.unused or ("carry" if self.method == "net-metering" else "pay")


class RiderTier(Noun):
    """A block of a month's energy at one price of a rider."""

    up_to: float | None = Field(None, gt=0, description="upper end, cumulative [kWh/month]; the last has none")
    per_kwh: Signed = Field(description="added to every kWh in this tier [currency/kWh]")


class Rider(Noun):
    """An adjustment on every kWh bought; exports do not earn it back."""

    model_config = ConfigDict(serialize_by_alias=True)

    name: str = Field(description="name of the rider")
    per_kwh: Signed | Twelve | None = Field(
        None, description="added to every kWh bought [currency/kWh], one number or 12 by month"
    )
    tiers: tuple[RiderTier, ...] | None = Field(None, description="by the month's kWh, instead of per_kwh")
    periods: tuple[str, ...] | None = Field(
        None, min_length=1, description='periods it is on, such as "on-peak" or "summer on-peak"; omitted: all'
    )
    from_: str | None = Field(None, alias="from", description='first day, "MM-DD" or ISO; omitted: always')
    to: str | None = Field(None, description="last day, included; omitted: always")
    with_losses: bool = Field(False, description="true: on the kWh times rate.loss_factor")

    @model_validator(mode="after")
    def _one_price(self) -> Rider:
        if (self.per_kwh is None) == (self.tiers is None):
            raise BadInput("needs one of per_kwh and tiers", way_out="give what is added to a kWh [currency/kWh]")
        if self.tiers is not None and (self.periods or self.from_):
            raise BadInput(
                "count the kWh of the whole month", key="tiers", way_out="leave out periods, from and to, or the tiers"
            )
        check_tiers(self.tiers, "up_to")
        check_span(self.from_, self.to)
        return self


class Tax(Noun):
    """A percentage on lines of the bill, and on other taxes."""

    name: str = Field(description="name of the tax")
    frac: Fraction = Field(description="share of the taxed amount [0 to 1]")
    on: tuple[TAXED, ...] | None = Field(None, description="kinds of line that are taxed; omitted: the month's total")
    on_taxes: tuple[str, ...] = Field((), description="names of taxes that this one is on too")


class FixedStep(Noun):
    """A fixed charge of months that use up to so much."""

    up_to: float | None = Field(None, gt=0, description="upper end of the month's kWh [kWh/month]; the last has none")
    per_month: NotNegative = Field(description="fixed charge of such a month [currency/month]")


class HourlyPrices(Noun):
    """Prices from a CSV file; the only place where a price may be negative."""

    csv: str = Field(description="path of the CSV file, relative to the file that names it")
    time_column: str = Field("start", description="column with the start of each interval, ISO, local or with offset")
    price_column: str = Field("price_per_kwh", description="column with the price of a bought kWh")
    credit_column: str | None = Field(None, description="column with what net billing pays for an exported kWh")
    price_unit: Literal["per_kwh", "per_mwh", "cents_per_kwh"] = Field("per_kwh", description="unit of the columns")
    adder_per_kwh: NotNegative = Field(0.0, description="added to the price of a bought kWh [currency/kWh]")


def month_day(text: str, *, key: str = "") -> tuple[int, int]:
    """Month and day of "MM-DD".

    Examples
    --------
    >>> month_day("06-15")
    (6, 15)
    """
    match = re.fullmatch(r"([0-9]{2})-([0-9]{2})", text)
    last = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    if not match or not 1 <= int(match[1]) <= 12 or not 1 <= int(match[2]) <= last[int(match[1]) - 1]:
        raise BadInput("must be a day of the year", key=key, value=text, way_out='write "06-15"')
    return int(match[1]), int(match[2])


def check_span(start: str | None, end: str | None) -> None:
    """Both ends of a span of days, each "MM-DD" or both ISO, or neither."""
    if (start is None) != (end is None):
        raise BadInput('needs both "from" and "to"', key="from, to", value=(start, end), way_out="give both days")
    if start is None or end is None:
        return
    if len(start) != len(end):
        raise BadInput(
            "must be written alike", key="from, to", value=(start, end), way_out='write "03-15" or "2025-03-15" twice'
        )
    for key, text in (("from", start), ("to", end)):
        if len(text) != len("MM-DD"):
            iso_day(text, key=key)
        else:
            month_day(text, key=key)
    if len(start) != len("MM-DD") and start > end:
        raise BadInput("must not lie after to", key="from", value=start, way_out="give the two days in order")


def iso_day(text: str, *, key: str = "") -> dt.date:
    """A day such as "2025-07-14".

    Examples
    --------
    >>> iso_day("2025-07-14").day
    14
    """
    try:
        day = dt.date.fromisoformat(text)
        if day.isoformat() == text:
            return day
    except ValueError:
        pass
    raise BadInput("must be an ISO date", key=key, value=text, way_out='write "2025-07-14"')


def check_tiers(tiers: tuple[Any, ...] | None, key: str) -> None:
    """Tiers rise, and only the last has no end."""
    if tiers is None:
        return
    ends = [tier.up_to for tier in tiers]
    rising = all(a is not None and b is not None and a < b for a, b in zip(ends[:-2], ends[1:-1], strict=True))
    if not ends or None in ends[:-1] or ends[-1] is not None or not rising:
        raise BadInput(
            "must rise, and the last tier has none",
            key=f"tiers.{key}",
            value=ends,
            way_out="write [{ up_to = 600, ... }, { ... }]",
        )
