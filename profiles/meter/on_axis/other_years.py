"""A year that the file does not hold: readings of other dates laid on it; what no date holds by a stated method."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from profiles.hours import Hours
from profiles.meter.on_axis.axis import covered_kw, step_starts
from profiles.meter.on_axis.degree_days import degree_day_factor
from profiles.meter.on_axis.source_days import SourceDays, filled_steps, like_day, seasons, source_days
from profiles.meter.readings.clock import zone_clock
from profiles.meter.readings.meter import Issue, Meter, merged
from profiles.noun import BadInput

PROJECTED = 12
FEWEST_DAYS, FEWEST_DEGREE_DAYS = 7, 30
SPARED_DAYS = 1  # days of a year that a file may lack and still be called a year
METHODS = ("like-weekdays", "degree-days")
_EPOCH = dt.date(1970, 1, 1).toordinal()


@dataclass(frozen=True, eq=False)
class _Plan:
    """Which day of the file each day of the year takes; days read on their own date take none.

    `source` indexes the file's days, `own` is True where all of the date was read, `invented` where the season stands
    nowhere in the file. All of shape (n_days,).
    """

    source: np.ndarray
    own: np.ndarray
    invented: np.ndarray

    @property
    def redated(self) -> np.ndarray:
        return ~self.own & ~self.invented


def extend_year(meter: Meter, hours: Hours, method: str = "like-weekdays", temp_c=None) -> Meter:
    """Part of a year extended to the whole of it, every invented step flagged.

    Parameters
    ----------
    meter : Meter
    hours : Hours
        The year wanted; what the file holds of it is kept, and the same season of the file stands in for the rest
        before anything is invented.
    method : str
        "like-weekdays": each missing day is the nearest day of the year, around the turn of the year, with the same
        weekday. "degree-days": that day scaled to a daily energy of a + b HDD + c CDD, fitted to the days that were
        read (a, b, c >= 0, balance point 18 degC).
    temp_c : array_like, shape (n_steps,)
        Outdoor temperature on the axis, for "degree-days". [degC]

    Returns
    -------
    Meter
        One reading a step, `filled` where it was invented.

    Raises
    ------
    BadInput
        Unknown method, no temperatures, or too few whole days: one of each weekday, 30 for degree days.
    """
    return laid_on(meter, hours, extend=method, temp_c=temp_c)


def redate(meter: Meter, hours: Hours) -> Meter:
    """The latest whole year of a file, whichever calendar years it spans, put on the calendar of another.

    What was read on a date of the year wanted stays there. Each other day takes the day of the file nearest in season
    that has its weekday, of the latest 365 days first. Where the file's year begins and ends, and on 29 February, a day
    may be used twice; days used twice and never are counted.

    Raises
    ------
    BadInput
        More than one day of the year stands nowhere in the file.
    """
    return laid_on(meter, hours, redate=True)


def laid_on(meter: Meter, hours: Hours, *, redate: bool = False, extend: str | None = None, temp_c=None) -> Meter:
    """A file's readings on a year: own dates, then the same season, then what `extend` invents; see `meter_on_year`."""
    if extend is not None and extend not in METHODS:
        raise BadInput('must be "like-weekdays" or "degree-days"', key="method", value=extend)
    if extend == "degree-days" and (temp_c is None or np.shape(temp_c) != (hours.n_steps,)):
        raise BadInput("needs outdoor temperatures on every step of the year", key="temp_c", value=np.shape(temp_c))
    mended, days = source_days(meter, hours)
    if extend is None:
        _refuse_part(meter, hours, days)
    else:
        _refuse_few(meter, hours, days, FEWEST_DEGREE_DAYS if extend == "degree-days" else FEWEST_DAYS, redate)
    plan = _plan(hours, days)
    factor, text = np.ones(hours.n_days), "the nearest day of the same weekday that was read"
    if extend == "degree-days":
        factor, text = degree_day_factor(hours, days, plan.source, np.asarray(temp_c, dtype=float))
        factor = np.where(plan.invented, factor, 1.0)
    slot = hours.minute // hours.step_min
    own = [covered_kw(mended, hours, name) for name in ("delivered", "received")]
    unread = np.isnan(own[0])
    tables = (days.delivered, days.received)
    registers = [
        np.where(unread, table[plan.source[hours.day], slot] * factor[hours.day], kw)
        for kw, table in zip(own, tables, strict=True)
    ]
    invented = unread & plan.invented[hours.day]
    filled = np.where(unread, days.filled[plan.source[hours.day], slot], filled_steps(mended, hours)) | invented
    issues = _redated_issue(mended, hours, days, plan, registers[0] * hours.step_h)
    if invented.any():
        share = f"{100 * invented.mean():.0f} % of the year"
        issues += (Issue("extended", int(invented.sum()), share, f"added by {extend}: {text}"),)
    return _on_axis(mended, hours, registers, unread, filled, issues)


