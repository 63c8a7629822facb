"""A utility's rate."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from profiles.noun import BadInput, Noun
from profiles.rate.charges import (
    Demand,
    Export,
    FixedStep,
    HourlyPrices,
    NotNegative,
    Period,
    Rider,
    Season,
    Tax,
    Tier,
    TwelveNotNegative,
    check_tiers,
)
from profiles.rate.credit import Credit
from profiles.rate.event import Event
from profiles.rate.holidays import OBSERVED, known_holidays


class Rate(Noun):
    """A utility's rate, or where to read it."""

    source: str | None = Field(
        None, description='"library:NAME" or the path of a rate file; keys beside it replace those of the source'
    )
    name: str = Field("unnamed rate", description="name of the rate")
    description: str = Field("", description="where the numbers come from, and what they leave out")
    notes: tuple[str, ...] = Field((), description="printed with every result of this rate")
    currency: str = Field("USD", min_length=1, description="ISO code of the currency")
    price_per_kwh: NotNegative | None = Field(None, description="price of a flat rate [currency/kWh]")
    tiers: tuple[Tier, ...] | None = Field(None, description="prices by amount of a rate without periods")
    tier_unit: Literal["kwh_per_month", "kwh_per_day", "kwh_per_kw"] = Field(
        "kwh_per_month", description="what up_to counts: kWh a month, a day, or per kW of the first demand charge"
    )
    tier_over: Literal["period", "season"] = Field(
        "period", description="what fills the tiers: each period's own kWh, or all periods of the season together"
    )
    hourly_prices: HourlyPrices | None = Field(None, description="a price series instead of periods")
    fixed_per_month: NotNegative | TwelveNotNegative = Field(
        0.0, description="fixed charge [currency/month], one number or 12 by month"
    )
    fixed_per_day: NotNegative = Field(0.0, description="fixed charge [currency/day]")
    fixed_by_use: tuple[FixedStep, ...] | None = Field(
        None, description="a fixed charge by the month's kWh, beside the others"
    )
    minimum_per_month: NotNegative = Field(0.0, description="least that a month costs, before tax [currency/month]")
    minimum_per_day: NotNegative = Field(0.0, description="the same for each day of the month [currency/day]")
    holidays: str | tuple[str, ...] = Field(
        "none",
        description='days that count as weekend: "none", a calendar ("US", "CA-ON"), or names such as '
        '["new-year", "memorial", "independence", "labor", "thanksgiving", "christmas"]',
    )
    extra_holidays: tuple[str, ...] = Field((), description="dates added, ISO")
    removed_holidays: tuple[str, ...] = Field((), description="dates taken away, ISO")
    holiday_observed: OBSERVED = Field(
        "observed",
        description="Saturday and Sunday holidays: moved by law, not moved, only Sunday to Monday, "
        "or both to the next weekday",
    )
    season: tuple[Season, ...] | None = Field(None, min_length=1, description="seasons and periods, first match wins")
    event: tuple[Event, ...] = Field((), description="event days: dates with a price or a rebate of their own")
    loss_factor: float = Field(
        1.0, ge=1.0, le=1.5, description="kWh billed for each that the meter counts, losses of the lines included"
    )
    loss_on_energy: bool = Field(True, description="true: energy is billed on the kWh times loss_factor; riders say so")
    demand: tuple[Demand, ...] = Field((), description="demand charges")
    rider: tuple[Rider, ...] = Field((), description="adjustments on every kWh bought")
    credit: tuple[Credit, ...] = Field((), description="credits: fixed amounts or shares of the bill")
    tax: tuple[Tax, ...] = Field((), description="percentages on the bill")
    export: Export = Field(Export(), description="what exports earn")
    read_dates: tuple[str, ...] | None = Field(
        None, min_length=1, description="meter read dates, ISO; a cycle ends as its read date begins; omitted: months"
    )
    prorate_days: float | None = Field(
        None,
        gt=0,
        description="days that one monthly charge stands for; a cycle of other length pays in proportion; "
        "omitted: a whole cycle pays one monthly charge [d]",
    )
    season_by: Literal["date", "cycle"] = Field(
        "date", description="a season changes on its date, or with the billing cycle that ends in it"
    )

    @model_validator(mode="after")
    def _one_kind_of_price(self) -> Rate:
        given = [key for key in ("price_per_kwh", "tiers", "hourly_prices", "season") if getattr(self, key) is not None]
        if len(given) > 1 or (not given and self.source is None):
            rule = f"has {' and '.join(given)}: a rate needs one of them" if given else "has no price"
            raise BadInput(rule, way_out="give price_per_kwh, tiers, hourly_prices or [[rate.season]]")
        check_tiers(self.tiers, "up_to")
        check_tiers(self.fixed_by_use, "up_to")
        known_holidays(self.holidays)
        self._check_parts()
        if self.source is None:
            self._check_riders()
        taxes_in_order(self.tax)
        return self

    def _check_riders(self) -> None:
        known = {period.name for period in self.periods} | set(self.period_names)
        for rider in self.rider:
            unknown = sorted(set(rider.periods or ()) - known)
            if unknown:
                raise BadInput(
                    "is not a period of the rate",
                    key=f'rider "{rider.name}".periods',
                    value=unknown[0],
                    way_out="choose of " + ", ".join(sorted(known)),
                )

    def _check_parts(self) -> None:
        tiered = [p.tiers for p in self.periods if p.tiers]
        if self.tier_unit == "kwh_per_kw" and tiered and not self.demand:
            raise BadInput(
                "needs a demand charge to count kW",
                key="tier_unit",
                value=self.tier_unit,
                way_out="add [[rate.demand]], with per_kw = 0 where kW cost nothing",
            )
        for season in self.season or ():
            _check_same_name_same_price(season)
            ends = {tuple(tier.up_to for tier in period.tiers or ()) for period in season.periods}
            if self.tier_over == "season" and len(ends) > 1:
                raise BadInput(
                    "needs the same up_to in every period of a season",
                    key="tier_over",
                    value="season",
                    way_out=f'give all periods of "{season.name}" the same tiers',
                )
        nets_within = self.export.netting_interval != "step" and self.export.method == "net-billing"
        if self.hourly_prices and nets_within:
            raise BadInput(
                "has no price of its own with hourly_prices",
                key="export.netting",
                value=self.export.netting,
                way_out='write netting = "step"',
            )
        priced = [event.name for event in self.event if event.is_priced]
        if priced and (self.hourly_prices or self.export.unused == "carry-kwh"):
            raise BadInput(
                'has no price of its own with hourly_prices or unused = "carry-kwh"',
                key="event",
                value=priced[0],
                way_out='put its price into the file of hourly_prices, or write unused = "carry"',
            )
        if self.hourly_prices and self.export.unused == "carry-kwh":
            raise BadInput(
                "has no price of its own with hourly_prices",
                key="export.unused",
                value="carry-kwh",
                way_out='write "carry"',
            )
        priced = self.source is not None or self._all_exports_priced()
        if self.export.method == "net-billing" and not priced:
            raise BadInput("is missing for net-billing", key="export.credit_per_kwh", way_out="give it [currency/kWh]")

    def _all_exports_priced(self) -> bool:
        by_period = self.season is not None and all(p.credit_per_kwh is not None for p in self.periods)
        by_series = self.hourly_prices is not None and self.hourly_prices.credit_column is not None
        all_hours = any(one.months is None and one.days == "all" for one in self.export.by_hour)
        return self.export.credit_per_kwh is not None or by_period or by_series or all_hours

    @property
    def periods(self) -> tuple[Period, ...]:
        """Every period of every season in order; a rate without seasons has one."""
        if self.season is not None:
            return tuple(period for season in self.season for period in season.periods)
        if self.source is not None:
            return ()
        price = 0.0 if self.hourly_prices is not None else self.price_per_kwh
        name = "hourly price" if self.hourly_prices is not None else "all hours"
        return (Period(name=name, price_per_kwh=price, tiers=self.tiers),)

    @property
    def period_names(self) -> tuple[str, ...]:
        """Names such as "summer on-peak", in the order of `periods`."""
        if self.season is None:
            return tuple(period.name for period in self.periods)
        return tuple(f"{season.name} {period.name}" for season in self.season for period in season.periods)


