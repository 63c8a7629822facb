"""Which readings belong to which usage point: by links first, by the order of the file where links are broken."""

from __future__ import annotations

import bisect
from dataclasses import dataclass, field

from profiles.meter.green_button.feed import Entry

DEEPEST_PATH = 32


@dataclass
class ReadingSet:
    """One meter reading of a feed with everything that belongs to it."""

    usage_point: Entry | None
    type_entry: Entry | None
    block_entries: list[Entry] = field(default_factory=list)
    local_time: Entry | None = None


def reading_sets(entries: list[Entry]) -> tuple[list[ReadingSet], int, int]:
    """Sets in the order of the file, how many entries had to be related by their order, how many contradict themselves.

    A link is followed where it names the other entry, its collection, or stands above it in the path.
    """
    by_kind = {
        kind: [e for e in entries if e.kind == kind]
        for kind in ("UsagePoint", "MeterReading", "ReadingType", "LocalTimeParameters", "IntervalBlock")
    }
    readings, points = _Owners(by_kind["MeterReading"]), _Owners(by_kind["UsagePoint"])
    by_order, contradicted, sets = 0, 0, {}
    for block in by_kind["IntervalBlock"]:
        reading, linked = readings.of(block)
        contradicted += readings.contradicts(block)
        by_order += not linked
        sets.setdefault(id(reading), (reading, []))[1].append(block)
    found = []
    for reading, blocks in sets.values():
        anchor = reading or blocks[0]
        usage_point, linked_point = points.of(anchor)
        type_entry, linked_type = _named(anchor, by_kind["ReadingType"])
        local_time, _ = _named(usage_point or anchor, by_kind["LocalTimeParameters"])
        by_order += (usage_point is not None and not linked_point) + (type_entry is not None and not linked_type)
        found.append(ReadingSet(usage_point, type_entry, blocks, local_time))
    return found, by_order, contradicted


class _Owners:
    """Entries that others belong to, found by the links that name them."""

    def __init__(self, owners: list[Entry]):
        self.owners = owners
        self.by_related = {link: owner for owner in reversed(owners) for link in owner.related}
        self.by_self = {owner.self_link: owner for owner in reversed(owners) if owner.self_link}

    def of(self, entry: Entry) -> tuple[Entry | None, bool]:
        """The entry above this one, and whether a link said so; else the last one before it in the file."""
        for link in filter(None, (entry.self_link, entry.up_link)):
            if link in self.by_related:
                return self.by_related[link], True
        for link in filter(None, (entry.up_link, entry.self_link)):
            owner = self._above(link)
            if owner is not None:
                return owner, True
        at = bisect.bisect_left(self.owners, entry.position, key=lambda owner: owner.position)
        return (self.owners[max(at - 1, 0)] if self.owners else None), not self.owners

    def contradicts(self, entry: Entry) -> bool:
        """True where the self link names one owner and the up link another."""
        named = [self.by_related.get(link) or self._above(link) for link in (entry.self_link, entry.up_link) if link]
        return len(named) == 2 and None not in named and named[0] is not named[1]

    def _above(self, link: str) -> Entry | None:
        """The owner whose own link is this one or stands above it in the path."""
        parts = link.split("/")[:DEEPEST_PATH]
        tried = (self.by_self.get("/".join(parts[:k])) for k in range(len(parts), 0, -1))
        return next((owner for owner in tried if owner is not None), None)


def _named(entry: Entry, others: list[Entry]) -> tuple[Entry | None, bool]:
    """The entry that a related link names; else the first one after it in the file, else the last."""
    for other in others:
        if other.self_link and other.self_link in entry.related:
            return other, True
    after = [other for other in others if other.position > entry.position]
    return (after[0] if after else others[-1] if others else None), not others
