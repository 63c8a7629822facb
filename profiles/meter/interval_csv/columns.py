"""What the columns of an interval CSV file hold, by their names and by their cells."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from profiles.meter.interval_csv.numbers import column_values
from profiles.meter.interval_csv.table import Table, is_number
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.private import shown
from profiles.meter.readings.stamps import cell_kind
from profiles.noun import BadInput

_SAMPLE = 24
_END = re.compile(
    r"(?<![a-z])(end|ending|ends|to|stop|he)(?![a-z])|(hour|interval|period) ?end|(?<![a-z])end ?(time|date)", re.I
)
_BEGIN = re.compile(r"(?<![a-z])(from|hb)(?![a-z])|start|begin", re.I)
_UNIT = re.compile(r"(?<![a-z])(mwh|kwh|wh|kw|w|watts?|watt[ -]?hours?)(?![a-z])", re.I)
RECEIVED = re.compile(
    r"received|export|generat|surplus|from customer|to grid|returned|production|reverse|out(bound)?\b|sold", re.I
)
DELIVERED = re.compile(r"delivered|import|consum|usage|used|to customer|from grid|forward|bought|purchase", re.I)
_TO_GRID = re.compile(r"received|export|to grid|returned|reverse|sold|surplus|from customer", re.I)
_ROOF = re.compile(r"solar|(?<![a-z])pv(?![a-z])|inverter|panels|roof|photovolt", re.I)
_NET = re.compile(r"\bnet\b", re.I)
_ENERGY = re.compile(
    r"kwh|usage|consum|energy|delivered|import|value|reading|demand|load|kw|net|register|quantity|amount used", re.I
)
_NOT_ENERGY = re.compile(
    r"cost|price|charge|\$|amount|rate\b|temp|degree|account|meter ?(no|num|id|#)|\bid\b|zip|volt|amp|kva|kvar|"
    r"factor|therm|gas|(?<!hot )water(?! ?heat)|gallon|ccf|day of|weekday|dst|flag|interval ?(no|num|#)|\btotal\b|peak",
    re.I,
)
_FLAG = re.compile(r"estimat|quality|status|flag|actual|validat|read ?type|code|notes?$", re.I)
_ZONE = re.compile(r"dst|daylight|time ?zone|\btz\b|offset|zone", re.I)
_GROUP = re.compile(
    r"meter|serial|point|channel|register|direction|flow|type|unit|uom|service|commodity|account|esi|nmi|suffix|kind",
    re.I,
)
_HOUR = re.compile(r"\b(hour|hr|he|hb|int|slot)\b|hour|interval|time|period", re.I)
_OTHER_DATE = re.compile(r"revis|updat|creat|bill|invoice|load(ed)? ?on|export(ed)? ?on", re.I)


@dataclass(frozen=True)
class Columns:
    """Column numbers by what they hold, None where the file has none."""

    date: int
    time: int | None = None
    hour: int | None = None
    end: int | None = None
    delivered: int = -1
    received: int | None = None
    flag: int | None = None
    zone: int | None = None
    groups: tuple[int, ...] = ()
    labels: str | None = None
    energy_note: str = ""
    stated: bool = False


def column_named(table: Table, name: str, *, file: object, key: str) -> int:
    """Number of a column by its name, refused with the list of names where there is none."""
    exact = (
        [k for k, one in enumerate(table.names) if one == name]
        or [k for k, one in enumerate(table.told) if one == name]
        or [k for k, one in enumerate(table.names) if one.strip().lower() == name.strip().lower()]
        or [k for k in range(len(table.names)) if name.strip().lower() == f"column {k + 1}"]
    )
    if len(exact) != 1:
        rule = "is the name of several columns" if exact else "is not a column of this file"
        raise BadInput(
            rule, file=file, key=key, value=name, way_out="columns: " + _listed(table, range(len(table.names)))
        )
    return exact[0]


def _listed(table: Table, ks) -> str:
    """Columns by their names where these are the trade's, else by their place, with what stands in them."""
    return ", ".join(f"{shown(table.names, k)}{_span_of(table, k)}" for k in ks if table.names[k])


