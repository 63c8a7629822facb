"""Columns of dates and times -> days and seconds on the clock of the file, whole columns at a time."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from profiles.meter.readings.column import Column
from profiles.meter.readings.question import Question
from profiles.meter.readings.stamps import DAY_S, NO_OFFSET, date_parts, match_of, second_of_day, zone_meaning
from profiles.noun import BadInput

FIRST_YEAR, LAST_YEAR = 1970, 2099
_FIXED = re.compile(
    rb"(?:(?P<ymd>\d{4}[-/.]\d\d[-/.]\d\d)|(?P<other>\d\d[-/.]\d\d[-/.]\d{4})|(?=\d\d:))(?:(?:[T ]|(?<!.))"
    rb"(?P<time>\d\d:\d\d(?P<second>:\d\d)?(?:\.0+)?)(?P<half> ?[AaPp][Mm])?)?(?P<zone>Z|[+-]\d\d:\d\d)?"
)
_ASCII_ZERO, _ASCII_P, _CASE = 48, 80, 223


@dataclass(frozen=True, eq=False)
class Stamps:
    """Stamps of a column, shape (n_rows,): day since 1970 and second of the day on the file's clock, -1 where absent.

    `offset_s` is the offset from UTC where a cell names one, else `NO_OFFSET`; `saving` is 1 or 0 where a cell says
    whether daylight saving was in force, else -1.
    """

    day: np.ndarray
    second: np.ndarray
    offset_s: np.ndarray
    saving: np.ndarray


@dataclass(frozen=True, eq=False)
class Scan:
    """Numbers of the stamps of a column, shape (n_rows,), before it is known which is the month.

    `first`, `second`, `third` are the three numbers of the date, `known` is True where they are year, month and day;
    `dated` is False where a cell holds no date at all. `of_day` is the second of the day, -1 where there is none.
    """

    first: np.ndarray
    second: np.ndarray
    third: np.ndarray
    known: np.ndarray
    dated: np.ndarray
    of_day: np.ndarray
    offset_s: np.ndarray
    saving: np.ndarray


def scan(column: Column) -> Scan:
    """The numbers of a column's stamps; read once."""
    if "scan" not in column.__dict__:
        column.__dict__["scan"] = _fixed(column) or _varied(column)
    return column.__dict__["scan"]


def dated(column: Column) -> np.ndarray:
    """True where a cell holds a date, with or without a time, shape (n_rows,)."""
    return scan(column).dated


def parsed(column: Column, order: str) -> Stamps:
    """Parse a column; a cell that is no date in `order` ("ymd", "mdy", "dmy") gets -1.

    Examples
    --------
    >>> found = parsed(Column.of(["1/2/1970 01:00", "1/2/1970 13:30", "x"]), "mdy")
    >>> found.day.tolist(), found.second.tolist()
    ([1, 1, -1], [3600, 48600, -1])
    """
    found = scan(column)
    month, day = (found.first, found.second) if order == "mdy" else (found.second, found.first)
    year = np.where(found.known, found.first, found.third)
    if not found.known.all():
        month = np.where(found.known, found.second, month)
        day = np.where(found.known, found.third, day)
    else:
        month, day = found.second, found.third
    return Stamps(_days(year, month, day, found.dated), found.of_day, found.offset_s, found.saving)


def _days(year: np.ndarray, month: np.ndarray, day: np.ndarray, there: np.ndarray) -> np.ndarray:
    """Days since 1970, -1 where there is no such date."""
    good = there & (year >= FIRST_YEAR) & (year <= LAST_YEAR) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = np.where(good, (year - FIRST_YEAR) * 12 + month - 1, 0)
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    days = first + day - 1
    if (day[good] > 28).any():
        good = good & (days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) == months)
    return np.where(good, days, -1)


def _fixed(column: Column) -> Scan | None:
    """Columns whose cells all have the form of the first, sign by sign."""
    if not len(column):
        return None
    form = _FIXED.fullmatch(column.raw[0])
    signs = column.matrix
    if form is None or not signs[:, -1].all():
        return None
    digit = signs[0] - _ASCII_ZERO <= 9
    free = [form.start("half") + len(form["half"]) - 2] if form["half"] else []
    free += [form.start("zone")] if form["zone"] and form["zone"] != b"Z" else []
    free += [form.end("half") - 1] if form["half"] else []
    fixed = ~digit
    fixed[free] = False
    if not ((signs[:, digit] - _ASCII_ZERO <= 9).all() and (signs[:, fixed] == signs[0, fixed]).all()):
        return None
    n = len(column)
    there = bool(form["ymd"] or form["other"])
    if not there:
        first = second = third = np.full(n, -1, np.int64)
    elif form["ymd"]:
        first, second, third = _number(signs, 0, 4), _number(signs, 5, 2), _number(signs, 8, 2)
    else:
        first, second, third = _number(signs, 0, 2), _number(signs, 3, 2), _number(signs, 6, 4)
    offset_s = np.full(n, NO_OFFSET, np.int64)
    if form["zone"] == b"Z":
        offset_s[:] = 0
    elif form["zone"]:
        at = form.start("zone")
        sign = signs[:, at]
        if not np.isin(sign, (43, 45)).all():
            return None
        offset_s = (_number(signs, at + 1, 2) * 3600 + _number(signs, at + 4, 2) * 60) * np.where(sign == 45, -1, 1)
    of_day = _fixed_second(signs, form)
    if of_day is None:
        return None
    known = np.full(n, form["ymd"] is not None)
    return Scan(first, second, third, known, np.full(n, there), of_day, offset_s, np.full(n, -1))


