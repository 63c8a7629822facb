"""Several meters, channels or directions in one CSV file: told apart, never summed, never named by their numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from profiles.meter.interval_csv.columns import DELIVERED, RECEIVED, unit_in
from profiles.meter.interval_csv.table import Table
from profiles.meter.readings.private import is_trade
from profiles.noun import BadInput

_PRIVATE = re.compile(r"meter|serial|account|esi|nmi|point|name|address|customer|premise|street|owner|mail|phone", re.I)
_OTHER = re.compile(r"gas|water|therm|kvar|kva|volt|amp|temp|steam", re.I)
_REPEATS = 0.1


@dataclass(frozen=True)
class Group:
    """Rows of one set of readings: its name on the list, its direction, and the unit that its rows name."""

    id: str
    text: str
    direction: str
    unit: str | None
    rows: np.ndarray
    aliases: tuple[str, ...] = ()


def row_groups(table: Table, columns: tuple[int, ...], stamp_columns: tuple[int, ...]) -> list[Group]:
    """Sets of rows that share their stamps and differ in a column such as meter, channel or direction."""
    used = _telling(table, columns, stamp_columns)
    if not used:
        return [Group("1", "all rows", "delivered", _unit(table, 0), np.arange(table.n_rows))]
    keys = list(zip(*(table.cells(k) for k in used), strict=True))
    order = list(dict.fromkeys(keys))
    public = [_public(table, used, key, order) for key in order]
    at = {key: k for k, key in enumerate(order)}
    index = np.array([at[key] for key in keys])
    rows = {key: np.flatnonzero(index == k) for key, k in at.items()}
    return [
        Group(
            str(k),
            text,
            _direction(text),
            unit_in(text) or _unit(table, int(rows[key][0])),
            rows[key],
            tuple(filter(None, key)),
        )
        for k, (key, text) in enumerate(zip(order, public, strict=True), 1)
    ]


def _telling(table: Table, columns: tuple[int, ...], stamp_columns: tuple[int, ...]) -> list[int]:
    """Columns by which rows with one stamp differ, where many rows share their stamps."""
    if not columns:
        return []
    stamps = list(zip(*(table.columns[k].raw.tolist() for k in stamp_columns), strict=True))
    repeats = _repeats(stamps, None)
    if repeats < _REPEATS * table.n_rows:
        return []
    return [k for k in columns if _repeats(stamps, table.columns[k].raw.tolist()) < repeats]


def _repeats(stamps: list, cells: list[bytes] | None) -> int:
    keys = stamps if cells is None else list(zip(stamps, cells, strict=True))
    return len(keys) - len(set(keys))


def _public(table: Table, used: list[int], key: tuple[str, ...], order: list[tuple]) -> str:
    words = []
    for k, (column, cell) in enumerate(zip(used, key, strict=True)):
        private = _PRIVATE.search(table.names[column]) or cell and not is_trade(cell)
        values = list(dict.fromkeys(one[k] for one in order))
        words.append(f"meter {values.index(cell) + 1}" if private else cell)
    return ", ".join(words)


def _direction(text: str) -> str:
    return "received" if RECEIVED.search(text) and not DELIVERED.search(text) else "delivered"


def _unit(table: Table, row: int) -> str | None:
    """The one unit that stands alone in a cell of a row."""
    units = {unit_in(cell) for cell in table.row(row) if re.fullmatch(r"[A-Za-z]{1,3}", cell)} - {None}
    return units.pop() if len(units) == 1 else None


def chosen_groups(groups: list[Group], point: str | None, listing: dict[str, str], *, file: object) -> list[Group]:
    """The delivered group, and the received one beside it; several of a kind are refused until one is chosen."""
    usable = [one for one in groups if not _OTHER.search(one.text)] or groups
    if point is not None:
        picked = [one for one in usable if point == one.id or point in one.aliases]
        if not picked:
            raise BadInput(
                "is no point of supply in this file",
                file=file,
                key="point",
                value=point,
                way_out=_ways(usable, listing),
            )
        if len(picked) == 1:
            return picked
        usable = picked
    delivered = [one for one in usable if one.direction == "delivered"]
    received = [one for one in usable if one.direction == "received"]
    if len(delivered) == 1 and (not received or len(received) == 1 and _same_meter(delivered[0], received[0])):
        return [*delivered, *received]
    raise BadInput("holds several points of supply, which are never summed", file=file, way_out=_ways(usable, listing))


def _same_meter(one: Group, other: Group) -> bool:
    return re.findall(r"meter \d+", one.text) == re.findall(r"meter \d+", other.text)


def _ways(groups: list[Group], listing: dict[str, str]) -> str:
    return "choose one with point: " + "; ".join(f"{one.id} ({listing[one.id]})" for one in groups)
