"""Wiring list, neutrals and grounds, charging circuits and material, for the crew's van."""

from __future__ import annotations

from collections import Counter

from profiles.loads.circuit import Circuit, Wire
from simulate.house.recharge import charging_legs
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.schedule import leg_text, space_of
from simulate.panel.sheets.sheet import BLANK, NONE, breaker_text, length_text, sheet, wire_text
from simulate.site.unit import Battery

ENERGIZED = (
    "De-energize, lock out and tag, and verify absence of voltage with a tested meter before working. A battery "
    "inverter can energize conductors when the utility is off."
)


def wiring_list(layout: Layout) -> dict:
    """Every run: from breaker, to space, to load, wire, length, label."""
    rows = []
    for circuit in layout.circuits:
        rows += _circuit_rows(layout, circuit)
    for group in layout.groups:
        rows += _unit_rows(layout, group)
    if layout.site.subpanel.build == "fed":
        rows.append(_feeder_row(layout))
    columns = ["run", "from breaker", "to space", "to load", "leg", "wire", "length [ft]", "label", "torque", "done"]
    notes = [ENERGIZED, "Torque by the terminal's label; a blank is filled in on site."]
    return sheet("Wiring list", columns, rows, notes)


def _circuit_rows(layout: Layout, circuit: Circuit) -> list[list]:
    space = _space_text(layout, circuit)
    label = _label(layout, circuit)
    leg, wire, feet = leg_text(layout, circuit), wire_text(circuit.wire), length_text(circuit.wire)
    load = circuit.name
    if layout.site.subpanel.build == "fed":
        breaker = f"sub-panel, {breaker_text(circuit)}"
        return [[f"{circuit.name}, branch", breaker, space, load, leg, wire, feet, label, BLANK, BLANK]]
    breaker = f"main panel, {breaker_text(circuit)}"
    out = [f"{circuit.name}, out", breaker, space, NONE, leg, _between(layout), BLANK, f"{label} in", BLANK, BLANK]
    back = [f"{circuit.name}, back and on", NONE, space, load, leg, wire, feet, f"{label} out", BLANK, BLANK]
    return [out, back]


def _space_text(layout: Layout, circuit: Circuit) -> str:
    space = space_of(layout).get(circuit.name)
    return f"space {space.number}" if space else BLANK


def _label(layout: Layout, circuit: Circuit) -> str:
    space = space_of(layout).get(circuit.name)
    return f"{space.number}-{leg_text(layout, circuit)}" if space else BLANK


def _between(layout: Layout) -> str:
    sizes = {f"{one.awg} AWG {one.material}" for one in layout.site.subpanel.raceways or () if one.awg}
    return sizes.pop() if len(sizes) == 1 else BLANK


def _unit_rows(layout: Layout, group: Battery) -> list[list]:
    rows, charging = [], group.charging_circuit
    legs = "+".join(charging_legs(group))
    poles = "" if charging.volts == 120 else " 2-pole"
    for name in unit_names(group):
        breaker = f"main panel, {charging.breaker_a:g} A{poles}"
        wire, feet = wire_text(charging.wire), length_text(charging.wire)
        label = f"charging {name}"
        rows.append([f"{name}, charging", breaker, NONE, f"{name}, input", legs, wire, feet, label, BLANK, BLANK])
        output = BLANK if group.output_breaker_a is None else f"output, {group.output_breaker_a:g} A"
        size = BLANK if group.output_wire_awg is None else f"{group.output_wire_awg} AWG Cu"
        leg = "A+B" if group.leg == "both" else group.leg
        to = f"source lugs, leg {leg}"
        rows.append([f"{name}, output", output, to, "sub-panel", leg, size, BLANK, f"output {name}", BLANK, BLANK])
    return rows


def unit_names(group: Battery) -> list[str]:
    """One name per unit of a group."""
    return [group.name] if group.count == 1 else [f"{group.name} no. {k + 1}" for k in range(group.count)]


def _feeder_row(layout: Layout) -> list:
    feeder, legs = layout.site.subpanel.feeder, "+".join(layout.legs)
    if feeder is None:
        return ["feeder", BLANK, "feeder lugs", "sub-panel", legs, BLANK, BLANK, "feeder", BLANK, BLANK]
    wire = f"{feeder.awg} AWG {feeder.material} {feeder.method}, four wires"
    feet = BLANK if feeder.length_ft is None else feeder.length_ft
    breaker = f"main panel, {feeder.breaker_a:g} A 2-pole"
    return ["feeder", breaker, "feeder lugs", "sub-panel", legs, wire, feet, "feeder", BLANK, BLANK]


def neutral_list(layout: Layout) -> dict:
    """Where each neutral and ground goes, and where the one bond is."""
    rows = [_neutral_row(layout, circuit) for circuit in layout.circuits]
    rows += [_source_neutral_row(layout, group) for group in layout.groups]
    columns = ["circuit or source", "neutral lands on", "shared with", "ground lands on", "bond here", "checked"]
    notes = ["Neutral and ground are bonded in one place only, on the utility and on battery.", bond_text(layout)]
    notes.append("A neutral moves with its hot; both hots of a multiwire circuit and their neutral move together.")
    return sheet("Neutrals and grounds", columns, rows, notes)


