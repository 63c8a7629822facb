"""Loads as people know them, turned into mean kW per step."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Discriminator, Field, Tag

from profiles.hours import Hours
from profiles.loads.appliances import duty_cycle_kw
from profiles.loads.bills import BillsLoad, Cycles, cycles_of_bills
from profiles.loads.shapes import end_use_kwh, hourly_shape_kw
from profiles.meter import meter_kw, meter_on_year, read_meter
from profiles.meter.readings.dialect import Dialect
from profiles.noun import BadInput, Noun, read_noun, tagged
from profiles.rate.printed import read_printed_bills

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
LONGEST_CYCLED_MIN = 5


class When(Noun):
    """Daily windows, kind of day and months that a load is limited to."""

    window: str | None = Field(None, description='daily windows such as "08:00-18:00"; may run over midnight')
    days: Literal["all", "weekday", "weekend"] = Field("all", description='"all", "weekday" or "weekend"')
    months: tuple[Annotated[int, Field(ge=1, le=12)], ...] | None = Field(None, description="months, 1 to 12")

    def mask(self, hours: Hours) -> np.ndarray:
        """True where the load is on, shape (n_steps,); holidays are never asked: people's habits are not a rate's."""
        on = hours.on_days(self.days)
        if self.window is not None:
            on = on & hours.in_windows(self.window, key="load.window")
        if self.months is not None:
            on = on & np.isin(hours.month, self.months)
        if not on.any():
            raise BadInput(
                "leaves no step of the year", key="load.window, days, months", value=(self.window, self.days)
            )
        return on


class SteadyLoad(When):
    """So many kW while its window is open."""

    kw: NotNegative = Field(description="power during the window [kW]")

    def kw_on(self, hours, sources):
        return self.kw * self.mask(hours)


class DailyLoad(When):
    """An appliance by its watts and hours of use a day."""

    watts: NotNegative = Field(description="power when on [W]")
    hours_per_day: float = Field(ge=0, le=24, description="hours of use on each of its days [h]")

    def kw_on(self, hours, sources):
        on = self.mask(hours)
        steps_a_day = np.bincount(hours.day[on], minlength=hours.n_days)[hours.day]
        open_h = np.maximum(steps_a_day, 1) * hours.step_h
        if (self.hours_per_day > open_h[on] + 1e-9).any():
            raise BadInput(
                "must not exceed the hours of its window", key="load.hours_per_day", value=self.hours_per_day
            )
        return np.where(on, self.watts / 1000.0 * self.hours_per_day / open_h, 0.0)


class CyclingLoad(When):
    """An appliance by its running watts and minutes an hour."""

    running_w: NotNegative = Field(description="power when running [W]")
    minutes_per_hour: float = Field(ge=0, le=60, description="minutes that it runs in each hour [min]")
    starts_per_hour: Positive | None = Field(
        None,
        description="on steps of 1 and 5 minutes it runs and rests so often [1/h]; without it, and on longer "
        "steps, its mean",
    )
    seed: int = Field(0, ge=0, description="fixes where its runs fall; give two alike on one panel two numbers")

    def kw_on(self, hours, sources):
        mean_kw = self.running_w / 1000.0 * self.minutes_per_hour / 60.0 * self.mask(hours)
        if self.starts_per_hour is None or hours.step_min > LONGEST_CYCLED_MIN or not mean_kw.any():
            return mean_kw
        minutes = self.minutes_per_hour * self.mask(hours)
        return duty_cycle_kw(self.running_w, minutes, hours, seed=self.seed, starts_per_hour=self.starts_per_hour)


class NameplateLoad(When):
    """A nameplate current and the share of the time that it runs."""

    nameplate_a: NotNegative = Field(description="nameplate current [A]")
    duty_frac: float = Field(ge=0, le=1, description="share of the time that it runs [0 to 1]")
    volts: Positive = Field(120.0, description="nameplate voltage [V]")

    def kw_on(self, hours, sources):
        return self.nameplate_a * self.volts / 1000.0 * self.duty_frac * self.mask(hours)


class ShapedLoad(When):
    """A year's energy spread by a published hourly schedule."""

    shape: str = Field(description="name of a schedule of the library")
    annual_kwh: NotNegative | None = Field(
        None, description='energy of the year [kWh]; a "whole-house" may give floor area and bedrooms instead'
    )
    floor_area_ft2: Positive | None = Field(None, description='conditioned floor area of a "whole-house" [ft2]')
    bedrooms: int | None = Field(None, ge=0, lt=100, description='bedrooms of a "whole-house"')

    def kw_on(self, hours, sources):
        home = {key: value for key in ("floor_area_ft2", "bedrooms") if (value := getattr(self, key)) is not None}
        if home and self.shape != "whole-house":
            key, value = next(iter(home.items()))
            raise BadInput('is for shape = "whole-house"', key=f"load.{key}", value=value)
        annual_kwh = self.annual_kwh
        if annual_kwh is None:
            if len(home) < 2:
                raise BadInput(
                    "is missing: the energy of the year",
                    key="load.annual_kwh",
                    way_out='give it, or floor_area_ft2 and bedrooms of a "whole-house"',
                )
            annual_kwh = sum(end_use_kwh(**home).values())
        return _shaped(self, annual_kwh, hours, **home)


