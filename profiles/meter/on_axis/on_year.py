"""A meter on the year of a site: gaps filled, part of a year extended, another year re-dated, and notes on it all."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from profiles.hours import Hours
from profiles.meter.on_axis.gaps import LIKE_DAY_S, fill_gaps, gaps_of
from profiles.meter.on_axis.other_years import laid_on
from profiles.meter.readings.espi import ESTIMATED
from profiles.meter.readings.meter import Meter, estimates_text


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
        "like-weekdays" or "degree-days": how part of a year becomes the whole; used only where gaps are beyond a day,
        and only for seasons that stand nowhere in the file.
    other_year : bool
        Whether readings of other dates may be put on this year, weekday on weekday and season on season; used only
        where gaps are beyond a day. What was read on a date of this year stays there.
    temp_c : callable, optional
        Outdoor temperature on any axis, for "degree-days". [degC]

    Raises
    ------
    BadInput
        The year is not covered and nothing that was asked for helps.
    """
    longest = max((end - begin for begin, end in gaps_of(meter, hours)), default=0)
    if longest <= LIKE_DAY_S or extend is None and not other_year:
        return fill_gaps(meter, hours)
    warmth = temp_c(hours) if temp_c is not None and extend == "degree-days" else None
    return laid_on(meter, hours, redate=other_year, extend=extend, temp_c=warmth)


def meter_notes(name: str, read: Meter, used: Meter) -> list[str]:
    """What every result that rests on a meter file says of it.

    Parameters
    ----------
    name : str
        How the site file names it.
    read, used : Meter
        As it was read, and as it lies on the year.
    """
    estimated = f"{100 * float(np.isin(read.quality, ESTIMATED).mean()):.2f} % of the readings estimated"
    told = estimated if (read.quality >= 0).any() else estimates_text(read.estimates_asked)
    delivered = used.register_kwh("delivered")
    added = 0.0 if used.filled is None else float(delivered[used.filled].sum())
    return [
        f"{name}: read as {read.dialect}",
        f"{name}: {read.readings:,} readings of {read.interval_s / 60:g} min, {read.energy_kwh:,.1f} kWh, "
        f"{100 * read.completeness_frac:.2f} % complete, {told}",
        f"{name}: {added:,.1f} of {delivered.sum():,.1f} kWh were filled in, not read",
        *(f"{name}: {one.count} {one.kind} ({one.where}): {one.done}" for one in used.issues),
    ]
