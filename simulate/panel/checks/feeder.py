"""The feeder of a sub-panel with its own breakers, and the voltage lost on feeder, branch and charging circuits."""

from __future__ import annotations

from profiles.loads.circuit import Circuit, Wire
from simulate.panel.checks.conductor import CONTINUOUS_KINDS, allowed_at
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail, pass_or_marginal
from simulate.panel.checks.layout import LEG_VOLTS, Layout, peak_w, power_keys
from simulate.panel.checks.runs import ends_c
from simulate.panel.checks.tables import voltage_drop_v
from simulate.site.editions import edition_year
from simulate.site.unit import CONTINUOUS, Battery

FEEDER = "NEC 215.2, 215.3, 240.4"
SURGE = "NEC {surge}"
SURGE_FROM = 2023
BUS = "NEC 408.36"
DROP = "NEC 210.19(A) and 215.2(A) informational notes"
BRANCH_DROP_FRAC, TOTAL_DROP_FRAC = 0.03, 0.05


def feeder_findings(layout: Layout) -> list[Finding]:
    """Findings of `feeder` and `voltage-drop`."""
    return [*_feeder(layout), *_surge(layout), *_drops(layout)]


def _surge(layout: Layout) -> list[Finding]:
    """A dwelling's panel that a new feeder supplies, from 2023 on."""
    year, there = edition_year(layout.site.site.code_edition), layout.site.subpanel.surge_protection
    if layout.site.subpanel.build != "fed" or (year or SURGE_FROM) < SURGE_FROM:
        return []
    if there is None:
        return [missing("feeder", "surge protection", ["subpanel.surge_protection"], SURGE)]
    text = (
        "The new feeder's panel has surge protection." if there else "A new feeder's panel in a dwelling needs a surge "
    )
    text += "" if there else "protective device, in it or next to it."
    return [found("feeder", "surge protection", "pass" if there else "fail", Figure(), SURGE, text)]


def _utility_amps(layout: Layout, leg: str, continuous: float) -> tuple[list[float], list[float]]:
    """Running and peak current of each circuit on a leg, on the utility, continuous kinds times `continuous`. [A]"""
    on = [circuit for circuit in layout.circuits if leg in layout.legs_of(circuit)]
    per_watt = [
        (continuous if circuit.kind in CONTINUOUS_KINDS else 1.0) / (layout.volts(circuit) or 2 * LEG_VOLTS)
        for circuit in on
    ]
    running = [circuit.running_w * factor for circuit, factor in zip(on, per_watt, strict=True)]
    return running, [peak_w(circuit) * factor for circuit, factor in zip(on, per_watt, strict=True)]


def _feeder(layout: Layout) -> list[Finding]:
    panel = layout.site.subpanel
    if panel.build != "fed":
        return []
    if panel.feeder is None:
        return [missing("feeder", "feeder", ["subpanel.feeder"], FEEDER)]
    feeder = panel.feeder
    out = [_feeder_load(layout)]
    marked = ends_c(layout, panel.terminals_c)
    allowed = allowed_at(layout, "subpanel.feeder", feeder.awg, feeder.material, method=feeder.method, ends_c=marked)
    figure = Figure(feeder.breaker_a, allowed, "A")
    text = f"{feeder.awg} AWG {feeder.material} takes a breaker of {allowed:g} A; fitted: {feeder.breaker_a:g} A."
    out.append(found("feeder", "feeder conductor", pass_or_fail(figure), figure, FEEDER, text))
    if panel.bus_a is None:
        return [*out, missing("feeder", "sub-panel bus", ["subpanel.bus_a"], BUS)]
    figure = Figure(feeder.breaker_a, panel.bus_a, "A")
    text = f"The feeder breaker of {feeder.breaker_a:g} A protects a bus of {panel.bus_a:g} A."
    return [*out, found("feeder", "sub-panel bus", pass_or_fail(figure), figure, BUS, text)]


def _feeder_load(layout: Layout) -> Finding:
    keys = power_keys(layout.circuits)
    if keys:
        return missing("feeder", "feeder load", keys, FEEDER)
    breaker_a = layout.site.subpanel.feeder.breaker_a
    worst = max((_leg_load(layout, leg) for leg in layout.legs), key=lambda one: one[1])
    leg, everything_a, two_a = worst
    figure = Figure(everything_a, breaker_a, "A")
    verdict = "pass" if figure.met else "marginal" if two_a <= breaker_a + 1e-9 else "fail"
    text = (
        f"Leg {leg} of the feeder: everything on {everything_a:.1f} A, the largest two plus what always runs "
        f"{two_a:.1f} A, continuous kinds at 125%, of {breaker_a:g} A."
    )
    return found("feeder", "feeder load", verdict, figure, FEEDER, text)


