"""Branch circuits: what breaker a conductor takes, and the continuous load."""

from __future__ import annotations

from profiles.loads.circuit import STANDARD_BREAKERS_A, Circuit
from profiles.noun import BadInput
from simulate.panel.checks.finding import Figure, Finding, Verdict, found, missing
from simulate.panel.checks.layout import PLUGGED_KINDS, Layout
from simulate.panel.checks.tables import SMALL_CONDUCTOR_A, ampacity_a, full_load_a, needed_breaker_a

CONTINUOUS_KINDS = ("lighting", "heat", "water-heater", "ev")
"""Kinds whose load is taken to last three hours or more; receptacles are not continuous (common practice)."""

GENERAL = "NEC 240.4(D), {ampacity}, 110.14(C)"
MOTOR = "NEC 430.22, 430.52, 240.4(G)"
COOLING = "NEC 440.4(B), 240.4(G)"
LOAD = "NEC 210.19(A), 210.20(A)"

MOTOR_BREAKER_TIMES = 2.5
"""Largest inverse-time breaker over full-load current, NEC Table 430.52, from memory."""


def next_standard_up_a(ampacity: float) -> float:
    """The standard rating that a conductor may have where its ampacity is not one: the next above, NEC 240.4(B).

    Examples
    --------
    >>> next_standard_up_a(55.0), next_standard_up_a(60.0)
    (60.0, 60.0)
    """
    return float(next(rating for rating in STANDARD_BREAKERS_A if rating >= ampacity - 1e-9))


def largest_standard_a(ampacity: float) -> float:
    """The largest standard rating that is not above an ampacity; 0 below the smallest."""
    return float(max((rating for rating in STANDARD_BREAKERS_A if rating <= ampacity + 1e-9), default=0))


def run_ampacity_a(
    awg: str, material: str, *, ends_c: int = 60, ambient_c: float = 30.0, n_conductors: int = 3
) -> float:
    """Ampacity of a run between terminations of 60 degC, or of 75 degC where both ends are marked so.

    Parameters
    ----------
    awg, material : str
    ends_c : {60, 75}
        Marking of the terminations; above 100 A they are taken as 75 degC. [degC]
    ambient_c : float
        Around the run. [degC]
    n_conductors : int
        Current-carrying conductors that lie together.

    Returns
    -------
    float
        The column of the terminations, or the corrected 90 degC column where that is less. [A]

    Notes
    -----
    Cable of type NM ends at its 60 degC column and is corrected from its 90 degC one (334.80); conductors in conduit
    end at the terminations (110.14(C)).

    Examples
    --------
    >>> run_ampacity_a("12", "Cu"), run_ampacity_a("12", "Cu", n_conductors=18), run_ampacity_a("6", "Cu", ends_c=75)
    (20.0, 15.0, 65.0)
    """
    ends_a = ampacity_a(awg, material, column_c=ends_c)
    if ends_a > 100.0:
        ends_a = ampacity_a(awg, material, column_c=75)
    return min(ends_a, ampacity_a(awg, material, column_c=90, ambient_c=ambient_c, n_conductors=n_conductors))


def breaker_allowed_a(awg: str, material: str, *, plugged: bool = False, **together) -> float:
    """The largest breaker that protects a conductor outside motors and air conditioning.

    Parameters
    ----------
    awg, material : str
    plugged : bool
        The circuit has receptacles for cord-and-plug loads: then 240.4(B) gives no next size up.
    **together : ends_c, ambient_c, n_conductors
        As `run_ampacity_a`.

    Returns
    -------
    float
        [A]

    Examples
    --------
    >>> breaker_allowed_a("14", "Cu"), breaker_allowed_a("10", "Cu"), breaker_allowed_a("6", "Cu")
    (15.0, 30.0, 60.0)
    >>> breaker_allowed_a("6", "Cu", ends_c=75), breaker_allowed_a("12", "Cu", ends_c=75)
    (70.0, 20.0)
    """
    ampacity = run_ampacity_a(awg, material, **together)
    allowed = largest_standard_a(ampacity) if plugged else next_standard_up_a(ampacity)
    return float(min(allowed, SMALL_CONDUCTOR_A.get((awg, material), allowed)))


def allowed_at(layout: Layout, key: str, awg: str, material: str, *, method: str = "conduit", **keys) -> float:
    """As `breaker_allowed_a`, for a conductor that stands at a key of the site file; NM ends at its 60 degC column. [A]

    Raises
    ------
    BadInput
        A size that the table does not hold, with file and key.
    """
    ends_c = 60 if method == "NM" else keys.pop("ends_c", 60)
    try:
        return breaker_allowed_a(awg, material, **{**keys, "ends_c": ends_c})
    except BadInput as error:
        raise error.at(layout.site.file, key) from None


def full_load_of(circuit: Circuit, hp: float, volts: float) -> float:
    """Full-load current of a circuit's motor from the table. [A]

    Raises
    ------
    BadInput
        A power or a voltage that the table does not hold, with the circuit's name.
    """
    try:
        return full_load_a(hp, volts)
    except BadInput as error:
        raise error.at(None, f'circuit "{circuit.name}".motor') from None


