"""The local days that a meter file holds, as tables of the wall clock from which another year can be laid out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from profiles.hours import Hours, hours_of_year
from profiles.meter.on_axis.axis import covered_kw, step_starts
from profiles.meter.on_axis.gaps import fill_inside
from profiles.meter.on_axis.years import seconds_by_year
from profiles.meter.readings.meter import Meter

YEAR_DAYS, SEASON_DAYS = 365, 10
_EPOCH = dt.date(1970, 1, 1).toordinal()


@dataclass(frozen=True, eq=False)
class SourceDays:
    """Whole local days of a meter file, in the order of time.

    Attributes
    ----------
    date : ndarray of int, shape (n_days,)
        Days since 1970.
    season : ndarray of int, shape (n_days,)
        Day of a year of 365 days, 29 February being the 28th.
    delivered, received : ndarray, shape (n_days, intervals of a day)
        Mean power by wall-clock interval. [kW]
    filled : ndarray of bool, shape (n_days, intervals of a day)
        True where a gap of up to a day was filled in.
    """

    date: np.ndarray
    season: np.ndarray
    delivered: np.ndarray
    received: np.ndarray
    filled: np.ndarray

    def __len__(self) -> int:
        return len(self.date)

    @property
    def weekday(self) -> np.ndarray:
        """0 is Monday, shape (n_days,)."""
        return (self.date + 3) % 7

    @property
    def latest(self) -> np.ndarray:
        """True on the days of the latest year that the file holds, shape (n_days,)."""
        return self.date > self.date[-1] - YEAR_DAYS


def source_days(meter: Meter, hours: Hours) -> tuple[Meter, SourceDays]:
    """The meter with its short gaps filled, and its whole days on the zone and the step of an axis."""
    mended = fill_inside(meter, hours.timezone)
    years = sorted(year for year, _ in seconds_by_year(mended, hours.timezone))
    parts = [_days_of_year(mended, hours_of_year(year, hours.timezone, hours.step_min)) for year in years]
    return mended, SourceDays(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _days_of_year(meter: Meter, hours: Hours) -> tuple[np.ndarray, ...]:
    """Fields of SourceDays for one calendar year."""
    steps = day_table(hours)
    delivered, received = (covered_kw(meter, hours, name) for name in ("delivered", "received"))
    whole = np.bincount(hours.day, weights=np.isnan(delivered), minlength=hours.n_days) == 0
    filled = filled_steps(meter, hours)
    first = dt.date(hours.year, 1, 1).toordinal() - _EPOCH
    date, steps = np.flatnonzero(whole) + first, steps[whole]
    return date, seasons(hours)[whole], delivered[steps], received[steps], filled[steps]


def filled_steps(meter: Meter, hours: Hours) -> np.ndarray:
    """True on the steps in which a reading begins that was filled in, shape (n_steps,)."""
    if meter.filled is None:
        return np.zeros(hours.n_steps, bool)
    step = (meter.start_utc[meter.filled] - step_starts(hours)[0]) // (hours.step_min * 60)
    return np.isin(np.arange(hours.n_steps), step)


def seasons(hours: Hours) -> np.ndarray:
    """Day of a year of 365 days of each local day, 29 February being the 28th, shape (n_days,)."""
    day = np.arange(hours.n_days)
    return day - (day >= 59) if hours.n_days == 366 else day


def day_table(hours: Hours) -> np.ndarray:
    """Step by local day and wall-clock interval, shape (n_days, intervals of a day).

    An hour that the clock skips holds the step before it, one that occurs twice the first of the two.
    """
    table = np.full((hours.n_days, 1440 // hours.step_min), -1, dtype=np.int64)
    backwards = np.arange(hours.n_steps)[::-1]
    table[hours.day[backwards], hours.minute[backwards] // hours.step_min] = backwards
    flat = table.ravel()
    return np.maximum.accumulate(np.maximum(flat, 0)).reshape(table.shape)


def away(season: np.ndarray, other: int) -> np.ndarray:
    """Days between two days of the year, around its turn."""
    straight = np.abs(season - other)
    return np.minimum(straight, YEAR_DAYS - straight)


def like_day(days: SourceDays, weekday: int, season: int) -> int:
    """Index of the day with the weekday that is nearest in season: of the latest year first, of equals the latest."""
    like = np.flatnonzero(days.weekday == weekday)
    apart = away(days.season[like], season)
    near = like[days.latest[like] & (apart <= SEASON_DAYS)]
    if len(near):
        like, apart = near, away(days.season[near], season)
    return int(like[np.flatnonzero(apart == apart.min())[-1]])