def _neutral_row(layout: Layout, circuit: Circuit) -> list:
    mate, panel = layout.pair_of(circuit), layout.site.subpanel
    if panel.build == "fed":
        bar, ground = "sub-panel, isolated neutral bar", "sub-panel, ground bar"
    else:
        bar = {"solid": "main panel, neutral bar", "switched": "through the transfer"}.get(panel.neutral, BLANK)
        ground = "main panel, ground bar"
    if circuit.poles == 2:
        bar = BLANK
    return [circuit.name, bar, mate.name if mate else NONE, ground, "no", BLANK]


def _source_neutral_row(layout: Layout, group: Battery) -> list:
    bond = {"floating": "no", "bonded": "yes, in the unit", "switches": "on battery only, in the unit"}
    bar = "source neutral bar of the sub-panel"
    return [f"{group.name} ({group.count})", bar, NONE, "equipment ground", bond.get(group.neutral_bond, BLANK), BLANK]


def bond_text(layout: Layout) -> str:
    """Where neutral and ground are bonded, on the utility and on battery."""
    neutral, words = layout.site.subpanel.neutral, {group.neutral_bond for group in layout.groups}
    if neutral is None or None in words:
        return "Bond on the utility: at the service. Bond on battery: ________ (not stated)."
    if neutral == "solid":
        extra = " and in a unit: that is one too many" if words & {"bonded", "switches"} else ""
        return f"Bond on the utility: at the service. Bond on battery: at the service, the neutral is solid{extra}."
    at_unit = "in the unit" if words & {"bonded", "switches"} else "none: that is one too few"
    return f"Bond on the utility: at the service. Bond on battery: {at_unit}, the neutral is switched."


def charging_list(layout: Layout) -> dict:
    """The charging circuits with the setting that each charger needs and the current to measure."""
    rows = [_charging_row(layout, group, name) for group in layout.groups for name in unit_names(group)]
    columns = [
        "unit",
        "breaker [A]",
        "volts",
        "leg",
        "wire",
        "length [ft]",
        "main panel space",
        "at most for 3 h [A]",
        "set charger to [kW]",
        "expected [A]",
        "measured [A]",
    ]
    notes = [
        "A breaker does not tell a charger to slow down: set it and record the setting.",
        "The charging circuits hang on the main panel: in an outage they are dead.",
    ]
    return sheet("Charging circuits", columns, rows, notes)


def _charging_row(layout: Layout, group: Battery, name: str) -> list:
    circuit = group.charging_circuit
    amps = group.unit_charge_kw * 1000.0 / circuit.volts
    exceeds = group.charge_kw is None or group.charge_kw > circuit.continuous_kw + 1e-9
    setting = round(group.unit_charge_kw, 3) if exceeds and group.charge_adjustable else NONE
    return [
        name,
        circuit.breaker_a,
        circuit.volts,
        "+".join(charging_legs(group)),
        wire_text(circuit.wire),
        length_text(circuit.wire),
        BLANK,
        0.8 * circuit.breaker_a,
        setting,
        round(amps, 1),
        BLANK,
    ]


def material_list(layout: Layout) -> dict:
    """What to load: breakers, wire, units, raceways; quantities that are not known are blank."""
    rows = [[item, n, "pieces", note] for (item, note), n in sorted(_pieces(layout).items())]
    rows += _wire_rows(layout)
    columns = ["item", "quantity", "unit", "for"]
    notes = ["Lengths are one way as given, without allowance; connectors, bushings and fittings are not counted."]
    return sheet("Material list", columns, rows, notes)


def _pieces(layout: Layout) -> Counter:
    pieces: Counter = Counter()
    for group in layout.groups:
        poles = 1 if group.charging_circuit.volts == 120 else 2
        pieces["battery unit, " + group.name, f"{group.continuous_kw:g} kW"] += group.count
        pieces[f"breaker {group.charging_circuit.breaker_a:g} A {poles}-pole", "charging, main panel"] += group.count
        if group.output_breaker_a is not None:
            pieces[f"breaker {group.output_breaker_a:g} A", "unit outputs"] += group.count
    if layout.site.subpanel.build == "fed":
        for circuit in layout.circuits:
            kinds = [name.upper() for name in ("gfci", "afci") if getattr(circuit, name) == "breaker"]
            kind = " " + "+".join(kinds) if kinds else ""
            pieces[f"breaker {circuit.breaker_a:g} A {circuit.poles}-pole{kind}", "sub-panel"] += 1
        if layout.site.subpanel.feeder is not None:
            pieces[f"breaker {layout.site.subpanel.feeder.breaker_a:g} A 2-pole", "feeder, main panel"] += 1
    for raceway in layout.site.subpanel.raceways or ():
        pieces[f"raceway {raceway.length_in:g} in", f"{raceway.conductors} conductors"] += 1
    return pieces


def _wire_rows(layout: Layout) -> list[list]:
    feet: dict[str, list[float | None]] = {}
    for group in layout.groups:
        wire: Wire | None = group.charging_circuit.wire
        name = "wire ________" if wire is None else wire_text(wire)
        feet.setdefault(name, []).extend([wire.length_ft if wire else None] * group.count)
    feeder = layout.site.subpanel.feeder
    if layout.site.subpanel.build == "fed" and feeder is not None:
        feet.setdefault(f"{feeder.awg} AWG {feeder.material} {feeder.method}, four wires", []).append(feeder.length_ft)
    rows = []
    for name, lengths in feet.items():
        known = [one for one in lengths if one is not None]
        total = BLANK if len(known) < len(lengths) else sum(known)
        rows.append([name, total, "ft", f"{len(lengths)} run{'s' if len(lengths) > 1 else ''}"])
    return rows
