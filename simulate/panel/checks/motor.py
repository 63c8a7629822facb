"""Motor starts on battery: locked-rotor current per battery unit, at the volts of the system."""

from __future__ import annotations

import math
from dataclasses import dataclass

from profiles.loads.circuit import Circuit
from simulate.panel.checks.conductor import full_load_of
from simulate.panel.checks.finding import COMMON_PRACTICE, PHYSICAL, Figure, Finding, found, missing
from simulate.panel.checks.layout import LEG_VOLTS, Layout, power_keys
from simulate.panel.checks.tables import locked_rotor_a

RATED_VOLTS = {120.0: 115.0, 208.0: 200.0, 240.0: 230.0}
"""Motor voltage on each system voltage where the nameplate's is not given (NEMA MG 1, from memory). [V]"""

SMALL_MOTOR_LETTERS = ("J", "M")
"""Code letters of small single-phase motors where none is given: an engineering range, no citation."""

TIMES_RUNNING = {"motor": (3.0, 6.0), "hvac": (2.0, 4.0)}
"""Start over running current where nothing of the start is known: an engineering range, no citation."""

TIMES_FULL_LOAD = (2.0, 3.5)
"""Start over full-load current behind a soft starter: an engineering range, no citation."""


@dataclass(frozen=True)
class Start:
    """Start current of a motor at system volts, its low and high end, and how it is known.

    Attributes
    ----------
    low_a, high_a : float
        [A]
    known_by : str
    trusted : bool
        False where only the kind's range is known: then never better than marginal.
    """

    low_a: float
    high_a: float
    known_by: str
    trusted: bool = True


def starts_motor(circuit: Circuit) -> bool:
    """The circuit has a motor whose start matters."""
    return circuit.motor is not None or circuit.kind in TIMES_RUNNING


def start_of(circuit: Circuit, volts: float) -> Start | list[str]:
    """Start current of a circuit's motor in the order of trust, or the keys that are missing.

    Parameters
    ----------
    circuit : Circuit
    volts : float
        Volts of the system at the motor. [V]

    Notes
    -----
    Clamp reading, then printed locked-rotor current, then hp and code letter, then the kind's range. Figures at rated
    volts are raised by system over rated volts, because the current of a locked rotor follows the voltage.

    References
    ----------
    NEC Table 430.7(B), Table 430.248; order of trust: common practice.
    """
    motor = circuit.motor
    if motor is None:
        return _by_kind(circuit, volts)
    if motor.inrush_a is not None:
        amps = motor.inrush_a * (volts / motor.at_volts if motor.at_volts else 1.0)
        return Start(amps, amps, "clamp reading")
    rated = motor.at_volts or RATED_VOLTS[volts]
    raised = "" if rated == volts else f" raised to {volts:g} V" if volts > rated else f" taken to {volts:g} V"
    said = f"at {rated:g} V{raised}" + ("" if motor.at_volts else " (rated volts not given)")
    if motor.soft_start:
        return _soft(circuit, volts, rated)
    if motor.lra_a is not None:
        amps = motor.lra_a * volts / rated
        return Start(amps, amps, f"printed locked-rotor current {said}")
    if motor.hp is None and motor.start_va_range is not None:
        low, high = (va / rated * volts / rated for va in motor.start_va_range)
        return Start(low, high, f"an engineering range of such motors {said}", trusted=False)
    if motor.hp is None:
        return _by_kind(circuit, volts)
    letters = (motor.code_letter, motor.code_letter) if motor.code_letter else SMALL_MOTOR_LETTERS
    low = locked_rotor_a(motor.hp, letters[0], rated)[0] * volts / rated
    high = locked_rotor_a(motor.hp, letters[1], rated)[1] * volts / rated
    name = f"code letter {motor.code_letter}" if motor.code_letter else "code letter not given, J to M taken"
    return Start(low, high, f"{motor.hp:g} hp, {name}, {said}", trusted=motor.code_letter is not None)


