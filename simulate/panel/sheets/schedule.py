"""The circuit schedule before and after, and the map of the spaces."""

from __future__ import annotations

from profiles.loads.circuit import Circuit
from simulate.panel.checks.conductor import CONTINUOUS_KINDS
from simulate.panel.checks.layout import PLUGGED_KINDS, Layout
from simulate.panel.checks.motor import start_of, starts_motor
from simulate.panel.checks.spaces import Slot, items_of, main_positions, seats, slots_of
from simulate.panel.sheets.sheet import BLANK, NONE, breaker_text, length_text, or_blank, sheet, wire_text

HEAVY_KINDS = ("heat", "water-heater", "cooking", "ev", "laundry")
"""Kinds that are usually left on the main panel, common practice."""

STABS = (
    "Odd numbers left, even right; stabs alternate legs from row to row, the first on A; two poles take two adjacent "
    "numbers of a column. Write the panel's own numbers beside them where they differ."
)
THROUGH = (
    "Circuits pass through from their breakers in the main panel: numbers run in the order of the site file; write the "
    "panel's own beside them where they differ."
)
WHERE = {"sub-panel": "sub-panel", "main": "main panel", "candidate": "main panel (candidate)"}


def space_of(layout: Layout) -> dict[str, Slot]:
    """The space of each circuit on the sub-panel; circuits without one are left out."""
    slots = {slot.number: slot for slot in slots_of(layout)}
    seated, _ = seats(tuple(slots.values()), items_of(layout))
    return {circuit.name: slots[number] for number, item in seated.items() for circuit in item.circuits}


def number_of(slot: Slot) -> int | str:
    """A space's number as a sheet prints it: "1/3" for two adjacent ones."""
    return slot.text if slot.positions else slot.number


def breaker_of(layout: Layout, circuit: Circuit) -> str:
    """Breaker of a circuit; the mates of a multiwire pair share one with two poles.

    A tied pair of single-pole breakers opens both hots as well (NEC 210.4(B)).
    """
    mate = layout.pair_of(circuit)
    if mate is None or mate.on != circuit.on:
        return breaker_text(circuit)
    return f"{circuit.breaker_a:g} A, 2-pole with {mate.name}"


def leg_text(layout: Layout, circuit: Circuit) -> str:
    """Leg of a circuit, "A+B" for two poles."""
    return "+".join(layout.legs_of(circuit))


def schedule(layout: Layout) -> dict:
    """Every circuit of the site file, where it hangs before and after."""
    spaces = space_of(layout)
    columns = [
        "circuit",
        "poles",
        "leg",
        "breaker [A]",
        "wire",
        "length [ft]",
        "continuous [A]",
        "running [W]",
        "largest [W]",
        "start [A]",
        "priority",
        "GFCI",
        "AFCI",
        "before",
        "main panel space",
        "after",
        "sub-panel space",
        "shares neutral with",
        "also on this wire",
        "if lost",
        "verified by switching off",
    ]
    rows = [_row(layout, circuit, spaces) for circuit in layout.site.circuit]
    notes = [
        "A blank is filled in on site; nothing is guessed.",
        "Verify each circuit by switching it off, not by the legend.",
        "A tripped GFCI stays tripped: look at sump and refrigerator after each transfer.",
    ]
    heavy = [circuit.name for circuit in layout.circuits if circuit.kind in HEAVY_KINDS]
    if heavy:
        names = ", ".join(heavy)
        notes.append(f"Heat and vehicles empty a battery first: leave off, or drop by load control: {names}.")
    return sheet("Circuit schedule, before and after", columns, rows, notes)


def _row(layout: Layout, circuit: Circuit, spaces: dict[str, Slot]) -> list:
    moves = circuit.on == "sub-panel"
    mate = layout.pair_of(circuit)
    space = number_of(spaces[circuit.name]) if circuit.name in spaces else BLANK if moves else NONE
    main = "/".join(map(str, main_positions(circuit))) or BLANK
    return [
        circuit.name,
        circuit.poles,
        leg_text(layout, circuit),
        circuit.breaker_a,
        wire_text(circuit.wire),
        length_text(circuit.wire),
        _continuous(layout, circuit),
        or_blank(circuit.running_w),
        _largest(circuit),
        _start(layout, circuit),
        circuit.priority,
        or_blank(circuit.gfci),
        or_blank(circuit.afci),
        "main panel",
        main,
        WHERE[circuit.on],
        space,
        mate.name if mate else NONE,
        circuit.also_on_wire or BLANK,
        circuit.if_lost or BLANK,
        BLANK,
    ]


def _largest(circuit: Circuit):
    """Asked of what anything may be plugged into; elsewhere it is the running power."""
    return or_blank(circuit.largest_w) if circuit.kind in (None, *PLUGGED_KINDS) else circuit.largest_w or NONE


def _continuous(layout: Layout, circuit: Circuit):
    if circuit.kind is None or (circuit.kind in CONTINUOUS_KINDS and circuit.running_w is None):
        return BLANK
    return round(circuit.running_w / (layout.volts(circuit) or 240.0), 2) if circuit.kind in CONTINUOUS_KINDS else NONE


def _start(layout: Layout, circuit: Circuit) -> str:
    if not starts_motor(circuit):
        return NONE
    start = start_of(circuit, layout.battery_volts(circuit) or 240.0)
    if isinstance(start, list):
        return BLANK
    return f"{start.low_a:.0f}-{start.high_a:.0f}" if start.high_a - start.low_a > 0.5 else f"{start.high_a:.0f}"


def space_map(layout: Layout) -> dict:
    """The spaces by number with leg and circuit; what found none stands below with a blank number."""
    by_name = {circuit.name: circuit for circuit in layout.circuits}
    spaces = space_of(layout)
    inside: dict[int, list[Circuit]] = {}
    for name, slot in spaces.items():
        inside.setdefault(slot.number, []).append(by_name[name])
    rows = []
    for slot in slots_of(layout):
        there = inside.get(slot.number, [])
        legs = "+".join(sorted({leg for circuit in there for leg in layout.legs_of(circuit)})) or slot.leg
        names = " / ".join(circuit.name for circuit in there) or "free"
        breakers = " / ".join(breaker_text(circuit) for circuit in there) or NONE
        if len(there) == 2:
            breakers = f"{max(circuit.breaker_a for circuit in there):g} A 2-pole, both"
        legs = legs or ("A+B" if slot.poles == 2 else "either")
        rows.append([number_of(slot), slot.poles, legs, slot.max_breaker_a, names, breakers])
    for circuit in layout.circuits:
        if circuit.name not in spaces:
            rows.append([BLANK, circuit.poles, leg_text(layout, circuit), BLANK, circuit.name, breaker_text(circuit)])
    columns = ["space", "poles", "leg", "takes at most [A]", "circuit", "breaker"]
    notes = [STABS if layout.site.subpanel.build == "fed" else THROUGH]
    if layout.site.subpanel.spaces is None:
        notes.append("subpanel.spaces is not given: no space is assigned.")
    return sheet("Spaces of the sub-panel", columns, rows, notes)
