"""States of charge that a plan moves towards under a reserve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.noun import BadInput
from profiles.rate.prices import Prices
from simulate.house.asked import Asked, ask_plan, serve_steps, stay_kwh
from simulate.house.caps import limited
from simulate.house.expected import expected, has_demand
from simulate.house.foreseen import BestPlanner, forecast_plan
from simulate.house.house import House
from simulate.house.score import year_cost
from simulate.house.walked import walk_asked
from simulate.physics.pool import Pool
from simulate.plans.calendar_plans import (
    export_where_it_pays,
    hold_mask,
    keep_full,
    reachable_floor,
    reserve_frac,
    self_consumption,
    time_of_use,
)
from simulate.plans.switched import periods_of

BETTER = 1.0
"""Units of currency a year by which another plan must do better than least-cost to be run in its place."""


def with_reserve(asked: Asked, reserve, planner: BestPlanner | None = None) -> Asked:
    """The same plan with another reserve.

    Parameters
    ----------
    asked : Asked
    reserve : float, tuple or array
        As `plan.reserve_frac`.
    planner : BestPlanner, optional
        Of the same house: then `best-possible` is what it asks for, and no other plan is looked at.
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
        return limited(asked)
    if asked.plan == "least-cost":
        return _least_cost(asked)
    if asked.plan == "best-possible":
        return planner(asked) if planner else _best_possible(asked)
    asked = replace(asked, wish=replace(asked.wish, targets_kwh=_targets(asked)))
    return asked if asked.wish.parallel else replace(asked, wish=replace(asked.wish, stay_kwh=_stay_kwh(asked)))


def _least_cost(asked: Asked) -> Asked:
    """The least-cost plan, or another that does better here over the year: then it is a setting, and said."""
    if not asked.pools:
        return asked
    if asked.runs is not None:
        return _settled(asked)
    names = calendar_plans(asked.house, asked.prices) + ["demand-limit"] * has_demand(asked.house.site.rate)
    others = _others(asked, names)
    return _or_better(expected(asked), others, idle="keep-full")


def _settled(asked: Asked) -> Asked:
    """The plan that a year has settled already, for another year of the same house."""
    if asked.runs == asked.plan:
        return expected(asked)
    other = _others(asked, [asked.runs])[asked.runs]
    return replace(other, plan=asked.plan, settings=asked.settings, runs=asked.runs)


def _best_possible(asked: Asked) -> Asked:
    """What the best possible asks for; where that is not exact and another plan takes off more, that plan."""
    if not asked.pools:
        return asked
    planner = BestPlanner(asked)
    best = planner(asked)
    return best if planner.is_best(asked) else _or_better(best, _others(asked, causal_plans(asked.house, asked.prices)))


def _others(asked: Asked, names: list[str]) -> dict[str, Asked]:
    return {name: with_reserve(ask_plan(asked.house, asked.prices, name), asked.reserve) for name in names}


def _or_better(ours: Asked, others: dict[str, Asked], idle: str | None = None) -> Asked:
    """One of several that costs least over the year, `ours` unless another is plainly better; `idle` wins a tie."""
    cost = lambda one: year_cost(one.house, walk_asked(one).year, float(one.prices.buy_per_kwh.max()))
    mine, costs = cost(ours), {name: cost(one) for name, one in others.items()}
    name, least_gain = min(costs, key=costs.get), BETTER if idle else 0.0
    if mine - costs[name] <= least_gain:
        if idle is None or mine <= costs[idle] - BETTER:
            return replace(ours, runs=ours.plan)
        name = idle
    gain = f"{abs(mine - costs[name]):.2f} {'more' if mine > costs[name] else 'less'} off the bill of this year"
    setting = f'{ours.plan} runs as "{name}" here: {gain}'
    return replace(others[name], plan=ours.plan, settings=(setting, *others[name].settings), runs=name)


def calendar_plans(house: House, prices: Prices) -> list[str]:
    """Plans by the calendar that this house can run."""
    plans = ["keep-full"]
    if prices.buy_per_kwh.min() < prices.buy_per_kwh.max():
        plans.append("time-of-use")
    if house.site.solar is not None:
        plans.append("self-consumption")
    return plans


def causal_plans(house: House, prices: Prices) -> list[str]:
    """Every plan that knows no future and that this house can run, the simplest first."""
    plans, rate = calendar_plans(house, prices), house.site.rate
    if has_demand(rate):
        plans.append("demand-limit")
    if len(plans) > 1 or any(period.tiers for period in rate.periods):
        in_order = (prices.buy_per_kwh >= prices.sell_per_kwh).all() and (prices.sell_per_kwh >= 0.0).all()
        plans += ["forecast"] * bool(in_order) + ["least-cost"]
    return plans


def _stay_kwh(asked: Asked) -> np.ndarray:
    house = asked.house
    stay_h = house.site.subpanel.transfer.least_stay_min / 60.0
    serve = serve_steps(house, asked.plan, asked.cycles)
    return stay_kwh(asked.wish, serve, asked.pools, stay_h, house.hours.step_h)


def _targets(asked: Asked) -> np.ndarray:
    """Targets of every pool, shape (n_pools, n_steps, 4). [kWh]"""
    if asked.plan == "forecast":
        return forecast_plan(asked)
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
