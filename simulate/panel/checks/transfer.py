"""Transfer equipment, faults on the utility and on battery, and the generator."""

from __future__ import annotations

from profiles.loads.circuit import Circuit
from simulate.panel.checks.conductor import full_load_of
from simulate.panel.checks.finding import PHYSICAL, Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import LEG_VOLTS, Layout
from simulate.panel.checks.motor import RATED_VOLTS
from simulate.panel.checks.tables import LARGEST_HP

INTERRUPTING = "NEC 110.9"
FAULT = "NEC 110.9, 110.10; ratio of fault to rated current is common practice"
GENERATOR = "NEC 702.5, 702.4"
GENERATOR_BOND = "NEC 250.30, {load-side-bond}"
LOCKED_OVER_FULL = 6.0
"""Locked-rotor over full-load current of a motor rating, NEC Table 430.251(A), from memory."""
FAULT_TIMES = (1.0, 2.0)
MAGNETIC_TIMES = 5.0
"""Where a small breaker's instantaneous trip begins, over its rating: common practice, no source."""


def transfer_findings(layout: Layout) -> list[Finding]:
    """Findings of `transfer-rating`, `fault-clearing` and `generator`."""
    return [*_ratings(layout), *_faults(layout), *_interrupting(layout), *_generator(layout)]


def _ratings(layout: Layout) -> list[Finding]:
    if layout.site.subpanel.mode != "transfer" or not layout.circuits:
        return []
    return [_amps(layout), *_horsepower(layout), *_operations(layout)]


def _amps(layout: Layout) -> Finding:
    transfer = layout.site.subpanel.transfer
    if transfer.rated_a is None:
        return missing("transfer-rating", "poles", ["subpanel.transfer.rated_a"], PHYSICAL)
    largest = max(layout.circuits, key=lambda circuit: circuit.breaker_a)
    figure = Figure(largest.breaker_a, transfer.rated_a, "A")
    over = [circuit.name for circuit in layout.circuits if circuit.breaker_a > transfer.rated_a + 1e-9]
    text = f"Poles of {transfer.rated_a:g} A; the largest breaker is {largest.breaker_a:g} A ({largest.name})."
    if over:
        text += " Over the rating: " + ", ".join(over) + "."
    return found("transfer-rating", "poles", pass_or_fail(figure), figure, PHYSICAL, text)


def _horsepower(layout: Layout) -> list[Finding]:
    out = []
    for circuit in layout.circuits:
        if circuit.motor is not None and (circuit.motor.hp is not None or circuit.motor.lra_a is not None):
            out.append(_motor_rating(layout, circuit))
    return out


def _motor_rating(layout: Layout, circuit: Circuit) -> Finding:
    rated_hp, motor = layout.site.subpanel.transfer.rated_hp, circuit.motor
    if rated_hp is None:
        return missing("transfer-rating", circuit.name, ["subpanel.transfer.rated_hp"], PHYSICAL)
    if motor.hp is not None:
        figure = Figure(motor.hp, rated_hp, "hp")
        text = f"{circuit.name}: {motor.hp:g} hp on poles of {rated_hp:g} hp."
        return found("transfer-rating", circuit.name, pass_or_fail(figure), figure, PHYSICAL, text)
    volts = motor.at_volts or RATED_VOLTS.get(layout.volts(circuit), 230.0)
    limit_a = LOCKED_OVER_FULL * full_load_of(circuit, min(rated_hp, LARGEST_HP), volts)
    figure = Figure(motor.lra_a, limit_a, "A")
    text = (
        f"{circuit.name}: locked rotor {motor.lra_a:g} A; poles of {rated_hp:g} hp are made for about {limit_a:.0f} A "
        f"at {volts:g} V."
    )
    return found("transfer-rating", circuit.name, pass_or_fail(figure), figure, PHYSICAL, text)


