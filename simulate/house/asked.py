"""A house with its plan worked out: what the walk of a year is asked for, before targets are set."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiles.noun import BadInput
from profiles.rate.prices import Prices, rate_prices
from simulate.house.calendar_windows import windows_in
from simulate.house.candidates import MaySwitch, may_switch
from simulate.house.house import House
from simulate.house.levels import Choice
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish
from simulate.plans.calendar_plans import Cycles, price_cycles
from simulate.plans.cap import Cap
from simulate.plans.switched import Switched, periods_of, switched_sets
from simulate.site.site import Site

RESERVE_FRAC = 0.2


@dataclass(frozen=True, eq=False)
class Asked:
    """A house with its plan worked out: what the walk is asked for.

    Attributes
    ----------
    plan : str
    reserve : float, tuple or array
        As resolved from the site file or its defaults.
    floor_kwh : ndarray, shape (n_pools, n_steps)
        Floor at the end of each step. [kWh]
    cycles : Cycles
    switched : Switched or None
        Circuits switched over for the rate (transfer mode).
    wish : Wish
    may_switch : tuple of str
        Names of the circuits that `switched.chosen` is about.
    cap : Cap or None
        The import caps of `demand-limit`, a row for each of `cap_charges`.
    choice : Choice or None
        How `reserve = "best"` was chosen.
    settings : tuple of str
        What was set by the result of the whole year, in words.
    runs : str or None
        The plan that is run under the name of `plan`, where a year has settled it.
    caps_kw : ndarray, shape (n_charges, n_months), or None
        Caps on import that least-cost keeps, infinite where there is none. [kW]
    """

    house: House
    prices: Prices
    plan: str
    reserve: object
    floor_kwh: np.ndarray
    cycles: Cycles
    switched: Switched | None
    wish: Wish
    may_switch: tuple[str, ...] = ()
    cap: Cap | None = None
    cap_charges: tuple[str, ...] = ()
    choice: Choice | None = None
    settings: tuple[str, ...] = ()
    runs: str | None = None
    caps_kw: np.ndarray | None = None

    @cached_property
    def pools(self) -> tuple[Pool, ...]:
        return tuple(leg_pool.pool for leg_pool in self.house.pools)


def ask_plan(house: House, prices: Prices, plan: str) -> Asked:
    """What does not depend on the reserve: limits, and the circuits that are switched over; without targets."""
    site, n_steps = house.site, house.hours.n_steps
    pools = tuple(leg_pool.pool for leg_pool in house.pools)
    cycles = _cycles(site, prices, pools)
    parallel = site.subpanel.mode == "interactive"
    charge_kw = np.array([np.where(cold, 0.0, pool.charge_kw) for cold, pool in zip(house.cold, pools, strict=True)])
    blank = np.zeros((len(pools), n_steps))
    wish = Wish(
        reach_kw=blank + np.array([[pool.discharge_kw] for pool in pools]).reshape(-1, 1) if parallel else blank,
        two_pole_kw=np.zeros(n_steps),
        targets_kwh=np.zeros((*blank.shape, 4)),
        stay_kwh=np.full(blank.shape, -1.0),
        charge_kw=charge_kw.reshape(blank.shape),
        dc_kw=_dc_kw(house, pools),
        inside_kw=_inside_kw(house, pools),
        parallel=parallel,
        export=parallel and site.subpanel.export,
    )
    switched = None
    if not parallel and plan != "demand-limit":
        serve = serve_steps(house, plan, cycles)
        switched = _switched(house, serve, pools, plan, cycles, prices)
        wish = replace(wish, reach_kw=switched.reach_kw, two_pole_kw=switched.two_pole_kw)
    return Asked(house, prices, plan, 0.0, blank, cycles, switched, wish, may_switch(house).names)


def prices_of(house: House) -> Prices:
    """The site's rate on its hour axis; what is refused names the site file."""
    try:
        return rate_prices(house.site.rate, house.hours)
    except BadInput as error:
        raise error.at(house.site.file) from None


def plan_and_reserve(site: Site, prices: Prices) -> tuple[str, object]:
    """Plan and reserve as stated, else their defaults: full where a circuit is medical or nothing can be gained."""
    plan = site.operation.plan or ("keep-full" if site.is_medical or not may_gain(site, prices) else "least-cost")
    reserve = site.operation.reserve
    if reserve is None:
        reserve = 1.0 if site.is_medical else RESERVE_FRAC
    return plan, reserve


def may_gain(site: Site, prices: Prices) -> bool:
    """Whether a bill can be lowered at all: two prices, solar, a demand charge or tiers, and something to switch."""
    rate, switchable = site.rate, any(circuit.rate_transfer for circuit in site.circuit)
    if site.subpanel.mode == "transfer" and not switchable:
        return False
    charged = any(one.tiers is not None or one.per_kw > 0.0 for one in rate.demand)
    varies = bool(prices.buy_per_kwh.min() < prices.buy_per_kwh.max())
    return varies or charged or site.solar is not None or any(period.tiers for period in rate.periods)


def _cycles(site: Site, prices: Prices, pools) -> Cycles:
    eta_c = min((pool.charge_efficiency for pool in pools), default=1.0)
    eta_d = min((pool.discharge_efficiency for pool in pools), default=1.0)
    return price_cycles(prices.buy_per_kwh, eta_c * eta_d, site.operation.wear_per_kwh / eta_d)


def _dc_kw(house: House, pools) -> np.ndarray:
    total = sum(pool.usable_kwh for pool in pools) or 1.0
    shares = np.array([pool.usable_kwh / total for pool in pools]).reshape(-1, 1)
    return shares * house.solar_dc_kw


