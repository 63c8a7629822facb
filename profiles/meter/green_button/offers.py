"""What a Green Button feed offers: each set of readings with its unit, its direction and a harmless name."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from profiles.meter.green_button.feed import ABSENT, LATEST_S, Entry
from profiles.meter.green_button.links import ReadingSet
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.espi import COST_UNIT, INSTANT, SERVICES, ReadingType
from profiles.meter.readings.meter import Issue
from profiles.meter.readings.register import differenced
from profiles.meter.readings.sequence import Readings
from profiles.noun import BadInput
from profiles.numerals import whole

FEW_UNLIKE, UNLIKE_FRAC = 4, 0.01
_SHORT_ID = re.compile(r"[A-Za-z0-9]{1,3}")


@dataclass(eq=False)
class Offer:
    """One set of readings that could be read, with its name on the list."""

    id: str
    group: str
    aliases: tuple[str, ...]
    type: ReadingType
    readings: Readings
    block_starts: np.ndarray
    block_lengths: np.ndarray
    usable: bool
    kind: str
    local_time: Entry | None
    notes: tuple[Issue, ...] = ()


def offers_in(sets: list[ReadingSet], dialect: Dialect, *, file: object) -> list[Offer]:
    """Every set of readings of a feed, as kWh where it is energy, with its name on the list.

    Raises
    ------
    BadInput
        A set without a reading type, or readings that cannot be placed in time.
    """
    path = file
    groups: dict[int, list[ReadingSet]] = {}
    for one in sets:
        groups.setdefault(id(one.usage_point), []).append(one)
    names = _group_names([group[0].usage_point for group in groups.values()])
    offers = []
    for name, group in zip(names, groups.values(), strict=True):
        for k, one in enumerate(group, 1):
            offers.append(_offer(one, name, name if len(group) == 1 else f"{name}.{k}", path, dialect))
    return offers


def _group_names(points: list[Entry | None]) -> list[str]:
    """The last part of each usage point's link where it is too short to be anybody's number, else 1, 2, 3."""
    tails = [point.self_link.rpartition("/")[2] if point else "" for point in points]
    short = len(set(tails)) == len(tails) and all(_SHORT_ID.fullmatch(tail) for tail in tails)
    return tails if short else [str(k) for k in range(1, len(points) + 1)]


def _offer(one: ReadingSet, group: str, id_: str, path, dialect: Dialect) -> Offer:
    kind = _reading_type(one, path)
    service = SERVICES.get(_number(one.usage_point, "kind"), "electricity")
    readings, starts, lengths = _raw(one, kind, path)
    usable, notes = kind.is_energy and service == "electricity", ()
    text = str(kind) if service == "electricity" else str(kind).replace("electricity", service)
    stated_s = None if kind.is_register else kind.interval_s
    if kind.interval_s is None:
        kind = replace(kind, interval_s=_interval(readings, lengths))
    if usable and kind.is_register:
        readings, notes = differenced(readings, at=dialect.register_at or "end", dial_kwh=dialect.dial_kwh, file=path)
    notes += (*_doubts(kind), *_unlike_type(readings, stated_s)) if usable else ()
    point = one.usage_point
    aliases = tuple(filter(None, (point.self_link, point.self_link.rpartition("/")[2]))) if point else ()
    return Offer(id_, group, aliases, kind, readings, starts, lengths, usable, text, one.local_time, notes)


def _doubts(kind: ReadingType) -> tuple[Issue, ...]:
    """What a reading type says that its values may not be what a house uses over an interval."""
    found = []
    if kind.behaviour == INSTANT:
        done = "each is taken as the mean of its interval: between two of them anything may have happened"
        found.append(Issue("instantaneous", 1, "the reading type", done))
    if kind.direction == "total":
        done = "forward and reverse flow added by the meter: behind a roof that is not what the house uses"
        found.append(Issue("total-flow", 1, "the reading type", done))
    return tuple(found)


def _unlike_type(readings: Readings, stated_s: int | None) -> tuple[Issue, ...]:
    """Readings whose length is not the type's, more of them than a clock change or two explains."""
    known = readings.duration[readings.duration > 0]
    unlike = known[known != stated_s] if stated_s else known[:0]
    if len(unlike) <= max(FEW_UNLIKE, UNLIKE_FRAC * len(known)):
        return ()
    values, counts = np.unique(unlike, return_counts=True)
    done = f"the readings' own lengths are taken, most often {values[counts.argmax()] / 60:g} min"
    return (Issue("unlike-type", len(unlike), f"the reading type says {stated_s / 60:g} min", done),)


def _interval(readings: Readings, lengths: np.ndarray) -> int | None:
    known = readings.duration[readings.duration > 0]
    return None if len(known) or not len(readings) else int(lengths.sum() // len(readings)) or None


def _reading_type(one: ReadingSet, path) -> ReadingType:
    if one.type_entry is None:
        raise BadInput("holds readings without a ReadingType, so their unit is unknown", file=path)
    try:
        return ReadingType.from_fields(one.type_entry.fields)
    except ValueError as error:
        raise BadInput("needs whole numbers that ESPI knows", file=path, key="ReadingType", value=str(error)) from None


def _number(entry: Entry | None, name: str) -> int | None:
    try:
        return whole(entry.fields[name])
    except (AttributeError, KeyError, ValueError):
        return None


def _raw(one: ReadingSet, kind: ReadingType, path) -> tuple[Readings, np.ndarray, np.ndarray]:
    """All readings of a set in the order of its blocks, as kWh."""
    blocks = [
        (block.start_s, block.duration_s, block.readings(), entry.updated)
        for entry in one.block_entries
        for block in entry.blocks
    ]
    downloads = {text: rank for rank, text in enumerate(sorted({updated for *_, updated in blocks}))}
    parts = [_timed(rows, start, length, kind.interval_s, path) for start, length, rows, _ in blocks]
    rank = np.concatenate([np.full(len(rows), downloads[updated]) for _, _, rows, updated in blocks])
    rows = np.concatenate(parts)
    quality = np.where(rows["quality"] < 0, kind.default_quality, rows["quality"])
    readings = Readings(
        rows["start"].copy(),
        rows["duration"].copy(),
        kind.kwh(rows["value"], rows["duration"]),
        quality,
        rows["cost"] * COST_UNIT,
        rank,
    )
    starts = np.array([start for start, length, *_ in blocks if start is not None and length], dtype=np.int64)
    lengths = np.array([length for start, length, *_ in blocks if start is not None and length], dtype=np.int64)
    return readings, starts, lengths


def _timed(rows: np.ndarray, start: int | None, length: int | None, interval_s: int | None, path) -> np.ndarray:
    """Fill in start and duration where readings leave out their timePeriod."""
    if not len(rows):
        return rows
    rows = rows.copy()
    untimed = rows["duration"] == ABSENT
    if untimed.any():
        each = interval_s or (length // len(rows) if length else 0)
        if not each:
            raise BadInput(
                "has readings without a duration, a ReadingType without intervalLength and a block without duration",
                file=path,
            )
        rows["duration"][untimed] = each
    unplaced = np.flatnonzero(rows["start"] == ABSENT)
    if len(unplaced) and start is None:
        raise BadInput("has readings without a start in a block without one", file=path)
    if len(unplaced) == len(rows):
        rows["start"] = start + np.concatenate(([0], np.cumsum(rows["duration"])[:-1]))
    else:
        for i in unplaced:
            rows["start"][i] = rows["start"][i - 1] + rows["duration"][i - 1] if i else start
    if rows["start"].max() >= LATEST_S:
        raise BadInput("has readings that, one after the other, run beyond the year 2100", file=path)
    return rows
