"""One site in many years of weather: hours, bills and savings year by year, and over all of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.meter.on_axis.source_days import day_table
from simulate.house.bills import bills_of
from simulate.house.house import House, house_of
from simulate.house.ride import RideThrough, ride_through
from simulate.house.sources import SiteSources
from simulate.house.year import run_year
from simulate.physics.outages.spread import spread

ACTUAL, RESAMPLED, TYPICAL = "actual years", "years put together from weeks", "typical year only"
WEEKS_AWAY = 3
"""How far from its place a week may be taken: day length and season stay alike; engineering judgement."""


@dataclass(frozen=True, eq=False)
class OneYear:
    """One year of weather on the site.

    Attributes
    ----------
    name : str
        The calendar year, or the number of one that was put together.
    hours : ndarray, shape (n_steps,)
        Hours survived by an outage from the start of every step. [h]
    without_battery, with_battery : float
        The bills of the year. [currency]
    load_kwh, solar_kwh : float
    """

    name: str
    hours: np.ndarray
    without_battery: float
    with_battery: float
    load_kwh: float
    solar_kwh: float

    @property
    def saving(self) -> float:
        return self.without_battery - self.with_battery

    def row(self) -> dict:
        """Plain data."""
        bills = {"without_battery": self.without_battery, "with_battery": self.with_battery, "saving": self.saving}
        return {
            "year": self.name,
            "hours": spread(self.hours),
            **bills,
            "load_kwh": self.load_kwh,
            "solar_kwh": self.solar_kwh,
        }


def one_year(name: str, ride: RideThrough) -> OneYear:
    """What is kept of a year that was simulated."""
    run, bills = ride.run, bills_of(ride.run)
    energy = run.energy_kwh()
    return OneYear(
        name,
        ride.hours,
        bills.without_battery.total,
        bills.with_battery.total,
        energy["load"],
        energy["solar"],
    )


def weather_years(ride: RideThrough) -> dict | None:
    """Hours and bills over the years that `[weather]` asks for; None for a site without weather.

    Parameters
    ----------
    ride : RideThrough
        Of the site's own weather: the typical year where it names one.

    Returns
    -------
    dict
        `label`, `years` (a row each: year, hours, bills, saving, load_kwh, solar_kwh), `hours` over all of them,
        `worst` (year, p10), `saving` (min, mean, max), `typical` (p10, saving, and how far both are from all years;
        null where the site's own weather is one of the years), `text`.
    """
    site = ride.house.site
    if site.weather is None:
        return None
    years = [*_actual(ride)] if site.weather.resample is None else [*_resampled(ride)]
    if not years:
        return {"label": TYPICAL, "years": [], "hours": None, "worst": None, "saving": None, "typical": None,
                "text": _alone(ride)}  # fmt: skip
    over = spread(np.concatenate([one.hours for one in years]))
    worst = min(years, key=lambda one: spread(one.hours)["p10"])
    savings = [one.saving for one in years]
    found = {
        "label": ACTUAL if site.weather.resample is None else RESAMPLED,
        "years": [one.row() for one in years],
        "hours": over,
        "worst": {"year": worst.name, "p10": spread(worst.hours)["p10"]},
        "saving": {"min": min(savings), "mean": float(np.mean(savings)), "max": max(savings)},
        "typical": _typical(ride, over, savings),
    }
    return found | {"text": _text(found, site.rate.currency)}


def _actual(ride: RideThrough):
    sources = ride.house.sources
    for weather in sources.weather_years:
        name = str(weather.year) if weather.year else weather.name
        yield one_year(name, _ride_in(ride, _house_in(ride.house, weather)))


def _house_in(house: House, weather) -> House:
    """The same house in another year's weather; its meters are not read again."""
    sources = SiteSources(house.site)
    sources.weather, sources._meters = weather, house.sources._meters
    return house_of(house.site, sources)


def _ride_in(ride: RideThrough, house: House) -> RideThrough:
    return ride_through(run_year(house), load_case=ride.load_case)


def _resampled(ride: RideThrough):
    """Years of weeks, each taken up to three weeks from its place out of one of the houses in their weather."""
    asked, house = ride.house.site.weather.resample, ride.house
    houses = [_house_in(house, weather) for weather in house.sources.weather_years] or [house]
    random = np.random.default_rng(asked.seed)
    for k in range(asked.years):
        yield one_year(f"resampled {k + 1}", _ride_in(ride, resampled(houses, random)))


def resampled(houses: list[House], random: np.random.Generator) -> House:
    """A house of weeks of others on one axis: load, sun and cold of a step come from one and the same step.

    Parameters
    ----------
    houses : list of House
        The same house in several weathers, or a single one.
    random : numpy Generator
    """
    hours = houses[0].hours
    n_weeks = -(-hours.n_days // 7)
    week = np.arange(hours.n_days) // 7
    source = np.arange(hours.n_days) + 7 * random.integers(-WEEKS_AWAY, WEEKS_AWAY + 1, n_weeks)[week]
    outside = (source < 0) | (source >= hours.n_days)
    source = np.where(outside, 2 * np.arange(hours.n_days) - source, source)
    of = random.integers(0, len(houses), n_weeks)[week][hours.day]
    step = day_table(hours)[source[hours.day], hours.minute // hours.step_min]
    names = ("circuit_kw", "rest_kw", "solar_kw", "solar_dc_kw", "cold")
    series = {name: _picked([getattr(one, name) for one in houses], of, step) for name in names}
    return replace(houses[0], **series)


def _picked(arrays: list[np.ndarray], of: np.ndarray, step: np.ndarray) -> np.ndarray:
    found = np.empty_like(arrays[0])
    for k, array in enumerate(arrays):
        mine = of == k
        found[..., mine] = array[..., step[mine]]
    return found


def _typical(ride: RideThrough, over: dict, savings: list[float]) -> dict | None:
    """How far the site's own typical year is from all years."""
    if ride.house.sources.weather.year is not None:
        return None
    p10, bills = spread(ride.hours)["p10"], bills_of(ride.run)
    saving = bills.without_battery.total - bills.with_battery.total
    return {
        "p10": p10,
        "saving": saving,
        "hours_off": p10 - over["p10"],
        "saving_off": saving - float(np.mean(savings)),
    }


def _alone(ride: RideThrough) -> str:
    weather = ride.house.sources.weather
    what = "one typical year" if weather.year is None else f"the year {weather.year} alone"
    return (
        f"Hours and savings are those of {what}, not of the worst that can come; weather.years = a folder of actual "
        "years says how far years differ."
    )


def _text(found: dict, currency: str) -> str:
    n, over, worst, saving = len(found["years"]), found["hours"], found["worst"], found["saving"]
    names = [row["year"] for row in found["years"]]
    which = f"{n} weather years ({names[0]} to {names[-1]})"
    if found["label"] == RESAMPLED:
        which = f"{n} years put together from weeks that were read (not forecast, not measured)"
    text = (
        f"Over {which}: nine times in ten at least {over['p10']:.1f} h; the worst year, {worst['year']}, "
        f"{worst['p10']:.1f} h; the battery saves {saving['min']:,.0f} to {saving['max']:,.0f} {currency} a year."
    )
    typical = found["typical"]
    if typical is None:
        return text
    side = "more" if typical["hours_off"] >= 0 else "less"
    return (
        f"{text} The typical year says {typical['p10']:.1f} h ({abs(typical['hours_off']):.1f} h {side}) and "
        f"{typical['saving']:,.0f} {currency} ({typical['saving_off']:+,.0f} against their mean)."
    )
