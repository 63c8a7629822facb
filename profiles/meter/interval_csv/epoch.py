"""Stamps that count seconds or milliseconds since 1970, as loggers write them -> the same column as dates."""

from __future__ import annotations

import re

import numpy as np

from profiles.meter.readings.column import Column

_EPOCH = re.compile(r"(\d{10}|\d{13})(?:\.\d{1,9})?")
_FIRST_S, _LAST_S = 1_000_000_000, 4_102_444_800  # 10 digits: September 2001 to 2099
_SHARE, _FEWEST = 0.5, 2
MILLI = 1000


def is_epoch(cells: list[str]) -> bool:
    """True where sampled cells of a column count seconds or milliseconds since 1970 and move on from row to row.

    An account number of ten digits stands still.

    Examples
    --------
    >>> is_epoch(["1741503600", "1741507200"]), is_epoch(["5551234567", "5551234567"])
    (True, False)
    """
    cells = [cell for cell in cells if cell]
    stamps = [seconds(cell) for cell in cells if _EPOCH.fullmatch(cell)]
    if len(stamps) < max(_FEWEST, _SHARE * len(cells)):
        return False
    moved = sum(a != b for a, b in zip(stamps[:-1], stamps[1:], strict=True))
    in_range = all(_FIRST_S <= stamp < _LAST_S for stamp in stamps)
    return in_range and moved >= _SHARE * (len(stamps) - 1)


def as_dates(column: Column, *, utc: bool) -> Column:
    """The same column with readable stamps; `utc` is False where the user states another clock.

    Examples
    --------
    >>> as_dates(Column.of(["1741503600", "t"]), utc=True).cells
    ['2025-03-09T07:00:00Z', 't']
    """

    def stamp(cell: str) -> str:
        return str(np.datetime64(seconds(cell), "s")) + "Z" * utc if _EPOCH.fullmatch(cell) else cell

    return Column.of([stamp(cell) for cell in column.cells])


def seconds(text: str) -> int:
    """Whole seconds since 1970 of a count of seconds (10 digits) or milliseconds (13 digits)."""
    whole = text.partition(".")[0]
    return int(whole) // MILLI if len(whole) == 13 else int(whole)
