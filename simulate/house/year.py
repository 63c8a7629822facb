"""A year of one house: its series and its plan, walked until the year closes on itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from profiles.noun import BadInput
from profiles.rate.prices import Prices, rate_prices
from simulate.house.house import House, house_of
from simulate.house.least_cost import interactive_targets, prices_ahead
from simulate.house.score import year_cost
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, Year, walk_year
from simulate.plans.calendar_plans import (
    Cycles,
    export_where_it_pays,
    hold_mask,
    keep_full,
    price_cycles,
    reachable_floor,
    reserve_frac,
    self_consumption,
    time_of_use,
)
from simulate.plans.cap import Cap
from simulate.plans.switched import Switched, periods_of, switched_sets
from simulate.site.site import Site

if TYPE_CHECKING:
    from simulate.house.frontier import Choice

RESERVE_FRAC = 0.2
CLOSES_KWH = 1e-9
MOST_LAPS = 5
BETTER = 1.0
"""Units of currency a year by which another plan must do better than least-cost to be run in its place."""


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

    @cached_property
    def pools(self) -> tuple[Pool, ...]:
        return tuple(leg_pool.pool for leg_pool in self.house.pools)


@dataclass(frozen=True, eq=False)
class HouseYear:
    """One simulated year of a house.

    Attributes
    ----------
    asked : Asked
    year : Year
    laps : int
        How often the year was walked until its end met its start.
    """

    asked: Asked
    year: Year
    laps: int

    @property
    def house(self) -> House:
        return self.asked.house

    @property
    def hours(self):
        return self.asked.house.hours

    @cached_property
    def short_steps(self) -> int:
        """Steps that end below the reserve that was asked for."""
        return int((self.year.pool_kwh[:, 1:] < self.asked.floor_kwh - 1e-9).any(axis=0).sum())

    @cached_property
    def short_days(self) -> int:
        """Days with a step that ends below the reserve."""
        short = (self.year.pool_kwh[:, 1:] < self.asked.floor_kwh - 1e-9).any(axis=0)
        return len(np.unique(self.hours.day[short]))

    @cached_property
    def notes(self) -> tuple[str, ...]:
        change = self.year.stored_change_kwh
        lines = [f'operation.plan = "{self.asked.plan}"', f"operation.reserve = {_reserve_text(self.asked.reserve)}"]
        lines += self.asked.settings
        if self.asked.choice is not None:
            lines.append(self.asked.choice.text)
        if self.asked.cap is not None:
            from simulate.house.caps import cap_notes

            lines += cap_notes(self)
        if self.asked.switched is not None and self.asked.switched.missed_frac is not None:
            lines.append(f"the circuits that are switched over were found by {self.asked.switched.method}")
        if self.short_steps:
            lines.append(f"the reserve was short on {self.short_steps} steps of {self.short_days} days")
        if abs(change) > CLOSES_KWH:
            lines.append(f"the year ends {change:+.3f} kWh from its start after {self.laps} laps")
        return tuple(lines)

    def energy_kwh(self) -> dict[str, float]:
        """Sums over the year; `backed_up` is what the circuits on the sub-panel use, whoever serves them. [kWh]"""
        sums = self.year.energy_kwh()
        backed = float(self.house.backed_up_kw.sum() * self.hours.step_h)
        return {"load": sums.pop("load"), "backed_up": backed, **sums}

    def to_frame(self):
        """One row a step, the columns of year.csv."""
        import pandas as pd

        year, prices = self.year, self.asked.prices
        names = ("solar", "import", "export", "charge", "discharge", "loss", "curtailed")
        return pd.DataFrame(
            {
                "start_utc": self.hours.utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
                "start_local": self.hours.local_text,
                "load_kw": year.load_kw,
                "backed_up_kw": self.house.backed_up_kw,
                **{f"{name}_kw": getattr(year, f"{name}_kw") for name in names},
                "soc_kwh": year.soc_kwh,
                "price_per_kwh": prices.buy_per_kwh,
                "export_per_kwh": prices.sell_per_kwh,
            }
        )

    def _repr_html_(self) -> str:
        from simulate.show.glance import year_html

        return year_html(self.energy_kwh())


def _reserve_text(reserve) -> str:
    return f"{reserve:g}" if isinstance(reserve, float | int) else str(reserve)


def run_year(site: Site | House, prices: Prices | None = None) -> HouseYear:
    """Simulate one year of a site on the utility.

    Parameters
    ----------
    site : Site or House
    prices : Prices, optional
        Of the site's rate, where they are known already.

    Returns
    -------
    HouseYear

    Raises
    ------
    BadInput
        What the site file lacks or contradicts.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> abs(run_year(read_site()).energy_kwh()["residual"]) < 1e-6
    True
    """
    house = site if isinstance(site, House) else house_of(site)
    return walk_asked(ask(house, prices))


def walk_asked(asked: Asked) -> HouseYear:
    """Walk the year, repeated until its start and its end agree."""
    house, exports = asked.house, _solar_exports(asked.house.site)
    soc = np.array([pool.usable_kwh for pool in asked.pools])
    laps = 0
    for laps in range(1, MOST_LAPS + 1):  # noqa: B007
        year = walk_year(house.load_kw, house.solar_kw, asked.wish, asked.pools, soc, house.hours.step_h, exports)
        if (np.abs(year.pool_kwh[:, -1] - soc) <= CLOSES_KWH).all():
            break
        soc = year.pool_kwh[:, -1].copy()
    return HouseYear(asked, year, laps)


def _solar_exports(site: Site) -> bool:
    if site.solar is None or site.solar.connected_at != "main-panel":
        return site.subpanel.export
    return site.solar.export


def ask(house: House, prices: Prices | None = None) -> Asked:
    """Work out what the operator wants of the pools in every step of the year."""
    if prices is None:
        prices = prices_of(house)
    plan, reserve = plan_and_reserve(house.site, prices)
    asked = ask_plan(house, prices, plan)
    if reserve == "best":
        from simulate.house.frontier import choose_reserve

        return choose_reserve(asked)
    return with_reserve(asked, reserve)


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
        serve = _serve_steps(house, plan, cycles)
        switched = _switched(house, serve, pools, cycles if plan == "time-of-use" else None, prices)
        wish = replace(wish, reach_kw=switched.reach_kw, two_pole_kw=switched.two_pole_kw)
    may = tuple(circuit.name for circuit in house.circuits if circuit.rate_transfer)
    return Asked(house, prices, plan, 0.0, blank, cycles, switched, wish, may)


def with_reserve(asked: Asked, reserve, targets_of=None) -> Asked:
    """The same plan with another reserve.

    Parameters
    ----------
    asked : Asked
    reserve : float, tuple or array
        As `plan.reserve_frac`.
    targets_of : callable, optional
        From an `Asked` with its floors to its targets; the plan's own unless given.
    """
    house = asked.house
    frac = reserve_frac(reserve, house.hours)
    try:
        frac = np.where(hold_mask(house.site.operation.hold_full, house.hours), 1.0, frac)
    except BadInput as error:
        raise error.at(house.site.file) from None
    floor = np.array([frac * pool.usable_kwh for pool in asked.pools]).reshape(asked.floor_kwh.shape)
    asked = replace(asked, reserve=reserve, floor_kwh=floor)
    if asked.plan == "demand-limit":
        from simulate.house.caps import limited

        return limited(asked)
    if asked.plan == "least-cost":
        return _least_cost(asked)
    asked = replace(asked, wish=replace(asked.wish, targets_kwh=(targets_of or _targets)(asked)))
    return asked if asked.wish.parallel else replace(asked, wish=replace(asked.wish, stay_kwh=_stay_kwh(asked)))


def _least_cost(asked: Asked) -> Asked:
    """The least-cost plan, or another that does better here over the year: then it is a setting, and said."""
    house, prices = asked.house, asked.prices
    if not asked.pools:
        return asked
    dearest = float(prices.buy_per_kwh.max())
    cost = lambda one: year_cost(house, walk_asked(one).year, dearest)
    other = {name: with_reserve(ask_plan(house, prices, name), asked.reserve) for name in _other_plans(house, prices)}
    costs = {name: cost(one) for name, one in other.items()}
    least = min(costs, key=costs.get)
    if not asked.wish.parallel:  # whole circuits: the best of the plans by the calendar
        return replace(other[least], plan=asked.plan, settings=(f'least-cost runs as "{least}" here',))
    ours = _expected(asked)
    mine = cost(ours)
    better = mine - costs[least]
    if better > BETTER or mine > costs["keep-full"] - BETTER:
        name = least if better > BETTER else "keep-full"
        gain = f"{abs(mine - costs[name]):.2f} {'more' if mine > costs[name] else 'less'} off the bill of this year"
        return replace(other[name], plan=asked.plan, settings=(f'least-cost runs as "{name}" here: {gain}',))
    return ours


def _expected(asked: Asked) -> Asked:
    """The wish of the least-cost plan itself."""
    site = asked.house.site
    sell = asked.prices.sell_per_kwh * _solar_exports(site)
    ahead = prices_ahead(site.rate, asked.prices.buy_per_kwh, sell)
    return replace(asked, wish=replace(asked.wish, targets_kwh=interactive_targets(asked, ahead)))


def _other_plans(house: House, prices: Prices) -> list[str]:
    """Plans by the calendar that this house can run."""
    plans = ["keep-full"]
    if prices.buy_per_kwh.min() < prices.buy_per_kwh.max():
        plans.append("time-of-use")
    if house.site.solar is not None:
        plans.append("self-consumption")
    return plans


def prices_of(house: House) -> Prices:
    """The site's rate on its hour axis; what is refused names the site file."""
    try:
        return rate_prices(house.site.rate, house.hours)
    except BadInput as error:
        raise error.at(house.site.file) from None


