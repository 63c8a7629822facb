"""Rows of a CSV file -> labels and values in the order of time."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from profiles.meter.interval_csv.columns import Columns, unit_in
from profiles.meter.interval_csv.counted import Counted, counted, counts_days, extra_second
from profiles.meter.interval_csv.groups import Group
from profiles.meter.interval_csv.numbers import column_values, has_letters
from profiles.meter.interval_csv.table import Table, is_number
from profiles.meter.readings.clock import DAY_S, Clock
from profiles.meter.readings.coarse import BILLS
from profiles.meter.readings.column import Column
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.espi import LONGEST_S, QUALITIES
from profiles.meter.readings.labels import Labels
from profiles.meter.readings.meter import NO_QUALITY, Issue
from profiles.meter.readings.private import shown
from profiles.meter.readings.sequence import most_common
from profiles.meter.readings.stamp_columns import Stamps, date_order, parsed, scan
from profiles.meter.readings.stamps import first_of_range, zone_meaning
from profiles.noun import BadInput

_CLOCK_WORDS = re.compile(r"\butc\b|\bgmt\b|_utc\b|zulu|\b[ECMP]ST\b(?! ?[/&])|standard time", re.I)
DISORDER_FRAC = 0.05  # of the steps; pasted downloads go back a few times only


@dataclass(frozen=True, eq=False)
class Rows:
    """Labels, values and lengths of one set of rows, shape (n_rows,), in the order of time, blanks left out.

    `name` is that of the values' column as it may be shown, `heading` as it stands in the file.
    """

    labels: Labels
    value: np.ndarray
    received: np.ndarray | None
    duration_s: np.ndarray
    quality: np.ndarray
    name: str
    words: str
    issues: tuple[Issue, ...] = ()
    heading: str = ""
    cell_unit: str | None = None

    def at(self, index: np.ndarray) -> Rows:
        return replace(
            self,
            value=self.value[index],
            duration_s=self.duration_s[index],
            quality=self.quality[index],
            received=None if self.received is None else self.received[index],
        )


def long_rows(table: Table, columns: Columns, group: Group, dialect: Dialect, zone: Clock | None, path) -> Rows:
    """Rows of a file with one row a reading.

    Raises
    ------
    BadInput
        Day and month, decimal sign or interval that can be read in two ways.
    """

    def cells(column: int | None) -> Column | None:
        return None if column is None else table.columns[column].at(group.rows)

    dates, name = cells(columns.date), _value_name(table, columns)
    order = dialect.date_order or date_order(dates, file=path, key=shown(table.names, columns.date))
    stamps = parsed(dates, order)
    second, kind = _seconds(stamps, cells(columns.time))
    count = None
    if columns.hour is not None:
        count = counted(cells(columns.hour).cells, stamps.day, file=path, key=shown(table.names, columns.hour))
        second, kind = extra_second(count, stamps.day, stamps.day >= 0, zone, dialect, path), count.kind
    if count is None and columns.time is None:
        _refuse_days(stamps, path, name)
    value, bad = column_values(cells(columns.delivered), dialect, path, name)
    good = (stamps.day >= 0) & (second >= 0)
    usable = _in_time_order(stamps.day * DAY_S + second, good & np.isfinite(value), path, name)
    naive, midnight = _midnights(stamps.day[usable] * DAY_S + second[usable], second[usable])
    ends_s = _ends(cells(columns.end), order, naive, stamps.day[usable], usable)
    known_s = None if count is None else count.interval_s
    interval_s, duration_s = _lengths(naive, ends_s, dialect, path, known_s)
    offset_s, saving = _offsets(stamps, cells(columns.zone))
    ends_day = midnight or bool((second[usable] == DAY_S).any())
    kind = columns.labels or kind or ("ending" if ends_day else None)
    said = clock_said(_time_names(table, columns) + " " + table.preamble)
    ordinal = _ordinal(count, stamps.day, usable, dialect)
    labels = Labels(
        naive,
        offset_s[usable],
        saving[usable],
        value[usable],
        interval_s,
        kind,
        ordinal,
        None if ordinal is None else stamps.day[usable],
        said,
    )
    received = _received(cells(columns.received), dialect, path, table, columns)
    return Rows(
        labels,
        value[usable],
        None if received is None else received[usable],
        duration_s,
        _quality(cells(columns.flag), table, columns)[usable],
        name,
        f"dates {order}" + (", midnight dated to the day before" if midnight else ""),
        row_issues(good, value, bad, dates),
        table.names[columns.delivered],
        _cell_unit(cells(columns.delivered), path, name),
    )


def _refuse_days(stamps: Stamps, path, name: str) -> None:
    """Dates without a time of day: readings of a day, of a month or of a bill."""
    dated = stamps.day >= 0
    if dated.any() and not (stamps.second[dated] >= 0).any():
        raise BadInput(
            "has dates without a time of day, so its readings last a day or longer",
            file=path,
            key=name,
            way_out=BILLS,
        )


def _in_time_order(naive: np.ndarray, usable: np.ndarray, path, name: str) -> np.ndarray:
    """Rows that can be used, turned round where the newest stands first, sorted where they stand in no order."""
    index = np.flatnonzero(usable)
    if not len(index):
        raise BadInput("has no row with a time and a number", file=path, key=name)
    steps = np.diff(naive[index])
    index = index[::-1] if (steps < 0).sum() > (steps > 0).sum() else index
    disordered = (np.diff(naive[index]) < 0).mean() > DISORDER_FRAC if len(index) > 1 else False
    return index[np.argsort(naive[index], kind="stable")] if disordered else index


def _value_name(table: Table, columns: Columns) -> str:
    """Name of the column of values: as the user typed it, else shown only where it is nobody's own name."""
    return table.names[columns.delivered] if columns.stated else shown(table.names, columns.delivered)


