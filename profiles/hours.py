"""The hour axis: a local calendar year cut into equal steps of UTC. The only file that knows calendars."""

from __future__ import annotations

import datetime as dt
import functools
import re
import zoneinfo
from dataclasses import dataclass

import numpy as np
import pandas as pd

from profiles.noun import BadInput

STEP_MINUTES = (60, 30, 15, 5, 1)
DAY_KINDS = ("all", "weekday", "weekend")


@dataclass(frozen=True, eq=False)
class Hours:
    """One local year of equal steps, stamped at their start; every array has shape (n_steps,).

    Attributes
    ----------
    year, timezone, step_min
        As asked for; `step_h` is the step in hours.
    utc, local : DatetimeIndex, shape (n_steps,)
        Start of each step, in UTC and on the local clock.
    month : ndarray of int, shape (n_steps,)
        Local month, 1 to 12.
    day : ndarray of int, shape (n_steps,)
        Days since local 1 January, 0 to 364 or 365.
    weekday : ndarray of int, shape (n_steps,)
        0 is Monday.
    minute : ndarray of int, shape (n_steps,)
        Minutes of the local wall clock since midnight, 0 to 1439.
    """

    year: int
    timezone: str
    step_min: int
    utc: pd.DatetimeIndex
    local: pd.DatetimeIndex
    month: np.ndarray
    day: np.ndarray
    weekday: np.ndarray
    minute: np.ndarray

    @property
    def n_steps(self) -> int:
        return len(self.utc)

    @property
    def step_h(self) -> float:
        return self.step_min / 60.0

    @functools.cached_property
    def n_days(self) -> int:
        """Local days in the year."""
        return int(self.day[-1]) + 1

    @functools.cached_property
    def local_text(self) -> list[str]:
        """ISO stamps on the local clock with their UTC offset."""
        return [stamp.isoformat() for stamp in self.local]

    def index_of(self, local_time: str, *, key: str = "") -> int:
        """Step that holds a local time such as "2025-01-14T18:00"; one that occurs twice means the first.

        Raises
        ------
        BadInput
            Not a time, outside the year, or skipped by the clock change.
        """
        try:
            naive = dt.datetime.fromisoformat(local_time)
        except (TypeError, ValueError):
            raise BadInput(
                "must be a local time", key=key, value=local_time, way_out="write 2025-01-14T18:00"
            ) from None
        if naive.tzinfo is None:
            stamp = naive.replace(tzinfo=_zone(self.timezone), fold=0)
            back = stamp.astimezone(dt.UTC).astimezone(_zone(self.timezone))
            if back.replace(tzinfo=None) != naive:
                raise BadInput(
                    f"does not exist in {self.timezone}: the clocks skip it",
                    key=key,
                    value=local_time,
                    way_out="name a time an hour earlier or later",
                )
        else:
            stamp = naive
        step = int((pd.Timestamp(stamp).tz_convert("UTC") - self.utc[0]) // pd.Timedelta(minutes=self.step_min))
        if not 0 <= step < self.n_steps:
            raise BadInput(f"must lie in {self.year}", key=key, value=local_time, way_out="or change site.year")
        return step

    def in_windows(self, windows: str, *, key: str = "hours") -> np.ndarray:
        """True where the step lies in one of the daily windows, such as "06:00-10:00, 17:00-21:00".

        A window that ends before it begins runs over midnight. Windows are on the local wall clock.

        Returns
        -------
        ndarray of bool, shape (n_steps,)

        Raises
        ------
        BadInput
            Not written as HH:MM-HH:MM, or a bound inside a step.

        Examples
        --------
        >>> int(hours_of_year(2025, "UTC").in_windows("22:00-06:00")[:24].sum())
        8
        """
        mask = np.zeros(self.n_steps, bool)
        for start, end in window_minutes(windows, key=key):
            if start % self.step_min or end % self.step_min:
                finer = max(m for m in STEP_MINUTES if start % m == 0 and end % m == 0)
                raise BadInput(
                    f"has a bound inside a step of {self.step_min} min",
                    key=key,
                    value=windows,
                    way_out=f"set site.step_min = {finer}" if finer else "no step suits that year: choose another",
                )
            inside = (self.minute >= start) & (self.minute < end)
            mask |= inside if start < end else (self.minute >= start) | (self.minute < end)
        return mask

    def on_days(self, days: str, holidays: frozenset[dt.date] | tuple = ()) -> np.ndarray:
        """True on the named kind of day: "all", "weekday" or "weekend"; holidays given count as weekend.

        Returns
        -------
        ndarray of bool, shape (n_steps,)
        """
        weekend = self.weekday >= 5
        if holidays:
            weekend = weekend | self.is_on(holidays)
        return {"all": np.ones(self.n_steps, bool), "weekday": ~weekend, "weekend": weekend}[days]

    def is_on(self, dates) -> np.ndarray:
        """True where the step's local date is one of `dates`, shape (n_steps,)."""
        first = dt.date(self.year, 1, 1)
        wanted = [(date - first).days for date in dates]
        return np.isin(self.day, np.array(wanted, dtype=np.int64))


def hours_of_year(year: int, timezone: str, step_min: int = 60) -> Hours:
    """Hour axis from local New Year to local New Year, counted, never assumed to be 8,760 hours.

    Parameters
    ----------
    year : int
        Calendar year, 1970 to 2100.
    timezone : str
        IANA name of the zone.
    step_min : int
        60, 30, 15, 5 or 1. [min]

    Raises
    ------
    BadInput
        Unknown zone or step, or a clock change that is not a whole number of steps.

    Examples
    --------
    >>> hours_of_year(2025, "America/New_York").n_steps
    8760
    >>> hours_of_year(2024, "Asia/Almaty").n_steps  # the zone moved back an hour in March
    8785
    """
    if isinstance(year, bool) or not isinstance(year, int | np.integer) or not 1970 <= year <= 2100:
        raise BadInput("must be a calendar year from 1970 to 2100", key="site.year", value=year)
    if step_min not in STEP_MINUTES:
        raise BadInput("must be 60, 30, 15, 5 or 1", key="site.step_min", value=step_min)
    return _hours_of_year(int(year), timezone, int(step_min))


def _suits(year: int, timezone: str, step_min: int) -> bool:
    """Whether every local clock change of a year falls between two steps and is a whole number of them."""
    zone, step = _zone(timezone), pd.Timedelta(minutes=step_min)
    start, end = (pd.Timestamp(dt.datetime(y, 1, 1, tzinfo=zone)).tz_convert("UTC") for y in (year, year + 1))
    utc = pd.date_range(start, end, freq=step, inclusive="left")
    first, last = utc.tz_convert(zone), (utc + (step - pd.Timedelta(seconds=1))).tz_convert(zone)
    begins, ends = (np.asarray((one.hour * 60 + one.minute) * 60 + one.second) for one in (first, last))
    return bool(((begins % (60 * step_min) == 0) & (ends - begins == 60 * step_min - 1)).all())


@functools.lru_cache(maxsize=16)
def _hours_of_year(year: int, timezone: str, step_min: int) -> Hours:
    zone = _zone(timezone)
    start, end = (pd.Timestamp(dt.datetime(y, 1, 1, tzinfo=zone)).tz_convert("UTC") for y in (year, year + 1))
    utc = pd.date_range(start, end, freq=f"{step_min}min", inclusive="left").as_unit("ns")
    local = utc.tz_convert(zone)
    minute = np.asarray(local.hour * 60 + local.minute, dtype=np.int64)
    if not _suits(year, timezone, step_min):
        finer = next((m for m in STEP_MINUTES if m < step_min and _suits(year, timezone, m)), None)
        raise BadInput(
            f"has a clock change that is not a whole number of {step_min}-minute steps",
            key="site.timezone",
            value=timezone,
            way_out=f"set site.step_min = {finer}" if finer else "no step suits that year: choose another",
        )
    month, weekday = (np.asarray(part, dtype=np.int64) for part in (local.month, local.day_of_week))
    day = np.asarray(local.day_of_year, dtype=np.int64) - 1
    for array in (minute, month, weekday, day):
        array.flags.writeable = False
    return Hours(year, timezone, step_min, utc, local, month, day, weekday, minute)


def _zone(timezone: str) -> zoneinfo.ZoneInfo:
    try:
        return zoneinfo.ZoneInfo(timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, TypeError, OSError):
        raise BadInput(
            "is not an IANA time zone",
            key="site.timezone",
            value=timezone,
            way_out='write one such as "America/New_York"',
        ) from None


_WINDOW = re.compile(r"\s*(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\s*", re.ASCII)


def window_minutes(windows: str, *, key: str = "hours") -> list[tuple[int, int]]:
    """Start and end of each daily window, in minutes of the day; 24:00 is 1440.

    Examples
    --------
    >>> window_minutes("06:00-10:00, 17:30-24:00")
    [(360, 600), (1050, 1440)]
    """
    bounds = []
    for part in windows.split(","):
        match = _WINDOW.fullmatch(part)
        start, end = (int(match[1]) * 60 + int(match[2]), int(match[3]) * 60 + int(match[4])) if match else (0, 0)
        if not match or int(match[2]) > 59 or int(match[4]) > 59 or not start < 1440 or not end <= 1440 or start == end:
            raise BadInput(
                "must be windows of the day", key=key, value=windows, way_out='write "06:00-10:00, 17:00-21:00"'
            )
        bounds.append((start, end if end else 1440))
    return bounds


def holiday_dates(
    calendar: str, year: int, *, observed: str = "observed", extra: tuple[str, ...] = (), removed: tuple[str, ...] = ()
) -> tuple[dt.date, ...]:
    """Dates in `year` that a rate counts as holidays.

    Parameters
    ----------
    calendar : str
        "none", a country such as "US", or country and subdivision such as "CA-ON".
    observed : str
        "observed" moves Saturday to Friday and Sunday to Monday as the calendar's own law does, "actual" moves
        nothing, "sunday-only" moves a Sunday to the Monday after it and leaves a Saturday.
    extra, removed : tuple of str
        ISO dates added and taken away.

    Raises
    ------
    BadInput
        Unknown calendar, rule or date.

    Notes
    -----
    The lists are those of the `holidays` library. What it returned belongs into the assumptions of a result.

    Examples
    --------
    Independence Day 2026 is a Saturday; the federal day off is Friday the third:

    >>> [str(day) for day in holiday_dates("US", 2026) if day.month == 7]
    ['2026-07-03']
    >>> [str(day) for day in holiday_dates("US", 2026, observed="sunday-only") if day.month == 7]
    ['2026-07-04']
    """
    if observed not in ("observed", "actual", "sunday-only"):
        raise BadInput('must be "observed", "actual" or "sunday-only"', key="rate.holiday_observed", value=observed)
    days = set() if calendar == "none" else _calendar_days(calendar, year, observed)
    days |= {_date(text, "rate.extra_holidays") for text in extra}
    days -= {_date(text, "rate.removed_holidays") for text in removed}
    return tuple(sorted(day for day in days if day.year == year))


def _calendar_days(calendar: str, year: int, observed: str) -> set[dt.date]:
    import holidays as library

    country, _, subdivision = calendar.partition("-")
    try:
        years = [year - 1, year, year + 1]
        find = functools.partial(library.country_holidays, country, subdiv=subdivision or None, years=years)
        actual = find(observed=False)
        days = set(find(observed=True)) if observed == "observed" else set(actual)
    except NotImplementedError:
        raise BadInput(
            "is not a holiday calendar that is known",
            key="rate.holidays",
            value=calendar,
            way_out='write a country such as "US", or "CA-ON", or "none" with extra_holidays',
        ) from None
    if observed == "observed":
        moved = {day for day, name in find(observed=True).items() if "observed" in name.lower()}
        days -= {day for day in actual if _weekend_day_moved(day, moved)}
    if observed == "sunday-only":
        days = {day + dt.timedelta(days=1) if day.weekday() == 6 else day for day in days}
    return days


def _weekend_day_moved(day: dt.date, moved: set[dt.date]) -> bool:
    shift = {5: -1, 6: 1}.get(day.weekday())
    return shift is not None and day + dt.timedelta(days=shift) in moved


def _date(text: str, key: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except (TypeError, ValueError):
        raise BadInput("must be an ISO date", key=key, value=text, way_out='write "2025-12-26"') from None
