"""Dates and times as meter files write them -> days and seconds on the clock of the file."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput

DAY_S = 86_400
_YEARS = range(1970, 2100)
_EPOCH = dt.date(1970, 1, 1).toordinal()
_MONTHS = {
    name: k
    for k, name in enumerate(("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), 1)
}
_DATE = (
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})(?!\d)|(?:19|20)\d{6}(?!\d)"
    r"|\d{1,2}[- ][A-Za-z]{3,9}[- ,]+\d{2,4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}"
)
_TIME = r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d{1,9})?)?(?:\s*[AaPp]\.?[Mm]\.?)?|\d{1,2}\s*[AaPp]\.?[Mm]\.?"
_ZONE = r"Z|UTC|GMT|(?:UTC|GMT)?[+-]\d{2}:?\d{2}|[A-Z]{1,3}[SDP]T"
_CELL = re.compile(
    rf"\s*(?:[A-Za-z]{{3,9}},?\s+(?=\d))?(?P<date>{_DATE})?(?:[T ,]+|(?<=\d)T|^|(?=\s*$))\s*"
    rf"(?P<time>{_TIME})?\s*(?P<zone>{_ZONE})?\s*"
)
_BASIC = re.compile(
    r"\s*((?:19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01]))T?([01]\d|2[0-4])([0-5]\d)([0-5]\d)?(Z|[+-]\d{2}:?\d{2})?\s*"
)
_TIME_PARTS = re.compile(r"(\d{1,2})(?::(\d{2}))?(?::(\d{2})(?:\.\d+)?)?\s*([AaPp])?.*")
_RANGE = re.compile(rf"\s*(?P<first>{_TIME})\s*(?:-|–|to)\s*(?:{_TIME})\s*")
_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{2}):?(\d{2})")


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


NO_OFFSET = 10**6


def cell_kind(text: str) -> str:
    """What a cell holds: "datetime", "date", "time", "blank" or "other".

    Examples
    --------
    >>> [cell_kind(t) for t in ("2025-03-09T24:00", "3/9/2025", "12:15 AM", "0.325", "")]
    ['datetime', 'date', 'time', 'other', 'blank']
    """
    if not text.strip():
        return "blank"
    match = _match(text)
    if not match:
        return "time" if len(text) <= 60 and _RANGE.fullmatch(text) else "other"
    kind = "date" * (match["date"] is not None) + "time" * (match["time"] is not None)
    return kind or "other"


def _match(text: str) -> re.Match | None:
    """Parts of a cell, ISO's basic form (20250309T0130) included."""
    if len(text) > 60:
        return None
    basic = _BASIC.fullmatch(text) if text[:1].isdigit() and text[8:9] != "" else None
    if basic:
        date, hour, minute, second, zone = basic.groups()
        text = f"{date} {hour}:{minute}:{second or '00'} {zone or ''}"
    return _CELL.fullmatch(text)


def parsed(cells: list[str], order: str) -> Stamps:
    """Parse a column; a cell that is no date in `order` ("ymd", "mdy", "dmy") gets -1."""
    n = len(cells)
    day, second = np.full(n, -1, np.int64), np.full(n, -1, np.int64)
    offset_s, saving = np.full(n, NO_OFFSET, np.int64), np.full(n, -1, np.int64)
    dates, times = {None: -1}, {None: -1}
    for i, text in enumerate(cells):
        match = _match(text)
        if match is None:
            continue
        date, time, zone = match.group("date", "time", "zone")
        if date not in dates:
            dates[date] = _day(date, order)
        if time not in times:
            times[time] = second_of_day(time)
        day[i], second[i] = dates[date], times[time]
        if zone is not None:
            offset_s[i], saving[i] = zone_meaning(zone)
    return Stamps(day, second, offset_s, saving)


def first_of_range(text: str) -> str:
    """The beginning of "00:00 - 00:15"; any other text as it is."""
    match = _RANGE.fullmatch(text) if len(text) <= 60 else None
    return match["first"] if match else text


def zone_meaning(zone: str) -> tuple[int, int]:
    """Offset from UTC where a text names one, and whether it says daylight saving (1), standard (0) or nothing (-1)."""
    if zone in ("Z", "UTC", "GMT"):
        return 0, -1
    match = _OFFSET.fullmatch(zone)
    if match:
        seconds = int(match[2]) * 3600 + int(match[3]) * 60
        return (-seconds if match[1] == "-" else seconds), -1
    letter = zone[-2:-1]
    return NO_OFFSET, {"D": 1, "S": 0}.get(letter, -1)


def second_of_day(text: str) -> int:
    """Seconds since midnight, 24:00 is 86,400; -1 where it is no time of day.

    Examples
    --------
    >>> second_of_day("12:15 AM"), second_of_day("24:00"), second_of_day("25:00")
    (900, 86400, -1)
    """
    match = _TIME_PARTS.fullmatch(text.strip())
    if match is None:
        return -1
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            return -1
        hour = hour % 12 + 12 * (match[4] in "Pp")
    total = hour * 3600 + minute * 60 + second
    return total if minute < 60 and second < 60 and total <= DAY_S else -1


def _day(text: str, order: str) -> int:
    year, month, day = _ymd(text, order)
    year += 2000 * (year < 100)
    try:
        return dt.date(year, month, day).toordinal() - _EPOCH if year in _YEARS else -1
    except ValueError:
        return -1


def _ymd(text: str, order: str) -> tuple[int, int, int]:
    if text.isdigit():
        return int(text[:4]), int(text[4:6]), int(text[6:])
    parts = re.findall(r"\d+|[A-Za-z]+", text)
    named = [part for part in parts if part.isalpha()]
    if named:
        month = _MONTHS.get(named[0][:3].lower(), 0)
        numbers = [int(part) for part in parts if part.isdigit()]
        return numbers[1], month, numbers[0]
    first, second, third = (int(part) for part in parts)
    if len(parts[0]) == 4:
        return first, second, third
    return (third, first, second) if order == "mdy" else (third, second, first)


def date_order(cells: list[str], *, file: object, key: str) -> str:
    """Order of day and month of a column, proved by its own cells, refused where both can be meant.

    Raises
    ------
    BadInput
        No cell has a day beyond 12, or both orders occur.

    Examples
    --------
    >>> date_order(["01/12/2025", "01/13/2025"], file="a.csv", key="Date")
    'mdy'
    """
    firsts, seconds, example = 0, 0, ""
    for text in dict.fromkeys(cells):
        match = _match(text)
        date = match["date"] if match else None
        if date is None or date.isdigit() or not date[:1].isdigit():
            continue
        parts = re.findall(r"\d+|[A-Za-z]+", date)
        if len(parts[0]) == 4 or not all(part.isdigit() for part in parts):
            continue
        firsts, seconds, example = max(firsts, int(parts[0])), max(seconds, int(parts[1])), example or date
    if firsts > 12 and seconds > 12:
        raise BadInput("mixes month first and day first", file=file, key=key, way_out="give one download at a time")
    if example and firsts <= 12 and seconds <= 12:
        first, second, year = re.findall(r"\d+", example)
        raise BadInput(
            f'can be read in two ways: {example} is month {first} day {second} ("mdy") or day {first} month {second} '
            '("dmy")',
            file=file,
            key=key,
            way_out="state dialect.date_order",
        )
    return "dmy" if firsts > 12 else "mdy" if seconds > 12 else "ymd"
