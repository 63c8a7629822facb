"""Power checks of the battery units: continuous output, the one heater, source capacity, leg balance."""

from __future__ import annotations

import math

from profiles.loads.circuit import Circuit
from simulate.panel.checks.finding import COMMON_PRACTICE, PHYSICAL, Figure, Finding, found, missing, pass_or_marginal
from simulate.panel.checks.layout import LEG_VOLTS, PLUGGED_KINDS, Demand, Layout, demand, peak_w, power_keys

HEATER_KW = 1.5
"""A portable heater, common practice: the most that is sold for a 15 A receptacle. [kW]"""

BALANCE_TARGET_FRAC = 0.2
"""Difference of the running loads over the larger, common practice."""

HEATER_LIKE_W = 1000.0
"""A plug that takes so much takes a heater, common practice. [W]"""

SEEN_STEP_H = 5.0 / 60.0 + 1e-9


def power_findings(layout: Layout) -> list[Finding]:
    """Findings of `inverter-continuous`, `one-heater`, `source-capacity` and `leg-balance`."""
    if not layout.circuits:
        return []
    return [*_continuous(layout), *_heaters(layout), *_capacity(layout), *_balance(layout)]


def _continuous(layout: Layout) -> list[Finding]:
    out = []
    for leg in layout.legs:
        if layout.on_leg(leg):
            out.append(_continuous_on(layout, f"leg {leg}", (leg,), layout.leg_kw(leg)))
    if layout.both:
        out.append(_continuous_on(layout, "both legs", layout.legs, layout.whole_kw))
    return out


def _continuous_on(layout: Layout, subject: str, legs: tuple[str, ...], limit_kw: float) -> Finding:
    circuits = [c for c in layout.circuits if any(layout.share(c, leg) for leg in legs)]
    if limit_kw == 0.0:
        figure = Figure(None, 0.0, "kW")
        names = ", ".join(circuit.name for circuit in circuits)
        text = f"No battery unit feeds {subject}: {names} never carried. Put a unit on it or move the circuits."
        return found("inverter-continuous", subject, "fail", figure, PHYSICAL, text)
    keys = power_keys(circuits)
    if keys:
        known = f"The units carry {limit_kw:.2f} kW continuously on {subject}. {_simulated(layout, legs)}"
        return missing("inverter-continuous", subject, keys, PHYSICAL, known.strip())
    power = demand(layout, legs, circuits)
    verdict = _three_way(power, limit_kw)
    shed = _after_shedding(layout, legs, circuits, limit_kw) if verdict == "fail" else ""
    figure = Figure(power.everything_kw, limit_kw, "kW")
    what = {
        "pass": "everything on fits",
        "marginal": "the largest two fit, everything on trips the unit",
        "fail": "the largest two on top of what runs trip the unit: a trip, not a share",
    }[verdict]
    text = (
        f"{subject[0].upper()}{subject[1:]}: everything on {power.everything_kw:.2f} kW, the largest two plus what "
        f"always runs {power.largest_two_kw:.2f} kW, against {limit_kw:.2f} kW continuous: {what}. "
        f"{shed}{_simulated(layout, legs)}"
    )
    return found("inverter-continuous", subject, "marginal" if shed else verdict, figure, PHYSICAL, text.strip())


def _three_way(power: Demand, limit_kw: float) -> str:
    if power.everything_kw <= limit_kw + 1e-9:
        return "pass"
    return "marginal" if power.largest_two_kw <= limit_kw + 1e-9 else "fail"


def _after_shedding(layout: Layout, legs, circuits: list[Circuit], limit_kw: float) -> str:
    """What automatic load control leaves on, where that fits; else nothing."""
    if layout.site.subpanel.load_control != "automatic":
        return ""
    kept = list(circuits)
    while kept and demand(layout, legs, kept).everything_kw > limit_kw + 1e-9:
        last = max(c.priority for c in kept)
        if last == min(c.priority for c in circuits):
            return ""
        kept = [c for c in kept if c.priority < last]
    off = ", ".join(c.name for c in circuits if c not in kept)
    return f"Automatic load control leaves {demand(layout, legs, kept).everything_kw:.2f} kW with {off} off. "


