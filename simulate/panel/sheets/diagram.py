"""Sheet 1, the one-line diagram: which line runs where, with breaker, wire, length, leg; `drawing` draws it."""

from __future__ import annotations

from profiles.loads.circuit import Circuit, Wire
from simulate.house.recharge import charging_legs
from simulate.panel.checks.layout import Layout, unit_names
from simulate.panel.checks.runs import bundles
from simulate.panel.sheets.drawing import Head, Row, drawn
from simulate.panel.sheets.schedule import breaker_of, leg_text, space_of
from simulate.panel.sheets.sheet import breaker_text
from simulate.panel.sheets.wirelist import between_panels, bond_text, charging_sizes, output_sizes
from simulate.site.unit import Battery

MODES = {
    "transfer": "transfers whole circuits, break before make",
    "interactive": "interactive, parallel with the utility",
}
BONDS = {"floating": "neutral floating", "bonded": "neutral bonded in the unit", "switches": "bonds on battery"}


def one_line(layout: Layout) -> str:
    """The one-line diagram as SVG with title and description; names are escaped, there is no script."""
    rows = [*_panel_rows(layout), *_landing_rows(layout), *_bar_rows(layout), *_source_rows(layout)]
    return drawn(f"One-line diagram, {layout.site.site.name}", describe(layout), rows, head_of(layout), foot_of(layout))


def describe(layout: Layout) -> str:
    """The drawing in words, for those who do not see it."""
    site, amps = layout.site, layout.site.service.main_breaker_a
    main = "main breaker not given" if amps is None else f"{amps:g} A main"
    words = [f"Service {site.service.system} V, {main}."]
    for circuit in layout.circuits:
        words.append(f"{circuit.name}: {breaker_text(circuit)}, leg {leg_text(layout, circuit)}, on the sub-panel.")
    for group in layout.groups:
        leg = "both legs" if group.leg == "both" else f"leg {group.leg}"
        circuit = group.charging_circuit
        words.append(
            f"{group.count} x {group.name} feeds {leg}, charged by {circuit.breaker_a:g} A at {circuit.volts} V from "
            "the main panel."
        )
    if site.solar is not None:
        words.append(f"Solar is connected at the {site.solar.connected_at.replace('-', ' ')}.")
    return " ".join([*words, bond_text(layout)])


def head_of(layout: Layout) -> Head:
    """What stands above the two panels."""
    service, panel = layout.site.service, layout.site.subpanel
    main = f"main breaker {_amps(service.main_breaker_a)}, bus {_amps(service.bus_a)}"
    build = f"{panel.build}; {MODES[panel.mode]}"
    return Head(f"utility, {service.system} V", main, f"SUB-PANEL, bus {_amps(panel.bus_a)}", build, layout.legs)


def foot_of(layout: Layout) -> list[str]:
    """The legend and the cautions below."""
    return [
        "leg A: solid line; leg B: dashed; two poles: double or thick; neutral: dotted; ground: long dashes; solar and "
        "generator to the units: dash and dot. A blank is filled in on site.",
        bond_text(layout),
        "Planning drawing: a licensed electrician designs and installs; the authority having jurisdiction decides.",
    ]


def _amps(amps: float | None) -> str:
    return "____ A" if amps is None else f"{amps:g} A"


def _feet(feet: float | None) -> str:
    return "____ ft" if feet is None else f"{feet:g} ft"


def _wire(wire: Wire | None) -> str:
    if wire is None:
        return "____ AWG, ____ ft"
    return f"{wire.awg} AWG {wire.material} {wire.method}, {_feet(wire.length_ft)}"


def _panel_rows(layout: Layout) -> list[Row]:
    fed, spaces = layout.site.subpanel.build == "fed", space_of(layout)
    rows = [_feeder_row(layout)] if fed else []
    for circuit in layout.circuits:
        slot = spaces.get(circuit.name)
        number = f"space {slot.text}" if slot else "space ____"
        leg, breaker = leg_text(layout, circuit), breaker_of(layout, circuit)
        mate = layout.pair_of(circuit)
        name = circuit.name + (f" (neutral with {mate.name})" if mate else "")
        main = "" if fed else f"{breaker}  {circuit.name}"
        sub = f"{number}, leg {leg}" + (f", {breaker}" if fed else "")
        rows.append(Row(main, sub, name, "" if fed else _out_and_back(layout, circuit), _wire(circuit.wire), leg))
    for circuit in layout.site.circuit:
        if circuit.on != "sub-panel":
            stays = "stays" if circuit.on == "main" else "candidate"
            rows.append(Row(main=f"{breaker_of(layout, circuit)}  {circuit.name}, {stays}", kind="stays"))
    return rows


def _out_and_back(layout: Layout, circuit: Circuit) -> str:
    size, feet = between_panels(layout, circuit)
    return f"out and back, 2 x {size or '____ AWG'}".replace("2 x 1 x", "2 x").replace("2 x 2 x", "4 x") + (
        f", {_feet(feet or None)}"
    )


def _feeder_row(layout: Layout) -> Row:
    feeder, legs = layout.site.subpanel.feeder, "+".join(layout.legs)
    if feeder is None:
        return Row("feeder, ____ A", "feeder lugs", between="____ AWG, ____ ft", leg=legs)
    n = len(layout.legs)
    wire = f"{n} x {feeder.awg} AWG {feeder.material}, {_feet(feeder.length_ft)}"
    return Row(f"{feeder.breaker_a:g} A {n}-pole  feeder", "feeder lugs", between=wire, leg=legs)


