"""Sets of candidate circuits: the house with each, how long it lasts, what the panel says of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np

from profiles.loads.circuit import Circuit
from simulate.designs.shared_row import Target
from simulate.house.asked import plan_and_reserve, prices_of
from simulate.house.house import House
from simulate.house.outage_met import island_of, outage_kw, start_soc_kwh, throw_steps
from simulate.house.year import run_year
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.motor import motor_findings
from simulate.panel.checks.power import power_findings
from simulate.panel.checks.spaces import space_findings
from simulate.physics.outages.island import Island
from simulate.physics.outages.load_control import LIMIT_TOLERANCE_KW
from simulate.physics.outages.outages import first_dark
from simulate.physics.outages.spread import TOLERANCE_H

CHECKS = ("space", "inverter-continuous", "source-capacity", "motor-start")
"""Panel checks that a set must not fail, unless the circuits that are on the sub-panel already fail them."""
OWN_PLANS = ("time-of-use", "self-consumption", "keep-full")
"""Plans by which a pool looks at its own circuits only."""


class Sets:
    """What all sets of movers have in common, and what was simulated of them; a set is the bits of its movers.

    Parameters
    ----------
    house : House
    movers : list of tuple of str
        Candidates, those that move together in one.
    required : tuple of str
        Circuits that every set has.
    target : Target
    worth : callable
        From a circuit and its kWh a day to what it is worth to back it up.
    panel : bool
        The sets are wired so (False: circuits are only switched off once the power has failed).
    """

    def __init__(
        self,
        house: House,
        movers: list[tuple[str, ...]],
        required: tuple[str, ...],
        target: Target,
        worth: Callable[[Circuit, float], float],
        *,
        panel: bool = True,
    ):
        self.house, self.movers, self.required, self.target = house, movers, required, target
        self.panel, self.n_simulated, self.n_years, self.notes = panel, 0, 0, []
        self.names = tuple(name for group in movers for name in group)
        self.all = with_circuits(house, (*required, *self.names), only=True)
        self.kw = outage_kw(self.all, target.load_case)
        self.circuit_of = {circuit.name: c for c, circuit in enumerate(self.all.circuits)}
        self.worth = np.array([sum(self._worth(name, worth) for name in group) for group in movers])
        begin = throw_steps(house)
        self.starts = np.flatnonzero(np.isin(house.hours.month, target.months))
        self.begin = begin[self.starts]
        self.needed = int(np.ceil(target.share * len(self.starts) - 1e-9))
        self._soc, self._lasts, self._panel_fails = {}, {}, {}
        self.alone = house.site.subpanel.load_control == "none"

    def _worth(self, name: str, worth) -> float:
        circuit = self.all.circuits[self.circuit_of[name]] if name in self.circuit_of else None
        if circuit is None:
            return 0.0
        kwh_per_day = float(self.kw[self.circuit_of[name]].mean()) * 24.0
        return worth(circuit, kwh_per_day)

    @cached_property
    def prices(self):
        return prices_of(self.house)

    @cached_property
    def plan(self) -> tuple[str, object]:
        """Plan and reserve, the same for every set: medical circuits are in all of them."""
        return plan_and_reserve(self.all.site, self.prices)

    @cached_property
    def rate_bits(self) -> int:
        """Movers that change the year on the utility, and with it the charge at the start of an outage."""
        site = self.house.site
        as_run = self.panel and site.subpanel.mode == "transfer" and site.outage.start_soc == "as-run"
        if not as_run or self.plan[0] == "keep-full":
            return 0
        rated = {circuit.name for circuit in site.circuit if circuit.rate_transfer}
        return sum(1 << k for k, group in enumerate(self.movers) if rated & set(group))

    @cached_property
    def own_years(self) -> bool:
        """A pool's year on the utility depends on no circuit of another pool.

        Nothing is shared: no circuit that is switched for the rate is on two pools, solar never exceeds the house (a
        surplus is divided among the pools), circuits never exceed the meter, and the plan looks at one pool at a time.
        """
        house, (plan, reserve) = self.house, self.plan
        rated = np.array([circuit.rate_transfer for circuit in self.all.circuits], dtype=bool)
        own = (house.rest_kw >= 0.0).all() and not (house.solar_kw > house.load_kw).any()
        return bool(plan in OWN_PLANS and reserve != "best" and own and not self.two_pole(rated))

    def rate_bits_of(self, p: int) -> int:
        """Movers that change the charge of one pool."""
        return self.rate_bits & self.touch[p] if self.own_years else self.rate_bits

    @cached_property
    def until_h(self) -> float:
        """How far outages must be followed: the target in whole steps. [h]"""
        step_h = self.house.hours.step_h
        return float(np.ceil(self.target.hours / step_h - 1e-9) * step_h)

    @cached_property
    def island(self) -> Island:
        return island_of(self.all, self.target.load_case)[0]

    def soc_kwh(self, mask: int) -> np.ndarray:
        """Stored energy of each pool at each start, shape (n_pools, n_starts). [kWh]"""
        return np.array([self.pool_kwh(p, mask) for p in range(len(self.all.pools))])

    def pool_kwh(self, p: int, mask: int) -> np.ndarray:
        """Stored energy of a pool at each start, shape (n_starts,). [kWh]"""
        if (p, mask & self.rate_bits_of(p)) not in self._soc:
            group = mask & self.rate_bits
            on = self.names_of(group) if self.panel else self.names  # switching off comes after the year was run
            self.n_years += 1
            soc = start_soc_kwh(run_year(with_circuits(self.house, (*self.required, *on)), self.prices))
            for q, row in enumerate(soc[:, self.starts]):
                self._soc[q, mask & self.rate_bits_of(q)] = row
        return self._soc[p, mask & self.rate_bits_of(p)]

    def most_kwh(self, p: int) -> np.ndarray:
        """What no set can exceed at the starts: the charge itself where all sets have the same, else full. [kWh]"""
        if not self.rate_bits_of(p):
            return self.pool_kwh(p, 0)
        return np.full(len(self.starts), self.all.pools[p].pool.usable_kwh)

    def names_of(self, mask: int) -> tuple[str, ...]:
        """Circuits of a set, beside what is required."""
        return tuple(name for k in set_of(mask) for name in self.movers[k])

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
        shared = self.two_pole(np.ones(len(priority), bool)) or self.island.solar_kw.any()
        return first if first.all() or not shared else np.zeros(len(first), bool)

    def judged_apart(self, on) -> bool:
        """Each pool's own end decides: nothing is shared, or every pool carries the first priority."""
        shared = self.two_pole(on) or self.island.solar_kw.any()
        return bool(self.alone and (self.first_pools(on).all() or not shared))

    def lasts(self, mask: int) -> np.ndarray:
        """Whether each outage lasts as long as asked with a set, shape (n_starts,) of bool."""
        on = self.is_on(mask)
        if not on.any():
            return np.zeros(len(self.starts), bool)
        if not self.judged_apart(on):
            return self._lasts_together(mask)
        return np.all([self.pool_lasts(p, mask) for p in np.flatnonzero(self.first_pools(on))], axis=0)

    def may_meet(self, mask: int) -> bool:
        """False where the set would miss the target even from the most stored energy; no year is run for that."""
        on = self.is_on(mask)
        if not on.any() or not self.judged_apart(on):
            return True
        firsts = np.flatnonzero(self.first_pools(on))
        return int(np.all([self.pool_lasts(p, mask, full=True) for p in firsts], axis=0).sum()) >= self.needed

    def meets(self, mask: int) -> bool:
        """The set meets the target."""
        return int(self.lasts(mask).sum()) >= self.needed

    def two_pole(self, on) -> bool:
        """Some of these circuits load two pools."""
        return bool(((self.all.share[:, on] > 0.0).sum(axis=0) > 1).any())

    def _lasts_together(self, mask: int) -> np.ndarray:
        if mask not in self._lasts:
            self._lasts[mask] = self.season_hours(mask, self.until_h) >= self.target.hours - TOLERANCE_H
        return self._lasts[mask]

    def on_pool(self, p: int) -> int:
        """Bits of the movers that load a pool."""
        on = [{self.circuit_of[name] for name in group if name in self.circuit_of} for group in self.movers]
        return sum(1 << k for k, group in enumerate(on) if any(self.all.share[p, c] > 0.0 for c in group))

    @cached_property
    def touch(self) -> tuple[int, ...]:
        return tuple(self.on_pool(p) for p in range(len(self.all.pools)))

    def pool_lasts(self, p: int, mask: int, *, full: bool = False) -> np.ndarray:
        """Whether one pool lasts as long as asked while the others are up, shape (n_starts,) of bool.

        Parameters
        ----------
        full : bool
            From `most_kwh`: what does not last so lasts no longer from less, since the load does not depend on the
            charge and stored energy that is behind at one moment stays behind.
        """
        key = (p, mask & self.touch[p], "full" if full else mask & self.rate_bits_of(p))
        if key not in self._lasts:
            on = self.is_on(mask)
            load = (self.all.share[p] * on) @ self.kw
            four = lambda row: np.broadcast_to(row, (2, 2, 1, len(row))).copy()
            own = {name: getattr(self.island, name)[p : p + 1].copy() for name in ("solar_kw", "dc_kw", "may_charge")}
            never, trips = np.zeros(len(load), bool), self.pool_trips(p, on)
            island = replace(self.island, load_kw=four(load), trips=four(trips), sheds=four(never), hand=never, **own)
            soc = self.most_kwh(p) if full else self.pool_kwh(p, mask)
            self._lasts[key] = self._dark(island, (self.all.pools[p].pool,), soc[None, :])[:, 0]
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
        house = with_circuits(self.house, tuple(name for name in names if name != without), only=True)
        horizon_h = self.house.site.outage.horizon_h if horizon_h is None else horizon_h
        if not len(house.carried):
            return np.full(len(self.starts), horizon_h if without else 0.0)
        self.n_simulated += 1
        island, _ = island_of(house, self.target.load_case)
        dark = first_dark(
            island,
            tuple(pool.pool for pool in house.pools),
            self.soc_kwh(mask),
            step_h=house.hours.step_h,
            horizon_h=horizon_h,
            begin=self.begin,
        )
        top = min(circuit.priority for circuit in house.circuits)
        first = (house.share[:, [c.priority == top for c in house.circuits]] > 0.0).any(axis=1)
        return np.minimum(dark.dark_h[:, first].min(axis=1), horizon_h)

    def panel_fails(self, mask: int) -> frozenset:
        """Panel checks that a set fails, as (check, subject)."""
        if mask not in self._panel_fails:
            layout = Layout(with_circuits(self.house, (*self.required, *self.names_of(mask))).site)
            findings = [*space_findings(layout), *power_findings(layout), *motor_findings(layout)]
            failing = {(f.check, f.subject) for f in findings if f.verdict == "fail" and f.check in CHECKS}
            self._panel_fails[mask] = frozenset(failing)
        return self._panel_fails[mask]

    def panel_takes(self, mask: int) -> bool:
        """The set fails no check that the required circuits do not fail by themselves."""
        return not self.panel or self.panel_fails(mask) <= self.panel_fails(0)


def set_of(mask: int) -> tuple[int, ...]:
    """Movers of a set.

    Examples
    --------
    >>> set_of(0b1010)
    (1, 3)
    """
    return tuple(k for k in range(mask.bit_length()) if mask >> k & 1)


def with_circuits(house: House, names: tuple[str, ...], *, only: bool = False) -> House:
    """The house with these circuits on the sub-panel; `only` takes all others off it."""
    site = house.site
    on = lambda c: "sub-panel" if c.name in names else "main" if only and c.on == "sub-panel" else c.on
    circuits = tuple(c if on(c) == c.on else c.model_copy(update={"on": on(c)}) for c in site.circuit)
    changed = site.model_copy(update={"circuit": circuits})
    changed._file, changed._folder = site.file, site.folder
    return replace(house, site=changed)
