"""What runs between the two panels: hots, neutral and ground of each raceway, with their sizes, as lists need them."""

from __future__ import annotations

from dataclasses import dataclass

from profiles.noun import BadInput
from simulate.house.recharge import charging_legs
from simulate.panel.checks.conductor import run_ampacity_a
from simulate.panel.checks.layout import LEG_VOLTS, PLUGGED_KINDS, Layout
from simulate.panel.checks.raceway_tables import ground_awg, larger_awg
from simulate.panel.checks.tables import COPPER_AMPACITY_A, needed_breaker_a
from simulate.site.wiring import Raceway

MAKE_UP_FT = 3.0
"""Wire left free at each end of a run, common practice, no source. [ft]"""


@dataclass(frozen=True)
class Strand:
    """Equal conductors of one circuit in a raceway.

    Attributes
    ----------
    name : str
        Circuit, "feeder", "neutral", "ground", or "charging, ..." of a battery group.
    role : {"hot", "neutral", "ground"}
    n : int
    counts : bool
        They are counted as current-carrying.
    awg : str or None
    material : str
    breaker_a : float or None
        What protects them; None for a neutral or ground of the bundle. [A]
    plugged : bool
        Receptacles hang on them.
    legs : tuple of str
        Of hots, in equal numbers.
    """

    name: str
    role: str
    n: int
    counts: bool
    awg: str | None
    material: str = "Cu"
    breaker_a: float | None = None
    plugged: bool = False
    legs: tuple[str, ...] = ()


def neutral_counts(layout: Layout) -> bool:
    """The neutral between the panels carries more than the unbalance of both legs of 120/240 V, so it is counted.

    The neutral of a 120 V unit, of a bank on one leg, of legs that are not locked, and of two legs of a wye.
    """
    return layout.site.service.system != "120/240" or not layout.carries_two_pole


def source_a(layout: Layout, leg: str) -> float:
    """What the units may put on a leg: their output breakers, or 125 % of their output where none is given. [A]"""
    total = 0.0
    for group in layout.groups_on(leg):
        own_a = group.unit_kw_per_leg(layout.site.service.system) * 1000.0 / LEG_VOLTS
        total += group.count * (group.output_breaker_a or needed_breaker_a(own_a))
    return total


def size_for(amps: float, ends_c: int) -> str | None:
    """The smallest copper conductor between such terminations that carries a current; None above the table.

    Examples
    --------
    >>> size_for(35.0, 60), size_for(50.0, 75)
    ('8', '8')
    """
    return next((awg for awg in COPPER_AMPACITY_A if run_ampacity_a(awg, "Cu", ends_c=ends_c) >= amps - 1e-9), None)


def ends_c(layout: Layout, *others: int) -> int:
    """Terminations of a run: 75 degC only where the main panel and every other end are marked so. [degC]"""
    return min(layout.site.service.terminals_c, *others)


def strands_of(layout: Layout, number: int, raceway: Raceway) -> tuple[list[Strand], list[str]]:
    """What runs in a raceway, hots first, and the keys that are missing for it.

    Parameters
    ----------
    layout : Layout
    number : int
        Of the raceway, from 1.
    raceway : Raceway
    """
    key = f"subpanel.raceways[{number}]"
    if layout.site.subpanel.build == "fed":
        hots, keys = _feeder(layout, raceway)
    else:
        hots, keys = _circuits(layout, key, raceway)
    charging = _charging(layout, key, raceway)
    return [*hots, *_bundle(layout, hots, raceway), *charging], keys


def _feeder(layout: Layout, raceway: Raceway) -> tuple[list[Strand], list[str]]:
    feeder, n = layout.site.subpanel.feeder, len(layout.legs)
    if feeder is None:
        return [], ["subpanel.feeder"]
    awg = raceway.awg or feeder.awg
    return [Strand("the feeder", "hot", n, True, awg, feeder.material, feeder.breaker_a, legs=layout.legs)], []


