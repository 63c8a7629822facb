"""What feeds the sub-panel on battery: output circuits, and whether both legs are truly two legs."""

from __future__ import annotations

from profiles.loads.circuit import Circuit
from profiles.noun import BadInput
from simulate.panel.checks.conductor import breaker_allowed_a
from simulate.panel.checks.finding import PHYSICAL, Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.tables import COPPER_AMPACITY_A, needed_breaker_a, next_standard_breaker_a
from simulate.site.unit import Battery

OUTPUT = "NEC {source-output}, 210.20(A)"
CONDUCTOR = "NEC 240.4, {ampacity}, 110.14(C)"


def source_findings(layout: Layout) -> list[Finding]:
    """Findings of `source-circuit` and `two-pole-source`."""
    out = [one for group in layout.groups for one in _output(layout, group)]
    if layout.site.solar is not None and layout.site.solar.connected_at != "battery":
        out += _solar_circuit(layout)
    return out + [_two_pole(layout, circuit) for circuit in layout.circuits if circuit.poles == 2]


def _output(layout: Layout, group: Battery) -> list[Finding]:
    key = f'battery "{group.name}"'
    if group.output_breaker_a is None:
        return [missing("source-circuit", group.name, [f"{key}.output_breaker_a"], OUTPUT)]
    volts = group.output_volts(layout.site.service.system)
    amps = group.continuous_kw * 1000.0 / volts
    figure = Figure(needed_breaker_a(amps), group.output_breaker_a, "A")
    text = (
        f"{group.name}: {group.continuous_kw:g} kW at {volts:g} V is {amps:.1f} A, 125% is {figure.value:.2f} A, on a "
        f"{group.output_breaker_a:g} A breaker."
    )
    if not figure.met:
        text += (
            f" It needs {next_standard_breaker_a(figure.value)} A; as it is, the output is taken as "
            f"{group.unit_kw(layout.site.service.system):.2f} kW."
        )
    first = found("source-circuit", group.name, pass_or_fail(figure), figure, OUTPUT, text)
    return [first, _output_conductor(layout, group, key)]


def _output_conductor(layout: Layout, group: Battery, key: str) -> Finding:
    subject = f"{group.name}, conductor"
    if group.output_wire_awg is None:
        return missing("source-circuit", subject, [f"{key}.output_wire_awg"], CONDUCTOR)
    if group.output_wire_awg not in COPPER_AMPACITY_A:
        raise BadInput(
            "is not a size of the ampacity table",
            file=layout.site.file,
            key=f"{key}.output_wire_awg",
            value=group.output_wire_awg,
            way_out="use " + ", ".join(COPPER_AMPACITY_A),
        )
    marked = min(group.terminals_c, layout.site.subpanel.terminals_c)
    allowed = breaker_allowed_a(group.output_wire_awg, "Cu", ends_c=marked)
    figure = Figure(group.output_breaker_a, allowed, "A")
    text = f"{group.output_wire_awg} AWG copper takes a breaker of {allowed:g} A; fitted: {group.output_breaker_a:g} A."
    return found("source-circuit", subject, pass_or_fail(figure), figure, CONDUCTOR, text)


def _solar_circuit(layout: Layout) -> list[Finding]:
    solar = layout.site.solar
    keys = [f"solar.{key}" for key in ("ac_kw", "breaker_a") if getattr(solar, key) is None]
    if keys:
        return [missing("source-circuit", "solar", keys, OUTPUT)]
    volts = layout.line_volts or 120.0
    amps = solar.ac_kw * 1000.0 / volts
    figure = Figure(needed_breaker_a(amps), solar.breaker_a, "A")
    text = f"Solar: {solar.ac_kw:g} kW at {volts:g} V is {amps:.1f} A, 125% is {figure.value:.2f} A, on a "
    text += f"{solar.breaker_a:g} A breaker."
    if not figure.met:
        text += f" It needs {next_standard_breaker_a(figure.value)} A."
    return [found("source-circuit", "solar", pass_or_fail(figure), figure, OUTPUT, text)]


def _two_pole(layout: Layout, circuit: Circuit) -> Finding:
    check, needs = "two-pole-source", layout.line_volts or 240.0
    if layout.carries_two_pole:
        gives = layout.battery_line_volts
        text = f"{circuit.name} is served only while both legs are up; if one unit stops, both poles must open."
        if gives != layout.line_volts:
            text += f" On battery it sees {gives:g} V, on the utility {needs:g} V: confirm that it may."
            return found(check, circuit.name, "marginal", Figure(gives, needs, "V", at_least=True), PHYSICAL, text)
        return found(check, circuit.name, "pass", Figure(gives, needs, "V", at_least=True), PHYSICAL, text)
    if layout.fed_legs == ("A", "B"):
        why, volts = "the units on A and B are not stated to be phase-locked (locked_with)", None
    else:
        why, volts = "one 120 V source gives 0 V between its hots", 0.0
    text = f"{circuit.name} is never carried: {why}. Lock a pair, use 120/240 V units, or leave it on the main panel."
    return found(check, circuit.name, "fail", Figure(volts, needs, "V", at_least=True), PHYSICAL, text)