def _inside_kw(house: House, pools) -> np.ndarray:
    """Sub-panel solar that goes with the sub-panel when it is switched over, half on each pool of a pair."""
    solar = house.site.solar
    inside = solar is not None and solar.connected_at == "sub-panel" and house.site.subpanel.mode == "transfer"
    return np.tile(house.solar_kw / max(len(pools), 1) * inside, (len(pools), 1))


def serve_steps(house: House, plan: str, cycles: Cycles) -> np.ndarray:
    """Steps in which circuits may be switched over, shape (n_steps,) of bool."""
    if plan == "keep-full":
        return np.zeros(house.hours.n_steps, bool)
    if plan == "self-consumption":
        return house.solar_kw + house.solar_dc_kw <= house.load_kw
    return cycles.serve


def _switched(house: House, serve, pools, plan: str, cycles: Cycles, prices: Prices) -> Switched:
    """The circuits that are switched over; under time-of-use a period whose no-load draw eats the gain is left out."""
    may, h = may_switch(house), house.hours.step_h
    net_kw = house.load_kw - house.solar_kw
    price = np.where(net_kw < 0.0, prices.sell_per_kwh, prices.buy_per_kwh)
    if plan == "self-consumption" or not pools:
        return windows_in(may, serve, house.load_kw, np.maximum(price, 0.0), h)
    most_kw = np.maximum(may.kw.sum(axis=0), 1e-9)
    per_kwh = sum(pool.drain_kw(most_kw / len(pools)) for pool in pools) / most_kw / pools[0].charge_efficiency
    switched = windows_in(may, serve, house.load_kw, price - cycles.refill_per_kwh * per_kwh, h)
    if plan != "time-of-use":
        return switched
    reach, two = switched.reach_kw.copy(), switched.two_pole_kw.copy()
    _drop_what_does_not_pay(reach, two, serve, pools, cycles, prices, h)
    return _without_idle(replace(switched, reach_kw=reach, two_pole_kw=two), may)


def _without_idle(switched: Switched, may: MaySwitch) -> Switched:
    """Windows in which nothing of a circuit is over are none."""
    there = np.where(may.is_double, 0.0, 1.0)[:, None] * (may.on_pool.T @ (switched.reach_kw > 0.0))
    there = (there > 0.0) | (may.is_double[:, None] & (switched.two_pole_kw > 0.0))
    upto = np.concatenate([np.zeros((len(there), 1)), np.cumsum(there, axis=1)], axis=1)
    at = np.arange(len(there))
    used = upto[at, switched.end] > upto[at, switched.begin]
    return replace(switched, begin=switched.begin * used, end=switched.end * used)


def switched_in(house: House, serve, pools, first: int, last: int) -> Switched:
    """The sets that are switched over from one step to before another, cut to the meter; mates are left out of sets."""
    known = may_switch(house)
    may = np.array([c.name in known.names for c in house.circuits], dtype=bool)
    on_leg, limit_kw, pool_of_limit = house.limits
    kw = house.circuit_kw[house.carried[may], first:last] if len(house.carried) else np.zeros((0, last - first))
    alone = np.bincount(known.tied, minlength=1)[known.tied] == 1
    sets = switched_sets(kw * alone[:, None], on_leg[:, may], limit_kw, serve)
    at = np.array([int(np.flatnonzero(pool_of_limit == p)[0]) for p in range(len(pools))], dtype=int)
    reach, two = sets.reach_kw[at], sets.two_pole_kw
    if len(pools) == 1:
        reach, two = reach + two, np.zeros_like(two)
    total = reach.sum(axis=0) + two
    cut = np.minimum(1.0, np.maximum(house.load_kw[first:last], 0.0) / np.where(total > 0.0, total, 1.0))
    return replace(sets, reach_kw=reach * cut, two_pole_kw=two * cut)


def _drop_what_does_not_pay(reach, two, serve, pools, cycles: Cycles, prices: Prices, step_h: float) -> None:
    for a, b in periods_of(serve):
        for p, pool in enumerate(pools):
            kw = reach[p, a:b] + two[a:b] / len(pools)
            taken = pool.drain_kw(kw) * (kw > 0.0) / pool.charge_efficiency
            gain = prices.buy_per_kwh[a:b] * (kw + pool.on_grid_kw * (kw > 0.0)) - cycles.refill_per_kwh[a:b] * taken
            if not gain.sum() > 0.0:
                reach[p, a:b] = 0.0
                if len(pools) > 1:
                    two[a:b] = 0.0


def stay_kwh(wish: Wish, serve, pools, stay_h: float, step_h: float) -> np.ndarray:
    """Stored energy that the least stay asks for at the first step of each period, shape (n_pools, n_steps). [kWh]"""
    stay, on = np.full(wish.reach_kw.shape, -1.0), np.flatnonzero(serve)
    if not len(on):
        return stay
    begins = np.flatnonzero(np.diff(on, prepend=-2) > 1)
    into = np.arange(len(on)) - np.repeat(begins, np.diff(begins, append=len(on)))
    part_h = np.clip(stay_h - into * step_h, 0.0, step_h)
    for p, pool in enumerate(pools):
        kw = wish.reach_kw[p, on] + wish.two_pole_kw[on] / len(pools)
        taken = pool.drain_kw(kw) * (kw > 0.0)
        floor = np.minimum.reduceat(wish.targets_kwh[p, on, 1], begins)
        stay[p, on[begins]] = floor + np.add.reduceat(taken * part_h, begins)
    return stay
