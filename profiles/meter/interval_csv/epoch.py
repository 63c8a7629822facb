"""Stamps that count seconds or milliseconds since 1970, as loggers write them -> the same rows with readable stamps."""

from __future__ import annotations

import re

import numpy as np

_EPOCH = re.compile(r"(\d{10}|\d{13})(?:\.\d{1,9})?")
_FIRST_S, _LAST_S = 1_000_000_000, 4_102_444_800  # 10 digits: September 2001 to 2099
_SHARE, _COLUMNS, _FEWEST = 0.5, 12, 2
MILLI = 1000


def with_stamps(rows: list[list[str]], *, utc: bool) -> tuple[list[list[str]], str]:
    """Rows whose columns of seconds since 1970 read as dates and times, and words for it ("" where there are none).

    Parameters
    ----------
    rows : list of list of str
        Of a file that has no column of dates.
    utc : bool
        True where the count is in UTC, as its definition has it; False where the user states another clock.

    Notes
    -----
    Only columns that move on from row to row are taken: an account number of ten digits stands still.

    Examples
    --------
    >>> with_stamps([["t", "kWh"], ["1741503600", "1"], ["1741507200", "2"]], utc=True)[0][1]
    ['2025-03-09T07:00:00Z', '1']
    """
    columns = [k for k in range(min(max(map(len, rows), default=0), _COLUMNS)) if _is_epoch(rows, k)]
    if not columns:
        return rows, ""
    found = [list(row) for row in rows]
    for row in found:
        for k in columns:
            if k < len(row) and _EPOCH.fullmatch(row[k]):
                row[k] = str(np.datetime64(seconds(row[k]), "s")) + "Z" * utc
    return found, "stamps counted from 1970" + (", in UTC" if utc else "")


def seconds(text: str) -> int:
    """Whole seconds since 1970 of a count of seconds (10 digits) or milliseconds (13 digits)."""
    whole = text.partition(".")[0]
    return int(whole) // MILLI if len(whole) == 13 else int(whole)


def _is_epoch(rows: list[list[str]], column: int) -> bool:
    cells = [row[column] for row in rows if len(row) > max(column, 1) and row[column]]
    stamps = [seconds(cell) for cell in cells if _EPOCH.fullmatch(cell)]
    if len(stamps) < max(_FEWEST, _SHARE * len(cells)):
        return False
    moved = sum(a != b for a, b in zip(stamps[:-1], stamps[1:], strict=True))
    in_range = all(_FIRST_S <= stamp < _LAST_S for stamp in stamps)
    return in_range and moved >= _SHARE * (len(stamps) - 1)
