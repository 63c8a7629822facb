"""The material list: what a supply house is asked for, counted from the wiring list, priced where prices are given."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

from simulate.house.recharge import charging_legs
from simulate.panel.checks.layout import Layout, unit_names
from simulate.panel.checks.raceway_tables import ground_awg, least_trade_size
from simulate.panel.checks.runs import MAKE_UP_FT, bundles
from simulate.panel.checks.spaces import items_of, slots_of
from simulate.panel.sheets.labels import label_set
from simulate.panel.sheets.sheet import BLANK, sheet
from simulate.site.unit import Battery

NOTES = (
    f"Wire between the panels: length of the raceway and {MAKE_UP_FT:g} ft at each end, common practice; other lengths "
    "are one way as given, without allowance.",
    "A blank is a length or size that the site file does not hold. Straps, screws and consumables are not counted.",
)
COLUMNS = ["item", "quantity", "unit", "for"]
Pieces = dict[tuple[str, str, str], float | None]
"""Quantity by item, unit and use; None where a length is not known."""
COLOURS = {"A": "black", "B": "red", "neutral": "white", "ground": "green"}
"""Of insulation, common practice; white and green by 200.6 and 250.119."""
LARGE = ("4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0")
"""Conductors that ask for an insulating bushing, NEC 300.4(G)."""


def material_list(layout: Layout) -> dict:
    """What to load: units, panels, breakers, wire by size and colour, raceways and fittings, connectors, labels."""
    rows = [[item, quantity(n, unit), unit, use] for (item, unit, use), n in sorted(pieces_of(layout).items())]
    return sheet("Material list", COLUMNS, rows, NOTES)


def quantity(n: float | None, unit: str):
    """A quantity as a list prints it: feet in tenths, pieces whole, blank where it is not known."""
    return BLANK if n is None else round(n, 1) if unit == "ft" else int(n)


def pieces_of(layout: Layout) -> Pieces:
    """Every item with its quantity."""
    pieces: Pieces = defaultdict(float)
    for add in (_units, _breakers, _panel, _raceways, _charging_wire, _output_wire, _small):
        add(layout, pieces)
    return pieces


def _add(pieces: Pieces, item: str, n: float | None, unit: str, use: str) -> None:
    key = (item, unit, use)
    pieces[key] = None if n is None or pieces[key] is None else pieces[key] + n


def unit_item(group: Battery) -> str:
    """Name of a battery group's units on the material list."""
    return f"battery unit, {group.name}"


def _units(layout: Layout, pieces: Pieces) -> None:
    for group in layout.groups:
        _add(pieces, unit_item(group), group.count, "pieces", f"{group.continuous_kw:g} kW")


def _breakers(layout: Layout, pieces: Pieces) -> None:
    for group in layout.groups:
        poles = 1 if group.charging_circuit.volts == 120 else 2
        name = f"breaker {group.charging_circuit.breaker_a:g} A {poles}-pole"
        _add(pieces, name, group.count, "pieces", "charging, main panel")
        if group.output_breaker_a is not None:
            poles = 2 if group.leg == "both" else 1
            _add(pieces, f"breaker {group.output_breaker_a:g} A {poles}-pole", group.count, "pieces", "unit outputs")
    solar = layout.site.solar
    if solar is not None and solar.connected_at == "sub-panel" and solar.breaker_a is not None:
        _add(pieces, f"breaker {solar.breaker_a:g} A {len(layout.legs)}-pole", 1, "pieces", "solar, sub-panel")
    if layout.site.subpanel.build == "fed":
        _own_breakers(layout, pieces)
    else:
        for item in items_of(layout):
            if len(item.circuits) == 2:
                names = " / ".join(circuit.name for circuit in item.circuits)
                _add(pieces, f"breaker {item.breaker_a:g} A 2-pole, or tie", 1, "pieces", f"shared neutral, {names}")


def _own_breakers(layout: Layout, pieces: Pieces) -> None:
    for item in items_of(layout):
        kinds = [k.upper() for k in ("gfci", "afci") if any(getattr(c, k) == "breaker" for c in item.circuits)]
        kind = " " + "+".join(kinds) if kinds else ""
        _add(pieces, f"breaker {item.breaker_a:g} A {item.poles}-pole{kind}", 1, "pieces", "sub-panel")
    feeder = layout.site.subpanel.feeder
    if feeder is not None:
        poles = len(layout.legs)
        _add(pieces, f"breaker {feeder.breaker_a:g} A {poles}-pole", 1, "pieces", "feeder, main panel")


def _panel(layout: Layout, pieces: Pieces) -> None:
    panel = layout.site.subpanel
    bus = "____ A" if panel.bus_a is None else f"{panel.bus_a:g} A"
    _add(pieces, f"sub-panel, {panel.build}, bus {bus}", 1, "pieces", f"{len(slots_of(layout)) or '____'} spaces")
    _add(pieces, "neutral bar, isolated", 1, "pieces", "sub-panel")
    _add(pieces, "ground bar", 1, "pieces", "sub-panel")
    free = len(slots_of(layout)) - len(items_of(layout))
    if free > 0 and panel.build == "fed":
        _add(pieces, "filler plate", free, "pieces", "free spaces of the sub-panel")
    if panel.build == "fed" and panel.surge_protection is not True:
        _add(pieces, "surge protective device", 1, "pieces", "sub-panel, where the adopted edition asks for it")
    if layout.groups:
        _add(pieces, "disconnect, lockable", 1, "pieces", "battery units, in sight or by the adopted edition")


