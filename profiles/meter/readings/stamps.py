"""Dates and times as meter files write them -> days and seconds on the clock of the file."""

from __future__ import annotations

import re

DAY_S = 86_400
_MONTHS = {
    name: k
    for k, name in enumerate(("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), 1)
}
_DATE = (
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})(?!\d)|(?:19|20)\d{6}(?!\d)"
    r"|\d{1,2}[-/ ][A-Za-z]{3,9}[-/ ,]+\d{2,4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}"
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
_SPAN = re.compile(r"\s+(?:to|until|-|–)\s+|\s*(?:--|/|–)\s*", re.I)
LONGEST_SPAN = 80
_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{2}):?(\d{2})")


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
    match = match_of(text)
    if not match:
        return "time" if len(text) <= 60 and _RANGE.fullmatch(text) else "other"
    kind = "date" * (match["date"] is not None) + "time" * (match["time"] is not None)
    return kind or "other"


def match_of(text: str) -> re.Match | None:
    """Parts of a cell, ISO's basic form (20250309T0130) included."""
    if len(text) > 60:
        return None
    basic = _BASIC.fullmatch(text) if text[:1].isdigit() and text[8:9] != "" else None
    if basic:
        date, hour, minute, second, zone = basic.groups()
        text = f"{date} {hour}:{minute}:{second or '00'} {zone or ''}"
    return _CELL.fullmatch(text)


def first_of_range(text: str) -> str:
    """The beginning of "00:00 - 00:15"; any other text as it is."""
    match = _RANGE.fullmatch(text) if len(text) <= 60 else None
    return match["first"] if match else text


def first_of_span(text: str) -> str:
    """The beginning of "2025-07-01 00:00 to 2025-07-01 01:00"; any other text as it is.

    Examples
    --------
    >>> first_of_span("2025-07-01 00:00 to 01:00"), first_of_span("2025-07-01 00:00")
    ('2025-07-01 00:00', '2025-07-01 00:00')
    """
    if len(text) > LONGEST_SPAN:
        return text
    for cut in _SPAN.finditer(text):
        first, last = text[: cut.start()], text[cut.end() :]
        if cell_kind(first) == "datetime" and cell_kind(last) in ("datetime", "time"):
            return first
    return text


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


def date_parts(text: str) -> tuple[int, int, int, bool]:
    """Year, month, day and True; or three numbers in their order and False where only the column shows which is which.

    Examples
    --------
    >>> date_parts("2025-07-04"), date_parts("4/Jul/2025"), date_parts("07/04/25")
    ((2025, 7, 4, True), (2025, 7, 4, True), (7, 4, 2025, False))
    """
    if text.isdigit():
        return int(text[:4]), int(text[4:6]), int(text[6:]), True
    parts = re.findall(r"\d+|[A-Za-z]+", text)
    named = [part for part in parts if part.isalpha()]
    if named:
        month = _MONTHS.get(named[0][:3].lower(), 0)
        day, year = (int(part) for part in parts if part.isdigit())
        return year + 2000 * (year < 100), month, day, True
    first, second, third = (int(part) for part in parts)
    if len(parts[0]) == 4:
        return first, second, third, True
    return first, second, third + 2000 * (third < 100), False
