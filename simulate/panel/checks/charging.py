"""Charging circuits, and cells that are too cold to charge."""

from __future__ import annotations

from simulate.panel.checks.conductor import allowed_at
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.tables import needed_breaker_a, next_standard_breaker_a
from simulate.site.unit import Battery, service_has

CIRCUIT = "NEC 210.20(A)"
CONDUCTOR = "NEC 240.4(D), {ampacity}, 110.14(C)"
COLD = "NEC 110.3(B), the unit's own limits; cell temperature by place is common practice"
HEATED_C = 18.0
"""Cell temperature in a heated place, common practice. [degC]"""


def charging_findings(layout: Layout) -> list[Finding]:
    """Findings of `charging-circuit` and `cold-charging`."""
    out = [one for group in layout.groups for one in (_circuit(layout, group), _conductor(layout, group))]
    return out + [_cold(layout, group) for group in layout.groups]


def _circuit(layout: Layout, group: Battery) -> Finding:
    check, circuit = "charging-circuit", group.charging_circuit
    if not service_has(layout.site.service.system, circuit.volts):
        figure = Figure(float(circuit.volts), layout.line_volts or 120.0, "V")
        text = f"{group.name}: a {layout.site.service.system} V service has no {circuit.volts} V to charge from."
        return found(check, group.name, "fail", figure, CIRCUIT, text)
    if group.charge_kw is None:
        known = f"The simulation takes the circuit's {circuit.continuous_kw:.2f} kW; a breaker does not slow a charger."
        return missing(check, group.name, [f'battery "{group.name}".charge_kw'], CIRCUIT, known)
    amps = group.charge_kw * 1000.0 / circuit.volts
    figure = Figure(needed_breaker_a(amps), circuit.breaker_a, "A")
    text = f"{group.name}: {group.charge_kw:g} kW at {circuit.volts} V is {amps:.1f} A, 125% is {figure.value:.2f} A "
    text += f"of {circuit.breaker_a:g} A."
    if figure.met:
        return found(check, group.name, "pass", figure, CIRCUIT, text)
    if group.charge_adjustable:
        set_a = circuit.continuous_kw * 1000.0 / circuit.volts
        text += f" Set the charger to {circuit.continuous_kw:.2f} kW ({set_a:.1f} A) at most and record the setting."
        return found(check, group.name, "pass", Figure(needed_breaker_a(set_a), circuit.breaker_a, "A"), CIRCUIT, text)
    text += (
        f" It needs a {next_standard_breaker_a(figure.value)} A circuit; a breaker does not tell a charger to slow "
        f"down. Simulated as if set to {circuit.continuous_kw:.2f} kW."
    )
    return found(check, group.name, "fail", figure, CIRCUIT, text)


def _conductor(layout: Layout, group: Battery) -> Finding:
    subject, wire = f"{group.name}, conductor", group.charging_circuit.wire
    if wire is None:
        return missing("charging-circuit", subject, [f'battery "{group.name}".charging_circuit.wire'], CONDUCTOR)
    key = f'battery "{group.name}".charging_circuit.wire'
    marked = min(layout.site.service.terminals_c, group.terminals_c)
    allowed = allowed_at(layout, key, wire.awg, wire.material, method=wire.method, ends_c=marked)
    figure = Figure(group.charging_circuit.breaker_a, allowed, "A")
    text = f"{group.name}: {wire.awg} AWG {wire.material} takes a charging breaker of {allowed:g} A; fitted: "
    text += f"{group.charging_circuit.breaker_a:g} A."
    return found("charging-circuit", subject, pass_or_fail(figure), figure, CONDUCTOR, text)


def _cold(layout: Layout, group: Battery) -> Finding:
    key = f'battery "{group.name}"'
    least_c = group.temperature.min_charge_c if group.temperature else None
    keys = [] if least_c is not None else [f"{key}.temperature.min_charge_c"]
    keys += [f"{key}.{name}" for name in ("place", "heated") if getattr(group, name) is None]
    lowest_c = layout.simulated.lowest_cell_c.get(group.name)
    if lowest_c is None and group.heated:
        lowest_c = HEATED_C
    if keys:
        return missing("cold-charging", group.name, keys, COLD)
    if lowest_c is None:
        known = f"Cells in an unheated {group.place} follow the weather."
        return missing("cold-charging", group.name, ["the simulated year"], COLD, known)
    figure = Figure(lowest_c, least_c, "degC", at_least=True)
    where = f"{group.place}, {'heated' if group.heated else 'unheated'}"
    text = f"{group.name}: cells fall to {lowest_c:.1f} degC ({where}), no charging below {least_c:g} degC."
    if not figure.met:
        text += " In the coldest hours they do not recharge: heat the place or move the units."
    return found("cold-charging", group.name, pass_or_fail(figure), figure, COLD, text)
