"""Wide interval files: a row a day, a column an interval."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from profiles.meter.interval_csv.table import Table, is_number
from profiles.meter.readings.clock import DAY_S
from profiles.meter.readings.column import Column
from profiles.meter.readings.stamp_columns import scan
from profiles.meter.readings.stamps import cell_kind, second_of_day

FEWEST, _SAMPLE = 20, 12
_NUMBERED = re.compile(r"[A-Za-z_ ]*?[ _-]*(?P<number>\d{1,4})\s*[^\d]*")
_HOURS = re.compile(r"(?:[01]?\d|2[0-4])\.(?:0|00|25|5|50|75)")  # 0.0, 0.5 ... 23.5
_TIME_IN = re.compile(
    r"(?<!\d)\d{1,2}:\d{2}(?::\d{2})?(?:\s*[AaPp]\.?[Mm]\.?)?|(?<!\d)\d{1,2}\s*[AaPp]\.?[Mm]\.?(?![A-Za-z])"
)
_ENDS = re.compile(r"^\s*he\b|^he\d|ending|end", re.I)
_DAY_COUNTS = {24: 3600, 48: 1800, 96: 900, 288: 300}


@dataclass(frozen=True)
class Wide:
    """Columns of a wide file: their numbers, the label of each in seconds of the day, their count within the day.

    `kind` is "beginning" or "ending"; columns at or beyond 24 h are `extra`.
    """

    columns: tuple[int, ...]
    label_s: tuple[int, ...]
    interval_s: int
    kind: str
    counted: bool

    @property
    def ordinal(self) -> np.ndarray:
        return np.arange(len(self.columns))

    @property
    def extra(self) -> np.ndarray:
        """True for columns beyond 24 h, shape (n_columns,)."""
        return np.array(self.label_s) - (self.interval_s if self.kind == "ending" else 0) >= DAY_S


def wide_columns(table: Table) -> Wide | None:
    """The columns of a wide file, or None where a row is one reading."""
    wide = None if _has_times(table) else _found(table)
    return wide if wide is not None and _is_a_day(wide) else None


def _is_a_day(wide: Wide) -> bool:
    """True where the labels cut a day into equal intervals of a usual length."""
    distinct = set(wide.label_s)
    return wide.interval_s in _DAY_COUNTS.values() and len(distinct) >= FEWEST and min(distinct) >= 0


def _found(table: Table) -> Wide | None:
    named = [(k, _label(name)) for k, name in enumerate(table.names) if k != table.date_column]
    times = [(k, label) for k, label in named if label and label[0] == "time"]
    if len(times) >= FEWEST:
        return _timed(times)
    numbers = [(k, label) for k, label in named if label and label[0] == "number"]
    numeric = [k for k, _ in named if _mostly_numbers(table, k)]
    if len(numbers) >= FEWEST:
        return _numbered(
            [(k, label) for k, label in numbers if k in numeric or not table.columns[k].filled.any()] or numbers
        )
    if len(numeric) >= FEWEST and all(name.startswith("column ") for name in table.names[numeric[0] + 1 :]):
        return _unnamed(numeric, table)
    return None


def _has_times(table: Table) -> bool:
    """True where rows name a time of day, so that each is one reading however many columns it has."""
    if (scan(Column.of(table.columns.sample(table.date_column, _SAMPLE))).of_day > 0).any():
        return True
    for column in range(min(len(table.names), 12)):
        cells = table.columns.sample(column, _SAMPLE) if column != table.date_column else []
        if cells and all(cell_kind(cell) == "time" for cell in cells):
            return True
    return False


def _label(name: str) -> tuple[str, int, bool] | None:
    """("time", second of the day, ends) or ("number", number, ends) of a column's name."""
    ends = bool(_ENDS.search(name))
    first = re.split(r"\s*(?:-|to)\s*(?=\d)", name.strip())[0]
    if _HOURS.fullmatch(first):
        return "time", round(float(first) * 3600), ends
    time = _TIME_IN.search(first)
    if time:
        return "time", second_of_day(time[0]), ends
    match = _NUMBERED.fullmatch(first)
    return ("number", int(match["number"]), ends) if match else None


def _mostly_numbers(table: Table, column: int) -> bool:
    cells = table.columns.sample(column, _SAMPLE)
    return bool(cells) and sum(is_number(cell) for cell in cells) > 0.8 * len(cells)


def _timed(times: list) -> Wide:
    seconds = [label[1] for _, label in times]
    interval_s = _step(seconds)
    ends = seconds[0] == interval_s or seconds[-1] == DAY_S
    if ends:
        seconds = [DAY_S if second == 0 else second for second in seconds]
    return Wide(tuple(k for k, _ in times), tuple(seconds), interval_s, "ending" if ends else "beginning", False)


def _step(seconds: list[int]) -> int:
    """The usual step between labels, 0 where they do not rise. [s]"""
    steps = [b - a for a, b in zip(seconds[:-1], seconds[1:], strict=True) if b > a]
    return max(set(steps), key=steps.count) if steps else 0


def _numbered(numbers: list) -> Wide:
    values = [label[1] for _, label in numbers]
    columns = tuple(k for k, _ in numbers)
    if max(values) > 300:  # 15, 30, 45, 100 ... 2400
        seconds = [value // 100 * 3600 + value % 100 * 60 for value in values]
        interval_s = _step(seconds)
        ends = seconds[0] == interval_s
        seconds = [DAY_S if ends and second == 0 else second for second in seconds]
        return Wide(columns, tuple(seconds), interval_s, "ending" if ends else "beginning", False)
    interval_s = _interval(len(set(values)))
    if any(label[2] for _, label in numbers):
        return Wide(columns, tuple(value * interval_s for value in values), interval_s, "ending", True)
    first = min(values)
    return Wide(columns, tuple((value - first) * interval_s for value in values), interval_s, "beginning", True)


def _unnamed(numeric: list[int], table: Table) -> Wide:
    if len(numeric) - 1 in _DAY_COUNTS and _is_total(table, numeric):
        numeric = numeric[:-1]
    interval_s = _interval(len(numeric))
    return Wide(tuple(numeric), tuple(k * interval_s for k in range(len(numeric))), interval_s, "beginning", True)


def _interval(n: int) -> int:
    """Interval of a day that is cut into `n`, give or take the hours of a clock change."""
    count = min(_DAY_COUNTS, key=lambda each: abs(n - each) / each)
    return _DAY_COUNTS[count]


def _is_total(table: Table, numeric: list[int]) -> bool:
    def add(row: list[str]) -> bool:
        values = [float(row[k]) for k in numeric if k < len(row) and is_number(row[k]) and "," not in row[k]]
        return len(values) < 3 or abs(sum(values[:-1]) - values[-1]) <= 0.01 * max(abs(values[-1]), 1.0)

    return all(add(row) for row in map(table.row, range(min(table.n_rows, 30))))