def _raceways(layout: Layout, pieces: Pieces) -> None:
    raceways, fed = layout.site.subpanel.raceways or (), layout.site.subpanel.build == "fed"
    for k, (_, length_in, strands) in enumerate(bundles(layout)):
        each = None if length_in is None else length_in / 12.0 + 2.0 * MAKE_UP_FT
        for one in strands:
            if not one.name.startswith("charging, ") and not fed:
                # charging circuits and a feeder are listed with their own whole length
                wires = Wires(one.awg, one.material, each, "between the panels")
                _add_wires(pieces, wires, one.role, one.n, one.legs)
        if raceways:
            _fittings(layout, pieces, raceways[k], [one.awg for one in strands for _ in range(one.n)])
    if fed:
        _feeder_wire(layout, pieces)


@dataclass(frozen=True)
class Wires:
    """Equal wires of one run.

    Attributes
    ----------
    awg : str or None
    material : str
    feet : float or None
        Of one wire. [ft]
    use : str
    """

    awg: str | None
    material: str
    feet: float | None
    use: str


def _add_wires(pieces: Pieces, one: Wires, role: str, n: int, legs: tuple[str, ...] = ()) -> None:
    """Some wires of a run by colour: hots black on leg A and red on leg B, neutral white, ground green."""
    colours = [COLOURS[leg] for leg in legs] if role == "hot" else [COLOURS[role]]
    for colour in colours:
        feet = None if one.feet is None or one.awg is None else n / len(colours) * one.feet
        _add(pieces, f"wire {one.awg or '____'} AWG {one.material}, {role}, {colour}", feet, "ft", one.use)


def _feeder_wire(layout: Layout, pieces: Pieces) -> None:
    feeder = layout.site.subpanel.feeder
    if feeder is None:
        return
    one = Wires(feeder.awg, feeder.material, feeder.length_ft, "feeder")
    _add_wires(pieces, one, "hot", len(layout.legs), layout.legs)
    _add_wires(pieces, one, "neutral", 1)
    _add_wires(pieces, replace(one, awg=ground_awg(feeder.breaker_a, feeder.material)), "ground", 1)


def _fittings(layout: Layout, pieces: Pieces, raceway, sizes: list[str | None]) -> None:
    known = None not in sizes and sizes
    least = least_trade_size(raceway.type, sizes, nipple=raceway.length_in <= 24.0) if known else None
    size = raceway.trade_size or least or "____"
    _add(pieces, f"{raceway.type} {size} in", raceway.length_in / 12.0, "ft", "raceway between the panels")
    _add(pieces, f"connector, {raceway.type} {size} in, with locknut", 2, "pieces", "raceway between the panels")
    if set(sizes) & set(LARGE):
        _add(pieces, f"insulating bushing {size} in", 2, "pieces", "raceway between the panels")


def _charging_wire(layout: Layout, pieces: Pieces) -> None:
    for group in layout.groups:
        circuit, wire = group.charging_circuit, group.charging_circuit.wire
        length = None if wire is None or wire.length_ft is None else wire.length_ft * group.count
        if wire is None:
            _add(pieces, "wire ________", None, "ft", "charging circuits")
        elif wire.method != "conduit":
            cable = f"{wire.method} cable {wire.awg}/2 with ground, {wire.material}"
            _add(pieces, cable, length, "ft", "charging circuits")
        else:
            legs = charging_legs(group)
            one = Wires(wire.awg, wire.material, length, "charging circuits")
            _add_wires(pieces, one, "hot", len(legs), legs)
            if circuit.volts == 120:
                _add_wires(pieces, one, "neutral", 1)
            _add_wires(pieces, replace(one, awg=ground_awg(circuit.breaker_a, wire.material)), "ground", 1)


def _output_wire(layout: Layout, pieces: Pieces) -> None:
    for group in layout.groups:
        length = None if group.output_length_ft is None else group.output_length_ft * group.count
        one = Wires(group.output_wire_awg, "Cu", length, "unit outputs")
        legs = layout.legs if group.leg == "both" else (group.leg,)
        _add_wires(pieces, one, "hot", len(legs), legs)
        _add_wires(pieces, one, "neutral", 1)
        if group.output_breaker_a is not None:
            _add_wires(pieces, replace(one, awg=ground_awg(group.output_breaker_a)), "ground", 1)


def _small(layout: Layout, pieces: Pieces) -> None:
    """Splices of a pass-through, wire markers and labels."""
    if layout.site.subpanel.build == "pass-through" and layout.circuits:
        poles = sum(circuit.poles for circuit in layout.circuits)
        _add(pieces, "wire connector", poles, "pieces", "splices in the main panel, one a pole")
        _add(pieces, "wire marker", 4 * poles, "pieces", "both ends of every hot between the panels")
    _add(pieces, "label", len(label_set(layout)["rows"]), "pieces", "by the label set")
    for group in layout.groups:
        _add(pieces, "cable or conduit entry of a unit", 2 * len(unit_names(group)), "pieces", "input and output")
