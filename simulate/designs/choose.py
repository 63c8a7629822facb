"""Which circuits to back up: the set of most worth that lasts as long as asked and that the panel can take."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from math import inf

import numpy as np

from profiles.loads.circuit import Circuit
from profiles.noun import BadInput
from simulate.designs.draft import Draft
from simulate.designs.proposals import best_sets, method_of
from simulate.designs.sets import Sets, with_circuits
from simulate.designs.shared_row import Target, shared_row
from simulate.document.answers import gravest_first
from simulate.house.house import House, house_of
from simulate.house.notes import bills_caution
from simulate.panel.checks.layout import Layout
from simulate.physics.outages.spread import SEASONS, TOLERANCE_H, nine_in_ten
from simulate.site.cautions import AFTER_TRIP, ALWAYS, LIFE_SUPPORT
from simulate.site.pools import pool_of
from simulate.site.site import Site

WORTH = {
    "medical": 1000.0,
    "heat": 100.0,
    "flood": 100.0,
    "water": 50.0,
    "food": 30.0,
    "comfort": 5.0,
    "none": 5.0,
    "kwh_per_day": 0.1,
}
"""Worth of a circuit by what is lost with it, and of each kWh a day on top (our order, no source)."""


@dataclass(frozen=True)
class Proposal:
    """A set of candidates and what it comes to, simulated in full.

    Attributes
    ----------
    circuits : tuple of str
        Candidates that are backed up, beside what is required.
    worth : float
    lasting_frac : float
        Share of the outages of the season that last as long as asked.
    hours : dict
        p10, p50 and worst of the season. [h]
    met : bool
        The target is met.
    """

    circuits: tuple[str, ...]
    worth: float
    lasting_frac: float
    hours: dict[str, float]
    met: bool


@dataclass(frozen=True)
class Choice:
    """Which circuits to back up.

    Attributes
    ----------
    hours, share : float
        The target: so many hours [h] in that share of the outages.
    season, load_case : str
    required : tuple of str
        On the sub-panel already, medical, or the mate of one of them.
    best, next_best : Proposal
        The set of most worth that meets the target, and the next; where none does, `best` is what is required alone.
    costs_h : dict
        Hours (nine in ten) that switching each backed-up circuit off at the start of an outage would give back. [h]
    left_out : dict
        Every other candidate with the reason.
    dropped : tuple of str
        Candidates that are left out though heat, flood, food or a medical device hangs on them, as "Sump (flood)".
    else_meets : tuple of str
        Where the target is missed or such a candidate is left out: what else was tried (one more unit on a leg, a
        higher reserve), and the hours that are reached with all of them.
    rows : tuple of dict
        `best` and `next_best` as `shared_row` has them.
    switch_off : tuple of str or None
        Where the target is missed: what to switch off in an outage to reach it; None where that does not help.
    method : str
    n_sets, n_simulated : int
        Sets that the search stands for, and walks over all outages that it took.
    notes : tuple of str
    """

    hours: float
    share: float
    season: str
    load_case: str
    required: tuple[str, ...]
    best: Proposal
    next_best: Proposal | None
    costs_h: dict[str, float]
    left_out: dict[str, str]
    dropped: tuple[str, ...]
    else_meets: tuple[str, ...]
    rows: tuple[dict, ...]
    switch_off: tuple[str, ...] | None
    method: str
    n_sets: int
    n_simulated: int
    notes: tuple[str, ...]
    site: Site = field(repr=False, compare=False, default=None)

    @property
    def text(self) -> str:
        """The answer in one line: what is backed up, whether it meets the target, what grave is left out."""
        when = "the year" if self.season == "year" else self.season
        chosen = f"With {', '.join(self.best.circuits)}" if self.best.circuits else "Without any candidate"
        target = f"the outages of {when} last {self.hours:g} h (asked: {self.share:.0%})"
        line = f"Target {'met' if self.best.met else 'missed'}. {chosen} {self.best.lasting_frac:.0%} of {target}."
        return line if not self.dropped else f"{line[:-1]}; LEFT OUT: {', '.join(self.dropped)}."

    def document(self) -> dict:
        """The document of `keeplit choose --json`."""
        plain = asdict(replace(self, site=None))
        del plain["site"]
        medical = (LIFE_SUPPORT,) if self.site is not None and self.site.is_medical else ()
        name = None if self.site is None else self.site.site.name
        told = [] if self.site is None else bills_caution(self.site)
        return {
            "site": name,
            "text": self.text,
            **plain,
            "cautions": list(dict.fromkeys([*medical, *told, AFTER_TRIP, *ALWAYS])),
        }

    def to_frame(self):
        """One row a circuit: required, chosen or left out, what it costs in hours, and why it is left out."""
        import pandas as pd

        rows = [{"circuit": name, "is": "required"} for name in self.required]
        rows += [{"circuit": name, "is": "chosen"} for name in self.best.circuits]
        rows += [{"circuit": name, "is": "left out", "reason": why} for name, why in self.left_out.items()]
        frame = pd.DataFrame(rows, columns=["circuit", "is", "reason"])
        return frame.assign(costs_h=frame["circuit"].map(self.costs_h))

    def _repr_html_(self) -> str:
        return self.to_frame().to_html()


def choose_circuits(
    site: Site,
    *,
    hours: float = 24.0,
    share: float = 0.9,
    season: str | None = None,
    weights: Mapping[str, float] | None = None,
) -> Choice:
    """Choose which candidates to back up so that so many hours are survived in a share of the outages.

    Parameters
    ----------
    site : Site
        Candidates are the circuits with ``on = "candidate"``; what is on the sub-panel stays; medical is always in.
    hours, share : float
        The target, "24 h in nine of ten outages". [h], [0 to 1]
    season : "winter", "spring", "summer" or "autumn", optional
        Only outages that begin in its months count; all of the year without one.
    weights : mapping, optional
        Replaces entries of `WORTH`. A circuit is worth its `if_lost` over its priority, plus its kWh a day: first what
        is lost with it, then its priority, then its energy. A set is worth the sum.

    Returns
    -------
    Choice

    Raises
    ------
    BadInput
        A target, a season or a weight that is none.

    Notes
    -----
    Exact up to 16 candidates: all sets are put in order of worth and tried from the top. A set is passed over only
    where a simulation of every outage or a rule of the panel says so, where its energy exceeds all that is there, or
    where a part of it already fails with the same units, the same start, no load control and no overload (more load
    then never lasts longer; see `Sets.steady`), or even from full units. Above 16 a mixed-integer programme (HiGHS)
    proposes sets in order of worth, and each proposal is simulated in the same way. Both mates of a multiwire circuit
    move together.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> soft = read_site().with_values({'circuit["Well pump"].motor.soft_start': True})
    >>> choose_circuits(soft, hours=12.0).best.circuits
    ('Garage freezer',)
    """
    months = _months(season)
    check_target(site, hours, share)
    worth = worth_by(_weights(weights))
    house = house_of(site)
    movers, required, left_out, loud = movers_of(house)
    target = Target(hours, share, months, site.outage.load_case)
    sets = Sets(house, movers, required, target, worth)
    found = best_sets(sets)
    notes, switch_off = [*loud, *sets.notes], None
    best = found[0] if found else ()
    proposal = _proposal(sets, best)
    if not proposal.met:
        switch_off, note = _switch_off(house, required, target, worth)
        notes.append(note)
    misses = dict.fromkeys(sets.names, "not tried: the circuits already backed up miss the target without it")
    left_out |= _reasons(sets, best) if found else misses
    grave = grave_of(site, left_out)
    draft, kept = Draft(house), (*required, *proposal.circuits)
    sought = (*kept, *(circuit.name for circuit in grave))
    rows = [sets.names_of(sum(1 << k for k in one)) for one in (found or [()])]
    return Choice(
        hours=hours,
        share=share,
        season=season or "year",
        load_case=target.load_case,
        required=required,
        best=proposal,
        next_best=_proposal(sets, found[1]) if len(found) > 1 else None,
        costs_h=_costs_h(sets, best),
        left_out=left_out,
        dropped=tuple(f"{circuit.name} ({consequence(circuit)})" for circuit in grave),
        else_meets=else_meets(draft, sought, target) if grave or not proposal.met else (),
        rows=tuple(shared_row(draft.changed(circuits=(*required, *names)).study, target) for names in rows),
        switch_off=switch_off,
        method=method_of(sets),
        n_sets=2 ** len(movers),
        n_simulated=sets.n_simulated,
        notes=tuple(notes),
        site=site,
    )


GRAVE = ("medical", "flood", "heat", "food")
"""What is never left out without saying so in the same line."""


def consequence(circuit: Circuit) -> str:
    """What is lost with a circuit, in a word."""
    return "medical" if circuit.is_medical else circuit.if_lost or "not stated"


def grave_of(site: Site, names) -> list[Circuit]:
    """Of these circuits those with which heat, flood, food or a medical device is lost, the gravest first."""
    named = [circuit for circuit in site.circuit if circuit.name in names]
    return gravest_first(circuit for circuit in named if consequence(circuit) in GRAVE)


def else_meets(draft: Draft, circuits: tuple[str, ...], target: Target) -> tuple[str, ...]:
    """What else would let these circuits meet a target, each tried; and the hours that they reach as it is.

    Parameters
    ----------
    draft : Draft
    circuits : tuple of str
        All that shall be backed up.
    target : Target
    """
    own = draft.changed(circuits=circuits)
    met = lambda one: target.met_by(target.in_months(one.ride))
    who = "these circuits" if set(circuits) == set(draft.backed_up) else ", ".join(circuits)
    out = [f"with {who}: {shared_row(own.study, target)['why'] or 'the target is met'}"]
    for leg, n in own.units.items():
        if _may_grow(own.units, leg) and met(own.changed(units={leg: n + 1})):
            out.append(f"one more unit on {'both legs' if leg == 'both' else f'leg {leg}'} would meet it")
    for reserve in (k / 10.0 for k in range(11)) if isinstance(own.reserve, float | int) else ():
        if reserve > own.reserve and met(own.changed(reserve=reserve)):
            out.append(f"a reserve of {reserve:.0%} would meet it")
            break
    return tuple(out)


def _may_grow(units: Mapping[str, int], leg: str) -> bool:
    """A leg may take one more unit: units on both legs and units on one are never mixed."""
    mixed = any(n for one, n in units.items() if (one == "both") != (leg == "both"))
    return not mixed


def check_target(site: Site, hours: float, share: float) -> None:
    """Refuse hours and a share that are no target, or hours beyond the horizon."""
    if not 0.0 < hours < inf:
        raise BadInput("must be above 0", key="hours", value=hours, way_out="name hours, such as 24")
    if not 0.0 < share <= 1.0:
        raise BadInput("must be above 0 and at most 1", key="share", value=share, way_out="name a share, such as 0.9")
    if hours > site.outage.horizon_h:
        raise BadInput(
            "must not exceed outage.horizon_h",
            file=site.file,
            key="hours",
            value=hours,
            way_out=f"outages are followed for {site.outage.horizon_h:g} h",
        )


def _months(season: str | None) -> tuple[int, ...]:
    if season is None:
        return tuple(range(1, 13))
    if season not in SEASONS:
        raise BadInput("must be one of " + ", ".join(SEASONS), key="season", value=season)
    return SEASONS[season]


def worth_by(weights: Mapping[str, float]) -> Callable[[Circuit, float], float]:
    """Worth of a circuit by weights such as `WORTH`: what is lost with it over its priority, and its kWh a day."""

    def worth(circuit: Circuit, kwh_per_day: float) -> float:
        kind = "medical" if circuit.is_medical else circuit.if_lost or "none"
        return weights[kind] / circuit.priority + weights["kwh_per_day"] * kwh_per_day

    return worth


def _weights(weights: Mapping[str, float] | None) -> dict[str, float]:
    for key, value in (weights or {}).items():
        if key not in WORTH:
            raise BadInput("is not a weight", key=f"weights.{key}", value=value, way_out="known: " + ", ".join(WORTH))
        if not 0.0 <= value < inf:
            raise BadInput("must be 0 or above", key=f"weights.{key}", value=value)
    return WORTH | dict(weights or {})


def movers_of(house: House) -> tuple[list[tuple[str, ...]], tuple[str, ...], dict[str, str], list[str]]:
    """Candidates that move together, what is required, who cannot be chosen and why, and what is loud about it."""
    layout = Layout(house.site)
    movers, required, out, loud, seen = [], [], {}, [], set()
    required += [circuit.name for circuit in layout.circuits]
    for circuit in house.site.circuit:
        if circuit.on != "candidate" or circuit.name in seen:
            continue
        mate = layout.pair_of(circuit)
        group = (circuit, mate) if mate is not None and mate.on == "candidate" else (circuit,)
        seen.update(one.name for one in group)
        names = tuple(one.name for one in group)
        why = _unfit(house, group, mate)
        if any(one.is_medical for one in group):
            required += names
            loud += [f"MEDICAL, and as drawn it has no supply: {', '.join(names)}: {why}"] if why else []
        elif why:
            out |= dict.fromkeys(names, why)
        elif mate is not None and mate.on == "sub-panel":
            required += names
        else:
            movers.append(names)
    return movers, tuple(required), out, loud


def _unfit(house: House, group, mate) -> str:
    """Why no wiring can serve circuits that move together; "" where one can."""
    if mate is not None and mate.on == "main":
        return f"its multiwire mate {mate.name} is on the main panel: both move or none"
    if not all(pool_of(one, house.pools, house.two_pole) for one in group):
        return "never carried: a leg without a unit, or two poles without a locked pair"
    return ""


def _switch_off(house: House, required: tuple[str, ...], target: Target, worth) -> tuple[tuple[str, ...] | None, str]:
    """What to switch off of the required circuits so that the target is reached, of least worth."""
    medical = {circuit.name for circuit in house.site.circuit if circuit.is_medical}
    carried = {circuit.name for circuit in with_circuits(house, required, only=True).circuits}
    may = [(name,) for name in required if name not in medical and name in carried]
    kept = tuple(name for name in required if name in medical)
    sets = Sets(house, may, kept, target, worth, panel=False)
    found = best_sets(sets, 1)
    if not found or not (found[0] or kept):
        return None, "no set of the backed-up circuits reaches the target, however many are switched off"
    on = {name for k in found[0] for name in sets.movers[k]}
    off = tuple(name for (name,) in may if name not in on)
    told = [
        f"{c.name} ({consequence(c)})" if consequence(c) in GRAVE else c.name
        for c in house.site.circuit
        if c.name in off
    ]
    return off, f"switched off at the start of an outage: {', '.join(told)}"


def _proposal(sets: Sets, chosen: tuple[int, ...]) -> Proposal:
    """A set with its figures from the full simulation."""
    mask = sum(1 << k for k in chosen)
    hours = sets.season_hours(mask)
    lasting = hours >= min(sets.target.hours, sets.house.site.outage.horizon_h) - TOLERANCE_H
    middle = float(np.quantile(hours, 0.5, method="lower"))
    return Proposal(
        sets.names_of(mask),
        float(sets.worth[list(chosen)].sum()),
        float(lasting.mean()),
        {"p10": nine_in_ten(hours), "p50": middle, "worst": float(hours.min())},
        int(lasting.sum()) >= sets.needed,
    )


def _costs_h(sets: Sets, chosen: tuple[int, ...]) -> dict[str, float]:
    """Hours, nine in ten, that switching off each backed-up circuit would give back. [h]"""
    mask = sum(1 << k for k in chosen)
    names = (*sets.required, *sets.names_of(mask))
    with_all = nine_in_ten(sets.season_hours(mask))
    medical = {circuit.name for circuit in sets.house.site.circuit if circuit.is_medical}
    may = [name for name in names if name in sets.circuit_of and name not in medical]
    return {name: nine_in_ten(sets.season_hours(mask, without=name)) - with_all for name in may}


def _reasons(sets: Sets, chosen: tuple[int, ...]) -> dict[str, str]:
    """Why each other candidate is left out: what adding it to the set would break."""
    mask, out = sum(1 << k for k in chosen), {}
    for k, group in enumerate(sets.movers):
        if k in chosen:
            continue
        more = mask | 1 << k
        broken = sets.panel_fails(more) - sets.panel_fails(0)
        lasting = float(sets.lasts(more).mean())
        if lasting < sets.target.share:
            why = f"with it {lasting:.0%} of outages would last {sets.target.hours:g} h"
        elif broken:
            why = "the panel cannot take it: " + ", ".join(sorted(f"{check} ({on})" for check, on in broken))
        else:
            why = "it is worth less than what it would displace"
        out |= dict.fromkeys(group, why)
    return out