def plan_and_reserve(site: Site, prices: Prices) -> tuple[str, object]:
    """Plan and reserve as stated, else their defaults: full where a circuit is medical, keep-full on a flat rate."""
    flat = bool(prices.buy_per_kwh.min() == prices.buy_per_kwh.max())
    plan = site.operation.plan or ("keep-full" if flat or site.is_medical else "time-of-use")
    reserve = site.operation.reserve
    if reserve is None:
        reserve = 1.0 if site.is_medical else RESERVE_FRAC
    return plan, reserve


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


def _serve_steps(house: House, plan: str, cycles: Cycles) -> np.ndarray:
    """Steps in which circuits may be switched over, shape (n_steps,) of bool."""
    if plan == "keep-full":
        return np.zeros(house.hours.n_steps, bool)
    if plan == "self-consumption":
        return house.solar_kw + house.solar_dc_kw <= house.load_kw
    return cycles.serve


def _switched(house: House, serve, pools, cycles: Cycles | None, prices: Prices) -> Switched:
    """The circuits that are switched over; a period whose no-load draw eats the gain is left out."""
    sets = switched_in(house, serve, pools, 0, house.hours.n_steps)
    if cycles is not None:
        _drop_what_does_not_pay(sets.reach_kw, sets.two_pole_kw, serve, pools, cycles, prices, house.hours.step_h)
    return sets


