"""Wiring list, neutrals and grounds, and charging circuits, for the crew."""

from __future__ import annotations

from profiles.loads.circuit import Circuit
from simulate.house.recharge import charging_legs
from simulate.panel.checks.layout import Layout, unit_names
from simulate.panel.checks.raceway_tables import ground_awg
from simulate.panel.checks.runs import bundles
from simulate.panel.checks.spaces import main_number_text
from simulate.panel.sheets.schedule import breaker_of, leg_text, space_of
from simulate.panel.sheets.sheet import BLANK, NONE, length_text, or_blank, sheet, wire_text
from simulate.site.unit import Battery

ENERGIZED = (
    "De-energize, lock out and tag, and verify absence of voltage with a tested meter before working. A battery "
    "inverter can energize conductors when the utility is off."
)


COLUMNS = [
    "run",
    "from breaker",
    "to space",
    "to load",
    "leg",
    "wire",
    "neutral",
    "ground",
    "length [ft]",
    "label",
    "torque",
    "done",
]
IN_CABLE = "in the cable"


def wiring_list(layout: Layout) -> dict:
    """Every run with its hots, neutral and ground: from breaker, to space, to load, length, label."""
    rows = []
    for circuit in layout.circuits:
        rows += _circuit_rows(layout, circuit)
    if layout.site.subpanel.build == "fed":
        rows.append(_feeder_row(layout))
    else:
        rows += _bundle_rows(layout)
    for group in layout.groups:
        rows += _unit_rows(layout, group)
    rows += _solar_rows(layout) + _generator_rows(layout)
    notes = [
        ENERGIZED,
        "Torque by the terminal's label; a blank is filled in on site.",
        "Between the panels: hots black (leg A) and red (leg B), neutral white, ground green or bare; each hot marked "
        '"in" or "out" at both ends.',
    ]
    return sheet("Wiring list", COLUMNS, [[*row, BLANK, BLANK] for row in rows], notes)


def _circuit_rows(layout: Layout, circuit: Circuit) -> list[list]:
    space, label, leg = _space_text(layout, circuit), _label(layout, circuit), leg_text(layout, circuit)
    wire, feet, load = wire_text(circuit.wire), length_text(circuit.wire), circuit.name
    neutral = BLANK if circuit.poles == 2 or circuit.wire is None else IN_CABLE
    ground = BLANK if circuit.wire is None else IN_CABLE
    breaker = breaker_of(layout, circuit)
    if layout.site.subpanel.build == "fed":
        name, start = f"{circuit.name}, branch", f"sub-panel, {breaker}"
        return [[name, start, space, load, leg, wire, neutral, ground, feet, label]]
    size, length = between_panels(layout, circuit)
    start, with_it = f"main panel, {breaker}{_at(layout, circuit.name)}", f"of {_raceway_name(layout, circuit)}"
    out = [f"{circuit.name}, out", start, space, NONE, leg, size, with_it, with_it, length, f"{label} in"]
    name = f"{circuit.name}, back"
    back = [
        name,
        NONE,
        space,
        f"{load}, spliced in the main panel",
        leg,
        size,
        with_it,
        with_it,
        length,
        f"{label} out",
    ]
    on = [f"{circuit.name}, branch", NONE, NONE, load, leg, wire, neutral, ground, feet, f"{label} branch"]
    return [out, back, on]


def _at(layout: Layout, name: str) -> str:
    """Where a breaker stands in the main panel, as far as that is known."""
    numbers = main_number_text(layout, name)
    return f", space {numbers}" if numbers else ""


def _space_text(layout: Layout, circuit: Circuit) -> str:
    space = space_of(layout).get(circuit.name)
    return f"space {space.text}" if space else BLANK


def _label(layout: Layout, circuit: Circuit) -> str:
    space = space_of(layout).get(circuit.name)
    return f"{space.text}-{leg_text(layout, circuit)}" if space else BLANK


def _raceway_of(layout: Layout, circuit: Circuit) -> int | None:
    """Number of the raceway that a circuit runs in, from 1."""
    raceways = layout.site.subpanel.raceways or ()
    for k, raceway in enumerate(raceways):
        if circuit.name in (raceway.circuits or ()) or (raceway.circuits is None and len(raceways) == 1):
            return k + 1
    return None


def _raceway_name(layout: Layout, circuit: Circuit) -> str:
    number = _raceway_of(layout, circuit)
    return f"raceway {number}" if number else "raceway ____"


def between_panels(layout: Layout, circuit: Circuit) -> tuple[str, str | float]:
    """Hots of a circuit one way between the panels, and the length of their raceway. [ft]"""
    number, wire = _raceway_of(layout, circuit), circuit.wire
    raceway = layout.site.subpanel.raceways[number - 1] if number else None
    feet = round(raceway.length_in / 12.0, 2) if raceway else BLANK
    if raceway is not None and raceway.awg is not None:
        return f"{circuit.poles} x {raceway.awg} AWG {raceway.material}", feet
    return (BLANK if wire is None else f"{circuit.poles} x {wire.awg} AWG {wire.material}"), feet


def _bundle_rows(layout: Layout) -> list[list]:
    """Neutral and ground of each raceway between the panels; a blank size where what runs in it is not known."""
    rows = []
    for name, length_in, strands in bundles(layout):
        feet = BLANK if length_in is None else round(length_in / 12.0, 2)
        sizes = {one.name: f"{one.n} x {one.awg} AWG {one.material}" for one in strands if one.awg is not None}
        for role in ("neutral", "ground"):
            rows.append(_bar_row(layout, name, role, sizes.get(role, BLANK), feet))
    return rows


