"""What runs between the panels: raceways, the feeder, and the voltage lost on the way."""

from __future__ import annotations

from profiles.loads.circuit import Circuit, Wire
from simulate.panel.checks.conductor import CONTINUOUS_KINDS, allowed_at, run_ampacity_a
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail, pass_or_marginal
from simulate.panel.checks.layout import LEG_VOLTS, PLUGGED_KINDS, Layout, peak_w, power_keys
from simulate.panel.checks.tables import bundling_factor, voltage_drop_v
from simulate.site.unit import CONTINUOUS, Battery
from simulate.site.wiring import Raceway

NIPPLE_IN = 24.0
"""A raceway no longer than this needs no adjustment for bundling, NEC 310.15(C)(1). [in]"""

BUNDLE = "NEC {ambient}, {bundling}, {neutral-count}, {ampacity}"
FEEDER = "NEC 215.2, 215.3, 240.4"
BUS = "NEC 408.36"
DROP = "NEC 210.19(A) and 215.2(A) informational notes"
BRANCH_DROP_FRAC, TOTAL_DROP_FRAC = 0.03, 0.05


def raceway_findings(layout: Layout) -> list[Finding]:
    """Findings of `raceway`, `feeder` and `voltage-drop`."""
    return [*_raceways(layout), *_feeder(layout), *_drops(layout)]


def _raceways(layout: Layout) -> list[Finding]:
    if layout.site.subpanel.raceways is None:
        return [missing("raceway", "between the panels", ["subpanel.raceways"], BUNDLE)]
    return [_raceway(layout, k + 1, raceway) for k, raceway in enumerate(layout.site.subpanel.raceways)]


def _in_raceway(layout: Layout, raceway: Raceway) -> tuple[list[tuple[str, float, str, str, bool]], list[str]]:
    """What runs in a raceway as (name, breaker, awg, material, plugged), and the missing keys."""
    panel = layout.site.subpanel
    if panel.build == "fed":
        if panel.feeder is None:
            return [], ["subpanel.feeder"]
        feeder = panel.feeder
        return [("the feeder", feeder.breaker_a, raceway.awg or feeder.awg, feeder.material, False)], []
    runs, keys = [], []
    for circuit in layout.circuits:
        plugged = circuit.kind in PLUGGED_KINDS or circuit.kind is None
        if raceway.awg is not None:
            runs.append((circuit.name, circuit.breaker_a, raceway.awg, raceway.material, plugged))
        elif circuit.wire is None:
            keys.append(f'circuit "{circuit.name}".wire')
        else:
            runs.append((circuit.name, circuit.breaker_a, circuit.wire.awg, circuit.wire.material, plugged))
    return runs, keys


def _raceway(layout: Layout, number: int, raceway: Raceway) -> Finding:
    subject = f"raceway {number}"
    n_together = raceway.conductors if raceway.length_in > NIPPLE_IN else 3
    factor = bundling_factor(n_together)
    if n_together == 3 and raceway.conductors > 3 and raceway.ambient_c <= 30.0:
        figure = Figure(raceway.length_in, NIPPLE_IN, "in")
        text = f"{raceway.length_in:g} in is a nipple of 24 in at most: {raceway.conductors} conductors at 100 %."
        return found("raceway", subject, "pass", figure, BUNDLE, text)
    runs, keys = _in_raceway(layout, raceway)
    if keys:
        known = f"{raceway.conductors} current-carrying conductors over {raceway.length_in:g} in: {factor:.0%}."
        return missing("raceway", subject, [f"subpanel.raceways[{number}].awg", *keys], BUNDLE, known)
    figures = []
    for name, breaker_a, awg, material, plugged in runs:
        together = {"ambient_c": raceway.ambient_c, "n_conductors": n_together}
        allowed = allowed_at(layout, f"subpanel.raceways[{number}]", awg, material, plugged=plugged, **together)
        ampacity = run_ampacity_a(awg, material, **together)
        figure = Figure(breaker_a, allowed or ampacity, "A")
        figures.append((figure, name, f"{awg} AWG {material}, {_takes(allowed, ampacity)}"))
    return _judged_raceway(subject, raceway, factor, figures)


def _takes(allowed: float, ampacity: float) -> str:
    """What a conductor carries and the breaker that it takes; 0 stands for none of the standard ratings."""
    if not allowed:
        return (
            f"carries {ampacity:.4g} A: with receptacles on it no next size up is allowed (240.4(B)), and no standard "
            "breaker is that small"
        )
    up = ", the next standard size up (240.4(B))" if allowed > ampacity + 1e-9 else ""
    return f"carries {ampacity:.4g} A and takes a breaker of {allowed:g} A{up}"


def _judged_raceway(subject: str, raceway: Raceway, factor: float, figures) -> Finding:
    if not figures:
        return missing("raceway", subject, ["circuit.wire"], BUNDLE)
    worst, name, carries = min(figures, key=lambda one: one[0].margin)
    over = [one[1] for one in figures if not one[0].met]
    text = (
        f"{raceway.conductors} current-carrying conductors over {raceway.length_in:g} in at {raceway.ambient_c:g} "
        f"degC: {factor:.0%} of the 90 degC column. Tightest: {name}, {carries}; fitted: {worst.value:g} A."
    )
    if over:
        text += " Too small: " + ", ".join(over) + ". Use larger wire, more raceways or a nipple of 24 in."
    return found("raceway", subject, pass_or_fail(worst), worst, BUNDLE, text)


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
    allowed = allowed_at(layout, "subpanel.feeder", feeder.awg, feeder.material)
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
        f"{two_a:.1f} A, continuous kinds at 125 %, of {breaker_a:g} A."
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
        f"{circuit.wire.material} loses {figure.value:.1%}; 3 % is informational, not a rule."
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
    text = f"Feeder {feeder_frac:.1%} with everything on, and {worst.name}: {figure.value:.1%}; 5 % is informational."
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
    text = f"{subject}: {amps:.1f} A over {wire.length_ft:g} ft loses {drop_v:.2f} V, {figure.value:.1%}; 3 % is "
    text += f"informational. {drop_v * amps:.0f} W are lost in the wire."
    return found("voltage-drop", subject, pass_or_marginal(figure), figure, DROP, text)