class MeasuredLoad(When):
    """A measured energy over some days, recurring at its daily rate on its own days and spread by a schedule."""

    measured_kwh: NotNegative = Field(description="energy as measured [kWh]")
    over_days: Positive = Field(description="days of use that the measurement took [d]")
    shape: str | None = Field(None, description="schedule that spreads it; without one it is even")

    def kw_on(self, hours, sources):
        on = self.mask(hours)
        annual_kwh = self.measured_kwh / self.over_days * len(np.unique(hours.day[on]))
        if self.shape is None:
            return on * annual_kwh / (on.sum() * hours.step_h)
        return _shaped(self, annual_kwh, hours)


class MeterLoad(Noun):
    """An interval meter or clamp log."""

    meter: str = Field(description="path of the meter file")
    column: str | None = Field(None, description="column of a CSV file")
    point: str | None = Field(None, description="usage point of a meter file that holds several")
    scale: Positive = Field(1.0, description="factor on the readings")
    dialect: Dialect | None = Field(None, description="what is known about how a CSV file is written")
    extend: Literal["like-weekdays", "degree-days"] | None = Field(
        None, description='how part of a year is made a whole one: "like-weekdays" or "degree-days" (needs weather)'
    )
    add_solar: bool | None = Field(
        None,
        description="where solar flows back through this meter: true adds what [solar] makes, so that the house's own "
        "use remains; false takes the readings as they are",
    )
    redate: bool = Field(False, description="put another year's readings on site.year, by weekday and season")

    def kw_on(self, hours, sources):
        return sources.meter_kw(self, hours)


class DegreeLoad(When):
    """Heating or cooling in proportion to the outdoor temperature."""

    heating_kw_per_degc: Positive | None = Field(None, description="kW per degC below the balance point")
    cooling_kw_per_degc: Positive | None = Field(None, description="kW per degC above the balance point")
    balance_c: float = Field(description="balance point [degC]")
    max_kw: Positive | None = Field(None, description="the most that it draws [kW]")

    def kw_on(self, hours, sources):
        if (self.heating_kw_per_degc is None) == (self.cooling_kw_per_degc is None):
            raise BadInput("must name one of heating_kw_per_degc and cooling_kw_per_degc", key="load")
        temp_c = sources.temp_c(hours)
        heating = self.heating_kw_per_degc is not None
        degrees = np.maximum(self.balance_c - temp_c if heating else temp_c - self.balance_c, 0.0)
        kw = (self.heating_kw_per_degc or self.cooling_kw_per_degc) * degrees
        return np.minimum(kw, np.inf if self.max_kw is None else self.max_kw) * self.mask(hours)


class DesignLoad(When):
    """Heating or cooling by its kW at a design temperature, in degF as it is written on the job."""

    kw_at_design: Positive = Field(description="power at the design temperature [kW]")
    design_f: float = Field(description="design temperature [degF]")
    balance_f: float = Field(description="temperature at which it stops [degF]")

    def kw_on(self, hours, sources):
        if self.design_f == self.balance_f:
            raise BadInput("must differ from balance_f", key="load.design_f", value=self.design_f)
        temp_f = sources.temp_c(hours) * 9.0 / 5.0 + 32.0
        frac = (self.balance_f - temp_f) / (self.balance_f - self.design_f)
        return self.kw_at_design * np.clip(frac, 0.0, 1.0) * self.mask(hours)


def _shaped(load, annual_kwh: float, hours: Hours, **home) -> np.ndarray:
    kw = hourly_shape_kw(load.shape, 1.0, hours, **home) * load.mask(hours)
    total = kw.sum() * hours.step_h
    if not total > 0.0:
        raise BadInput("is zero in all of its window", key="load.shape", value=load.shape)
    return kw * (annual_kwh / total)


_KINDS = {
    "monthly_kwh": BillsLoad,
    "bills": BillsLoad,
    "kw": SteadyLoad,
    "watts": DailyLoad,
    "minutes_per_hour": CyclingLoad,
    "nameplate_a": NameplateLoad,
    "measured_kwh": MeasuredLoad,
    "annual_kwh": ShapedLoad,
    "meter": MeterLoad,
    "heating_kw_per_degc": DegreeLoad,
    "cooling_kw_per_degc": DegreeLoad,
    "kw_at_design": DesignLoad,
    "shape": ShapedLoad,
    "hours_per_day": DailyLoad,
    "running_w": CyclingLoad,
    "balance_c": DegreeLoad,
    "duty_frac": NameplateLoad,
    "over_days": MeasuredLoad,
}
_TAG_OF = {kind: tagged(f"load:{kind.__name__}", kind) for kind in dict.fromkeys(_KINDS.values())}