def _leg_load(layout: Layout, leg: str, continuous: float = 1.25) -> tuple[str, float, float]:
    running, peak = _utility_amps(layout, leg, continuous)
    steps = sorted((p - r for r, p in zip(running, peak, strict=True)), reverse=True)
    return leg, sum(peak), sum(running) + sum(steps[:2])


def _drops(layout: Layout) -> list[Finding]:
    out = [_branch_drop(layout, circuit) for circuit in layout.circuits]
    feeder = layout.site.subpanel.feeder
    if layout.site.subpanel.build == "fed" and feeder is not None:
        out.append(_total_drop(layout, feeder))
    return out + [_charging_drop(group) for group in layout.groups]


def _wire_keys(wire: Wire | None, key: str) -> list[str]:
    if wire is None:
        return [f"{key}.wire"]
    return [f"{key}.wire.length_ft"] if wire.length_ft is None else []


def _branch_frac(layout: Layout, circuit: Circuit) -> float:
    volts = layout.volts(circuit) or 2 * LEG_VOLTS
    wire = circuit.wire
    return voltage_drop_v(peak_w(circuit) / volts, wire.awg, wire.length_ft, wire.material) / volts


def _branch_drop(layout: Layout, circuit: Circuit) -> Finding:
    keys = _wire_keys(circuit.wire, f'circuit "{circuit.name}"') + power_keys([circuit])
    if keys:
        return missing("voltage-drop", circuit.name, keys, DROP)
    figure = Figure(_branch_frac(layout, circuit), BRANCH_DROP_FRAC, "frac")
    amps = peak_w(circuit) / (layout.volts(circuit) or 2 * LEG_VOLTS)
    text = (
        f"{circuit.name}: {amps:.1f} A over {circuit.wire.length_ft:g} ft of {circuit.wire.awg} AWG "
        f"{circuit.wire.material} loses {figure.value:.1%}; 3% is informational, not a rule."
    )
    return found("voltage-drop", circuit.name, pass_or_marginal(figure), figure, DROP, text)


def _total_drop(layout: Layout, feeder) -> Finding:
    keys = ["subpanel.feeder.length_ft"] if feeder.length_ft is None else []
    keys += power_keys(layout.circuits)
    for circuit in layout.circuits:
        keys += _wire_keys(circuit.wire, f'circuit "{circuit.name}"')
    if keys or not layout.circuits:
        return missing("voltage-drop", "feeder and branch", keys or ["circuit"], DROP)
    amps = max(_leg_load(layout, leg, 1.0)[1] for leg in layout.legs)
    volts = layout.line_volts or LEG_VOLTS
    feeder_frac = voltage_drop_v(amps, feeder.awg, feeder.length_ft, feeder.material) / volts
    worst = max(layout.circuits, key=lambda circuit: _branch_frac(layout, circuit))
    figure = Figure(feeder_frac + _branch_frac(layout, worst), TOTAL_DROP_FRAC, "frac")
    text = f"Feeder {feeder_frac:.1%} with everything on, and {worst.name}: {figure.value:.1%}; 5% is informational."
    return found("voltage-drop", "feeder and branch", pass_or_marginal(figure), figure, DROP, text)


def _charging_drop(group: Battery) -> Finding:
    circuit, subject = group.charging_circuit, f"{group.name}, charging circuit"
    keys = _wire_keys(circuit.wire, f'battery "{group.name}".charging_circuit')
    if keys:
        return missing("voltage-drop", subject, keys, DROP)
    wire = circuit.wire
    amps = min(group.unit_charge_kw * 1000.0 / circuit.volts, CONTINUOUS * circuit.breaker_a)
    drop_v = voltage_drop_v(amps, wire.awg, wire.length_ft, wire.material)
    figure = Figure(drop_v / circuit.volts, BRANCH_DROP_FRAC, "frac")
    text = f"{subject}: {amps:.1f} A over {wire.length_ft:g} ft loses {drop_v:.2f} V, {figure.value:.1%}; 3% is "
    text += f"informational. {drop_v * amps:.0f} W are lost in the wire."
    return found("voltage-drop", subject, pass_or_marginal(figure), figure, DROP, text)
