"""Which readings belong to which usage point: by links first, by the order of the file where links are broken."""

from __future__ import annotations

from dataclasses import dataclass, field

from profiles.meter.feed import Entry


@dataclass
class ReadingSet:
    """One meter reading of a feed with everything that belongs to it."""

    usage_point: Entry | None
    type_entry: Entry | None
    block_entries: list[Entry] = field(default_factory=list)
    local_time: Entry | None = None


def reading_sets(entries: list[Entry]) -> tuple[list[ReadingSet], int]:
    """Sets in the order of the file, and how many entries had to be related by their order.

    A link is followed where it names the other entry, its collection, or stands above it in the path.
    """
    by_kind = {
        kind: [e for e in entries if e.kind == kind]
        for kind in ("UsagePoint", "MeterReading", "ReadingType", "LocalTimeParameters", "IntervalBlock")
    }
    by_order, sets = 0, {}
    for block in by_kind["IntervalBlock"]:
        reading, linked = _owner(block, by_kind["MeterReading"])
        by_order += not linked
        sets.setdefault(id(reading), (reading, []))[1].append(block)
    found = []
    for reading, blocks in sets.values():
        anchor = reading or blocks[0]
        usage_point, linked_point = _owner(anchor, by_kind["UsagePoint"])
        type_entry, linked_type = _named(anchor, by_kind["ReadingType"])
        local_time, _ = _named(usage_point or anchor, by_kind["LocalTimeParameters"])
        by_order += (usage_point is not None and not linked_point) + (type_entry is not None and not linked_type)
        found.append(ReadingSet(usage_point, type_entry, blocks, local_time))
    return found, by_order


def _owner(entry: Entry, owners: list[Entry]) -> tuple[Entry | None, bool]:
    """The entry above this one, and whether a link said so; else the last one before it in the file."""
    for owner in owners:
        if _points_at(owner.related, entry) or owner.self_link and _is_below(entry, owner.self_link):
            return owner, True
    before = [owner for owner in owners if owner.position < entry.position]
    return (before[-1] if before else owners[0] if owners else None), not owners


def _points_at(related: tuple[str, ...], entry: Entry) -> bool:
    return bool(entry.self_link and entry.self_link in related or entry.up_link and entry.up_link in related)


def _is_below(entry: Entry, above: str) -> bool:
    return any(link == above or link.startswith(above + "/") for link in (entry.up_link, entry.self_link))


def _named(entry: Entry, others: list[Entry]) -> tuple[Entry | None, bool]:
    """The entry that a related link names; else the first one after it in the file, else the last."""
    for other in others:
        if other.self_link and other.self_link in entry.related:
            return other, True
    after = [other for other in others if other.position > entry.position]
    return (after[0] if after else others[-1] if others else None), not others