def conductor_findings(layout: Layout) -> list[Finding]:
    """Findings of `conductor` and `continuous-load`."""
    out = [_conductor(layout, circuit) for circuit in layout.circuits]
    return out + [one for circuit in layout.circuits for one in _continuous(layout, circuit)]


def _conductor(layout: Layout, circuit: Circuit) -> Finding:
    key = f'circuit "{circuit.name}"'
    if circuit.wire is None:
        basis = {"hvac": COOLING, "motor": MOTOR}.get(circuit.kind, GENERAL)
        return missing("conductor", circuit.name, [f"{key}.wire"], basis)
    allowed = allowed_at(
        layout, f"{key}.wire", circuit.wire.awg, circuit.wire.material, plugged=circuit.kind in PLUGGED_KINDS
    )
    if circuit.kind == "hvac":
        return _cooling(circuit, key)
    if circuit.kind == "motor":
        return _motor(layout, circuit, key)
    return _general(circuit, allowed)


def _size(circuit: Circuit) -> str:
    return f"{circuit.wire.awg} AWG {circuit.wire.material}"


def _general(circuit: Circuit, allowed: float) -> Finding:
    figure = Figure(circuit.breaker_a, allowed, "A")
    text = f"{circuit.name}: {_size(circuit)} takes a breaker of {allowed:g} A; fitted: {circuit.breaker_a:g} A."
    return found("conductor", circuit.name, "pass" if figure.met else "fail", figure, GENERAL, text)


def _cooling(circuit: Circuit, key: str) -> Finding:
    keys = [f"{key}.{name}" for name in ("mca_a", "mocp_a") if getattr(circuit, name) is None]
    if keys:
        return missing("conductor", circuit.name, keys, COOLING, "Both stand on the nameplate.")
    ampacity = run_ampacity_a(circuit.wire.awg, circuit.wire.material)
    by_wire, by_breaker = Figure(circuit.mca_a, ampacity, "A"), Figure(circuit.breaker_a, circuit.mocp_a, "A")
    text = (
        f"{circuit.name}: breaker {circuit.breaker_a:g} A of {circuit.mocp_a:g} A at most (nameplate), "
        f"{_size(circuit)} carries {ampacity:g} A of {circuit.mca_a:g} A at least."
    )
    return found("conductor", circuit.name, _verdict(by_wire, by_breaker), _worse(by_breaker, by_wire), COOLING, text)


def _motor(layout: Layout, circuit: Circuit, key: str) -> Finding:
    if circuit.motor is None or circuit.motor.hp is None:
        keys = [f"{key}.motor.hp"]
        return missing("conductor", circuit.name, keys, MOTOR, "The table's full-load current follows from it.")
    full_a = full_load_of(circuit, circuit.motor.hp, layout.volts(circuit) or 240.0)
    ampacity = run_ampacity_a(circuit.wire.awg, circuit.wire.material)
    largest = next_standard_up_a(MOTOR_BREAKER_TIMES * full_a)
    by_wire, by_breaker = Figure(1.25 * full_a, ampacity, "A"), Figure(circuit.breaker_a, largest, "A")
    text = (
        f"{circuit.name}: 125% of the table's {full_a:g} A is {by_wire.value:.2f} A, {_size(circuit)} carries "
        f"{ampacity:g} A; breaker {circuit.breaker_a:g} A of {largest:g} A at most."
    )
    return found("conductor", circuit.name, _verdict(by_wire, by_breaker), _worse(by_breaker, by_wire), MOTOR, text)


def _verdict(*figures: Figure) -> Verdict:
    return "pass" if all(figure.met for figure in figures) else "fail"


def _worse(first: Figure, second: Figure) -> Figure:
    return second if second.margin < first.margin else first


def _continuous(layout: Layout, circuit: Circuit) -> list[Finding]:
    if circuit.kind in ("motor", "hvac"):
        return []
    if circuit.kind is None:
        keys = [f'circuit "{circuit.name}".kind']
        return [missing("continuous-load", circuit.name, keys, LOAD, "Continuous goes by kind.")]
    continuous = circuit.kind in CONTINUOUS_KINDS
    if circuit.running_w is None:
        keys = [f'circuit "{circuit.name}".running_w']
        return [missing("continuous-load", circuit.name, keys, LOAD)] if continuous else []
    amps = circuit.running_w / (layout.volts(circuit) or 240.0)
    figure = Figure(needed_breaker_a(amps) if continuous else amps, circuit.breaker_a, "A")
    if not continuous and figure.met:
        return []
    how = "125% of it, continuous," if continuous else "not continuous,"
    text = f"{circuit.name}: {amps:.2f} A running, {how} asks for {figure.value:.2f} A of {circuit.breaker_a:g} A."
    return [found("continuous-load", circuit.name, "pass" if figure.met else "fail", figure, LOAD, text)]