def _span_of(table: Table, k: int) -> str:
    """Least, mean and largest of a column of numbers."""
    if _kind(table, k) != "number":
        return ""
    try:
        value, _ = column_values(table.columns[k], Dialect(), None, "")
    except BadInput:
        return ""
    known = value[np.isfinite(value)]
    return f" [{known.min():.4g} to {known.max():.4g}, mean {known.mean():.3g}]" if len(known) else ""


def long_columns(table: Table, dialect: Dialect, column: str | None, *, file: object) -> Columns:
    """Roles of the columns of a file with one row a reading.

    Raises
    ------
    BadInput
        A stated column that is not there, no column of values, or several with none chosen.
    """
    kinds = [_kind(table, k) for k in range(len(table.names))]
    date = (
        column_named(table, dialect.time_column, file=file, key="dialect.time_column")
        if dialect.time_column
        else _date(table, kinds)
    )
    times = [k for k, kind in enumerate(kinds) if kind == "time"]
    stamps = [k for k, kind in enumerate(kinds) if kind == "datetime" and k != date]
    end = _end_column(table, dialect, date, kinds, times, stamps, file)
    time = None if kinds[date] == "datetime" else next((k for k in times if k != end), None)
    hour = _hour(table, kinds) if kinds[date] == "date" and time is None and end is None else None
    if kinds[date] == "date" and time is None and hour is None and end is not None:
        time, end = end, None
    taken = {date, time, end, hour}
    delivered, received, note = _values(table, kinds, dialect, column, taken, file)
    taken |= {delivered, received}
    flag = next(
        (k for k, name in enumerate(table.names) if k not in taken and _FLAG.search(name) and _is_flag(table, k)),
        None,
    )
    zone = next((k for k, name in enumerate(table.names) if k not in taken and _ZONE.search(name)), None)
    groups = tuple(
        k
        for k, name in enumerate(table.names)
        if k not in {*taken, flag, zone}
        and (kinds[k] == "other" or kinds[k] == "number" and _GROUP.search(name))
        and 1 < len(table.columns[k].distinct) <= 20
    )
    label = time if time is not None else hour if hour is not None else date
    return Columns(
        date,
        time,
        hour,
        end,
        delivered,
        received,
        flag,
        zone,
        groups,
        _label(table.names[label], end),
        note,
        column is not None,
    )


def _kind(table: Table, column: int) -> str:
    cells = table.columns.sample(column, _SAMPLE)
    if not cells:
        return "blank"
    known = {cell: "number" if is_number(cell) else cell_kind(cell) for cell in dict.fromkeys(cells)}
    kinds = [known[cell] for cell in cells]
    return max(set(kinds), key=kinds.count)


def _date(table: Table, kinds: list[str]) -> int:
    """The first column of stamps: one that begins an interval rather than one that ends it."""
    dates = [
        k for k, kind in enumerate(kinds) if kind in ("datetime", "date") and not _OTHER_DATE.search(table.names[k])
    ]
    begins = [k for k in dates if _BEGIN.search(table.names[k]) and not _END.search(table.names[k])]
    full = [k for k in dates if kinds[k] == "datetime"]
    return (begins or full or dates or [table.date_column])[0]


def _end_column(table: Table, dialect: Dialect, date: int, kinds, times, stamps, file) -> int | None:
    if dialect.end_column:
        return column_named(table, dialect.end_column, file=file, key="dialect.end_column")
    if kinds[date] == "datetime":
        later = [k for k in stamps if _END.search(table.names[k])]
        return later[0] if later else None
    ends = [k for k in times if _END.search(table.names[k])]
    if ends and len(times) > 1:
        return ends[0]
    return (
        times[1] if len(times) == 2 and not ends and _BEGIN.search(table.names[times[0]]) else ends[0] if ends else None
    )


def _hour(table: Table, kinds: list[str]) -> int | None:
    for k, name in enumerate(table.names):
        counts = kinds[k] == "number" and _HOUR.search(name)
        if counts and all(re.fullmatch(r"\d{1,4}", cell) for cell in table.columns[k].distinct if cell):
            return k
    return None


