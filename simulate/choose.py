"""Which circuits to back up: the set of most worth that lasts as long as asked and that the panel can take."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from math import inf

import numpy as np

from profiles.circuit import Circuit
from profiles.noun import BadInput
from simulate.house import House, house_of
from simulate.loadcontrol import LIMIT_TOLERANCE_KW
from simulate.outage import SEASONS, TOLERANCE_H, Island, first_dark, nine_in_ten
from simulate.panel.layout import Layout, demand, power_keys
from simulate.panel.motor import motor_findings
from simulate.panel.power import power_findings
from simulate.panel.spaces import items_of, slots_of, space_findings
from simulate.pools import pool_of
from simulate.ride import island_of, outage_kw, start_soc_kwh, throw_steps
from simulate.site import Site
from simulate.year import prices_of, run_year

WORTH = {"medical": 1000.0, "heat": 100.0, "flood": 100.0, "water": 50.0, "food": 30.0, "comfort": 5.0,
         "none": 5.0, "kwh_per_day": 0.1}  # fmt: skip
"""Worth of a circuit by what is lost with it, and of each kWh a day on top (our order, no source)."""

MOST_TO_ENUMERATE = 16
MOST_PROPOSALS = 400
CHECKS = ("space", "inverter-continuous", "source-capacity", "motor-start")
"""Panel checks that a set must not fail, unless the circuits that are on the sub-panel already fail them."""


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
    switch_off: tuple[str, ...] | None
    method: str
    n_sets: int
    n_simulated: int
    notes: tuple[str, ...]
    site: Site = field(repr=False, compare=False, default=None)

    def document(self) -> dict:
        """The document of `keeplit choose --json`."""
        from simulate.cautions import AFTER_TRIP, ALWAYS, LIFE_SUPPORT

        plain = asdict(replace(self, site=None))
        del plain["site"]
        medical = (LIFE_SUPPORT,) if self.site is not None and self.site.is_medical else ()
        name = None if self.site is None else self.site.site.name
        return {"site": name, **plain, "cautions": list(dict.fromkeys([*medical, AFTER_TRIP, *ALWAYS]))}

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
    site: Site, *, hours: float = 24.0, share: float = 0.9, season: str | None = None,
    weights: Mapping[str, float] | None = None,
) -> Choice:  # fmt: skip
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
    then never lasts longer; see `_Search.steady`). Above 16 a mixed-integer programme (HiGHS) proposes sets in order of
    worth, and each proposal is simulated in the same way. Both mates of a multiwire circuit move together.

    Examples
    --------
    >>> from simulate.site import read_site
    >>> choose_circuits(read_site(), hours=12.0, season="summer").best.circuits
    ('Barn freezer',)
    """
    months = _months(season)
    if not 0.0 < hours < inf or not 0.0 < share <= 1.0:
        raise BadInput("must be hours above 0, a share above 0 and at most 1", key="hours, share", value=(hours, share))
    if hours > site.outage.horizon_h:
        raise BadInput("must not exceed outage.horizon_h", file=site.file, key="hours", value=hours,
                       way_out=f"outages are followed for {site.outage.horizon_h:g} h")
    worth = _worth(weights)
    house = house_of(site)
    movers, required, left_out = _movers(house)
    target = _Target(hours, share, months, site.outage.load_case)
    search = _Search(house, movers, required, target, worth)
    found = search.best_two()
    notes = list(search.notes)
    switch_off = None
    best = found[0] if found else ()
    proposal = search.proposal(best)
    if not proposal.met:
        switch_off, note = _switch_off(house, required, target, worth)
        notes.append(note)
    misses = dict.fromkeys(search.names, "what is required misses the target by itself")
    return Choice(
        hours=hours, share=share, season=season or "year", load_case=target.load_case, required=required, best=proposal,
        next_best=search.proposal(found[1]) if len(found) > 1 else None, costs_h=search.costs_h(best),
        left_out=left_out | (search.reasons(best) if found else misses), switch_off=switch_off, method=search.method,
        n_sets=2 ** len(movers), n_simulated=search.n_simulated, notes=tuple(notes), site=site,
    )  # fmt: skip


