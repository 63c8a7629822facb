"""Spaces of the sub-panel: which circuit sits where, and whether all fit."""

from __future__ import annotations

from dataclasses import dataclass

from profiles.loads.circuit import Circuit
from simulate.house.recharge import charging_legs
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout, unit_names

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
    positions : tuple of int
        Its numbers on a panel with stabs: one, or two adjacent ones in a column; none where circuits pass through.
    """

    number: int
    poles: int
    max_breaker_a: float
    leg: str | None
    circuits: tuple[str, ...] = ()
    positions: tuple[int, ...] = ()

    @property
    def text(self) -> str:
        """Its number as it is printed, "5" or "1/3"."""
        return "/".join(map(str, self.positions or (self.number,)))


def stab_leg(position: int) -> str:
    """Leg of a numbered space: odd numbers left, even right; stabs alternate from row to row, the first on A.

    Examples
    --------
    >>> [stab_leg(position) for position in (1, 2, 3, 4, 5)]
    ['A', 'A', 'B', 'B', 'A']
    """
    return "A" if (position + 1) // 2 % 2 else "B"


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
    """The panel's spaces, empty; with its own breakers its stabs alternate legs, and a single-pole space has one."""
    slots, columns = [], [1, 2]
    fed, two_legs = layout.site.subpanel.build == "fed", layout.legs == ("A", "B")
    for space in layout.site.subpanel.spaces or ():
        for _ in range(space.count):
            positions = _positions(columns, space.poles, space.leg) if fed else ()
            leg = space.leg or (stab_leg(positions[0]) if fed and two_legs and space.poles == 1 else None)
            slots.append(Slot(len(slots) + 1, space.poles, space.max_breaker_a, leg, (), positions))
    return tuple(slots)


def _positions(columns: list[int], poles: int, leg: str | None) -> tuple[int, ...]:
    """The next numbers of a panel for a space, in the shorter column that has its leg; `columns` moves on."""
    sides = [side for side in (0, 1) if leg is None or stab_leg(columns[side]) == leg] or [0, 1]
    side = min(sides, key=lambda one: columns[one])
    first = columns[side]
    columns[side] = first + 2 * poles
    return tuple(range(first, columns[side], 2))


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
    wanted = new_breakers(layout)
    poles = sum(one.poles for one in wanted)
    fed = layout.site.subpanel.build == "fed"
    freed = sum(circuit.poles for circuit in layout.circuits) if fed else 0
    text = f"The charging circuits{' and the feeder' if fed else ''} take {poles} spaces of the main panel"
    text += f", the circuits that move free {freed}" if fed else ""
    service = layout.site.service
    free = len(service.free_at) if service.free_spaces is None and service.free_at else service.free_spaces
    if free is None:
        return [missing("space", "main panel", ["service.free_spaces"], RULE, f"{text}.")]
    figure = Figure(float(poles), float(free + freed), "spaces")
    text += f"; free: {free}."
    out = [found("space", "main panel", pass_or_fail(figure), figure, RULE, text)]
    return out + _main_numbers(layout, wanted)


@dataclass(frozen=True)
class NewBreaker:
    """A breaker that the work adds to the main panel.

    Attributes
    ----------
    name : str
    poles : int
    breaker_a : float
        [A]
    leg : str or None
        Of a single pole.
    """

    name: str
    poles: int
    breaker_a: float
    leg: str | None = None


def new_breakers(layout: Layout) -> list[NewBreaker]:
    """Charging circuits and the feeder, as the main panel gets them; two poles first."""
    out = []
    feeder = layout.site.subpanel.feeder
    if layout.site.subpanel.build == "fed":
        out.append(NewBreaker("Feeder of the sub-panel", len(layout.legs), feeder.breaker_a if feeder else 0.0))
    for group in layout.groups:
        circuit, poles = group.charging_circuit, 1 if group.charging_circuit.volts == 120 else 2
        leg = charging_legs(group)[0] if poles == 1 else None
        for name in unit_names(group):
            out.append(NewBreaker(f"Charging, {name}", poles, circuit.breaker_a, leg))
    return sorted(out, key=lambda one: -one.poles)