def _by_kind(circuit: Circuit, volts: float) -> Start | list[str]:
    if circuit.running_w is None:
        return [f'circuit "{circuit.name}".motor', f'circuit "{circuit.name}".running_w']
    low, high = TIMES_RUNNING.get(circuit.kind, TIMES_RUNNING["motor"])
    running_a = circuit.running_w / volts
    return Start(
        low * running_a,
        high * running_a,
        f"{low:g} to {high:g} times running, nothing of the start is known",
        trusted=False,
    )


def _soft(circuit: Circuit, volts: float, rated: float) -> Start | list[str]:
    if circuit.motor.hp is not None:
        full_a = full_load_of(circuit, circuit.motor.hp, rated)
    elif circuit.running_w is not None:
        full_a = circuit.running_w / volts
    else:
        return [f'circuit "{circuit.name}".motor.hp']
    low, high = TIMES_FULL_LOAD
    return Start(low * full_a, high * full_a, f"soft starter, {low:g} to {high:g} times full load current")


@dataclass(frozen=True)
class Place:
    """One limit that a start meets: a leg, or both legs of units with 120/240 V output.

    Attributes
    ----------
    name : str
    base_kva, volts : float
        What runs already [kVA]; volts that the start current is drawn at [V].
    surge_kva, continuous_kva : float
        [kVA]
    """

    name: str
    base_kva: float
    volts: float
    surge_kva: float
    continuous_kva: float

    def totals(self, start: Start) -> tuple[float, float]:
        """Low and high end of base and start, added arithmetically. [kVA]"""
        return tuple(self.base_kva + amps * self.volts / 1000.0 for amps in (start.low_a, start.high_a))


def motor_findings(layout: Layout) -> list[Finding]:
    """Findings of `motor-start`: each motor by itself, then those of a leg together."""
    served = [c for c in layout.circuits if starts_motor(c) and c in layout.carried]
    return [*(_start(layout, circuit) for circuit in served), *_together(layout, served)]


def _start(layout: Layout, circuit: Circuit) -> Finding:
    start = start_of(circuit, layout.battery_volts(circuit))
    legs = layout.legs if layout.both else layout.legs_of(circuit)
    others = [c for leg in legs for c in layout.on_leg(leg) if c is not circuit]
    keys = (start if isinstance(start, list) else []) + power_keys(others, largest=False)
    if keys:
        return missing("motor-start", circuit.name, keys, PHYSICAL)
    places = _places(layout, circuit)
    fits = all(place.totals(start)[1] <= place.continuous_kva + 1e-9 for place in places)
    groups = {group.name: group for leg in layout.legs_of(circuit) for group in layout.groups_on(leg)}
    for name, group in groups.items():
        keys += [f'battery "{name}".{key}' for key in _surge_keys(group)]
    if keys and fits:  # a start within the continuous rating needs no surge rating
        return _judged(layout, circuit, start, _tightest(places, start, "continuous_kva"), "continuous_kva")
    if keys:
        worst = _tightest(places, start, "continuous_kva")
        known = f"{circuit.name} starts at {_range(worst.totals(start))} with what runs on {worst.name}."
        return missing("motor-start", circuit.name, keys, PHYSICAL, known)
    surge_s = min(group.surge_s for group in groups.values())
    return _judged(layout, circuit, start, _tightest(places, start, "surge_kva"), "surge_kva", surge_s)


def _surge_keys(group) -> list[str]:
    keys = [] if group.surge_kva is not None or (group.leg == "both" and group.surge_kva_per_leg) else ["surge_kva"]
    return keys + ([] if group.surge_s is not None else ["surge_s"])


def _places(layout: Layout, circuit: Circuit) -> list[Place]:
    places = []
    for leg in layout.legs_of(circuit):
        base_kva = _running_kva(layout, circuit, (leg,))
        places.append(Place(f"leg {leg}", base_kva, LEG_VOLTS, surge_kva(layout, leg), layout.leg_kw(leg)))
    if layout.both:
        whole = sum(group.count * (group.surge_kva or math.inf) for group in layout.groups)
        base_kva = _running_kva(layout, circuit, layout.legs)
        places.append(Place("both legs", base_kva, layout.battery_volts(circuit), whole, layout.whole_kw))
    return places