def _operations(layout: Layout) -> list[Finding]:
    counts = {name: n for name, n in layout.simulated.switches_per_year.items() if n > 0}
    rated = layout.site.subpanel.transfer.rated_operations
    if not counts:
        return []
    if rated is None:
        return [missing("transfer-rating", "operations", ["subpanel.transfer.rated_operations"], PHYSICAL)]
    name = max(counts, key=counts.get)
    years = _years(layout)
    figure = Figure(counts[name] * years, rated, "operations")
    text = (
        f"{name} is switched {counts[name]:.0f} times a year for the rate: {rated / counts[name]:.0f} years to "
        f"{rated:g} operations, {figure.value:.0f} in {years:g} years."
    )
    return [found("transfer-rating", "operations", pass_or_fail(figure), figure, PHYSICAL, text)]


def _years(layout: Layout) -> float:
    money = layout.site.money
    return 15.0 if money is None else float(money.years)


def _interrupting(layout: Layout) -> list[Finding]:
    """Available fault current against the least interrupting rating at the main panel."""
    service, subject = layout.site.service, "main panel, on the utility"
    if not layout.circuits:
        return []
    keys = [f"service.{key}" for key in ("fault_current_ka", "interrupting_ka") if getattr(service, key) is None]
    if keys:
        return [missing("fault-clearing", subject, keys, INTERRUPTING)]
    figure = Figure(service.fault_current_ka, service.interrupting_ka, "kA")
    text = f"Available fault current {figure.value:g} kA, least interrupting rating {figure.limit:g} kA."
    return [found("fault-clearing", subject, pass_or_fail(figure), figure, INTERRUPTING, text)]


def _faults(layout: Layout) -> list[Finding]:
    out = []
    for leg in layout.fed_legs:
        on = layout.on_leg(leg)
        if not on:
            continue
        rated_a = layout.leg_kw(leg) * 1000.0 / LEG_VOLTS
        largest = max(circuit.breaker_a for circuit in on)
        figure = Figure(MAGNETIC_TIMES * largest, FAULT_TIMES[1] * rated_a, "A")
        text = (
            f"On battery leg {leg} gives {FAULT_TIMES[0] * rated_a:.0f}-{FAULT_TIMES[1] * rated_a:.0f} A into a fault "
            f"(1-2 times its rating); a {largest:g} A breaker opens at once from about {figure.value:.0f} A and may "
            "not open. A short circuit may shut the unit down instead: find the fault before you reset."
        )
        out.append(found("fault-clearing", f"leg {leg}", "marginal", figure, FAULT, text))
    return out


def _generator(layout: Layout) -> list[Finding]:
    generator = layout.site.generator
    if generator is None or not layout.groups:
        return []
    full_kw = sum(group.count * group.unit_charge_kw for group in layout.groups)
    figure = Figure(full_kw, generator.kw, "kW")
    text = f"All units charge at {full_kw:.2f} kW on a generator of {generator.kw:g} kW. "
    verdict = pass_or_fail(figure)
    if not figure.met and all(group.charge_adjustable for group in layout.groups):
        verdict, figure = "pass", Figure(generator.kw, generator.kw, "kW")
        text += "Set them below it, house load taken off, while it runs. "
    elif not figure.met:
        text += "The charge rate cannot be set below it: it stalls. "
    inlets = {"interlocked-inlet": "its own interlocked inlet at the main panel", "unit-inlet": "the units' inlet"}
    how = inlets[generator.connection]
    text += f"It reaches the units through {how}, never through a receptacle or branch circuit. Outdoors only."
    out = [found("generator", "charge rate", verdict, figure, GENERATOR, text)]
    return out + ([_generator_bond(layout)] if generator.connection == "interlocked-inlet" else [])


def _generator_bond(layout: Layout) -> Finding:
    bonded, subject = layout.site.generator.neutral_bonded, "neutral of the generator"
    if bonded is None:
        return missing("generator", subject, ["generator.neutral_bonded"], GENERATOR_BOND)
    figure = Figure(2.0 if bonded else 1.0, 1.0, "bonds")
    text = "An interlock does not switch the neutral, so the service's bond stays: "
    text += "a bonded generator makes two. Float its neutral." if bonded else "a floating generator keeps it one."
    return found("generator", subject, pass_or_fail(figure), figure, GENERATOR_BOND, text)
