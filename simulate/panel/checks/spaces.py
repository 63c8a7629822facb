"""Spaces of the sub-panel: which circuit sits where, and whether all fit."""

from __future__ import annotations

from dataclasses import dataclass

from profiles.loads.circuit import Circuit
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout

RULE = "NEC 110.3(B), 408.54: what the panel's label says it takes"
KINDS = {1: "single-pole spaces", 2: "two-pole spaces"}


@dataclass(frozen=True)
class Slot:
    """One space of the sub-panel.

    Attributes
    ----------
    number : int
        From 1, in the order of the site file.
    poles : int
    max_breaker_a : float
        [A]
    leg : str or None
        Leg that a single-pole space sits on; None where it takes either.
    circuits : tuple of str
        What sits in it: none, one circuit, or the two mates of a multiwire pair.
    """

    number: int
    poles: int
    max_breaker_a: float
    leg: str | None
    circuits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Item:
    """What takes one space: a circuit, or a multiwire pair in one two-pole space.

    Attributes
    ----------
    circuits : tuple of Circuit
    poles : int
    breaker_a : float
        [A]
    leg : str or None
        Of a single-pole circuit.
    """

    circuits: tuple[Circuit, ...]
    poles: int
    breaker_a: float
    leg: str | None = None


def items_of(layout: Layout, legs: dict[str, str] | None = None) -> tuple[Item, ...]:
    """What must find a space, in file order; `legs` overrides the legs of single-pole circuits."""
    out, seen = [], set()
    for circuit in layout.circuits:
        mate = layout.pair_of(circuit)
        if circuit.name in seen:
            continue
        if circuit.poles == 1 and mate is not None and mate.on == "sub-panel":
            seen.add(mate.name)
            out.append(Item((circuit, mate), 2, max(circuit.breaker_a, mate.breaker_a)))
        elif circuit.poles == 2:
            out.append(Item((circuit,), 2, circuit.breaker_a))
        else:
            leg = (legs or {}).get(circuit.name) or layout.legs_of(circuit)[0]
            out.append(Item((circuit,), 1, circuit.breaker_a, leg))
    return tuple(out)


def slots_of(layout: Layout) -> tuple[Slot, ...]:
    """The panel's spaces, empty, numbered from 1."""
    slots = []
    for space in layout.site.subpanel.spaces or ():
        for _ in range(space.count):
            slots.append(Slot(len(slots) + 1, space.poles, space.max_breaker_a, space.leg))
    return tuple(slots)


def seats(slots: tuple[Slot, ...], items: tuple[Item, ...]) -> tuple[dict[int, Item], list[Item]]:
    """Put as many items into spaces as fit: the largest first, each into the smallest space that takes it.

    Returns
    -------
    tuple
        Items by space number, and the items that found none, in file order.

    Notes
    -----
    Augmenting paths (Kuhn 1955): an item may push another one to a further space, so no fit is missed.
    """
    seated: dict[int, Item] = {}
    for item in sorted(items, key=lambda item: -item.breaker_a):
        _seat(item, slots, seated, set())
    placed = [id(item) for item in seated.values()]
    return seated, [item for item in items if id(item) not in placed]


def _seat(item: Item, slots: tuple[Slot, ...], seated: dict[int, Item], tried: set[int]) -> bool:
    fits = sorted((slot for slot in slots if takes(slot, item)), key=lambda slot: (slot.max_breaker_a, slot.number))
    for slot in sorted(fits, key=lambda slot: slot.number in seated):
        if slot.number in tried:
            continue
        tried.add(slot.number)
        if slot.number not in seated or _seat(seated[slot.number], slots, seated, tried):
            seated[slot.number] = item
            return True
    return False


def takes(slot: Slot, item: Item) -> bool:
    """The space has the item's poles, rating and leg."""
    leg_fits = slot.leg is None or item.leg is None or slot.leg == item.leg
    return slot.poles == item.poles and slot.max_breaker_a >= item.breaker_a and leg_fits


def space_findings(layout: Layout) -> list[Finding]:
    """Findings of `space`: the sub-panel's by poles, and the main panel's."""
    if layout.site.subpanel.spaces is None:
        out = [missing("space", "sub-panel", ["subpanel.spaces"], RULE)]
    else:
        out = _sub_panel(layout)
    return out + _main_panel(layout)


def _sub_panel(layout: Layout) -> list[Finding]:
    slots, items, out = slots_of(layout), items_of(layout), []
    _, left = seats(slots, items)
    for poles, name in KINDS.items():
        needed = [item for item in items if item.poles == poles]
        there = [slot for slot in slots if slot.poles == poles]
        if not needed:
            continue
        without = [_names(item) for item in left if item.poles == poles]
        fit = len(needed) - len(without) if without else len(there)
        figure = Figure(float(len(needed)), float(fit), "spaces")
        text = f"{len(needed)} {name} needed, {len(there)} there"
        text += f"; no space for {', '.join(without)}: too few, too small or on the other leg." if without else "."
        out.append(found("space", name, "fail" if without else "pass", figure, RULE, text))
    return out


def _names(item: Item) -> str:
    return " / ".join(circuit.name for circuit in item.circuits) + f" ({item.breaker_a:g} A)"


def _main_panel(layout: Layout) -> list[Finding]:
    if not layout.groups:
        return []
    poles = sum(group.count * (1 if group.charging_circuit.volts == 120 else 2) for group in layout.groups)
    fed = layout.site.subpanel.build == "fed"
    poles += 2 if fed else 0
    freed = sum(circuit.poles for circuit in layout.circuits) if fed else 0
    text = f"The charging circuits{' and the feeder' if fed else ''} take {poles} spaces of the main panel"
    text += f", the circuits that move free {freed}" if fed else ""
    if layout.site.service.free_spaces is None:
        return [missing("space", "main panel", ["service.free_spaces"], RULE, f"{text}.")]
    figure = Figure(float(poles), float(layout.site.service.free_spaces + freed), "spaces")
    text += f"; free: {layout.site.service.free_spaces}."
    return [found("space", "main panel", pass_or_fail(figure), figure, RULE, text)]