def _simulated(layout: Layout, legs: tuple[str, ...]) -> str:
    means = layout.simulated.mean_kw
    if not all(leg in means for leg in legs):
        return ""
    step_h = layout.simulated.step_h
    text = f"Simulated mean of the highest step: {sum(means[leg] for leg in legs):.2f} kW"
    if step_h is None or step_h > SEEN_STEP_H:
        minutes = "" if step_h is None else f" at {step_h * 60:.0f}-minute steps"
        text += f"{minutes}, energy only: short overloads are not seen"
    return text + "."


def _heaters(layout: Layout) -> list[Finding]:
    out = []
    for circuit in layout.circuits:
        if takes_heater(circuit) and layout.legs_of(circuit)[0] in layout.fed_legs:
            out.append(_heater(layout, circuit))
    return out


def takes_heater(circuit: Circuit) -> bool:
    """A portable heater may be plugged in: receptacles, what a medical device hangs on, and any plug of 1,000 W."""
    if circuit.poles == 2:
        return False
    if circuit.kind == "receptacle" or circuit.is_medical:
        return True
    return circuit.kind in (*PLUGGED_KINDS, None) and (circuit.largest_w or 0.0) >= HEATER_LIKE_W


def _heater(layout: Layout, circuit: Circuit) -> Finding:
    leg = layout.legs_of(circuit)[0]
    keys = power_keys(layout.on_leg(leg), largest=False)
    if keys:
        return missing("one-heater", circuit.name, keys, PHYSICAL)
    base_kw = demand(layout, (leg,), layout.on_leg(leg)).running_kw
    figure = Figure(base_kw + HEATER_KW, layout.leg_kw(leg), "kW")
    does = "does not trip" if figure.met else "trips"
    text = (
        f"A {HEATER_KW * 1000:.0f} W heater on {circuit.name} on top of {base_kw:.2f} kW running {does} leg {leg} "
        f"({figure.limit:.2f} kW). {_heater_cost(layout, leg)}"
    )
    basis = f"{PHYSICAL}; a {HEATER_KW * 1000:.0f} W heater is {COMMON_PRACTICE}"
    return found("one-heater", circuit.name, "pass" if figure.met else "fail", figure, basis, text)


def _heater_cost(layout: Layout, leg: str) -> str:
    groups = layout.groups_on(leg)
    dc_kwh = HEATER_KW / groups[0].eta_discharge
    text = f"One hour of it takes {dc_kwh:.2f} kWh from the cells"
    legs = layout.legs if layout.both else (leg,)
    if not all(one in layout.simulated.average_kw for one in legs):
        return text + "."
    no_load_kw = sum(group.count * group.no_load_w for group in groups) / 1000.0
    drain_kw = sum(layout.simulated.average_kw[one] for one in legs) / groups[0].eta_discharge + no_load_kw
    return text + (f": {dc_kwh / drain_kw:.1f} h of the average load." if drain_kw > 0 else ".")


def source_kw(layout: Layout) -> tuple[float | None, float, Circuit | None, list[str]]:
    """What a source must carry in transfer mode and alone, with what is missing.

    Returns
    -------
    tuple
        Required kW by Article 702 (None where its key is missing) [kW], the largest single equipment [kW] and its
        circuit, and the missing keys.
    """
    panel = layout.site.subpanel
    circuits = layout.carried
    keys = power_keys(circuits)
    if keys or not circuits:
        return None, math.nan, None, keys
    largest = max(circuits, key=peak_w)
    alone_kw = peak_w(largest) / 1000.0
    everything_kw = demand(layout, layout.legs).everything_kw
    if panel.transfer.kind == "manual":
        if panel.at_one_time is None:
            return None, alone_kw, largest, ["subpanel.at_one_time"]
        chosen = [circuit for circuit in circuits if circuit.name in panel.at_one_time]
        return demand(layout, layout.legs, chosen).everything_kw, alone_kw, largest, []
    if panel.load_control == "automatic":
        if panel.load_control_kw is None:
            return None, alone_kw, largest, ["subpanel.load_control_kw"]
        return min(everything_kw, panel.load_control_kw), alone_kw, largest, []
    return everything_kw, alone_kw, largest, []


OPTIONAL_STANDBY = "NEC 702.4"
STAND_ALONE = "NEC {stand-alone}"