def _running_kva(layout: Layout, circuit: Circuit, legs: tuple[str, ...]) -> float:
    others = [(c, leg) for leg in legs for c in layout.on_leg(leg) if c is not circuit]
    return sum(c.running_w * layout.share(c, leg) for c, leg in others) / 1000.0


def surge_kva(layout: Layout, leg: str) -> float:
    """Start power on a leg, all its units; 0 where none is given. [kVA]"""
    total = 0.0
    for group in layout.groups_on(leg):
        one = group.surge_kva if group.leg != "both" else group.surge_kva_per_leg or (group.surge_kva or 0.0) / 2.0
        total += group.count * (one or 0.0)
    return total


def _tightest(places: list[Place], start: Start, limit: str) -> Place:
    return min(places, key=lambda place: getattr(place, limit) - place.totals(start)[1])


def _range(totals: tuple[float, float]) -> str:
    low, high = totals
    if high - low < 0.005:
        return f"{high:.2f} kVA"
    return f"{low:.2f}-{high:.2f} kVA" if high < math.inf else f"{low:.2f} kVA or more"


def _amps(start: Start) -> str:
    if start.high_a - start.low_a < 0.05:
        return f"{start.high_a:.1f} A"
    return f"{start.low_a:.1f}-{start.high_a:.1f} A" if start.high_a < math.inf else f"{start.low_a:.1f} A or more"


def _judged(layout, circuit: Circuit, start: Start, place: Place, limit: str, surge_s: float | None = None) -> Finding:
    low, high = place.totals(start)
    limit_kva = getattr(place, limit)
    figure = Figure(high if high < math.inf else None, limit_kva, "kVA")
    surges = surge_s is not None and high > place.continuous_kva + 1e-9
    too_long = surges and _start_s(circuit) > surge_s + 1e-9
    verdict = "pass" if high <= limit_kva + 1e-9 else "marginal" if low <= limit_kva + 1e-9 else "fail"
    if verdict == "pass" and not start.trusted:
        verdict = "marginal"
    what = "continuous" if limit == "continuous_kva" else f"for {surge_s:g} s"
    text = (
        f"{circuit.name} starts at {_amps(start)} ({start.known_by}); with "
        f"{place.base_kva:.2f} kVA running, {place.name} sees {_range((low, high))} against {limit_kva:.2f} kVA "
        f"{what}. kVA are added arithmetically, which is conservative."
    )
    if verdict == "marginal":
        text += " Met at the low end only." if high > limit_kva + 1e-9 else " Measure the start to be sure."
    if too_long:
        verdict, text = "fail", f"{text} A start of {_start_s(circuit):g} s outlasts the unit's {surge_s:g} s."
        figure = Figure(_start_s(circuit), surge_s, "s") if high <= limit_kva + 1e-9 else figure
    return found("motor-start", circuit.name, verdict, figure, PHYSICAL, text)


def _start_s(circuit: Circuit) -> float:
    return circuit.motor.start_s if circuit.motor else 1.0


def _together(layout: Layout, served: list[Circuit]) -> list[Finding]:
    out = []
    for leg in layout.fed_legs:
        motors = [c for c in served if layout.share(c, leg)]
        starts = [start_of(c, layout.battery_volts(c)) for c in motors]
        known = not any(isinstance(start, list) for start in starts)
        if len(motors) < 2 or not known or power_keys(layout.on_leg(leg), largest=False) or not surge_kva(layout, leg):
            continue
        rest_kva = sum(c.running_w * layout.share(c, leg) for c in layout.on_leg(leg) if c not in motors) / 1000.0
        amps = (sum(start.low_a for start in starts), sum(start.high_a for start in starts))
        totals = tuple(rest_kva + one * LEG_VOLTS / 1000.0 for one in amps)
        figure = Figure(totals[1] if totals[1] < math.inf else None, surge_kva(layout, leg), "kVA")
        does = "they may start together" if figure.met else "stagger them or expect a trip"
        text = (
            f"All motors of leg {leg} at once, as after a transfer or a trip: {_range(totals)} against "
            f"{figure.limit:.2f} kVA; {does}."
        )
        verdict = "pass" if figure.met else "marginal"
        out.append(found("motor-start", f"all motors of leg {leg}", verdict, figure, COMMON_PRACTICE, text))
    return out
