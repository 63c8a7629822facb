"""Volts that a motor is left with while it starts, and what would cure too few of them."""

from __future__ import annotations

from profiles.loads.circuit import WIRE_SIZES, Circuit
from simulate.panel.checks.conductor import full_load_of
from simulate.panel.checks.finding import COMMON_PRACTICE, Figure, Finding, found, missing, pass_or_marginal
from simulate.panel.checks.layout import LEG_VOLTS, Layout
from simulate.panel.checks.motor import TIMES_FULL_LOAD, Start, start_of, starts_motor
from simulate.panel.checks.tables import voltage_drop_v

DOUBTFUL_FRAC, MAY_NOT_START_FRAC = 0.10, 0.15
"""Drop at locked-rotor current from which a start is doubtful, and may not happen: common practice, no source."""


def motor_volts_findings(layout: Layout) -> list[Finding]:
    """Findings of `motor-start` about the voltage drop at locked-rotor current."""
    return [_drop(layout, circuit) for circuit in layout.carried if starts_motor(circuit)]


def _drop(layout: Layout, circuit: Circuit) -> Finding:
    subject = f"{circuit.name}, volts at start"
    start, volts = start_of(circuit, layout.battery_volts(circuit)), layout.battery_volts(circuit)
    keys = start if isinstance(start, list) else []
    wire = circuit.wire
    keys = keys + ([f'circuit "{circuit.name}".wire'] if wire is None else [])
    keys += [f'circuit "{circuit.name}".wire.length_ft'] if wire is not None and wire.length_ft is None else []
    if keys:
        return missing("motor-start", subject, keys, COMMON_PRACTICE)
    amps = start.high_a if start.high_a < float("inf") else start.low_a
    before_v, runs = _before(layout, circuit, amps)
    branch_v = voltage_drop_v(amps, wire.awg, wire.length_ft, wire.material)
    figure = Figure((before_v + branch_v) / volts, DOUBTFUL_FRAC, "frac")
    text = (
        f"{circuit.name}: {amps:.1f} A at start over {wire.length_ft:g} ft of {wire.awg} AWG {wire.material}{runs} "
        f"loses {before_v + branch_v:.1f} V, {figure.value:.1%} of {volts:g} V."
    )
    if figure.met:
        return found("motor-start", subject, "pass", figure, COMMON_PRACTICE, text)
    may_not = figure.value > MAY_NOT_START_FRAC
    text += " Above 15% it may not start." if may_not else " Above 10% a start is doubtful."
    text += _cure(layout, circuit, start, before_v)
    return found("motor-start", subject, pass_or_marginal(figure), figure, COMMON_PRACTICE, text)


def _before(layout: Layout, circuit: Circuit, amps: float) -> tuple[float, str]:
    """Volts lost before the branch circuit: on the feeder, or out and back between the panels. [V]"""
    panel = layout.site.subpanel
    if panel.build == "fed":
        feeder = panel.feeder
        if feeder is None or feeder.length_ft is None:
            return 0.0, " (feeder without a length left out)"
        return voltage_drop_v(amps, feeder.awg, feeder.length_ft, feeder.material), " and the feeder"
    longest = max((raceway.length_in for raceway in panel.raceways or ()), default=0.0)
    wire = next((raceway for raceway in panel.raceways or () if raceway.awg is not None), circuit.wire)
    if not longest:
        return 0.0, " (between the panels left out)"
    return voltage_drop_v(amps, wire.awg, 2.0 * longest / 12.0, wire.material), " and the way between the panels"


def _cure(layout: Layout, circuit: Circuit, start: Start, before_v: float) -> str:
    """The wire or the soft starter that brings the drop to 10 % or less."""
    volts, wire = layout.battery_volts(circuit), circuit.wire
    amps = start.high_a if start.high_a < float("inf") else start.low_a
    larger = WIRE_SIZES[WIRE_SIZES.index(wire.awg) + 1 :]
    frac = lambda current, awg: (
        (before_v * current / amps + voltage_drop_v(current, awg, wire.length_ft, wire.material)) / volts
    )
    fits = next((awg for awg in larger if frac(amps, awg) <= DOUBTFUL_FRAC), None)
    parts = [f"{fits} AWG, {frac(amps, fits):.1%}"] if fits else ["no wire size of the table"]
    soft_a = _soft_a(circuit, volts)
    if soft_a is not None and soft_a < amps:
        parts.append(f"a soft starter at {TIMES_FULL_LOAD[1]:g} times full load, {frac(soft_a, wire.awg):.1%}")
    return f" What would cure it: {' or '.join(parts)}."


def _soft_a(circuit: Circuit, volts: float) -> float | None:
    """Start current behind a soft starter, its high end. [A]"""
    motor = circuit.motor
    if motor is not None and motor.hp is not None:
        return TIMES_FULL_LOAD[1] * full_load_of(circuit, motor.hp, 115.0 if volts == LEG_VOLTS else 230.0)
    return None if circuit.running_w is None else TIMES_FULL_LOAD[1] * circuit.running_w / volts