def _circuits(layout: Layout, key: str, raceway: Raceway) -> tuple[list[Strand], list[str]]:
    """Two hots a pole: out from the breaker in the main panel and back to the branch circuit."""
    raceways, names = layout.site.subpanel.raceways or (), raceway.circuits
    if names is None and len(raceways) > 1:
        return [], [f"{key}.circuits"]
    known = {circuit.name: circuit for circuit in layout.circuits}
    for name in names or ():
        if name not in known:
            raise BadInput("names no circuit of the sub-panel", key=f"{key}.circuits", value=name)
    strands, keys = [], []
    for name in known if names is None else names:
        circuit = known[name]
        awg, material = (circuit.wire.awg, circuit.wire.material) if circuit.wire else (None, "Cu")
        if raceway.awg is not None:
            awg, material = raceway.awg, raceway.material
        elif awg is None:
            keys.append(f'circuit "{name}".wire')
        plugged = circuit.kind in PLUGGED_KINDS or circuit.kind is None
        n, legs = 2 * circuit.poles, layout.legs_of(circuit)
        strands.append(Strand(name, "hot", n, True, awg, material, circuit.breaker_a, plugged, legs))
    return strands, keys


def _bundle(layout: Layout, hots: list[Strand], raceway: Raceway) -> list[Strand]:
    """The neutral and the ground that go with the hots of a raceway."""
    if not hots:
        return []
    material = hots[0].material if raceway.awg is None else raceway.material
    ground = ground_awg(max(one.breaker_a for one in hots), material)
    if layout.site.subpanel.build == "fed":
        feeder = layout.site.subpanel.feeder
        neutral = Strand("neutral", "neutral", 1, layout.site.service.system != "120/240", feeder.awg, feeder.material)
        return [
            neutral,
            Strand("ground", "ground", 1, False, ground_awg(feeder.breaker_a, feeder.material), feeder.material),
        ]
    amps = max((_through_a(layout, hots, leg) for leg in layout.fed_legs), default=0.0)
    size = size_for(amps, ends_c(layout, layout.site.subpanel.terminals_c)) if amps else None
    awg = larger_awg(size, ground) if size else None
    return [
        Strand("neutral", "neutral", 1, neutral_counts(layout), awg, breaker_a=amps or None),
        Strand("ground", "ground", 1, False, ground, material),
    ]


def _through_a(layout: Layout, hots: list[Strand], leg: str) -> float:
    """The most that one leg sends back through the neutral of a raceway. [A]"""
    names = {one.name for one in hots}
    on = [c for c in layout.on_leg(leg) if c.name in names and c.poles == 1]
    return min(source_a(layout, leg), sum(circuit.breaker_a for circuit in on))


def _charging(layout: Layout, key: str, raceway: Raceway) -> list[Strand]:
    groups, out = {group.name: group for group in layout.site.battery}, []
    for name in raceway.charging:
        if name not in groups:
            raise BadInput("names no battery group", key=f"{key}.charging", value=name)
        group, circuit = groups[name], groups[name].charging_circuit
        wire, n = circuit.wire, group.count
        awg, material = (wire.awg, wire.material) if wire else (None, "Cu")
        label, breaker_a = f"charging, {name}", circuit.breaker_a
        hots = 1 if circuit.volts == 120 else 2
        out.append(Strand(label, "hot", hots * n, True, awg, material, breaker_a, legs=charging_legs(group)))
        if circuit.volts == 120:
            out.append(Strand(label, "neutral", n, True, awg, material))
    return out


def counted(strands: list[Strand]) -> int:
    """Current-carrying conductors among some strands."""
    return sum(one.n for one in strands if one.counts)


def bundles(layout: Layout) -> list[tuple[str, float | None, list[Strand]]]:
    """Each raceway between the panels: its name, its length where that is known [in], and what runs in it."""
    raceways = layout.site.subpanel.raceways
    if raceways is None:
        strands, _ = strands_of(layout, 1, Raceway(length_in=1.0))
        return [("between the panels", None, strands)]
    out = []
    for k, raceway in enumerate(raceways):
        strands, _ = strands_of(layout, k + 1, raceway)
        out.append((f"raceway {k + 1}", raceway.length_in, strands))
    return out
