"""A year that the file does not hold: part of a year extended by a stated method, or another year re-dated."""

from __future__ import annotations

import datetime as dt

import numpy as np

from profiles.hours import Hours, hours_of_year
from profiles.meter.on_axis.axis import covered_kw, meter_kw, meter_years, step_starts
from profiles.meter.readings.clock import zone_clock
from profiles.meter.readings.meter import Issue, Meter, merged
from profiles.noun import BadInput

BALANCE_C = 18.0  # heating and cooling degree days to 65 F, rounded: common practice
PROJECTED = 12
FEWEST_DAYS, FEWEST_DEGREE_DAYS = 7, 30
METHODS = ("like-weekdays", "degree-days")


def extend_year(meter: Meter, hours: Hours, method: str = "like-weekdays", temp_c=None) -> Meter:
    """Part of a year extended to the whole of it, every added step flagged.

    Parameters
    ----------
    meter : Meter
    hours : Hours
        The year wanted; what the file holds of it is kept.
    method : str
        "like-weekdays": each missing day is the nearest day of the year, around the turn of the year, with the same
        weekday. "degree-days": that day scaled to a daily energy of a + b HDD + c CDD, fitted to the days that were
        read (a, b, c >= 0, balance point 18 degC).
    temp_c : array_like, shape (n_steps,)
        Outdoor temperature on the axis, for "degree-days". [degC]

    Returns
    -------
    Meter
        One reading a step, `filled` where it was added.

    Raises
    ------
    BadInput
        Unknown method, no temperatures, or too few whole days: one of each weekday, 30 for degree days.
    """
    if method not in METHODS:
        raise BadInput('must be "like-weekdays" or "degree-days"', key="method", value=method)
    if method == "degree-days" and (temp_c is None or np.shape(temp_c) != (hours.n_steps,)):
        raise BadInput("needs outdoor temperatures on every step of the year", key="temp_c", value=np.shape(temp_c))
    registers = [covered_kw(meter, hours, name) for name in ("delivered", "received")]
    missing = np.isnan(registers[0])
    whole = np.array([not missing[hours.day == day].any() for day in range(hours.n_days)])
    _refuse_few(meter, hours, whole, FEWEST_DEGREE_DAYS if method == "degree-days" else FEWEST_DAYS)
    source = _nearest_like_days(hours, whole)
    steps = day_table(hours)
    factor, text = np.ones(hours.n_days), "the nearest day of the same weekday that was read"
    if method == "degree-days":
        factor, text = _degree_day_factor(registers[0], hours, whole, source, np.asarray(temp_c, dtype=float))
    from_step = steps[source[hours.day], hours.minute // hours.step_min]
    filled = [np.where(missing, kw[from_step] * factor[hours.day], kw) for kw in registers]
    share = f"{100 * missing.mean():.0f} % of the year"
    issue = Issue("extended", int(missing.sum()), f"{share}", f"added by {method}: {text}")
    return _on_axis(meter, hours, filled, missing, issue)


def redate(meter: Meter, hours: Hours) -> Meter:
    """The latest whole year of a file put on the calendar of another, weekday on weekday, season on season.

    Each day of the year wanted takes the day of the source year at most three days away that has its weekday. At both
    ends of the year, and on 29 February, a day may be used twice; days used twice and never are counted.

    Raises
    ------
    BadInput
        The file holds no whole year.
    """
    years = meter_years(meter, hours.timezone)
    if not years:
        raise BadInput(
            "holds no whole calendar year",
            file=meter.path or meter.source,
            way_out="extend it to a year by a stated method first",
        )
    theirs = hours_of_year(years[-1], hours.timezone, hours.step_min)
    source = np.array([_same_weekday(hours.year, day, theirs) for day in range(hours.n_days)])
    from_step = day_table(theirs)[source[hours.day], hours.minute // hours.step_min]
    registers = [meter_kw(meter, theirs, register=name)[from_step] for name in ("delivered", "received")]
    used = np.bincount(source, minlength=theirs.n_days)
    text = f"readings of {theirs.year} on the days of {hours.year} by weekday and season"
    issue = Issue(
        "redated", hours.n_days, f"{int((used > 1).sum())} days used twice, {int((used == 0).sum())} never", text
    )
    return _on_axis(meter, hours, registers, None, issue)


def day_table(hours: Hours) -> np.ndarray:
    """Step by local day and wall-clock interval, shape (n_days, intervals of a day).

    An hour that the clock skips holds the step before it, one that occurs twice the first of the two.
    """
    table = np.full((hours.n_days, 1440 // hours.step_min), -1, dtype=np.int64)
    backwards = np.arange(hours.n_steps)[::-1]
    table[hours.day[backwards], hours.minute[backwards] // hours.step_min] = backwards
    flat = table.ravel()
    return np.maximum.accumulate(np.maximum(flat, 0)).reshape(table.shape)


def _refuse_few(meter: Meter, hours: Hours, whole: np.ndarray, fewest: int) -> None:
    first = dt.date(hours.year, 1, 1).weekday()
    weekdays = {int((day + first) % 7) for day in np.flatnonzero(whole)}
    if len(weekdays) < 7 or whole.sum() < fewest:
        raise BadInput(
            f"has {int(whole.sum())} whole days of {hours.year}, too few to extend: one of each weekday and "
            f"{fewest} in all are needed",
            file=meter.path or meter.source,
            way_out="give a longer file",
        )


def _nearest_like_days(hours: Hours, whole: np.ndarray) -> np.ndarray:
    """For each day the nearest whole day with its weekday, counting around the turn of the year."""
    n = hours.n_days
    read = np.flatnonzero(whole)
    first = dt.date(hours.year, 1, 1).weekday()
    source = np.empty(n, dtype=np.int64)
    for day in range(n):
        like = read[(read + first) % 7 == (day + first) % 7]
        away = np.abs(like - day)
        source[day] = like[np.argmin(np.minimum(away, n - away))]
    return source


def _degree_day_factor(kw, hours: Hours, whole, source, temp_c) -> tuple[np.ndarray, str]:
    """Factor on each day's source day, and the fit in words."""
    from scipy.optimize import nnls

    days = [hours.day == day for day in range(hours.n_days)]
    mean_c = np.array([temp_c[mask].mean() for mask in days])
    if not np.isfinite(mean_c).all():
        raise BadInput("needs a finite temperature on every step", key="temp_c")
    terms = np.column_stack((np.ones(len(days)), np.maximum(BALANCE_C - mean_c, 0), np.maximum(mean_c - BALANCE_C, 0)))
    daily = np.array([kw[mask].mean() * 24.0 for mask in days])  # of 24 h, so that a day of 23 or 25 fits in
    fit, _ = nnls(terms[whole], daily[whole])
    modelled = terms @ fit
    spread = float(((daily[whole] - daily[whole].mean()) ** 2).sum())
    explained = 1.0 - float(((daily[whole] - modelled[whole]) ** 2).sum()) / spread if spread else 1.0
    at_source = modelled[source]
    factor = np.divide(modelled, at_source, out=np.ones(len(days)), where=at_source > 0)
    text = (
        f"{fit[0]:.2f} kWh a day + {fit[1]:.3f} per heating and {fit[2]:.3f} per cooling degree day "
        f"to {BALANCE_C:g} degC, fitted to {int(whole.sum())} days "
        f"(R2 {explained:.2f}), shaped by the nearest day of the same weekday"
    )
    return factor, text


def _same_weekday(year: int, day: int, theirs: Hours) -> int:
    """Day of the source year within three days of the same date and with the same weekday."""
    date = dt.date(year, 1, 1) + dt.timedelta(days=day)
    length = 366 if theirs.n_days == 366 else 365
    at = min(date.timetuple().tm_yday - 1, length - 1)
    weekday = (dt.date(theirs.year, 1, 1).weekday() + at) % 7
    shift = (date.weekday() - weekday + 3) % 7 - 3
    moved = at + shift
    return moved + 7 * (moved < 0) - 7 * (moved >= theirs.n_days)


def _on_axis(meter: Meter, hours: Hours, registers: list, filled: np.ndarray | None, issue: Issue) -> Meter:
    """A meter with one reading a step; without `filled` every step is projected."""
    n, step_s = hours.n_steps, hours.step_min * 60
    delivered, received = (kw * hours.step_h for kw in registers)
    two = meter.received_kwh is not None
    projected = np.ones(n, bool) if filled is None else filled
    return meter.changed(
        start_utc=step_starts(hours).copy(),
        duration_s=np.full(n, step_s, dtype=np.int64),
        kwh=delivered if two else delivered - received,
        received_kwh=received if two else None,
        quality=np.where(projected, PROJECTED, -1),
        cost=None,
        interval_s=step_s,
        readings=n,
        covered_s=n * step_s if filled is None else int((~filled).sum()) * step_s,
        local=zone_clock(hours.timezone),
        timezone=hours.timezone,
        filled=filled,
        issues=merged((*meter.issues, issue)),
    )
