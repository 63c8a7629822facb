"""Cells of a wide CSV file -> rows in the order of time, the days of a clock change included."""

from __future__ import annotations

import numpy as np

from profiles.meter.clock import DAY_S
from profiles.meter.dialect import Dialect
from profiles.meter.groups import Group
from profiles.meter.labels import Labels
from profiles.meter.meter import NO_QUALITY, Issue
from profiles.meter.rows import Rows, clock_said, column_values, row_issues
from profiles.meter.stamps import NO_OFFSET, date_order, parsed
from profiles.meter.table import Table
from profiles.meter.wide import Wide
from profiles.noun import BadInput


def wide_rows(table: Table, wide: Wide, group: Group, dialect: Dialect, zone, path) -> Rows:
    """Cells of a wide file as rows, day by day.

    Raises
    ------
    BadInput
        Day and month that can be read in two ways, or a day longer than 24 h without a clock change.
    """
    name = table.names[table.date_column]
    dates = [table.rows[i][table.date_column] for i in group.rows]
    order = dialect.date_order or date_order(dates, file=path, key=name)
    day = parsed(dates, order).day
    cells = [[table.rows[i][k] if k < len(table.rows[i]) else "" for k in wide.columns] for i in group.rows]
    flat = [cell for row in cells for cell in row]
    value, bad = column_values(flat, dialect, path, "the columns of the day")
    value = value.reshape(len(cells), -1)
    issues = row_issues(day >= 0, np.zeros(len(day)), np.zeros(len(day), bool), dates)
    if bad.any():
        issues += (
            Issue(
                "not-a-number",
                int(bad.sum()),
                dates[int(np.argmax(bad)) // len(wide.columns)],
                "left out: missing is not zero",
            ),
        )
    by_day = np.argsort(day, kind="stable")
    by_day = by_day[day[by_day] >= 0]
    day, value = day[by_day], value[by_day]
    naive = day[:, None] * DAY_S + np.array(wide.label_s)[None, :]
    filled = np.isfinite(value)
    naive = _extra_labels(naive, filled, day, wide, zone, path)
    counts_days = wide.counted and dialect.extra_columns != "repeated-hour" and _counts_days(filled, wide)
    keep = filled.ravel()
    if not keep.any():
        raise BadInput("has no row with a time and a number", file=path)
    ordinal = np.broadcast_to(wide.ordinal, value.shape).ravel()[keep] if counts_days else None
    n = int(keep.sum())
    labels = Labels(
        naive.ravel()[keep],
        np.full(n, NO_OFFSET),
        np.full(n, -1),
        value.ravel()[keep],
        wide.interval_s,
        dialect.labels or wide.kind,
        ordinal,
        np.broadcast_to(day[:, None], value.shape).ravel()[keep],
        clock_said(table.preamble),
    )
    return Rows(
        labels,
        value.ravel()[keep],
        None,
        np.full(n, wide.interval_s, dtype=np.int64),
        np.full(n, NO_QUALITY),
        "the columns of the day",
        f"dates {order}",
        issues,
    )


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
        begin = int(day[i]) * DAY_S
        changes = zone.changes(begin - DAY_S, begin + 2 * DAY_S) if zone else []
        twice = [
            at + zone.offset_at(at)
            for at in changes
            if begin <= at + zone.offset_at(at) < begin + DAY_S and zone.offset_at(at) < zone.offset_at(at - 1)
        ]
        if not twice:
            raise BadInput(
                "has a day of more than 24 h where the clock does not change",
                file=path,
                way_out="give the timezone of the meter",
            )
        extra = np.flatnonzero(wide.extra)
        naive[i, extra] = twice[0] + lag + wide.interval_s * np.arange(len(extra))
    return naive