def _values(table: Table, kinds, dialect: Dialect, column, taken, file) -> tuple[int, int | None, str]:
    received = (
        column_named(table, dialect.received_column, file=file, key="dialect.received_column")
        if dialect.received_column
        else None
    )
    if column is not None:
        return column_named(table, column, file=file, key="column"), received, ""
    numeric = [k for k, kind in enumerate(kinds) if kind == "number" and k not in taken and k != received]
    named = [k for k in numeric if _ENERGY.search(table.names[k]) or RECEIVED.search(table.names[k])]
    found = [k for k in named if not _NOT_ENERGY.search(table.names[k])] or (
        [k for k in numeric if not _NOT_ENERGY.search(table.names[k])]
    )
    energy = [k for k in found if (unit_in(table.names[k]) or "kWh").endswith("Wh")]
    note = f"{', '.join(table.names[k] for k in found if k not in energy)} left out: energy is taken" if energy else ""
    found, note = (energy, note) if energy and len(energy) < len(found) else (found, "")
    out = [k for k in found if RECEIVED.search(table.names[k]) and not DELIVERED.search(table.names[k])]
    into = [k for k in found if k not in out]
    if received is None:
        _refuse_roof(table, out, file)
    nets = [k for k in into if _NET.search(table.names[k])]
    if len(into) > 1 and len(into) - len(nets) == 1:
        note += f"{', '.join(table.names[k] for k in nets)} left out: its registers are taken"
        into = [k for k in into if k not in nets]
    if len(into) == 1 and len(out) <= 1:
        return into[0], received if received is not None else out[0] if out else None, note
    if not found and any(names_unit(table, k) for k in range(len(table.names))):
        amounts = [k for k in numeric if re.search(r"amount|quantity", table.names[k], re.I)]
        if len(amounts) == 1:
            return amounts[0], received, ""
    if not found:
        raise BadInput(
            "has no column of energy or power",
            file=file,
            way_out="name one with column: " + _listed(table, range(len(table.names))),
        )
    raise BadInput(
        "has several columns of energy or power, which are never summed",
        file=file,
        way_out="choose one with column: " + _listed(table, found),
    )


def names_unit(table: Table, k: int) -> bool:
    """True where every cell that was looked at is a unit of energy or power; a lone W may mean anything."""
    cells = table.columns.sample(k, _SAMPLE)
    return bool(cells) and all(len(cell) > 1 and _UNIT.fullmatch(cell) for cell in dict.fromkeys(cells))


def _refuse_roof(table: Table, out: list[int], file) -> None:
    """What the roof makes and what flows back through the meter are two things; a name may mean either."""
    unclear = [table.names[k] for k in out if _ROOF.search(table.names[k]) and not _TO_GRID.search(table.names[k])]
    if unclear:
        raise BadInput(
            "may be energy sent to the grid or all that the roof makes",
            file=file,
            key=unclear[0],
            way_out="state dialect.received_column if it flowed back through the meter, else choose the house's "
            "column with column, and give the roof under [solar]",
        )


def _is_flag(table: Table, column: int) -> bool:
    cells = table.columns[column].distinct
    return len(cells) <= 20 and all(len(cell) <= 40 for cell in cells)


def _label(name: str, end: int | None) -> str | None:
    if end is not None:
        return "beginning"
    ends, begins = bool(_END.search(name)), bool(_BEGIN.search(name))
    return "ending" if ends and not begins else "beginning" if begins and not ends else None


def unit_in(text: str) -> str | None:
    """The one unit of energy or power that a text names.

    Examples
    --------
    >>> unit_in("Usage (kWh)"), unit_in("Mean kW"), unit_in("Usage")
    ('kWh', 'kW', None)
    """
    spelt = {"mwh": "MWh", "kwh": "kWh", "wh": "Wh", "kw": "kW", "w": "W", "watt": "W", "watts": "W"}
    text = re.sub(r"([a-z])([A-Z])", r"\1 \2", text) if "kWh" not in text and "kW" not in text else text
    found = {spelt.get(one.lower(), "Wh") for one in _UNIT.findall(text.replace("_", " "))}
    return found.pop() if len(found) == 1 else None