def _kind_of(data: Any) -> str | None:
    """Tag of the load kind: the first of its telling keys that the table holds."""
    if isinstance(data, Noun):
        return _TAG_OF.get(type(data))
    if not isinstance(data, dict):
        return _TAG_OF[SteadyLoad]
    return next((_TAG_OF[kind] for key, kind in _KINDS.items() if key in data), _TAG_OF[SteadyLoad])


AnyLoad = Annotated[
    Annotated[SteadyLoad, Tag(_TAG_OF[SteadyLoad])]
    | Annotated[DailyLoad, Tag(_TAG_OF[DailyLoad])]
    | Annotated[CyclingLoad, Tag(_TAG_OF[CyclingLoad])]
    | Annotated[NameplateLoad, Tag(_TAG_OF[NameplateLoad])]
    | Annotated[ShapedLoad, Tag(_TAG_OF[ShapedLoad])]
    | Annotated[MeasuredLoad, Tag(_TAG_OF[MeasuredLoad])]
    | Annotated[MeterLoad, Tag(_TAG_OF[MeterLoad])]
    | Annotated[DegreeLoad, Tag(_TAG_OF[DegreeLoad])]
    | Annotated[DesignLoad, Tag(_TAG_OF[DesignLoad])]
    | Annotated[BillsLoad, Tag(_TAG_OF[BillsLoad])],
    Discriminator(_kind_of),
]
"""One load table; which kind it is follows from its telling key."""


def _house_kind_of(data: Any) -> str:
    by_bills = isinstance(data, BillsLoad) or isinstance(data, dict) and bool({"monthly_kwh", "bills"} & data.keys())
    return _TAG_OF[BillsLoad if by_bills else MeterLoad]


WholeHouse = Annotated[
    Annotated[MeterLoad, Tag(_TAG_OF[MeterLoad])] | Annotated[BillsLoad, Tag(_TAG_OF[BillsLoad])],
    Discriminator(_house_kind_of),
]
"""All that a house uses: its meter, or its bills."""


def _one_or_list(data: Any) -> str:
    return "list" if isinstance(data, list | tuple) else "one"


AnyLoads = Annotated[
    Annotated[AnyLoad, Tag(tagged("one", Noun))] | Annotated[tuple[AnyLoad, ...], Tag(tagged("list", Noun))],
    Discriminator(_one_or_list),
]
"""One load table, or a list of them that is summed."""


class Sources:
    """Where loads that need more than a table find it: weather for degree loads, files for meters.

    `temp_c(hours)` gives outdoor degC and `meter_kw(load, hours)` a meter's kW, both of shape (n_steps,).
    """

    def temp_c(self, hours: Hours) -> np.ndarray:
        raise BadInput(
            "is missing: a load that follows the weather needs it",
            key="weather.source",
            way_out='write [weather] source = "library:piedmont" (see keeplit library) or a path',
        )

    def cycles(self, load: BillsLoad, hours: Hours) -> Cycles:
        return cycles_of_bills(read_printed_bills(load.bills), hours, file=load.bills)

    def note(self, text: str) -> None:
        """Takes what a load says of itself; kept by the sources of a site."""

    def meter_kw(self, load: MeterLoad, hours: Hours) -> np.ndarray:
        known = {"point": load.point, "column": load.column, "dialect": load.dialect}
        meter = read_meter(load.meter, timezone=hours.timezone, **known)
        whole = meter_on_year(meter, hours, extend=load.extend, other_year=load.redate, temp_c=self.temp_c)
        return meter_kw(whole, hours) * load.scale


def load_kw(load, hours: Hours, sources: Sources | None = None) -> np.ndarray:
    """Mean kW of a load in each step.

    Parameters
    ----------
    load : a load noun, a dict with the keys of one, or a list of either that is summed
    hours : Hours
    sources : Sources, optional
        Weather and meter files for the kinds that need them.

    Returns
    -------
    ndarray, shape (n_steps,)
        AC power, mean over each step. [kW]

    Raises
    ------
    BadInput
        Not a load, or one whose window leaves no step.

    Examples
    --------
    60 W for five hours a day are 0.3 kWh a day:

    >>> from profiles.hours import hours_of_year
    >>> round(float(load_kw({"watts": 60.0, "hours_per_day": 5.0}, hours_of_year(2025, "UTC")).sum()) / 365, 9)
    0.3
    """
    sources = sources or Sources()
    if isinstance(load, list | tuple):
        return np.sum([load_kw(one, hours, sources) for one in load], axis=0) + np.zeros(hours.n_steps)
    if isinstance(load, dict):
        load = _noun(load)
    return np.asarray(load.kw_on(hours, sources), dtype=float)


def _noun(data: dict) -> Noun:
    kind = next((kind for key, kind in _KINDS.items() if key in data), None)
    if kind is None:
        raise BadInput("is not a load", key="load", value=data, way_out="give kw, watts, shape, meter, ...")
    return read_noun(kind, data, table="load")
