"""Bills over New Year on the series of one year: dates of another year stand for the same dates of the series'.

The series of a year is taken as a ring, as the year itself is: a cycle from 14 December to 15 January is the last part
of the series and its first.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np

from profiles.rate.calendar import RateCalendar
from profiles.rate.meter_sums import MeterSums


def folded(date: str, year: int) -> str:
    """A date as one of the year; 29 February is 1 March where the year has none.

    Examples
    --------
    >>> folded("2024-12-14", 2025), folded("2025-06-01", 2025), folded("2024-02-29", 2025)
    ('2025-12-14', '2025-06-01', '2025-03-01')
    """
    day = dt.date.fromisoformat(date)
    if day.year == year:
        return date
    try:
        return day.replace(year=year).isoformat()
    except ValueError:
        return dt.date(year, 3, 1).isoformat()


def folded_cycle(start: str, end: str, year: int) -> tuple[str, str]:
    """Both read dates of a bill in the year; one that ends with the old year ends on the New Year after it.

    Examples
    --------
    >>> folded_cycle("2024-12-01", "2025-01-01", 2025), folded_cycle("2024-12-14", "2025-01-15", 2025)
    (('2025-12-01', '2026-01-01'), ('2025-12-14', '2025-01-15'))
    """
    new_years = (f"{year}-01-01", f"{year + 1}-01-01")
    if end == new_years[1] and start >= new_years[0]:
        return start, end
    first, last = folded(start, year), folded(end, year)
    return first, new_years[1] if last == new_years[0] else last


def joined(sums: MeterSums, calendar: RateCalendar, prorate_days: float | None) -> tuple[MeterSums, RateCalendar]:
    """The last billing month and the first as one, which stands first; it is a whole cycle.

    Parameters
    ----------
    sums : MeterSums
        Of one series.
    calendar : RateCalendar
        The one that they were made with.
    prorate_days : float or None
        Of the rate. [d]

    Notes
    -----
    kWh and days add, the highest kW of both parts counts; demand that is the mean of several days keeps the higher mean
    of the two parts.
    """
    months = np.arange(calendar.n_months - 1)
    both = lambda array, how, axis: _first_and_last(array, how, axis, months)
    add = lambda array, axis=0: None if array is None else both(array, np.add, axis)
    one = MeterSums(
        add(sums.bought_kwh),
        add(sums.sold_kwh),
        both(sums.peak_kw, np.maximum, 1),
        add(sums.bought_cost),
        add(sums.sold_credit),
        add(sums.saved_kwh, 1),
    )
    days = add(calendar.days)
    share = calendar.share[:-1].copy()
    share[0] = 1.0 if prorate_days is None else days[0] / prorate_days
    told = {
        "labels": calendar.labels[:-1],
        "month_number": calendar.month_number[:-1],
        "days": days,
        "share": share,
        "season_days": add(calendar.season_days),
        "month_days": add(calendar.month_days),
        "used": both(calendar.used, np.logical_or, 0),
    }
    return one, replace(calendar, **told)


def _first_and_last(array: np.ndarray, how, axis: int, months: np.ndarray) -> np.ndarray:
    """The array without its last month along an axis, which is put together with the first."""
    out = np.take(array, months, axis=axis)
    at = [slice(None)] * array.ndim
    at[axis] = 0
    last = list(at)
    last[axis] = -1
    out[tuple(at)] = how(array[tuple(at)], array[tuple(last)])
    return out
