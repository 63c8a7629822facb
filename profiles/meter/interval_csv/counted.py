"""Rows that count the intervals of their day: hours 1 to 24, periods 1 to 48, and 25 or 50 on the long day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.meter.readings.clock import DAY_S, Clock
from profiles.meter.readings.dialect import Dialect
from profiles.noun import BadInput

COUNTS = (24, 48, 96, 288)
LARGEST_COUNT = 300
_MINUTES = 60


@dataclass(frozen=True, eq=False)
class Counted:
    """What a column of numbers says about each row, shape (n_rows,).

    `second` labels the row within its day, -1 where the cell holds no such number; `kind` is "beginning", "ending" or
    None where the numbers do not show it; `ordinal` counts the day's intervals from 0, None where they are clock times
    such as 1330; rows beyond 24 h are `extra`.
    """

    second: np.ndarray
    kind: str | None
    ordinal: np.ndarray | None
    extra: np.ndarray
    interval_s: int | None


def counted(cells: list[str], day: np.ndarray, *, file: object, key: str) -> Counted:
    """Read a column of hours, of clock times without a colon, or of intervals counted through the day.

    Parameters
    ----------
    cells : list of str
        Whole numbers; others are left out.
    day : ndarray of int64, shape (n_rows,)
        Days since 1970, -1 where there is none.

    Raises
    ------
    BadInput
        Numbers that are neither clock times nor a count of 24, 48, 96 or 288 a day.

    Examples
    --------
    >>> day = np.zeros(3, dtype=int)
    >>> counted(["15", "30", "2400"], day, file="a.csv", key="Time").second.tolist()
    [900, 1800, 86400]
    >>> counted([str(k) for k in range(1, 49)], np.zeros(48, dtype=int), file="a.csv", key="Period").interval_s
    1800
    """
    numbers = np.array([int(text) if text.isdigit() else -1 for text in cells], dtype=np.int64)
    none = np.zeros(len(numbers), bool)
    if _are_clock_times(numbers):
        seconds = np.where(numbers < 0, -1, numbers // 100 * 3600 + numbers % 100 * 60)
        kind = "ending" if (seconds == DAY_S).any() else "beginning" if (seconds == 0).any() else None
        return Counted(np.where(seconds > DAY_S, -1, seconds), kind, None, none, None)
    if not (numbers >= 0).any():
        return Counted(np.full(len(numbers), -1), None, None, none, None)
    first = 0 if (numbers == 0).any() else 1
    per_day = _per_day(numbers, day, first, file, key)
    interval_s = DAY_S // per_day
    known = numbers >= 0
    ordinal = np.where(known, numbers - first, -1)
    kind = "beginning" if not first else "ending" if (numbers >= per_day).any() or per_day != 24 else None
    second = np.where(known, numbers * interval_s, -1)
    return Counted(second, kind, ordinal, ordinal >= per_day, interval_s)


def _are_clock_times(numbers: np.ndarray) -> bool:
    """True for 0, 15, 30, 45, 100 ... 2400."""
    known = numbers[numbers >= 0]
    if not len(known) or known.max() <= 25:
        return False
    return bool(known.max() > LARGEST_COUNT or (known % 5 == 0).all() and (known % 100 < _MINUTES).all())


def _per_day(numbers: np.ndarray, day: np.ndarray, first: int, file, key: str) -> int:
    """How many intervals a usual day has: the last number of most days, give or take the hour of a clock change."""
    good = (numbers >= 0) & (day >= 0)
    if not good.any():
        return COUNTS[0]
    days, row_day = np.unique(day[good], return_inverse=True)
    last = np.zeros(len(days), dtype=np.int64)
    np.maximum.at(last, row_day, numbers[good] - first + 1)
    usual = int(np.bincount(last).argmax())
    per_day = min(COUNTS, key=lambda each: abs(usual - each) / each)
    if last.max() > per_day + per_day // 24 or usual < per_day - per_day // 24 and per_day != 24:
        raise BadInput(
            f"counts to {int(last.max())} a day: neither hours nor 48, 96 or 288 intervals",
            file=file,
            key=key,
            way_out="give a file with a time in each row",
        )
    return per_day


def counts_days(found: Counted, day: np.ndarray) -> bool:
    """True where some day runs beyond 24 h or ends an hour early, so that numbers may count the day's own intervals."""
    if found.ordinal is None:
        return False
    if found.extra.any():
        return True
    per_day = DAY_S // found.interval_s
    short = per_day - per_day // 24
    days, row_day, rows = np.unique(day, return_inverse=True, return_counts=True)
    last = np.zeros(len(days), dtype=np.int64)
    np.maximum.at(last, row_day, found.ordinal + 1)
    return bool(((last == short) & (rows == short)).any())


def hour_that_occurs_twice(begin: int, zone: Clock | None, *, file: object) -> int:
    """Wall-clock seconds at which the hour that a long day repeats begins; `begin` is the day's midnight.

    Raises
    ------
    BadInput
        The clock is not put back on that day, or no zone was given.
    """
    changes = zone.changes(begin - DAY_S, begin + 2 * DAY_S) if zone else []
    for at in changes:
        local = at + zone.offset_at(at)
        if begin <= local < begin + DAY_S and zone.offset_at(at) < zone.offset_at(at - 1):
            return local
    raise BadInput(
        "has a day of more than 24 h where the clock does not change",
        file=file,
        way_out="give the timezone of the meter",
    )


def extra_second(found: Counted, day: np.ndarray, usable: np.ndarray, zone: Clock | None, dialect: Dialect, file):
    """Second of the day of each row, those beyond 24 h labelled as the hour that occurs twice on that day.

    Raises
    ------
    BadInput
        A day that is longer than its clock.
    """
    second = found.second.copy()
    rows = np.flatnonzero(found.extra & usable)
    if len(rows) and dialect.clock not in (None, "wall"):
        raise BadInput(
            "has a day of more than 24 h, which only a wall clock has",
            file=file,
            key="dialect.clock",
            value=dialect.clock,
            way_out='state "wall", or leave it out',
        )
    for i in rows:
        begin = int(day[i]) * DAY_S
        twice = hour_that_occurs_twice(begin, zone, file=file) - begin
        lag = found.interval_s if found.kind == "ending" else 0
        second[i] = twice + lag + (int(found.ordinal[i]) - DAY_S // found.interval_s) * found.interval_s
    return second