def _landing_rows(layout: Layout) -> list[Row]:
    """Where sources land; the last of the groups first, so that the runs from the units below do not cross."""
    rows, solar = [], layout.site.solar
    if solar is not None and solar.connected_at == "sub-panel":
        poles = f" {len(layout.legs)}-pole"
        rows.append(Row(sub=f"{_amps(solar.breaker_a)}{poles}  solar", load="solar: ____ AWG, ____ ft", kind="landing"))
    for group in reversed(layout.groups):
        leg = "A+B" if group.leg == "both" else group.leg
        each = f"{group.count} x " if group.count > 1 else ""
        hots, neutral, ground = (one or "____" for one in output_sizes(group))
        sizes = f"{hots}, neutral {neutral.removeprefix('1 x ')}, ground {ground.removeprefix('1 x ')}"
        text = f"{group.name} output: {each}{_amps(group.output_breaker_a)}, {sizes}, {_feet(group.output_length_ft)}"
        rows.append(Row(sub=f"source lugs, leg {leg}", load=text, leg=leg, kind="source"))
    return rows


def _bar_rows(layout: Layout) -> list[Row]:
    """Neutral and ground between the panels, with their sizes."""
    neutral = f"neutral, {layout.site.subpanel.neutral or '____'}"
    rows = [
        Row(
            "neutral bar, bonded at the service",
            "neutral bar, isolated",
            between=f"{neutral}, {_bar_sizes(layout, 'neutral')}",
            kind="neutral",
        ),
        Row("ground bar", "ground bar", between=f"ground, {_bar_sizes(layout, 'ground')}", kind="ground"),
    ]
    return [*rows, Row(kind="gap")]


def _bar_sizes(layout: Layout, role: str) -> str:
    sizes = [
        f"{one.awg or '____'} AWG {one.material}"
        for _, _, strands in bundles(layout)
        for one in strands
        if one.name == role
    ]
    n, several = len(sizes), set(sizes)
    if not sizes:
        return "____ AWG"
    return f"{n} x {sizes[0]}" if n > 1 and len(several) == 1 else ", ".join(sizes)


def _source_rows(layout: Layout) -> list[Row]:
    rows = []
    for group in layout.groups:
        circuit = group.charging_circuit
        poles = "" if circuit.volts == 120 else " 2-pole"
        wire = _charging_text(group)
        leg = "+".join(charging_legs(group))
        for name in unit_names(group):
            bond = BONDS.get(group.neutral_bond, "neutral ____")
            text = f"{name}: {group.continuous_kw:g} kW, {group.unit_kwh:g} kWh, {bond}"
            text += f", locked with {group.locked_with}" if group.locked_with else ""
            main = f"{circuit.breaker_a:g} A{poles}  charging, {circuit.volts} V"
            out = "A+B" if group.leg == "both" else group.leg
            rows.append(Row(main, text, between=wire, leg=leg, kind="unit", out=out))
    return rows + _solar_rows(layout) + _generator_rows(layout)


def _charging_text(group: Battery) -> str:
    """Conductors of one charging circuit, "2 hots 10 AWG Cu, ground 10 AWG, 12 ft"."""
    wire, volts = group.charging_circuit.wire, group.charging_circuit.volts
    hots = "hot and neutral" if volts == 120 else "2 hots"
    if wire is None:
        return f"{hots} ____ AWG, ____ ft"
    ground = charging_sizes(group)[2].removeprefix("1 x ").split(" AWG")[0]
    return f"{hots} {wire.awg} AWG {wire.material}, ground {ground} AWG, {_feet(wire.length_ft)}"


def _solar_rows(layout: Layout) -> list[Row]:
    solar = layout.site.solar
    if solar is None:
        return []
    kw = "solar" if solar.dc_kw is None else f"solar {solar.dc_kw:g} kW DC"
    legs = "+".join(layout.legs)
    if solar.connected_at == "main-panel":
        text = f"{kw}, at the main panel: off in an outage"
        main = f"{_amps(solar.breaker_a)} {len(layout.legs)}-pole  solar"
        return [Row(main, text, between="____ AWG, ____ ft", leg=legs, kind="solar")]
    if solar.connected_at == "sub-panel":
        return [Row("", f"{kw}, at the sub-panel", leg=legs, kind="solar")]
    return [Row("", f"{kw}, on the cells of the battery units (DC)", kind="to units")]


def _generator_rows(layout: Layout) -> list[Row]:
    generator = layout.site.generator
    if generator is None:
        return []
    legs = "A" if generator.volts == 120 else "+".join(layout.legs)
    poles = f"{_amps(generator.inlet_a)} {len(legs.split('+'))}-pole"
    volts = "" if generator.volts is None else f", {generator.volts} V"
    text = f"generator {generator.kw:g} kW{volts}, outdoors"
    if generator.connection == "interlocked-inlet":
        return [Row(f"{poles}  interlocked inlet", text, between="____ AWG, ____ ft", leg=legs, kind="generator")]
    return [Row("", f"{text}, at the units' inlet, {poles}", leg=legs, kind="to units")]
