"""Green Button files (NAESB REQ.21 ESPI in Atom) -> the readings of one point of supply."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from profiles.meter.green_button.feed import Entry, read_feed
from profiles.meter.green_button.links import reading_sets
from profiles.meter.green_button.offers import Offer, offers_in
from profiles.meter.green_button.start_clock import in_utc, on_midnights
from profiles.meter.readings.clock import UTC, ChangeRule, Clock, zone_clock
from profiles.meter.readings.coarse import is_fine
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.espi import CURRENCIES, W
from profiles.meter.readings.meter import Issue, Meter, Point, merged
from profiles.meter.readings.sequence import Settled, paired, settled
from profiles.noun import BadInput

_CLOCK_FIELDS = ("tzOffset", "dstOffset", "dstStartRule", "dstEndRule")
_HEX = re.compile(r"-?[0-9A-Fa-f]{1,8}")


def read_green_button(
    path: str | Path,
    *,
    point: str | None = None,
    timezone: str | None = None,
    source: str = "",
    dialect: Dialect | None = None,
) -> Meter:
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
    sets, by_order, contradicted = reading_sets(entries)
    if not sets:
        raise BadInput(
            "holds no interval readings of NAESB ESPI in Atom entries",
            file=path,
            way_out="download interval usage, not the bill summary",
        )
    dialect = dialect or Dialect()
    offers = offers_in(sets, dialect, file=path)
    chosen = _chosen(offers, point, path)
    own_clock, how = _clock(chosen[0], timezone, dialect, path)
    clock = zone_clock(timezone) if timezone else own_clock
    starts = [in_utc(offer.readings, own_clock, dialect, file=path) for offer in chosen]
    parts = [
        settled(one, clock, file=path, interval_s=offer.type.interval_s)
        for one, offer in zip(starts, chosen, strict=True)
    ]
    words, doubts = on_midnights(chosen[0].block_starts, chosen[0].block_lengths, own_clock)
    issues = [issue for offer in chosen for issue in offer.notes] + (list(doubts) if dialect.clock is None else [])
    if by_order:
        issues.append(
            Issue("broken-link", by_order, "entries whose links lead nowhere", "related by their order in the file")
        )
    if contradicted:
        done = "the self link names one reading, the up link another: what a reading itself names, else the up link"
        issues.append(Issue("contradicting-link", contradicted, "entries of readings", done))
    return _meter(
        chosen,
        parts,
        issues,
        path,
        source=source,
        local=clock,
        clock=how + words,
        timezone=timezone,
        points=_points(offers, chosen, clock),
    )


def _chosen(offers: list[Offer], point: str | None, path) -> list[Offer]:
    """The delivered set, and beside it the received one of the same point and interval."""
    usable = [offer for offer in offers if offer.usable and len(offer.readings)]
    if not usable:
        held = ", ".join(sorted({offer.kind for offer in offers}))
        raise BadInput(
            f"holds no electrical energy or mean power by interval (it holds: {held})",
            file=path,
            way_out="download the interval usage of the electric meter",
        )
    if point is not None:
        picked = [offer for offer in usable if point == offer.id] or [
            offer for offer in usable if point == offer.group or point in offer.aliases
        ]
        if not picked:
            raise BadInput(
                "is no point of supply in this file", file=path, key="point", value=point, way_out=_list(usable)
            )
        usable = picked
        if len(picked) == 1:
            return picked
    usable = [offer for offer in usable if _is_fine(offer)] or usable
    if len({offer.group for offer in usable}) > 1:
        raise BadInput("holds several points of supply, which are never summed", file=path, way_out=_list(usable))
    by_flow = {name: [o for o in usable if o.type.direction == name] for name in {o.type.direction for o in usable}}
    delivered, received = by_flow.get("delivered", []), by_flow.get("received", [])
    if received and len(received) == len(usable):
        raise BadInput(
            "holds only energy received from the house, which is not what the house uses",
            file=path,
            way_out="download the delivered energy too",
        )
    if len(usable) == 1 and not received:
        return usable
    if len(delivered) == len(received) == 1 and _length(delivered[0]) == _length(received[0]):
        return [*delivered, *received]
    raise BadInput(
        "holds several readings of the same supply, which are never summed", file=path, way_out=_list(usable)
    )


def _is_fine(offer: Offer) -> bool:
    """True where most of the readings could be parts of an hourly load; daily sums beside them are no second supply."""
    lengths = offer.readings.duration
    return bool(lengths[is_fine(lengths)].sum() > lengths.sum() / 2)


def _length(offer: Offer) -> int:
    return int(np.median(offer.readings.duration))


def _list(offers: list[Offer]) -> str:
    return "choose one with point: " + "; ".join(str(_point(offer, UTC, False)) for offer in offers)


def _point(offer: Offer, clock: Clock, chosen: bool) -> Point:
    readings = offer.readings
    n, has = len(readings), len(readings) > 0
    end = int((readings.start + readings.duration).max()) if has else 0
    interval_s = offer.type.interval_s or (_length(offer) if has else 0)
    return Point(
        offer.id,
        offer.kind,
        offer.type.direction,
        interval_s / 60.0,
        n,
        clock.stamp(readings.start.min()) if has else "",
        clock.stamp(end) if has else "",
        float(np.round(readings.kwh.sum(), 9)) if offer.usable else None,
        chosen,
    )


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
        rules = [
            ChangeRule.from_hex(fields[name]) if name in fields else None for name in ("dstStartRule", "dstEndRule")
        ]
        clock = Clock(None, int(fields["tzOffset"]), int(fields.get("dstOffset", 0)), *rules)
        if not (abs(clock.offset_s) <= 50_400 and 0 <= clock.saving_s <= 7200):
            raise ValueError("an offset beyond 14 h")
        clock.changes(0, 366 * 86_400)
    except ValueError:
        told = [
            f"{name} {fields[name] if _HEX.fullmatch(fields[name]) else 'text'}"
            for name in _CLOCK_FIELDS
            if name in fields
        ]
        raise BadInput(
            "needs offsets in seconds and rules of 8 hex digits",
            file=path,
            key="LocalTimeParameters",
            value=", ".join(told),
        ) from None
    return clock


def _meter(chosen: list[Offer], parts: list[Settled], issues: list[Issue], path, **known) -> Meter:
    main = parts[0].readings
    issues = issues + [issue for part in parts for issue in part.issues]
    received = None
    if len(parts) == 2:
        main, received, alone = paired(main, parts[1].readings, file=path)
        issues = issues + alone
    kind = chosen[0].type
    has_cost = not np.isnan(main.cost).all()
    dialect = f"Green Button (NAESB ESPI): {chosen[0].kind}, times 10^{kind.power_of_ten}, {kind.direction}"
    dialect += " and received kept apart" if received is not None else ""
    dialect += ", mean power times its hours" if kind.unit == W else ""
    return Meter(
        start_utc=main.start,
        duration_s=main.duration,
        kwh=main.kwh,
        quality=main.quality,
        received_kwh=received,
        cost=main.cost if has_cost else None,
        currency=CURRENCIES.get(kind.currency, str(kind.currency) if kind.currency else ""),
        interval_s=parts[0].interval_s,
        readings=sum(len(o.readings) for o in chosen[:1]),
        covered_s=parts[0].covered_s,
        repeated=parts[0].repeated,
        dialect=dialect,
        issues=merged(issues),
        **known,
    )