def _time_names(table: Table, columns: Columns) -> str:
    named = (columns.date, columns.time, columns.hour, columns.end)
    return " ".join(table.names[k] for k in named if k is not None)


def _received(cells: Column | None, dialect: Dialect, path, table: Table, columns: Columns) -> np.ndarray | None:
    return None if cells is None else column_values(cells, dialect, path, shown(table.names, columns.received))[0]


def _seconds(stamps: Stamps, times) -> tuple[np.ndarray, str | None]:
    """Second of the day of each row, and what a range of times says about which end it names."""
    if times is None:
        return stamps.second, None
    begins = {text: first_of_range(text) for text in times.distinct}
    ranges = any(text != begin for text, begin in begins.items())
    if not ranges:
        return scan(times).of_day, None
    return scan(Column.of([begins[text] for text in times.cells])).of_day, "beginning"


def _ordinal(count: Counted | None, day: np.ndarray, usable: np.ndarray, dialect: Dialect) -> np.ndarray | None:
    """Number of each row's interval in its day, where rows may count the day's own intervals."""
    if count is None or count.ordinal is None or dialect.extra_columns == "repeated-hour":
        return None
    mine = replace(count, ordinal=count.ordinal[usable], extra=count.extra[usable])
    return mine.ordinal if counts_days(mine, day[usable]) else None


def _cell_unit(column: Column, path, name: str) -> str | None:
    """The one unit that stands behind the numbers of a column, such as 1.5 kWh."""
    if not has_letters(column):
        return None
    units = {unit_in(cell) for cell in column.distinct if cell[-1:].isalpha() and is_number(cell)} - {None}
    if len(units) > 1:
        raise BadInput("has values in " + " and in ".join(sorted(units)), file=path, key=name)
    return units.pop() if units else None


def _told(dates: Column, rows: np.ndarray) -> str:
    """The date of the first of some rows."""
    return dates.raw[int(np.argmax(rows))].decode()[:20]


def row_issues(good: np.ndarray, value: np.ndarray, bad: np.ndarray, dates: Column) -> tuple[Issue, ...]:
    issues = []
    if (~good).any():
        issues.append(
            Issue(
                "not-a-reading",
                int((~good).sum()),
                _told(dates, ~good),
                "left out: no such date or time",
            )
        )
    if bad.any():
        issues.append(Issue("not-a-number", int(bad.sum()), _told(dates, bad), "left out: missing is not zero"))
    blank = np.isnan(value) & ~bad & good
    if blank.any():
        issues.append(Issue("blank", int(blank.sum()), _told(dates, blank), "left out: missing is not zero"))
    return tuple(issues)