def _months(season: str | None) -> tuple[int, ...]:
    if season is None:
        return tuple(range(1, 13))
    if season not in SEASONS:
        raise BadInput("must be one of " + ", ".join(SEASONS), key="season", value=season)
    return SEASONS[season]


def _worth(weights: Mapping[str, float] | None) -> dict[str, float]:
    for key, value in (weights or {}).items():
        if key not in WORTH:
            raise BadInput("is not a weight", key=f"weights.{key}", value=value, way_out="known: " + ", ".join(WORTH))
        if not 0.0 <= value < inf:
            raise BadInput("must be 0 or above", key=f"weights.{key}", value=value)
    return WORTH | dict(weights or {})


@dataclass(frozen=True)
class _Target:
    hours: float
    share: float
    months: tuple[int, ...]
    load_case: str


def _movers(house: House) -> tuple[list[tuple[str, ...]], tuple[str, ...], dict[str, str]]:
    """Candidates that move together, what is required, and who cannot be chosen at all with the reason."""
    layout = Layout(house.site)
    movers, required, out, seen = [], [], {}, set()
    required += [circuit.name for circuit in layout.circuits]
    for circuit in house.site.circuit:
        if circuit.on != "candidate" or circuit.name in seen:
            continue
        mate = layout.pair_of(circuit)
        group = (circuit, mate) if mate is not None and mate.on == "candidate" else (circuit,)
        seen.update(one.name for one in group)
        names = tuple(one.name for one in group)
        if mate is not None and mate.on == "main":
            out[circuit.name] = f"its multiwire mate {mate.name} is on the main panel: both move or none"
        elif not all(pool_of(one, house.pools, house.two_pole) for one in group):
            out |= dict.fromkeys(names, "never carried: a leg without a unit, or two poles without a locked pair")
        elif any(one.is_medical for one in group) or (mate is not None and mate.on == "sub-panel"):
            required += names
        else:
            movers.append(names)
    return movers, tuple(required), out


def _switch_off(house: House, required: tuple[str, ...], target: _Target, worth) -> tuple[tuple[str, ...] | None, str]:
    """What to switch off of the required circuits so that the target is reached, of least worth."""
    medical = {circuit.name for circuit in house.site.circuit if circuit.is_medical}
    may = [(name,) for name in required if name not in medical]
    kept = tuple(name for name in required if name in medical)
    search = _Search(house, may, kept, target, worth, panel=False)
    found = search.best_two(1)
    if not found or not (found[0] or kept):
        return None, "no set of the backed-up circuits reaches the target, however many are switched off"
    on = {name for k in found[0] for name in search.movers[k]}
    off = tuple(name for name in required if name not in kept and name not in on)
    return off, f"switched off at the start of an outage: {', '.join(off)}"