def _plan(hours: Hours, days: SourceDays) -> _Plan:
    first = dt.date(hours.year, 1, 1).toordinal() - _EPOCH
    date, season = first + np.arange(hours.n_days), seasons(hours)
    at = {int(one): k for k, one in enumerate(days.date)}
    own = np.array([int(one) in at for one in date])
    like = [at.get(int(one), -1) for one in date]
    source = [
        k if k >= 0 else like_day(days, int((one + 3) % 7), int(when))
        for k, one, when in zip(like, date, season, strict=True)
    ]
    spared = len(_seasons_missing(days)) <= SPARED_DAYS
    return _Plan(np.array(source), own, ~own & ~np.isin(season, days.season) & (not spared))


def _seasons_missing(days: SourceDays) -> np.ndarray:
    return np.setdiff1d(np.arange(365), days.season)


def _refuse_part(meter: Meter, hours: Hours, days: SourceDays) -> None:
    missing = _seasons_missing(days)
    if len(missing) > SPARED_DAYS:
        first = dt.date(2001, 1, 1) + dt.timedelta(days=int(missing[0]))
        raise BadInput(
            f"holds no whole year: {len(missing)} days of the year were read in no year, the first is {first:%d %B}",
            file=meter.path or meter.source,
            way_out='state extend = "like-weekdays" or "degree-days" beside its name too, or give a longer file',
        )


def _refuse_few(meter: Meter, hours: Hours, days: SourceDays, fewest: int, redate: bool) -> None:
    mine = days.date.astype("datetime64[D]").astype("datetime64[Y]").astype(int) + 1970 == hours.year
    if not redate and not mine.any() and len(days):
        raise BadInput(
            f"has no whole day of {hours.year}",
            file=meter.path or meter.source,
            way_out="state redate = true beside its name, or set site.year to a year that it holds",
        )
    if len(set(days.weekday.tolist())) < 7 or len(days) < fewest:
        raise BadInput(
            f"has {len(days)} whole days, too few to extend: one of each weekday and {fewest} in all are needed",
            file=meter.path or meter.source,
            way_out="give a longer file",
        )


def _redated_issue(meter: Meter, hours: Hours, days: SourceDays, plan: _Plan, kwh: np.ndarray) -> tuple[Issue, ...]:
    """How many days took another date's readings, and what the file and the year hold."""
    if not plan.redated.any():
        return ()
    used = np.bincount(plan.source, minlength=len(days))[days.latest]
    taken = days.date[plan.source[plan.redated]]
    first, last = (np.datetime64(int(one), "D") for one in (taken.min(), taken.max()))
    years = {str(first)[:4], str(last)[:4]}
    span = years.pop() if len(years) == 1 else f"{first} to {last}"
    latest = days.date[days.latest]
    theirs = float(days.delivered[days.latest].mean(axis=1).sum() * 24.0)
    text = (
        f"readings of {span} on the days of {hours.year} by weekday and season; the file's last {len(latest)} whole "
        f"days hold {theirs:,.1f} kWh, the year now {kwh.sum():,.1f}"
    )
    where = f"{int((used > 1).sum())} days used twice, {int((used == 0).sum())} never"
    return (Issue("redated", int(plan.redated.sum()), where, text),)


def _on_axis(meter: Meter, hours: Hours, registers: list, moved: np.ndarray, filled: np.ndarray, issues) -> Meter:
    """A meter with one reading a step; `moved` steps were not read on their own date."""
    n, step_s = hours.n_steps, hours.step_min * 60
    delivered, received = (kw * hours.step_h for kw in registers)
    two = meter.received_kwh is not None
    return meter.changed(
        start_utc=step_starts(hours).copy(),
        duration_s=np.full(n, step_s, dtype=np.int64),
        kwh=delivered if two else delivered - received,
        received_kwh=received if two else None,
        quality=np.where(moved, PROJECTED, -1),
        cost=None,
        interval_s=step_s,
        readings=n,
        covered_s=int((~filled).sum()) * step_s,
        local=zone_clock(hours.timezone),
        timezone=hours.timezone,
        filled=filled,
        issues=merged((*meter.issues, *issues)),
    )
