"""Cells of a wide CSV file -> rows in the order of time, the days of a clock change included."""

from __future__ import annotations

import numpy as np

from profiles.meter.interval_csv.counted import hour_that_occurs_twice
from profiles.meter.interval_csv.groups import Group
from profiles.meter.interval_csv.numbers import column_values
from profiles.meter.interval_csv.rows import Rows, clock_said, row_issues
from profiles.meter.interval_csv.table import Table
from profiles.meter.interval_csv.wide import Wide
from profiles.meter.readings.clock import DAY_S
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.labels import Labels
from profiles.meter.readings.meter import NO_QUALITY, Issue
from profiles.meter.readings.private import shown
from profiles.meter.readings.stamp_columns import date_order, parsed
from profiles.meter.readings.stamps import NO_OFFSET
from profiles.noun import BadInput

_NAME = "the columns of the day"


def wide_rows(table: Table, wide: Wide, group: Group, dialect: Dialect, zone, path) -> Rows:
    """Cells of a wide file as rows, day by day.

    Raises
    ------
    BadInput
        Day and month that can be read in two ways, or a day longer than 24 h without a clock change.
    """
    dates = table.columns[table.date_column].at(group.rows)
    order = dialect.date_order or date_order(dates, file=path, key=shown(table.names, table.date_column))
    day = parsed(dates, order).day
    value, issues = _day_values(table, wide, group, dialect, path)
    issues += row_issues(day >= 0, np.zeros(len(day)), np.zeros(len(day), bool), dates)
    by_day = np.argsort(day, kind="stable")
    by_day = by_day[day[by_day] >= 0]
    day, value = day[by_day], value[by_day]
    filled = np.isfinite(value)
    if not filled.any():
        raise BadInput("has no row with a time and a number", file=path)
    naive = _extra_labels(day[:, None] * DAY_S + np.array(wide.label_s), filled, day, wide, zone, path)
    counts_days = wide.counted and dialect.extra_columns != "repeated-hour" and _counts_days(filled, wide)
    days, ordinal = (np.broadcast_to(one, value.shape)[filled] for one in (day[:, None], wide.ordinal))
    n = len(days)
    labels = Labels(
        naive[filled],
        np.full(n, NO_OFFSET),
        np.full(n, -1),
        value[filled],
        wide.interval_s,
        dialect.labels or wide.kind,
        ordinal if counts_days else None,
        days,
        clock_said(table.preamble),
    )
    length_s = np.full(n, wide.interval_s, dtype=np.int64)
    none = np.full(n, NO_QUALITY)
    return Rows(labels, value[filled], None, length_s, none, _NAME, f"dates {order}", issues)


def _day_values(table: Table, wide: Wide, group: Group, dialect: Dialect, path) -> tuple[np.ndarray, tuple[Issue, ...]]:
    """Values by row and column, NaN where blank, and an issue for what is neither blank nor a number."""
    block = table.columns.block(wide.columns, group.rows)
    value, bad = (one.reshape(len(group.rows), -1) for one in column_values(block, dialect, path, _NAME))
    if not bad.any():
        return value, ()
    first = table.columns[table.date_column].at(group.rows).raw[int(np.argmax(bad.any(axis=1)))].decode()
    return value, (Issue("not-a-number", int(bad.sum()), first, "left out: missing is not zero"),)


def _counts_days(filled: np.ndarray, wide: Wide) -> bool:
    """True where a day ends early or runs beyond 24 h, so that columns may count the day's own intervals."""
    if (filled & wide.extra[None, :]).any():
        return True
    usual = ~wide.extra
    n = filled[:, usual].sum(axis=1)
    hour = 3600 // wide.interval_s
    short = n == usual.sum() - hour
    return bool((short & ~filled[:, usual][:, -hour:].any(axis=1)).any())


def _extra_labels(naive: np.ndarray, filled: np.ndarray, day: np.ndarray, wide: Wide, zone, path) -> np.ndarray:
    """Label columns beyond 24 h as the hour that occurs twice on that day."""
    if not (filled & wide.extra[None, :]).any():
        return naive
    naive, lag = naive.copy(), wide.interval_s if wide.kind == "ending" else 0
    for i in np.flatnonzero((filled & wide.extra[None, :]).any(axis=1)):
        twice = hour_that_occurs_twice(int(day[i]) * DAY_S, zone, file=path)
        extra = np.flatnonzero(wide.extra)
        naive[i, extra] = twice + lag + wide.interval_s * np.arange(len(extra))
    return naive