def _check_same_name_same_price(season: Season) -> None:
    """Periods of one name are one period with several windows."""
    first: dict[str, Period] = {}
    for period in season.periods:
        one = first.setdefault(period.name, period)
        if one.credit_per_kwh != period.credit_per_kwh:
            raise BadInput(
                "has two credits",
                key=f'season "{season.name}".periods "{period.name}"',
                value=(one.credit_per_kwh, period.credit_per_kwh),
                way_out="give one of them another name",
            )
        if (one.price_per_kwh, one.tiers) != (period.price_per_kwh, period.tiers):
            raise BadInput(
                "has two prices",
                key=f'season "{season.name}".periods "{period.name}"',
                value=(one.price_per_kwh, period.price_per_kwh),
                way_out="give one of them another name",
            )


def taxes_in_order(taxes: tuple[Tax, ...]) -> tuple[int, ...]:
    """Indices of the taxes, each after those that it is on.

    Raises
    ------
    BadInput
        A tax that is not there, or taxes that are on each other in a loop.

    Examples
    --------
    >>> sales = Tax(name="sales", frac=0.06, on_taxes=("franchise",))
    >>> taxes_in_order((sales, Tax(name="franchise", frac=0.03)))
    (1, 0)
    """
    names, done = [tax.name for tax in taxes], []
    for tax in taxes:
        missing = [name for name in tax.on_taxes if name not in names]
        if missing:
            raise BadInput(
                "is not a tax of the rate",
                key=f'tax "{tax.name}".on_taxes',
                value=missing[0],
                way_out="choose of " + ", ".join(names),
            )
    while len(done) < len(taxes):
        ready = [
            k for k, tax in enumerate(taxes) if k not in done and {names.index(n) for n in tax.on_taxes} <= {*done}
        ]
        if not ready:
            loop = [tax.name for k, tax in enumerate(taxes) if k not in done]
            raise BadInput(
                "are on each other in a loop",
                key="tax.on_taxes",
                value=loop,
                way_out="strike one of them out of on_taxes",
            )
        done += ready
    return tuple(done)