def free_numbers(layout: Layout) -> list[int]:
    """Numbers of the main panel that are free once the circuits of a sub-panel with its own breakers have moved."""
    free = set(layout.site.service.free_at or ())
    if layout.site.subpanel.build == "fed":
        for circuit in layout.circuits:
            free |= set(main_positions(circuit))
    return sorted(free)


def main_positions(circuit: Circuit) -> tuple[int, ...]:
    """Numbers of a circuit in the main panel; none where they are not stated."""
    first = circuit.main_space
    return () if first is None else tuple(range(first, first + 2 * circuit.poles, 2))


def placed_in_main(layout: Layout) -> tuple[dict[int, NewBreaker], list[NewBreaker]]:
    """The new breakers by number of the main panel, and those that find none: two poles take adjacent numbers."""
    free, placed, left = free_numbers(layout), {}, []
    for one in new_breakers(layout):
        spots = [(p,) for p in free if one.leg in (None, stab_leg(p))]
        if one.poles == 2:
            spots = [(p, p + 2) for p in free if p + 2 in free]
        if not spots:
            left.append(one)
            continue
        for p in spots[0]:
            placed[p] = one
            free.remove(p)
    return placed, left


def main_number_text(layout: Layout, name: str) -> str:
    """Numbers in the main panel of a circuit that is there, or of a breaker that is new there; "" where not known."""
    for circuit in layout.site.circuit:
        if circuit.name == name:
            return "/".join(map(str, main_positions(circuit)))
    return "/".join(str(p) for p, one in placed_in_main(layout)[0].items() if one.name == name)


def _clashes(layout: Layout) -> list[Finding]:
    """Numbers of the main panel that stand twice, that are said to be free too, or that it does not have."""
    service, there = layout.site.service, {}
    for circuit in layout.site.circuit:
        for p in main_positions(circuit):
            there.setdefault(p, []).append(circuit.name)
    said = [f"space {p} is that of {' and of '.join(names)}" for p, names in sorted(there.items()) if len(names) > 1]
    said += [f"space {p} is free and that of {there[p][0]}" for p in sorted(service.free_at or ()) if p in there]
    beyond = sorted(p for p in {*there, *(service.free_at or ())} if service.spaces is not None and p > service.spaces)
    said += [f"there is no space {p} among {service.spaces}" for p in beyond]
    if not said:
        return []
    figure = Figure(float(len(said)), 0.0, "numbers")
    text = f"Numbers of the main panel contradict each other: {'; '.join(said)}. Read the panel again."
    return [found("space", "main panel, read again", "fail", figure, RULE, text)]


def _main_numbers(layout: Layout, wanted: list[NewBreaker]) -> list[Finding]:
    """Where numbers are stated: adjacent pairs for two poles, the stated legs on the stabs of their spaces."""
    out, service = _clashes(layout), layout.site.service
    if service.free_at is not None:
        _, left = placed_in_main(layout)
        figure = Figure(float(len(wanted)), float(len(wanted) - len(left)), "breakers")
        text = "Free spaces by number take every new breaker, two poles in adjacent ones."
        if left:
            names = ", ".join(f"{one.name} ({one.poles}-pole)" for one in left)
            text = f"No free space by number for {names}: two poles need adjacent spaces, one pole one on its leg."
        out.append(found("space", "main panel, numbers", pass_or_fail(figure), figure, RULE, text))
    wrong = [
        c for c in layout.site.circuit if c.poles == 1 and c.main_space and c.leg not in (None, stab_leg(c.main_space))
    ]
    if wrong:
        said = ", ".join(f"{c.name} in space {c.main_space} on leg {c.leg}" for c in wrong)
        text = f"Stabs alternate: spaces 1 and 2 on A, 3 and 4 on B, and so on. Not so: {said}. Look which leg it is."
        out.append(
            found("space", "main panel, legs", "marginal", Figure(float(len(wrong)), 0.0, "circuits"), RULE, text)
        )
    return out