def _capacity(layout: Layout) -> list[Finding]:
    if not layout.groups or not layout.carried:
        return []
    needed_kw, alone_kw, largest, keys = source_kw(layout)
    transfer = layout.site.subpanel.mode == "transfer"
    basis = OPTIONAL_STANDBY if transfer else STAND_ALONE
    unknown = set(layout.site.subpanel.at_one_time or ()) - {circuit.name for circuit in layout.circuits}
    if transfer and unknown:
        keys = [*keys, f'subpanel.at_one_time without "{sorted(unknown)[0]}", which is not on the sub-panel']
    if keys and (transfer or largest is None):
        return [missing("source-capacity", "battery units", keys, basis)]
    figure = Figure(needed_kw if transfer else alone_kw, layout.whole_kw, "kW")
    verdict = "pass" if figure.met else "fail"
    return [found("source-capacity", "battery units", verdict, figure, basis, _capacity_text(layout, figure, largest))]


def _capacity_text(layout: Layout, figure: Figure, largest: Circuit) -> str:
    panel = layout.site.subpanel
    if panel.transfer.kind == "manual":
        how = "Manual transfer: what is intended to run at one time"
    elif panel.load_control == "automatic":
        how = "Automatic transfer with load control: the most that it connects"
    else:
        how = "Automatic transfer without load control: the full transferred load"
    alone_kw = peak_w(largest) / 1000.0
    article_702 = f"{how} must be carried (702.4)"
    article_710 = (
        f"the largest single equipment, {largest.name} at {alone_kw:.2f} kW, must be carried ({{stand-alone}})"
    )
    if panel.mode == "transfer":
        rest = f"By {{stand-alone}} it would be {largest.name}, {alone_kw:.2f} kW"
        return (
            f"{article_702}: {figure.value:.2f} kW of {figure.limit:.2f} kW. {rest}. "
            "Some authorities apply the other article."
        )
    full_kw = demand(layout, layout.legs).everything_kw
    return (
        f"{article_710[0].upper()}{article_710[1:]}, the units give {figure.limit:.2f} kW. By 702.4 the full load "
        f"would be {full_kw:.2f} kW. Some authorities apply the other article."
    )


def neutral_a(a_amps: float, b_amps: float, system: str) -> float:
    """Neutral current of two legs at unity power factor.

    Parameters
    ----------
    a_amps, b_amps : float
        Line-to-neutral current on each leg. [A]
    system : {"120/240", "120/208"}

    Notes
    -----
    120/240 V: ``|A - B|``. 120/208 V, two legs of a wye: ``sqrt(A^2 + B^2 - A B)``.

    Examples
    --------
    >>> neutral_a(10.0, 5.0, "120/240"), neutral_a(10.0, 10.0, "120/208")
    (5.0, 10.0)
    """
    if system == "120/208":
        return math.sqrt(a_amps**2 + b_amps**2 - a_amps * b_amps)
    return abs(a_amps - b_amps)


def leg_amps(layout: Layout, leg: str) -> tuple[float, float]:
    """Running current of a leg: all of it, and the part that returns through the neutral. [A]"""
    to_neutral = sum(c.running_w for c in layout.on_leg(leg) if c.poles == 1) / LEG_VOLTS
    across = sum(c.running_w for c in layout.on_leg(leg) if c.poles == 2) / (layout.line_volts or math.inf)
    return to_neutral + across, to_neutral


def _balance(layout: Layout) -> list[Finding]:
    if layout.fed_legs != ("A", "B"):
        return []
    keys = power_keys(layout.carried, largest=False)
    if keys:
        return [missing("leg-balance", "legs A and B", keys, COMMON_PRACTICE)]
    a, b = (demand(layout, (leg,)).running_kw for leg in ("A", "B"))
    figure = Figure(abs(a - b) / max(a, b) if max(a, b) > 0 else 0.0, BALANCE_TARGET_FRAC, "frac")
    amps = [leg_amps(layout, leg) for leg in ("A", "B")]
    common_a = neutral_a(amps[0][1], amps[1][1], layout.site.service.system)
    text = (
        f"Running {a:.2f} kW on A ({amps[0][0]:.1f} A) and {b:.2f} kW on B ({amps[1][0]:.1f} A): "
        f"{figure.value:.0%} of the larger apart, neutral {common_a:.1f} A. "
        f"Common practice is {BALANCE_TARGET_FRAC:.0%} at most."
    )
    return [found("leg-balance", "legs A and B", pass_or_marginal(figure), figure, COMMON_PRACTICE, text)]