def _midnights(naive: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, bool]:
    """Move 00:00 to the next day where the file dates the end of a day to the day that ends."""
    at = np.flatnonzero((second[1:] == 0) & (second[:-1] > DAY_S // 2)) + 1
    back = at[naive[at] // DAY_S == naive[at - 1] // DAY_S]
    if not len(back) or len(back) < len(at):
        return naive, False
    moved = naive.copy()
    moved[second == 0] += DAY_S
    if len(naive) and second[0] == 0:
        moved[0] -= DAY_S
    return moved, True


_SAVING = {"y": 1, "n": 0, "1": 1, "0": 0, "d": 1, "s": 0, "yes": 1, "no": 0, "true": 1, "false": 0}


def _offsets(stamps: Stamps, zones: Column | None) -> tuple[np.ndarray, np.ndarray]:
    if zones is None:
        return stamps.offset_s, stamps.saving
    offset_s, saving = stamps.offset_s.copy(), stamps.saving.copy()
    for text in zones.distinct:
        mine = zones.raw == text.encode()
        if text.lower() in _SAVING:
            saving[mine] = _SAVING[text.lower()]
        elif re.fullmatch(r"Z|UTC|GMT|(?:UTC|GMT)?[+-]\d{2}:?\d{2}|[A-Z]{1,3}[SDP]T", text):
            offset_s[mine], saving[mine] = zone_meaning(text)
    return offset_s, saving


def _ends(
    cells: Column | None, order: str, naive: np.ndarray, day: np.ndarray, usable: np.ndarray
) -> np.ndarray | None:
    """Ends of the intervals on the file's clock, where a column gives them."""
    if cells is None:
        return None
    stamps = parsed(cells.at(usable), order)
    days = np.where(stamps.day >= 0, stamps.day, day)
    ends = np.where(stamps.second >= 0, days * DAY_S + stamps.second, -1)
    return np.where((ends >= 0) & (stamps.day < 0) & (ends <= naive), ends + DAY_S, ends)


def _lengths(
    naive: np.ndarray, ends: np.ndarray | None, dialect: Dialect, path, known_s: int | None
) -> tuple[int, np.ndarray]:
    """The usual interval and the length of each reading."""
    steps = np.diff(naive)
    steps = steps[steps > 0]
    if dialect.interval_min:
        interval_s = max(round(dialect.interval_min * 60), 1)
    elif known_s:
        interval_s = known_s
    elif len(steps):
        interval_s = most_common(steps)
    elif ends is not None and ends[0] > naive[0]:
        interval_s = int(ends[0] - naive[0])
        interval_s += next((more for more in (1, 60) if interval_s % 300 and (interval_s + more) % 300 == 0), 0)
    else:
        raise BadInput(
            "has a single stamp, so the length of an interval is not known",
            file=path,
            way_out="state dialect.interval_min",
        )
    duration = np.full(len(naive), interval_s, dtype=np.int64)
    if ends is not None:
        stated = ends - naive
        stated += np.where(
            np.isin(interval_s - stated, (1, 60)), interval_s - stated, 0
        )  # 00:00 to 00:14, ends included
        unlike = (
            (ends >= 0) & (stated != interval_s) & (stated > 0) & ~np.isin(np.abs(stated - interval_s), (1800, 3600))
        )
        duration = np.where(unlike, stated, duration)
    if duration.max() > LONGEST_S:
        raise BadInput(
            "has a reading that lasts more than 366 days",
            file=path,
            value=f"{int(duration.max()) // DAY_S} days",
            way_out="give a file of intervals",
        )
    return interval_s, duration


def clock_said(text: str) -> str | None:
    match = _CLOCK_WORDS.search(text)
    if not match:
        return None
    return "utc" if re.search("utc|gmt|zulu", match[0], re.I) else "standard"


def _quality(flags: Column | None, table: Table, columns: Columns) -> np.ndarray:
    """ESPI quality codes of the flags of a file; -1 where it has none."""
    if flags is None:
        return np.full(table.n_rows, NO_QUALITY)
    asks = "estimat" in table.names[columns.flag].lower()
    known = {text.encode(): _quality_code(text, asks) for text in flags.distinct}
    if len(known) == 1:
        return np.full(len(flags), next(iter(known.values())))
    return np.array([known[text] for text in flags.raw.tolist()], dtype=np.int64)


def _quality_code(text: str, asks: bool) -> int:
    plain = text.strip().lower()
    if not plain:
        return NO_QUALITY
    if plain.isdigit() and not asks:
        return int(plain) if int(plain) in QUALITIES else 16
    if plain in ("y", "yes", "true", "1") and asks or plain == "e" or plain.startswith(("est", "sub", "interp")):
        return 8
    if (
        plain in ("n", "no", "false", "0")
        and asks
        or plain in ("a", "r", "v", "ok", "good")
        or plain.startswith(("act", "reg", "val", "real", "meas", "rev", "nor", "ver", "not est"))
    ):
        return 0
    return 16
