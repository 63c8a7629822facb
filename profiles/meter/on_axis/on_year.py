"""A meter on the year of a site: gaps filled, part of a year extended, another year re-dated, and notes on it all."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from profiles.hours import Hours, hours_of_year
from profiles.meter.on_axis.gaps import LIKE_DAY_S, fill_gaps, gaps_of
from profiles.meter.on_axis.other_years import extend_year, redate
from profiles.meter.readings.clock import zone_clock
from profiles.meter.readings.espi import ESTIMATED
from profiles.meter.readings.meter import Meter


def meter_on_year(
    meter: Meter,
    hours: Hours,
    *,
    extend: str | None = None,
    other_year: bool = False,
    temp_c: Callable[[Hours], np.ndarray] | None = None,
) -> Meter:
    """A meter that covers the axis' whole year, by no other means than those that were asked for.

    Parameters
    ----------
    meter : Meter
    hours : Hours
    extend : str, optional
        "like-weekdays" or "degree-days": how part of a year becomes the whole; used only where gaps are beyond a day.
    other_year : bool
        Whether readings of another year may be put on this one, weekday on weekday and season on season; used only
        where the file has nothing of this year.
    temp_c : callable, optional
        Outdoor temperature on any axis, for "degree-days". [degC]

    Raises
    ------
    BadInput
        The year is not covered and nothing that was asked for helps.
    """
    if other_year and not _touches(meter, hours):
        theirs = hours_of_year(fullest_year(meter, hours.timezone), hours.timezone, hours.step_min)
        return redate(_whole(meter, theirs, extend, temp_c), hours)
    return _whole(meter, hours, extend, temp_c)


def _whole(meter: Meter, hours: Hours, extend: str | None, temp_c) -> Meter:
    longest = max((end - begin for begin, end in gaps_of(meter, hours)), default=0)
    if extend is None or longest <= LIKE_DAY_S:
        return fill_gaps(meter, hours)
    warmth = temp_c(hours) if temp_c is not None and extend == "degree-days" else None
    return extend_year(meter, hours, extend, warmth)


def _touches(meter: Meter, hours: Hours) -> bool:
    return any(year == hours.year for year, _ in _seconds_by_year(meter, hours.timezone))


def fullest_year(meter: Meter, timezone: str) -> int:
    """The calendar year with the most time read; of equals the latest."""
    return max(_seconds_by_year(meter, timezone), key=lambda item: (item[1], item[0]))[0]


def _seconds_by_year(meter: Meter, timezone: str) -> list[tuple[int, int]]:
    local = meter.start_utc + zone_clock(timezone).offsets(meter.start_utc)
    year = local.astype("datetime64[s]").astype("datetime64[Y]").astype(np.int64) + 1970
    return [(int(one), int(meter.duration_s[year == one].sum())) for one in np.unique(year)]


def meter_notes(name: str, read: Meter, used: Meter) -> list[str]:
    """What every result that rests on a meter file says of it.

    Parameters
    ----------
    name : str
        How the site file names it.
    read, used : Meter
        As it was read, and as it lies on the year.
    """
    known = (read.quality >= 0).any()
    estimated = float(np.isin(read.quality, ESTIMATED).mean())
    told = f"{100 * estimated:.2f} % of the readings estimated" if known else "the file says nothing of estimates"
    notes = [
        f"{name}: read as {read.dialect}",
        f"{name}: {read.readings:,} readings of {read.interval_s / 60:g} min, {read.energy_kwh:,.1f} kWh, "
        f"{100 * read.completeness_frac:.2f} % complete, {told}",
    ]
    if used.filled is not None and used.filled.any():
        added = float(used.kwh[used.filled].sum())
        notes.append(f"{name}: {added:,.1f} of {used.kwh.sum():,.1f} kWh were filled in, not read")
    return notes + [f"{name}: {one.count} {one.kind} ({one.where}): {one.done}" for one in used.issues]