class _Search:
    """All that the sets have in common, and what was learnt about them."""

    def __init__(self, house: House, movers, required, target: _Target, worth, *, panel: bool = True):
        self.house, self.movers, self.required, self.target = house, movers, required, target
        self.panel, self.n_simulated, self.notes = panel, 0, []
        self.names = tuple(name for group in movers for name in group)
        self.all = _with(house, (*required, *self.names), only=True)
        self.kw = outage_kw(self.all, target.load_case)
        self.circuit_of = {circuit.name: c for c, circuit in enumerate(self.all.circuits)}
        self.worth = np.array([sum(self._worth(name, worth) for name in group) for group in movers])
        begin = throw_steps(house)
        self.starts = np.flatnonzero(np.isin(house.hours.month, target.months))
        self.begin = begin[self.starts]
        self.needed = int(np.ceil(target.share * len(self.starts) - 1e-9))
        self._soc, self._lasts, self._panel_fails = {}, {}, {}
        self.alone = house.site.subpanel.load_control == "none"
        self.method = "enumeration" if len(movers) <= MOST_TO_ENUMERATE else "mixed-integer programme"

    def _worth(self, name: str, worth) -> float:
        circuit = self.all.circuits[self.circuit_of[name]] if name in self.circuit_of else None
        if circuit is None:
            return 0.0
        kwh_per_day = float(self.kw[self.circuit_of[name]].mean()) * 24.0
        kind = "medical" if circuit.is_medical else circuit.if_lost or "none"
        return worth[kind] / circuit.priority + worth["kwh_per_day"] * kwh_per_day

    @cached_property
    def rate_bits(self) -> int:
        """Movers that change the year on the utility, and with it the charge at the start of an outage."""
        site = self.house.site
        if not self.panel or site.subpanel.mode != "transfer" or site.outage.start_soc != "as-run":
            return 0
        rated = {circuit.name for circuit in site.circuit if circuit.rate_transfer}
        return sum(1 << k for k, group in enumerate(self.movers) if rated & set(group))

    @cached_property
    def until_h(self) -> float:
        """How far outages must be followed: the target in whole steps. [h]"""
        step_h = self.house.hours.step_h
        return float(np.ceil(self.target.hours / step_h - 1e-9) * step_h)

    @cached_property
    def prices(self):
        return prices_of(self.house)

    @cached_property
    def island(self) -> Island:
        return island_of(self.all, self.target.load_case)[0]

    def soc_kwh(self, mask: int) -> np.ndarray:
        """Stored energy of each pool at each start, shape (n_pools, n_starts). [kWh]"""
        group = mask & self.rate_bits
        if group not in self._soc:
            on = self.names_of(group) if self.panel else self.names  # switching off comes after the year was run
            run = run_year(_with(self.house, (*self.required, *on)), self.prices)
            self._soc[group] = start_soc_kwh(run)[:, self.starts]
        return self._soc[group]

    def names_of(self, mask: int) -> tuple[str, ...]:
        """Circuits of a set, beside what is required."""
        return tuple(name for k in _set_of(mask) for name in self.movers[k])

    def is_on(self, mask: int) -> np.ndarray:
        """Circuits of `all` that are on in a set, shape (n_circuits,) of bool."""
        on = np.zeros(len(self.all.circuits), bool)
        names = (*self.required, *self.names_of(mask))
        on[[self.circuit_of[name] for name in names if name in self.circuit_of]] = True
        return on

    def first_pools(self, on) -> np.ndarray:
        """Pools that carry a circuit of the first priority, shape (n_pools,) of bool."""
        priority = np.array([circuit.priority for circuit in self.all.circuits])
        if not on.any():
            return np.zeros(len(self.all.pools), bool)
        return (self.all.share[:, on & (priority == priority[on].min())] > 0.0).any(axis=1)

    @cached_property
    def steady(self) -> np.ndarray:
        """Pools that every set must keep up and that are judged apart, so that a part of a set can rule the set out.

        A pool's first dark moment with the others up is the earlier the more it carries. That decides a set only if no
        other pool's end can relieve it: all pools carry a circuit of the first priority, or nothing is shared.
        """
        first = self.first_pools(self.is_on(0))
        priority = np.array([circuit.priority for circuit in self.all.circuits])
        on = self.is_on(0)
        if not self.alone or not on.any() or priority[on].min() > priority.min():
            return np.zeros(len(first), bool)
        shared = self._two_pole(np.ones(len(priority), bool)) or self.island.solar_kw.any()
        return first if first.all() or not shared else np.zeros(len(first), bool)

    def lasts(self, mask: int) -> np.ndarray:
        """Whether each outage lasts as long as asked with a set, shape (n_starts,) of bool."""
        on = self.is_on(mask)
        if not on.any():
            return np.zeros(len(self.starts), bool)
        first = self.first_pools(on)
        apart = first.all() or not (self._two_pole(on) or self.island.solar_kw.any())
        if not (self.alone and apart):
            return self._lasts_together(mask)
        return np.all([self.pool_lasts(p, mask) for p in np.flatnonzero(first)], axis=0)

    def _two_pole(self, on) -> bool:
        return bool(((self.all.share[:, on] > 0.0).sum(axis=0) > 1).any())

    def _lasts_together(self, mask: int) -> np.ndarray:
        if mask not in self._lasts:
            self._lasts[mask] = self.season_hours(mask, self.until_h) >= self.target.hours - TOLERANCE_H
        return self._lasts[mask]

    def on_pool(self, p: int) -> int:
        """Bits of the movers that load a pool."""
        touches = lambda group: any(self.all.share[p, self.circuit_of[name]] > 0.0 for name in group)
        return sum(1 << k for k, group in enumerate(self.movers) if touches(group))

    @cached_property
    def touch(self) -> tuple[int, ...]:
        return tuple(self.on_pool(p) for p in range(len(self.all.pools)))

    def pool_lasts(self, p: int, mask: int) -> np.ndarray:
        """Whether one pool lasts as long as asked while the others are up, shape (n_starts,) of bool."""
        key = (p, mask & self.touch[p], mask & self.rate_bits)
        if key not in self._lasts:
            on = self.is_on(mask)
            load = (self.all.share[p] * on) @ self.kw
            four = lambda row: np.broadcast_to(row, (2, 2, 1, len(row))).copy()
            own = {name: getattr(self.island, name)[p : p + 1].copy() for name in ("solar_kw", "dc_kw", "may_charge")}
            never, trips = np.zeros(len(load), bool), self.pool_trips(p, on)
            island = replace(self.island, load_kw=four(load), trips=four(trips), sheds=four(never), hand=never, **own)
            self._lasts[key] = self._dark(island, (self.all.pools[p].pool,), self.soc_kwh(mask)[p : p + 1])[:, 0]
        return self._lasts[key]

    def _dark(self, island: Island, pools, soc) -> np.ndarray:
        self.n_simulated += 1
        step_h = self.house.hours.step_h
        dark = first_dark(island, pools, soc, step_h=step_h, horizon_h=self.until_h, begin=self.begin)
        return dark.dark_h >= self.target.hours - TOLERANCE_H

    def pool_trips(self, p: int, on) -> np.ndarray:
        """Steps in which a set exceeds an output limit of a pool, shape (n_steps,) of bool."""
        on_leg, limit_kw, pool_of_limit = self.all.limits
        mine = pool_of_limit == p
        return ((on_leg[mine] * on) @ self.kw > limit_kw[mine, None] + LIMIT_TOLERANCE_KW).any(axis=0)

    def season_hours(self, mask: int, horizon_h: float | None = None, without: str | None = None) -> np.ndarray:
        """Hours survived with a set from each start, all pools together as `ride_through` walks them. [h]"""
        names = (*self.required, *self.names_of(mask))
        house = _with(self.house, tuple(name for name in names if name != without), only=True)
        horizon_h = self.house.site.outage.horizon_h if horizon_h is None else horizon_h
        if not len(house.carried):
            return np.full(len(self.starts), horizon_h if without else 0.0)
        self.n_simulated += 1
        island, _ = island_of(house, self.target.load_case)
        dark = first_dark(island, tuple(pool.pool for pool in house.pools), self.soc_kwh(mask),
                          step_h=house.hours.step_h, horizon_h=horizon_h, begin=self.begin)  # fmt: skip
        top = min(circuit.priority for circuit in house.circuits)
        first = (house.share[:, [c.priority == top for c in house.circuits]] > 0.0).any(axis=1)
        return np.minimum(dark.dark_h[:, first].min(axis=1), horizon_h)

    def meets(self, mask: int) -> bool:
        return int(self.lasts(mask).sum()) >= self.needed

    def panel_fails(self, mask: int) -> frozenset:
        """Panel checks that a set fails, as (check, subject)."""
        if mask not in self._panel_fails:
            layout = Layout(_with(self.house, (*self.required, *self.names_of(mask))).site)
            findings = [*space_findings(layout), *power_findings(layout), *motor_findings(layout)]
            failing = {(f.check, f.subject) for f in findings if f.verdict == "fail" and f.check in CHECKS}
            self._panel_fails[mask] = frozenset(failing)
        return self._panel_fails[mask]

    def panel_takes(self, mask: int) -> bool:
        return not self.panel or self.panel_fails(mask) <= self.panel_fails(0)

    def learn(self, mask: int) -> tuple[int, int, int] | None:
        """A part of a set that fails by itself, and the movers that must be as they are for that; None if unknown.

        Returns
        -------
        tuple of int or None
            Bits of the part; of the movers that must be on, and of those that must be as these say.
        """
        group = mask & self.rate_bits
        for p in np.flatnonzero(self.steady):
            short = lambda part: int(self.pool_lasts(p, part | group).sum()) < self.needed  # noqa: B023
            if short(mask) and not self.pool_trips(p, self.is_on(mask)).any():
                part = self._shrunk(mask & self.touch[p] & ~group, short)
                return part | group & self.touch[p], group, self.rate_bits
        if self.panel and not self.panel_takes(mask) and not power_keys(Layout(self.all.site).circuits):
            return self._shrunk(mask, lambda part: not self.panel_takes(part)), 0, 0
        return None

    def _shrunk(self, part: int, fails) -> int:
        """What is left of a failing part when everything that it fails without is taken out, least worth first."""
        for k in sorted(_set_of(part), key=lambda k: self.worth[k]):
            if fails(part & ~(1 << k)):
                part &= ~(1 << k)
        return part

    @cached_property
    def rows(self) -> tuple[np.ndarray, np.ndarray]:
        """Linear conditions that no good set breaks, ``A x <= b``: spaces, power and energy."""
        rows = list(_panel_rows(self)) if self.panel else []
        kept = [(a, b) for a, b in rows if b >= -1e-9]
        if len(kept) < len(rows):
            self.notes.append("what is on the sub-panel exceeds a limit by itself: see keeplit panel")
        kept += _energy_rows(self)
        return np.array([a for a, _ in kept]).reshape(len(kept), len(self.movers)), np.array([b for _, b in kept])

    def best_two(self, n_best: int = 2) -> list[tuple[int, ...]]:
        """The sets of most worth that meet the target and that the panel takes."""
        propose = self._in_order if len(self.movers) <= MOST_TO_ENUMERATE else self._programme
        found = []
        for mask in propose():
            if self.meets(mask) and self.panel_takes(mask):
                found.append(mask)
                if len(found) == n_best:
                    break
        return [_set_of(mask) for mask in found]

    def _in_order(self) -> Iterator[int]:
        """Sets in falling worth (ties: fewer circuits, then file order), without those known to fail."""
        n = len(self.movers)
        masks = np.arange(1 << n)
        bits = ((masks[:, None] >> np.arange(n)) & 1).astype(float)
        a, b = self.rows
        order = np.lexsort((masks, bits.sum(axis=1), -np.round(bits @ self.worth, 9)))
        fits = (bits @ a.T <= b + 1e-9).all(axis=1)
        masks = masks[order][fits[order]]
        while len(masks):
            mask, masks = int(masks[0]), masks[1:]
            yield mask
            known = self.learn(mask)
            if known is not None:
                part, group, same = known
                masks = masks[((masks & part) != part) | ((masks & same) != group)]

    def _programme(self) -> Iterator[int]:
        """Sets in falling worth from a mixed-integer programme that learns from every proposal that fails."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        n, (a, b) = len(self.movers), self.rows
        cuts_a, cuts_b = [*a], [*b]
        for _ in range(MOST_PROPOSALS):
            rules = LinearConstraint(np.array(cuts_a).reshape(-1, n), -inf, np.array(cuts_b)) if cuts_a else ()
            done = milp(-self.worth, constraints=rules, integrality=np.ones(n), bounds=Bounds(0.0, 1.0),
                        options={"mip_rel_gap": 0.0})  # fmt: skip
            if not done.success:
                return
            mask = sum(1 << k for k in np.flatnonzero(done.x > 0.5).tolist())
            yield mask
            part, group, same = self.learn(mask) or (mask, mask, (1 << n) - 1)
            sign = np.array([_sign(k, part, group, same) for k in range(n)])
            cuts_a.append(sign)
            cuts_b.append(float((sign > 0.0).sum()) - 1.0)
        self.notes.append(f"stopped after {MOST_PROPOSALS} proposals: the best found, not proven to be the best")

    def proposal(self, chosen: tuple[int, ...]) -> Proposal:
        """A set with its figures from the full simulation."""
        mask = sum(1 << k for k in chosen)
        hours = self.season_hours(mask)
        lasting = hours >= min(self.target.hours, self.house.site.outage.horizon_h) - TOLERANCE_H
        middle = float(np.quantile(hours, 0.5, method="lower"))
        return Proposal(
            self.names_of(mask), float(self.worth[list(chosen)].sum()), float(lasting.mean()),
            {"p10": nine_in_ten(hours), "p50": middle, "worst": float(hours.min())}, int(lasting.sum()) >= self.needed,
        )  # fmt: skip

    def costs_h(self, chosen: tuple[int, ...]) -> dict[str, float]:
        """Hours, nine in ten, that switching off each backed-up circuit would give back. [h]"""
        mask = sum(1 << k for k in chosen)
        names = (*self.required, *self.names_of(mask))
        with_all = nine_in_ten(self.season_hours(mask))
        medical = {circuit.name for circuit in self.house.site.circuit if circuit.is_medical}
        may = [name for name in names if name in self.circuit_of and name not in medical]
        return {name: nine_in_ten(self.season_hours(mask, without=name)) - with_all for name in may}

    def reasons(self, chosen: tuple[int, ...]) -> dict[str, str]:
        """Why each other candidate is left out: what adding it to the set would break."""
        mask, out = sum(1 << k for k in chosen), {}
        for k, group in enumerate(self.movers):
            if k in chosen:
                continue
            more = mask | 1 << k
            broken = self.panel_fails(more) - self.panel_fails(0)
            lasting = float(self.lasts(more).mean())
            if lasting < self.target.share:
                why = f"with it {lasting:.0%} of outages would last {self.target.hours:g} h"
            elif broken:
                why = "the panel cannot take it: " + ", ".join(sorted(f"{check} ({on})" for check, on in broken))
            else:
                why = "it is worth less than what it would displace"
            out |= dict.fromkeys(group, why)
        return out


def _sign(k: int, part: int, group: int, same: int) -> float:
    """Coefficient of a cut: not all of `part` together while the movers of `same` are as in `group`."""
    bit = 1 << k
    if part & bit or (same & bit and group & bit):
        return 1.0
    return -1.0 if same & bit else 0.0


def _set_of(mask: int) -> tuple[int, ...]:
    return tuple(k for k in range(mask.bit_length()) if mask >> k & 1)


def _with(house: House, names: tuple[str, ...], *, only: bool = False) -> House:
    """The house with these circuits on the sub-panel; `only` takes all others off it."""
    site = house.site
    on = lambda c: "sub-panel" if c.name in names else "main" if only and c.on == "sub-panel" else c.on
    circuits = tuple(c if on(c) == c.on else c.model_copy(update={"on": on(c)}) for c in site.circuit)
    changed = site.model_copy(update={"circuit": circuits})
    changed._file, changed._folder = site.file, site.folder
    return replace(house, site=changed)


def _energy_rows(search: _Search) -> Iterator[tuple[np.ndarray, float]]:
    """For each pool that must last: what a set takes at least against what is there at most.

    In the outages that last, as many as are needed, each takes no more than it finds; so the sum of as many of the
    smallest takings of every circuit stays within the sum of as many of the largest stores, solar counted in full.
    """
    if search.rate_bits:
        return
    k, hours = search.needed, search.target.hours
    for p in np.flatnonzero(search.steady):
        pool = search.all.pools[p].pool
        over = lambda row: _window_kwh(row, search.begin, hours, search.house.hours.step_h)
        least = lambda row: float(np.sort(over(row))[:k].sum()) / pool.discharge_efficiency  # noqa: B023
        load = lambda on: (search.all.share[p] * on) @ search.kw  # noqa: B023
        fixed = search.is_on(0)
        takes = np.array([least(load(search.is_on(1 << m) & ~fixed)) for m in range(len(search.movers))])
        there = search.soc_kwh(0)[p] - pool.restart_kwh - pool.no_load_kw * hours
        there = there + over(search.island.solar_kw[p]) / pool.discharge_efficiency + over(search.island.dc_kw[p])
        yield takes, float(np.sort(there)[::-1][:k].sum()) - least(load(fixed))


def _window_kwh(kw, begin, hours: float, step_h: float) -> np.ndarray:
    """Energy of a series over so many hours from each start; the year wraps. [kWh]"""
    turns = int(np.ceil((hours / step_h + 1) / len(kw))) + 1
    total = np.r_[0.0, np.cumsum(np.tile(kw, turns))] * step_h
    at = np.asarray(begin) % len(kw)
    return np.interp(at + hours / step_h, np.arange(len(total)), total) - total[at]


def _panel_rows(search: _Search) -> Iterator[tuple[np.ndarray, float]]:
    """Spaces by rating, poles and leg, and running power by leg: conditions that no accepted set breaks."""
    layout = Layout(_with(search.house, search.required).site)
    every = Layout(search.all.site)
    yield from _space_rows(search, layout, every)
    if layout.site.subpanel.load_control != "none":
        return
    limits = [((leg,), layout.leg_kw(leg)) for leg in layout.fed_legs]
    for legs, limit_kw in limits:
        running = lambda circuits: demand(every, legs, _known(circuits)).running_kw  # noqa: B023
        takes = [running(_circuits(every, group)) for group in search.movers]
        yield np.array(takes), limit_kw - running(layout.circuits)


def _known(circuits) -> list[Circuit]:
    return [circuit for circuit in circuits if not power_keys([circuit], largest=False)]


def _circuits(layout: Layout, names) -> list[Circuit]:
    return [circuit for circuit in layout.circuits if circuit.name in names]


def _space_rows(search: _Search, layout: Layout, every: Layout) -> Iterator[tuple[np.ndarray, float]]:
    slots = slots_of(layout)
    if layout.site.subpanel.spaces is None:
        return
    there, items = items_of(layout), items_of(every)
    kinds = {(item.poles, item.breaker_a) for item in items}
    for poles, least_a in sorted(kinds):
        for leg in (None, "A", "B"):
            asks = lambda item: item.poles == poles and item.breaker_a >= least_a and leg in (None, item.leg)  # noqa: B023
            room = sum(
                slot.poles == poles and slot.max_breaker_a >= least_a and (leg is None or slot.leg in (None, leg))
                for slot in slots
            )
            needs = [
                sum(asks(item) for item in items if {c.name for c in item.circuits} <= set(group))
                for group in search.movers
            ]
            yield np.array(needs, dtype=float), float(room - sum(asks(item) for item in there))
