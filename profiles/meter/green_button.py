"""Green Button files (NAESB REQ.21 ESPI in Atom) -> the readings of one point of supply."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from profiles.meter.clock import UTC, ChangeRule, Clock, zone_clock
from profiles.meter.espi import COST_UNIT, CURRENCIES, SERVICES, W, ReadingType
from profiles.meter.dialect import Dialect
from profiles.meter.feed import ABSENT, Entry, read_feed
from profiles.meter.links import ReadingSet, reading_sets
from profiles.meter.meter import Issue, Meter, Point, merged
from profiles.meter.register import differenced
from profiles.meter.sequence import Readings, Settled, settled
from profiles.meter.start_clock import in_utc, on_midnights
from profiles.noun import BadInput

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


def read_green_button(path: str | Path, *, point: str | None = None, timezone: str | None = None,
                      source: str = "", dialect: Dialect | None = None) -> Meter:
    """One point of supply of a Green Button file.

    Parameters
    ----------
    point : str, optional
        Name from the list that the error gives where the file holds several.
    timezone : str, optional
        IANA zone for local stamps and days; without it the file's own rules of local time.
    dialect : Dialect, optional
        `clock` where starts are not UTC after all, `register_at` and `dial_kwh` for dial readings.

    Raises
    ------
    BadInput
        Not a Green Button file, nothing electrical in it, or several points with none chosen.
    """
    entries = read_feed(path)
    sets, by_order = reading_sets(entries)
    if not sets:
        raise BadInput("holds no interval readings of NAESB ESPI in Atom entries", file=path,
                       way_out="download interval usage, not the bill summary")
    dialect = dialect or Dialect()
    offers = _offers(sets, path, dialect)
    chosen = _chosen(offers, point, path)
    own_clock, how = _clock(chosen[0], timezone, dialect, path)
    clock = zone_clock(timezone) if timezone else own_clock
    starts = [in_utc(offer.readings, own_clock, dialect, file=path) for offer in chosen]
    parts = [settled(one, clock, file=path, interval_s=offer.type.interval_s)
             for one, offer in zip(starts, chosen, strict=True)]
    words, doubts = on_midnights(chosen[0].block_starts, chosen[0].block_lengths, own_clock)
    issues = [issue for offer in chosen for issue in offer.notes] + (list(doubts) if dialect.clock is None else [])
    if by_order:
        issues.append(Issue("broken-link", by_order, "entries whose links lead nowhere", "related by their order in the file"))
    return _meter(chosen, parts, issues, source=source, local=clock, clock=how + words, timezone=timezone,
                  points=_points(offers, chosen, clock))


def _offers(sets: list[ReadingSet], path, dialect: Dialect) -> list[Offer]:
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
    if kind.interval_s is None:
        kind = ReadingType(**{**kind.__dict__, "interval_s": _interval(readings, lengths)})
    if usable and kind.is_register:
        readings, notes = differenced(readings, at=dialect.register_at or "end", dial_kwh=dialect.dial_kwh)
    point = one.usage_point
    aliases = tuple(filter(None, (point.self_link, point.self_link.rpartition("/")[2]))) if point else ()
    return Offer(id_, group, aliases, kind, readings, starts, lengths, usable, text, one.local_time, notes)


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
        return int(entry.fields[name])
    except (AttributeError, KeyError, ValueError):
        return None


def _raw(one: ReadingSet, kind: ReadingType, path) -> tuple[Readings, np.ndarray, np.ndarray]:
    """All readings of a set in the order of its blocks, as kWh."""
    blocks = [(block.start_s, block.duration_s, block.readings(), entry.updated)
              for entry in one.block_entries for block in entry.blocks]
    downloads = {text: rank for rank, text in enumerate(sorted({updated for *_, updated in blocks}))}
    parts = [_timed(rows, start, length, kind.interval_s, path) for start, length, rows, _ in blocks]
    rank = np.concatenate([np.full(len(rows), downloads[updated]) for _, _, rows, updated in blocks])
    rows = np.concatenate(parts)
    quality = np.where(rows["quality"] < 0, kind.default_quality, rows["quality"])
    readings = Readings(rows["start"].copy(), rows["duration"].copy(), kind.kwh(rows["value"], rows["duration"]), quality,
                        rows["cost"] * COST_UNIT, rank)
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
            raise BadInput("has readings without a duration, a ReadingType without intervalLength and a block without "
                           "duration", file=path)
        rows["duration"][untimed] = each
    unplaced = np.flatnonzero(rows["start"] == ABSENT)
    if len(unplaced) and start is None:
        raise BadInput("has readings without a start in a block without one", file=path)
    if len(unplaced) == len(rows):
        rows["start"] = start + np.concatenate(([0], np.cumsum(rows["duration"])[:-1]))
        return rows
    for i in unplaced:
        rows["start"][i] = rows["start"][i - 1] + rows["duration"][i - 1] if i else start
    return rows


def _chosen(offers: list[Offer], point: str | None, path) -> list[Offer]:
    """The delivered set, and beside it the received one of the same point and interval."""
    usable = [offer for offer in offers if offer.usable and len(offer.readings)]
    if not usable:
        held = ", ".join(sorted({offer.kind for offer in offers}))
        raise BadInput(f"holds no electrical energy or mean power by interval (it holds: {held})", file=path,
                       way_out="download the interval usage of the electric meter")
    if point is not None:
        picked = [offer for offer in usable if point == offer.id] or [
            offer for offer in usable if point == offer.group or point in offer.aliases]
        if not picked:
            raise BadInput("is no point of supply in this file", file=path, key="point", value=point, way_out=_list(usable))
        usable = picked
        if len(picked) == 1:
            return picked
    if len({offer.group for offer in usable}) > 1:
        raise BadInput("holds several points of supply, which are never summed", file=path, way_out=_list(usable))
    by_flow = {name: [o for o in usable if o.type.direction == name] for name in {o.type.direction for o in usable}}
    delivered, received = by_flow.get("delivered", []), by_flow.get("received", [])
    if len(usable) == 1 and not received:
        return usable
    if len(delivered) == len(received) == 1 and _length(delivered[0]) == _length(received[0]):
        return [*delivered, *received]
    raise BadInput("holds several readings of the same supply, which are never summed", file=path, way_out=_list(usable))


def _length(offer: Offer) -> int:
    return int(np.median(offer.readings.duration))


def _list(offers: list[Offer]) -> str:
    return "choose one with point: " + "; ".join(str(_point(offer, UTC, False)) for offer in offers)


def _point(offer: Offer, clock: Clock, chosen: bool) -> Point:
    readings = offer.readings
    n, has = len(readings), len(readings) > 0
    end = int((readings.start + readings.duration).max()) if has else 0
    interval_s = offer.type.interval_s or (_length(offer) if has else 0)
    return Point(offer.id, offer.kind, offer.type.direction, interval_s / 60.0, n,
                 clock.stamp(readings.start.min()) if has else "", clock.stamp(end) if has else "",
                 float(np.round(readings.kwh.sum(), 9)) if offer.usable else None, chosen)


def _points(offers: list[Offer], chosen: list[Offer], clock: Clock) -> tuple[Point, ...]:
    return tuple(_point(offer, clock, offer in chosen) for offer in offers)


def _clock(offer: Offer, timezone: str | None, dialect: Dialect, path) -> tuple[Clock, str]:
    """The clock on which the file was written, for its changes, and how it is known."""
    own = _own_clock(offer.local_time, path)
    text = "seconds since 1970 in UTC, as ESPI has it"
    if dialect.clock not in (None, "utc"):
        text = f"seconds on the clock {dialect.clock}, as stated"
    text += f"; local clock {own} by the file's LocalTimeParameters" if own else "; the file names no local clock"
    if timezone:
        text += f"; stamps shown in {timezone}"
    return own or (zone_clock(timezone) if timezone else UTC), text


def _own_clock(entry: Entry | None, path) -> Clock | None:
    if entry is None or "tzOffset" not in entry.fields:
        return None
    fields = entry.fields
    try:
        rules = [ChangeRule.from_hex(fields[name]) if name in fields else None for name in ("dstStartRule", "dstEndRule")]
        clock = Clock(None, int(fields["tzOffset"]), int(fields.get("dstOffset", 0)), *rules)
        if not (abs(clock.offset_s) <= 50_400 and 0 <= clock.saving_s <= 7200):
            raise ValueError("an offset beyond 14 h")
        clock.changes(0, 366 * 86_400)
    except ValueError as error:
        raise BadInput("needs offsets in seconds and rules of 8 hex digits", file=path, key="LocalTimeParameters",
                       value=str(error)) from None
    return clock


def _meter(chosen: list[Offer], parts: list[Settled], issues: list[Issue], **known) -> Meter:
    main = parts[0].readings
    issues = issues + [issue for part in parts for issue in part.issues]
    received = None
    if len(parts) == 2:
        main, received = _paired(parts, known["local"], issues)
    kind = chosen[0].type
    has_cost = not np.isnan(main.cost).all()
    dialect = f"Green Button (NAESB ESPI): {chosen[0].kind}, times 10^{kind.power_of_ten}, {kind.direction}"
    dialect += " and received kept apart" if received is not None else ""
    dialect += ", mean power times its hours" if kind.unit == W else ""
    return Meter(start_utc=main.start, duration_s=main.duration, kwh=main.kwh, quality=main.quality,
                 received_kwh=received, cost=main.cost if has_cost else None,
                 currency=CURRENCIES.get(kind.currency, str(kind.currency) if kind.currency else ""),
                 interval_s=parts[0].interval_s, readings=sum(len(o.readings) for o in chosen[:1]),
                 covered_s=parts[0].covered_s, repeated=parts[0].repeated, dialect=dialect, issues=merged(issues), **known)


def _paired(parts: list[Settled], clock: Clock, issues: list[Issue]) -> tuple[Readings, np.ndarray]:
    """Delivered and received side by side, where both registers have a reading of the same interval."""
    main, other = parts[0].readings, parts[1].readings
    both, mine, theirs = np.intersect1d(main.start, other.start, assume_unique=True, return_indices=True)
    alone = len(main) + len(other) - 2 * len(both)
    if alone:
        issues.append(Issue("unpaired", alone, "delivered or received without the other", "left out: missing is not zero"))
    if not len(both):
        raise BadInput("has delivered and received readings that never share an interval")
    return main.at(mine), other.kwh[theirs]