def switched_in(house: House, serve, pools, first: int, last: int) -> Switched:
    """The circuits that are switched over from one step to before another, cut to the meter."""
    may = np.array([c.rate_transfer for c in house.circuits], dtype=bool)
    on_leg, limit_kw, pool_of_limit = house.limits
    kw = house.circuit_kw[house.carried[may], first:last] if len(house.carried) else np.zeros((0, last - first))
    sets = switched_sets(kw, on_leg[:, may], limit_kw, serve)
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
            taken = (kw / pool.discharge_efficiency + pool.no_load_kw * (kw > 0.0)) / pool.charge_efficiency
            gain = prices.buy_per_kwh[a:b] * (kw + pool.on_grid_kw * (kw > 0.0)) - cycles.refill_per_kwh[a:b] * taken
            if not gain.sum() > 0.0:
                reach[p, a:b] = 0.0
                if len(pools) > 1:
                    two[a:b] = 0.0


def _stay_kwh(asked: Asked) -> np.ndarray:
    house = asked.house
    stay_h = house.site.subpanel.transfer.least_stay_min / 60.0
    serve = _serve_steps(house, asked.plan, asked.cycles)
    return stay_kwh(asked.wish, serve, asked.pools, stay_h, house.hours.step_h)


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
        taken = kw / pool.discharge_efficiency + pool.no_load_kw * (kw > 0.0)
        floor = np.minimum.reduceat(wish.targets_kwh[p, on, 1], begins)
        stay[p, on[begins]] = floor + np.add.reduceat(taken * part_h, begins)
    return stay


def _targets(asked: Asked) -> np.ndarray:
    """Targets of every pool, shape (n_pools, n_steps, 4). [kWh]"""
    if asked.plan in ("best-possible", "forecast"):
        from simulate.house.bound import best_plan, forecast_plan

        return best_plan(asked) if asked.plan == "best-possible" else forecast_plan(asked)
    house, wish = asked.house, asked.wish
    from_utility = house.site.operation.charge_from == "any"
    out = np.zeros_like(wish.targets_kwh)
    for p, pool in enumerate(asked.pools):
        n_steps = house.hours.n_steps
        if asked.plan == "keep-full":
            out[p] = keep_full(pool, n_steps, from_utility=from_utility)
            continue
        floor = asked.floor_kwh[p]
        if asked.plan == "self-consumption":
            out[p] = self_consumption(pool, floor, from_utility=from_utility)
        else:
            out[p] = _time_of_use(asked, p, pool, floor, from_utility)
        if wish.export:
            wear = house.site.operation.wear_per_kwh
            out[p] = export_where_it_pays(out[p], asked.prices.sell_per_kwh, asked.cycles, floor, pool, wear)
    return out


def _time_of_use(asked: Asked, p: int, pool: Pool, floor, from_utility: bool) -> np.ndarray:
    wish, cycles = asked.wish, asked.cycles
    if from_utility:
        floor = reachable_floor(floor, cycles.fill, wish.charge_kw[p], pool, asked.house.hours.step_h)
    if wish.parallel:
        return time_of_use(pool, floor, cycles, from_utility=from_utility)
    on = cycles.serve & (wish.reach_kw[p] + wish.two_pole_kw > 0.0)
    kept = floor.copy()
    for a, b in periods_of(cycles.serve):  # a floor that falls inside a period brings nothing back in it
        kept[a:b] = np.maximum.accumulate(floor[a:b])
    return time_of_use(pool, kept, replace(cycles, serve=on), from_utility=from_utility, parallel=False)