def _bar_row(layout: Layout, name: str, role: str, size: str, feet) -> list:
    """From a bar of the main panel to that of the sub-panel's sources."""
    start = f"main panel, {role} bar"
    if role == "ground":
        to = "ground bar of the sub-panel"
        return [f"{name}, ground", start, to, NONE, NONE, NONE, NONE, size, feet, role]
    switched = ", through the transfer" if layout.site.subpanel.neutral == "switched" else ""
    legs = "+".join(layout.fed_legs)
    return [f"{name}, neutral", start, f"source neutral bar{switched}", NONE, legs, NONE, size, NONE, feet, role]


def _unit_rows(layout: Layout, group: Battery) -> list[list]:
    rows, charging = [], group.charging_circuit
    legs = "+".join(charging_legs(group))
    poles = "" if charging.volts == 120 else " 2-pole"
    for name in unit_names(group):
        breaker = f"main panel, {charging.breaker_a:g} A{poles}{_at(layout, f'Charging, {name}')}"
        sizes, feet = charging_sizes(group), length_text(charging.wire)
        to = f"{name}, input"
        rows.append([f"{name}, charging", breaker, NONE, to, legs, *sizes, feet, f"charging {name}"])
        output = BLANK if group.output_breaker_a is None else f"output, {group.output_breaker_a:g} A"
        leg = "A+B" if group.leg == "both" else group.leg
        lugs, feet = f"source lugs, leg {leg}", or_blank(group.output_length_ft)
        sizes = output_sizes(group)
        rows.append([f"{name}, output", output, lugs, "sub-panel", leg, *sizes, feet, f"output {name}"])
    return rows


def _solar_rows(layout: Layout) -> list[list]:
    """The AC circuit of a roof, two poles on two legs."""
    solar = layout.site.solar
    if solar is None or solar.connected_at == "battery":
        return []
    amps = BLANK if solar.breaker_a is None else f"{solar.breaker_a:g} A {len(layout.legs)}-pole"
    panel, legs = (
        solar.connected_at.replace("-panel", " panel").replace("sub panel", "sub-panel"),
        "+".join(layout.legs),
    )
    ground = BLANK if solar.breaker_a is None else f"1 x {ground_awg(solar.breaker_a)} AWG Cu at least"
    start = f"{panel}, {amps}" if amps else panel
    return [["solar", start, NONE, "solar inverter", legs, BLANK, BLANK, ground, BLANK, "solar"]]


def _generator_rows(layout: Layout) -> list[list]:
    """The inlet of a generator; it never feeds a receptacle or branch circuit."""
    generator = layout.site.generator
    if generator is None:
        return []
    legs = "A" if generator.volts == 120 else "+".join(layout.legs)
    poles = len(legs.split("+"))
    amps = BLANK if generator.inlet_a is None else f"{generator.inlet_a:g} A {poles}-pole"
    ground = BLANK if generator.inlet_a is None else f"1 x {ground_awg(generator.inlet_a)} AWG Cu at least"
    at = "interlocked breaker, main panel" if generator.connection == "interlocked-inlet" else "the units' inlet"
    start = f"{at}, {amps}" if amps else at
    return [["generator inlet", start, NONE, "inlet outdoors", legs, BLANK, BLANK, ground, BLANK, "generator inlet"]]


def charging_sizes(group: Battery) -> list[str]:
    """Hots, neutral and ground of one charging circuit."""
    wire, volts = group.charging_circuit.wire, group.charging_circuit.volts
    ground = ground_awg(group.charging_circuit.breaker_a, "Cu" if wire is None else wire.material)
    if wire is None:
        return [BLANK, BLANK if volts == 120 else NONE, f"1 x {ground} AWG Cu at least"]
    hots = f"{1 if volts == 120 else 2} x {wire.awg} AWG {wire.material} {wire.method}"
    neutral = f"1 x {wire.awg} AWG {wire.material}" if volts == 120 else NONE
    if wire.method != "conduit":
        return [hots, IN_CABLE if volts == 120 else NONE, IN_CABLE]
    return [hots, neutral, f"1 x {ground} AWG {wire.material}"]


def output_sizes(group: Battery) -> list[str]:
    """Hots, neutral and ground of one unit's output."""
    ground = BLANK if group.output_breaker_a is None else f"1 x {ground_awg(group.output_breaker_a)} AWG Cu"
    if group.output_wire_awg is None:
        return [BLANK, BLANK, ground]
    hots = 2 if group.leg == "both" else 1
    return [f"{hots} x {group.output_wire_awg} AWG Cu", f"1 x {group.output_wire_awg} AWG Cu", ground]


def _feeder_row(layout: Layout) -> list:
    feeder, legs = layout.site.subpanel.feeder, "+".join(layout.legs)
    if feeder is None:
        return ["feeder", BLANK, "feeder lugs", "sub-panel", legs, BLANK, BLANK, BLANK, BLANK, "feeder"]
    size = f"{feeder.awg} AWG {feeder.material}"
    wire, neutral = f"{len(layout.legs)} x {size} {feeder.method}", f"1 x {size}"
    ground = f"1 x {ground_awg(feeder.breaker_a, feeder.material)} AWG {feeder.material}"
    feet = or_blank(feeder.length_ft)
    breaker = f"main panel, {feeder.breaker_a:g} A {len(layout.legs)}-pole{_at(layout, 'Feeder of the sub-panel')}"
    return ["feeder", breaker, "feeder lugs", "sub-panel", legs, wire, neutral, ground, feet, "feeder"]


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
        main_number_text(layout, f"Charging, {name}") or BLANK,
        0.8 * circuit.breaker_a,
        setting,
        round(amps, 1),
        BLANK,
    ]
