"""Neutrals: shared ones, and where neutral and ground are bonded."""

from __future__ import annotations

from profiles.loads.circuit import Circuit
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout

SHARED = "NEC 210.4, 300.3(B)"
BOND = "NEC {load-side-bond}, 250.30, 250.142(B)"
LOUD = "DO NOT ENERGISE UNTIL CORRECTED."


def neutral_findings(layout: Layout) -> list[Finding]:
    """Findings of `shared-neutral`, the loudest first, and `neutral-bond`."""
    pairs = []
    for circuit in layout.circuits:
        mate = layout.pair_of(circuit)
        if mate is not None and (mate, circuit) not in pairs:
            pairs.append((circuit, mate))
    found_pairs = [_shared(layout, circuit, mate) for circuit, mate in pairs]
    found_pairs.sort(key=lambda finding: "left behind" not in finding.text)
    return found_pairs + _bonds(layout)


def _shared(layout: Layout, circuit: Circuit, mate: Circuit) -> Finding:
    subject = f"{circuit.name} / {mate.name}"
    limit_a = min(circuit.breaker_a, mate.breaker_a)
    sum_a = circuit.breaker_a + mate.breaker_a
    too_much = f"the shared neutral may carry {circuit.breaker_a:g} + {mate.breaker_a:g} = {sum_a:g} A"
    loud = Figure(sum_a, limit_a, "A")
    if mate.on != "sub-panel":
        where = "on the main panel" if mate.on == "main" else "a candidate, so still on the main panel"
        text = (
            f"{LOUD} {circuit.name} shares a neutral with {mate.name}, which is left behind {where}: on battery "
            f"{too_much}, and the neutral ties two sources together. Both hots and their neutral move together or not "
            "at all."
        )
        return found("shared-neutral", subject, "fail", loud, SHARED, text)
    if layout.fed_legs != ("A", "B"):
        text = f"{LOUD} One 120 V source feeds both hots of {subject}: {too_much} on a {limit_a:g} A conductor."
        return found("shared-neutral", subject, "fail", loud, SHARED, text)
    if not layout.carries_two_pole:
        text = (
            f"{LOUD} The units on A and B are not stated to be phase-locked: {too_much} when they drift into phase. "
            "Lock the pair (locked_with)."
        )
        return found("shared-neutral", subject, "fail", loud, SHARED, text)
    return _same_sources(layout, circuit, mate, loud)


def _same_sources(layout: Layout, circuit: Circuit, mate: Circuit, loud: Figure) -> Finding:
    subject = f"{circuit.name} / {mate.name}"
    keys = [f'circuit "{one.name}".leg' for one in (circuit, mate) if one.leg is None]
    if keys:
        return missing("shared-neutral", subject, keys, SHARED, "Put the mates on opposite legs.")
    if circuit.leg == mate.leg:
        text = (
            f"{LOUD} Both hots of {subject} are on leg {circuit.leg}: the shared neutral may carry {loud.value:g} A. "
            "Opposite legs, one two-pole space, common disconnect."
        )
        return found("shared-neutral", subject, "fail", loud, SHARED, text)
    if circuit.rate_transfer != mate.rate_transfer:
        one, other = (circuit, mate) if circuit.rate_transfer else (mate, circuit)
        text = (
            f"{LOUD} {one.name} is switched to battery for the rate and {other.name} is not: their shared neutral then "
            f"ties two sources together and may carry {loud.value:g} A. Both are switched, or neither."
        )
        return found("shared-neutral", subject, "fail", loud, SHARED, text)
    larger = max(circuit.breaker_a, mate.breaker_a)
    text = (
        f"{subject}: opposite legs of locked units, so the neutral carries {larger:g} A at most. One two-pole space, "
        "common disconnect; move both hots and their neutral together."
    )
    return found("shared-neutral", subject, "pass", Figure(larger, larger, "A"), SHARED, text)


def bonds(neutral: str, unit_bonds: list[str]) -> tuple[int, int]:
    """Bonds between neutral and ground that the sub-panel sees on the utility and on battery.

    Parameters
    ----------
    neutral : {"solid", "switched"}
        Whether the transfer switches the neutral.
    unit_bonds : list of {"floating", "bonded", "switches"}
        One word per unit: "switches" bonds by its own relay, on battery only.

    Notes
    -----
    The service has one bond. A solid neutral carries it to the units on battery too; a switched one leaves it behind.

    Examples
    --------
    >>> bonds("solid", ["floating"]), bonds("switched", ["floating"]), bonds("solid", ["bonded"])
    ((1, 1), (1, 0), (2, 2))
    """
    always, on_battery = unit_bonds.count("bonded"), unit_bonds.count("switches")
    if neutral == "solid":
        return 1 + always, 1 + always + on_battery
    return 1, always + on_battery


def _bonds(layout: Layout) -> list[Finding]:
    if not layout.groups:
        return []
    neutral = layout.site.subpanel.neutral
    keys = ["subpanel.neutral"] if neutral is None else []
    keys += [f'battery "{group.name}".neutral_bond' for group in layout.groups if group.neutral_bond is None]
    if keys:
        return [missing("neutral-bond", "battery units", keys, BOND, "Exactly one bond on the utility and on battery.")]
    words = [group.neutral_bond for group in layout.groups for _ in range(group.count)]
    utility, battery = bonds(neutral, words)
    worst = utility if utility != 1 else battery
    figure = Figure(float(worst), 1.0, "bonds", at_least=worst == 0)
    text = f"Bonds of neutral and ground: {utility} on the utility, {battery} on battery, with a {neutral} neutral."
    if (utility, battery) == (1, 1):
        return [found("neutral-bond", "battery units", pass_or_fail(figure), figure, BOND, text)]
    text += " There must be exactly one each way."
    text += (
        " No bond: a fault to ground does not open anything."
        if battery == 0
        else " Two bonds: neutral current returns through ground and GFCIs trip."
    )
    return [found("neutral-bond", "battery units", "fail", figure, BOND, text)]
