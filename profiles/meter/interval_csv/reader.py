"""Interval CSV files, long or wide, in the dialects that utilities write -> the readings of one point of supply."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from profiles.meter.interval_csv.columns import Columns, long_columns, names_unit, unit_in
from profiles.meter.interval_csv.groups import Group, chosen_groups, row_groups
from profiles.meter.interval_csv.rows import Rows, long_rows
from profiles.meter.interval_csv.table import Table, read_table
from profiles.meter.interval_csv.wide import wide_columns
from profiles.meter.interval_csv.wide_rows import wide_rows
from profiles.meter.readings.clock import UTC, Clock, clock_of_offsets, zone_clock
from profiles.meter.readings.dialect import UNIT_KWH, Dialect
from profiles.meter.readings.labels import Labels, Reading, read_labels
from profiles.meter.readings.meter import Issue, Meter, Point, merged, where
from profiles.meter.readings.question import Question, all_asked
from profiles.meter.readings.register import differenced
from profiles.meter.readings.sequence import Readings, Settled, paired, settled
from profiles.meter.readings.stamps import NO_OFFSET
from profiles.noun import BadInput

_RISING = 96
FEW_CONFLICTS, CONFLICT_FRAC = 3, 0.1
_UNIT_NAME = re.compile(r"(?<![a-z])(units?|uom|einheit)(?![a-z])", re.I)
_DIAL = re.compile(r"register|reading|dial|cumul|index|counter|lifetime|stand", re.I)


@dataclass(frozen=True, eq=False)
class _Read:
    """One group of rows turned into readings, with the words for how."""

    readings: Settled
    received: np.ndarray | None
    issues: tuple[Issue, ...]
    words: str
    clock: str
    local: Clock


def read_interval_csv(
    path: str | Path,
    *,
    point: str | None = None,
    column: str | None = None,
    timezone: str | None = None,
    dialect: Dialect,
    source: str = "",
) -> Meter:
    """One point of supply of an interval CSV file.

    Parameters
    ----------
    point, column : str, optional
        Which set of rows, which column of values, where the file holds several.
    timezone : str, optional
        IANA zone; needed where the stamps are local.
    dialect : Dialect
        What is known about the file; the rest is inferred, and `Meter.dialect` says all of it.

    Raises
    ------
    BadInput
        What can be read in two ways names both and the key that decides; all that is open stands in one message.
    """

    def read(trial: dict) -> Meter:
        known = dialect.model_copy(update=trial)
        return _read_once(path, point, column, timezone, known, source)

    return all_asked(read, file=path)


def _read_once(
    path, point: str | None, column: str | None, timezone: str | None, dialect: Dialect, source: str
) -> Meter:
    zone = zone_clock(timezone) if timezone else None
    table = read_table(path, dialect)
    wide = None if dialect.layout == "long" or column is not None else wide_columns(table)
    if dialect.layout == "wide" and wide is None:
        raise BadInput("has fewer than 20 columns that name times or numbers of a day", file=path, key="dialect.layout")
    if wide:
        _refuse_long_keys(dialect, path)
    columns = None if wide else long_columns(table, dialect, column, file=path)
    groups = _groups(table, columns, wide)
    listing = {one.id: f"{one.text}, {one.direction}, {len(one.rows)} rows" for one in groups}
    chosen = chosen_groups(groups, point, listing, file=path)
    if wide:
        rows = [wide_rows(table, wide, one, dialect, zone, path) for one in chosen]
    else:
        rows = [long_rows(table, columns, one, dialect, zone, path) for one in chosen]
    read = [_read(one, group, table, columns, dialect, zone, path) for one, group in zip(rows, chosen, strict=True)]
    layout = f"wide, {len(wide.columns)} columns a day" if wide else "long, a row a reading"
    words = f"CSV: {layout}, {_sign(table.delimiter)} between columns, {read[0].words}"
    if table.stamp_note:
        words += f", {table.stamp_note}"
    if columns and columns.energy_note:
        words += f", {columns.energy_note}"
    known = {"source": source, "timezone": timezone, "dialect": words, "estimates_asked": wide is None}
    return _meter(read, chosen, groups, table, read[0].local, path, **known)


def _refuse_long_keys(dialect: Dialect, path) -> None:
    """Keys that name a column make no sense where the columns are the times of the day."""
    for key in ("time_column", "end_column", "received_column"):
        if getattr(dialect, key) is not None:
            raise BadInput(
                "is for files with one row a reading; this one has one row a day",
                file=path,
                key=f"dialect.{key}",
                way_out='leave it out, or state dialect.layout = "long"',
            )


def _sign(delimiter: str) -> str:
    return {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}[delimiter]


def _groups(table: Table, columns: Columns | None, wide) -> list[Group]:
    if columns is not None:
        stamps = tuple(k for k in (columns.date, columns.time, columns.hour, columns.zone) if k is not None)
        return row_groups(table, columns.groups, stamps)
    others = tuple(k for k in range(len(table.names)) if k not in wide.columns and k != table.date_column)
    return row_groups(table, others, (table.date_column,))


def _read(rows: Rows, group: Group, table: Table, columns: Columns | None, dialect: Dialect, zone, path) -> _Read:
    """Clock, unit and register of one group of rows."""
    register = _is_register(rows, dialect, path)
    unit, unit_words = _unit(rows, group, table, columns, dialect, path)
    if register and unit in ("kW", "W"):
        raise BadInput(
            "rises all through the file although its unit is power",
            file=path,
            key=rows.name,
            way_out='state dialect.unit, or dialect.readings = "interval"',
        )
    labels = replace(rows.labels, kind="beginning") if register else rows.labels
    reading = read_labels(labels, dialect, zone, file=path)
    clock = zone or _own_clock(labels, reading)
    rows, start, issues = _kept(rows, reading, clock)
    issues += rows.issues
    if dialect.repeated_hour == "sum" and zone is not None and reading.clock == "wall":
        rows, start = _shared(rows, start, zone, issues)
    hours = rows.duration_s / 3600.0 if unit in ("kW", "W") else 1.0
    kwh = rows.value * UNIT_KWH[unit] * hours
    received = None if rows.received is None else rows.received * UNIT_KWH[unit] * hours
    readings = Readings(start, rows.duration_s, kwh, rows.quality, np.full(len(start), np.nan), np.arange(len(start)))
    if register:
        readings, more = differenced(readings, at="start", dial_kwh=dialect.dial_kwh, file=path)
        issues += more
    interval_s = None if register else rows.labels.interval_s
    _refuse_two_meters(readings, path)
    with_received = _settled_pair(readings, received, clock, path, interval_s, register)
    labels_words = "dial readings, differenced" if register else _label_words(reading)
    words = f"{rows.words}, {labels_words}, {reading.text}, values of {rows.name}, {unit_words}"
    how = f"{reading.text}: " + ("stated" if dialect.clock or reading.clock == "offset" else _how(labels, reading))
    return _Read(with_received[0], with_received[1], tuple(issues), words, how, clock)


def _own_clock(labels: Labels, reading: Reading) -> Clock:
    """The clock of the offsets in the stamps, else UTC."""
    known = reading.keep & (labels.offset_s != NO_OFFSET)
    if reading.clock != "offset" or not known.any():
        return UTC
    return clock_of_offsets(reading.start_utc[known], labels.offset_s[known])


def _refuse_two_meters(readings: Readings, path) -> None:
    """Rows side by side with one stamp and two values, again and again, are two meters and not two downloads."""
    same = (np.diff(readings.start) == 0) & (np.diff(readings.duration) == 0)
    unlike = int((same & (np.diff(readings.kwh) != 0)).sum())
    if unlike > max(FEW_CONFLICTS, CONFLICT_FRAC * len(readings)):
        raise BadInput(
            f"has {unlike} stamps with two values side by side and nothing that tells them apart: two meters or "
            "registers",
            file=path,
            way_out="download one of them, or with the column that names the meter or the direction",
        )


def _how(labels: Labels, reading: Reading) -> str:
    if labels.says_clock:
        return "named in the file"
    return f"the zone as given; {'no break' if not reading.breaks else 'fewest breaks'} in the series on this clock"


def _label_words(reading: Reading) -> str:
    return {"sequence": "numbers count the day's intervals"}.get(
        reading.labels, f"stamps name the {reading.labels} of each interval"
    )


def _is_register(rows: Rows, dialect: Dialect, path) -> bool:
    """True where values are dial readings: stated, or rising all through in a column that is named so."""
    if dialect.readings is not None:
        return dialect.readings == "register"
    value = rows.value
    if len(value) < 3 or (np.diff(value) < 0).any() or value[-1] == value[0]:
        return False
    if _DIAL.search(rows.heading):
        return True
    if len(value) < _RISING:
        return False
    raise Question(
        "never falls all through the file, as a dial does and energy by interval does not",
        file=path,
        key=rows.name,
        way_out='state dialect.readings = "register" or "interval"',
        trial={"readings": "interval"},
    )


def _unit(rows: Rows, group: Group, table: Table, columns: Columns | None, dialect: Dialect, path) -> tuple[str, str]:
    if dialect.unit:
        return dialect.unit, f"{dialect.unit} as stated"
    named = unit_in(rows.heading) if columns else None
    told = {unit for unit in (named, _unit_column(table, group), rows.cell_unit) if unit}
    if len(told) > 1:
        raise BadInput(
            "names two units: " + " and ".join(sorted(told)),
            file=path,
            key=rows.name,
            way_out="state dialect.unit",
        )
    if rows.cell_unit:
        return rows.cell_unit, f"{rows.cell_unit} by the values"
    if named:
        return named, f"{named} by the column's name"
    if group.unit:
        return group.unit, f"{group.unit} by the rows"
    names = {unit_in(name) for name in table.names} - {None}
    whole = unit_in(table.preamble) or (names.pop() if columns is None and len(names) == 1 else None)
    if whole:
        return whole, f"{whole} by the text above the readings" if unit_in(
            table.preamble
        ) else f"{whole} by the column names"
    raise Question(
        "names no unit: its values may be energy (kWh) or mean power (kW)",
        file=path,
        key=rows.name,
        way_out='state dialect.unit = "kWh" or "kW"',
        trial={"unit": "kWh"},
    )


def _unit_column(table: Table, group: Group) -> str | None:
    """What a column of units says of the first row."""
    row = table.row(int(group.rows[0]))
    named = [k for k, name in enumerate(table.names) if _UNIT_NAME.search(name) or names_unit(table, k)]
    return next((unit for k in named if k < len(row) and (unit := unit_in(row[k]))), None)


def _kept(rows: Rows, reading: Reading, clock: Clock) -> tuple[Rows, np.ndarray, list[Issue]]:
    """Leave out the zeros that stand for an hour which the clock skips."""
    if reading.keep.all():
        return rows, reading.start_utc.copy(), []
    n = int((~reading.keep).sum())
    done = "left out: the clock skips this time" if reading.clock == "wall" else "left out: no offset from UTC"
    issue = Issue("skipped-hour", n, where(reading.start_utc[~reading.keep], clock), done)
    return rows.at(reading.keep), reading.start_utc[reading.keep], [issue]


def _shared(rows: Rows, start: np.ndarray, zone: Clock, issues: list[Issue]) -> tuple[Rows, np.ndarray]:
    """Share one reading for a wall-clock hour that occurs twice between both of them."""
    starts = set(start.tolist())
    index, moved = [], []
    for change in zone.changes(int(start.min()), int(start.max())):
        fall = zone.offset_at(change - 1) - zone.offset_at(change)
        for i in np.flatnonzero((start >= change - fall) & (start < change)) if fall > 0 else ():
            if int(start[i]) + fall not in starts:
                index.append(i)
                moved.append(int(start[i]) + fall)
    if not index:
        return rows, start
    issues.append(
        Issue("repeated-hour", len(index), where(start[index], zone), "one value for both: shared between them")
    )
    half = np.ones(len(start))
    half[index] = 0.5
    order = np.concatenate((np.arange(len(start)), index)).astype(int)
    value, received = rows.value * half, None if rows.received is None else rows.received * half
    both = replace(rows, value=value, received=received).at(order)
    return both, np.concatenate((start, np.array(moved, dtype=np.int64)))


def _settled_pair(readings: Readings, received, clock, path, interval_s, register):
    """Settle the delivered readings; the received column rides along by its start."""
    main = settled(readings, clock, file=path, interval_s=interval_s)
    if received is None:
        return main, None
    if register:
        other, _ = differenced(replace(readings, kwh=received), at="start", file=path)
    else:
        other = replace(readings, kwh=received)
    known = other.at(np.flatnonzero(~np.isnan(other.kwh)))
    theirs = settled(known, clock, file=path, interval_s=interval_s).readings if len(known) else known
    delivered, received, alone = paired(main.readings, theirs, file=path)
    return replace(main, readings=delivered, issues=main.issues + tuple(alone)), received


def _meter(read: list[_Read], chosen, groups, table: Table, clock: Clock, path, **known) -> Meter:
    main, received = read[0].readings, read[0].received
    issues = [*read[0].issues, *main.issues]
    readings = main.readings
    if len(read) == 2:
        readings, received, alone = paired(readings, read[1].readings.readings, file=path)
        issues += alone
    if table.other_rows:
        issues.append(
            Issue(
                "not-a-reading", len(table.other_rows), f"line {table.other_rows[0]}", "left out: no date in this row"
            )
        )
    points = tuple(_point(one, read[chosen.index(one)] if one in chosen else None, clock) for one in groups)
    return Meter(
        start_utc=readings.start,
        duration_s=readings.duration,
        kwh=readings.kwh,
        quality=readings.quality,
        received_kwh=received,
        interval_s=main.interval_s,
        readings=len(main.readings) + main.repeated,
        covered_s=main.covered_s,
        repeated=main.repeated,
        local=clock,
        clock=read[0].clock,
        issues=merged(issues),
        points=points,
        **known,
    )


def _point(group: Group, read: _Read | None, clock: Clock) -> Point:
    if read is None:
        return Point(group.id, group.text, group.direction, 0.0, len(group.rows), "", "", None)
    readings = read.readings.readings
    end = readings.start[-1] + readings.duration[-1]
    return Point(
        group.id,
        group.text,
        group.direction,
        read.readings.interval_s / 60.0,
        len(group.rows),
        clock.stamp(readings.start[0]),
        clock.stamp(end),
        float(np.round(readings.kwh.sum(), 9)),
        True,
    )