def _fixed_second(signs: np.ndarray, form: re.Match) -> np.ndarray | None:
    """Second of the day of cells of one form; None where a half of the day is neither a.m. nor p.m."""
    if not form["time"]:
        return np.full(len(signs), -1, np.int64)
    at = form.start("time")
    hour, minute = _number(signs, at, 2), _number(signs, at + 3, 2)
    second = _number(signs, at + 6, 2) if form["second"] else 0
    good = (minute < 60) & (second < 60)
    if form["half"]:
        letter = signs[:, form.end("half") - 2] & _CASE
        if not np.isin(letter, (_ASCII_P, 65)).all() or not (signs[:, form.end("half") - 1] & _CASE == 77).all():
            return None
        good &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + 12 * (letter == _ASCII_P)
    total = hour * 3600 + minute * 60 + second
    return np.where(good & (total <= DAY_S), total, -1)


def _number(signs: np.ndarray, at: int, n: int) -> np.ndarray:
    value = signs[:, at].astype(np.int64) - _ASCII_ZERO
    for k in range(1, n):
        value = value * 10 + (signs[:, at + k].astype(np.int64) - _ASCII_ZERO)
    return value


_NO_DATE = (-1, -1, -1, False, False)
_NO_TIME = (-1, NO_OFFSET, -1)


def _varied(column: Column) -> Scan:
    """Any other column: dates and times that occur again and again are read once each."""
    dates: dict[str, tuple | None] = {}
    times: dict[str, tuple | None] = {}
    left, right = [], []
    for text in column.cells:
        date, _, rest = text.partition(" ")
        if date not in dates:
            dates[date] = _lone_date(date)
        if rest not in times:
            times[rest] = _lone_time(rest)
        day, time = dates[date], times[rest]
        if day is None or time is None:
            day, time = _of_match(match_of(text))
        left.append(day)
        right.append(time)
    n = len(left)
    days = np.array(left, dtype=np.int64).reshape(n, 5)
    hours = np.array(right, dtype=np.int64).reshape(n, 3)
    return Scan(*days[:, :3].T, days[:, 3] > 0, days[:, 4] > 0, *hours.T)


def _of_match(match: re.Match | None) -> tuple[tuple, tuple]:
    if match is None:
        return _NO_DATE, _NO_TIME
    date, time, zone = match.group("date", "time", "zone")
    day = (*date_parts(date), True) if date else _NO_DATE
    return day, (second_of_day(time) if time else -1, *(zone_meaning(zone) if zone else (NO_OFFSET, -1)))


def _lone_date(text: str) -> tuple | None:
    match = match_of(text)
    whole = match is not None and match["date"] == text
    return (*date_parts(text), True) if whole else None


def _lone_time(text: str) -> tuple | None:
    """What stands behind the first space, where that is a time and a zone and nothing else."""
    if not text:
        return _NO_TIME
    match = match_of(text)
    return _of_match(match)[1] if match is not None and match["date"] is None and match["time"] else None


def date_order(column: Column, *, file: object, key: str) -> str:
    """Order of day and month of a column, proved by its own cells, refused where both can be meant.

    Raises
    ------
    BadInput
        No cell has a day beyond 12, or both orders occur.

    Examples
    --------
    >>> date_order(Column.of(["01/12/2025", "01/13/2025"]), file="a.csv", key="Date")
    'mdy'
    """
    found = scan(column)
    open_ = found.dated & ~found.known
    if not open_.any():
        return "ymd"
    first, second = int(found.first[open_].max()), int(found.second[open_].max())
    if first > 12 and second > 12:
        raise BadInput("mixes month first and day first", file=file, key=key, way_out="give one download at a time")
    if first <= 12 and second <= 12:
        example = match_of(column.raw[int(np.argmax(open_))].decode())["date"]
        one, two, _ = re.findall(r"\d+", example)
        raise Question(
            f'can be read in two ways: {example} is month {one} day {two} ("mdy") or day {one} month {two} ("dmy")',
            file=file,
            key=key,
            way_out='state dialect.date_order = "mdy" or "dmy"',
            trial={"date_order": "mdy"},
        )
    return "dmy" if first > 12 else "mdy"
