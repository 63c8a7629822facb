"""The plan `least-cost` in transfer mode: thresholds of each pool, then windows of each circuit, peak after peak."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simulate.house.candidates import MaySwitch, may_switch
from simulate.house.caps import days_of
from simulate.optimum.least_cost import least_cost_targets
from simulate.optimum.scenarios import PricesAhead, Scenarios, scenarios_of
from simulate.physics.step import Cell
from simulate.plans.calendar_plans import reachable_floor, self_consumption
from simulate.plans.switched import Switched, periods_of
from simulate.plans.switching import Circuits, Peaks, Walked, switch_over

BLOCK_H = 0.5
"""Windows of finer steps begin and end on this grid. [h]"""
LONGEST_H = 24.0
"""A run of steps in which service pays is ended after a day: then each circuit may go over anew. [h]"""


def switched_wish(asked, ahead: PricesAhead, *, cap_kw=np.inf, over_per_kwh=0.0):
    """The wish of the least-cost plan, and what is switched over.

    Parameters
    ----------
    asked : Asked
        With its floors.
    ahead : PricesAhead
    cap_kw, over_per_kwh
        As `least_cost_targets`.

    Returns
    -------
    wish : Wish
    switched : Switched
    """
    house, hours = asked.house, asked.house.hours
    may, scenarios = may_switch(house), scenarios_of(days_of(hours), house.load_kw, house.solar_kw + house.solar_dc_kw)
    cap = {"cap_kw": cap_kw, "over_per_kwh": over_per_kwh}
    targets = thresholds(asked, may, scenarios, ahead, **cap)
    net_kw = scenarios.mean(house.load_kw) - scenarios.mean(house.solar_kw)
    expected = np.array([[scenarios.mean(kw, day) for kw in may.kw] for day in (0, 1)]).reshape(2, *may.kw.shape)
    money = worth_and_refill(asked, ahead, net_kw)
    money[0] += np.where(net_kw > cap_kw, over_per_kwh, 0.0)
    return walked_windows(asked, may, targets, expected, money, net_kw < 0.0)


def thresholds(asked, may: MaySwitch, scenarios: Scenarios, ahead: PricesAhead, **cap) -> np.ndarray:
    """What each pool fills up to and serves down to, as if all that it carries could be over in every step."""
    house, wish, operation = asked.house, asked.wish, asked.house.site.operation
    from_utility, h = operation.charge_from == "any", house.hours.step_h
    takes_back = np.array([[pool.takes_back_kw > 0.0] for pool in asked.pools])
    reach = np.maximum(may.largest_kw() - wish.inside_kw * takes_back, 0.0)
    reach = np.minimum(reach, np.maximum(house.load_kw, 0.0))
    out, total_kwh = np.empty_like(wish.targets_kwh), sum(pool.usable_kwh for pool in asked.pools) or 1.0
    for p, pool in enumerate(asked.pools):
        spare = np.maximum(house.solar_kw - house.load_kw, 0.0)  # the pools share a surplus
        solar_kw = house.solar_kw - spare * (1.0 - pool.usable_kwh / total_kwh)
        floor = asked.floor_kwh[p]
        if from_utility:
            floor = reachable_floor(floor, wish.charge_kw[p] > 0.0, wish.charge_kw[p], pool, h)
        out[p] = least_cost_targets(
            house.load_kw,
            reach[p],
            solar_kw,
            *ahead.at_noon[:, 0],
            pool,
            calendar=scenarios.calendar,
            floor_kwh=np.minimum(floor, pool.usable_kwh),
            step_h=h,
            dc_kw=wish.dc_kw[p],
            charge_ok=(~house.cold[p]).astype(float),
            day_one=_day_one(pool, floor, from_utility),
            wear_per_kwh=operation.wear_per_kwh,
            from_utility=from_utility,
            ahead=ahead,
            scenarios=scenarios,
            **cap,
        )
    return out


def _day_one(pool, floor, from_utility: bool) -> np.ndarray:
    """Without a past nothing is switched over."""
    targets = self_consumption(pool, floor, from_utility=from_utility)
    targets[:, :2] = pool.usable_kwh
    return targets


def worth_and_refill(asked, ahead: PricesAhead, net_kw) -> np.ndarray:
    """What a kWh delivered is expected to save, and at which price a stored one comes back within a day."""
    buy, sell = ahead.at_noon[:, 0]
    pools, n_day = asked.pools, round(24.0 / asked.house.hours.step_h)
    back = np.where(net_kw < 0.0, sell, buy if asked.house.site.operation.charge_from == "any" else np.inf)
    ahead_of = np.lib.stride_tricks.sliding_window_view(np.r_[back, back[: n_day - 1]], n_day).min(axis=1)
    known = np.where(np.isfinite(ahead_of), ahead_of, 0.0)
    return np.array([np.where(net_kw < 0.0, sell, buy), known / min(pool.charge_efficiency for pool in pools)])


def walked_windows(asked, may: MaySwitch, targets, expected_kw, money, sunny):
    """Walk the year once, the windows of each peak chosen from what is then in store; a `sunny` spell ends a peak."""
    house, hours, pools = asked.house, asked.house.hours, asked.pools
    of_pool, of_candidate = may.groups()
    peaks = _peaks(targets, asked, sunny, of_pool, of_candidate, of_pool[may.pool_of_limit])
    n_peaks, n_steps, n_pools = len(peaks.first), hours.n_steps, len(pools)
    begin, end = np.zeros((2, n_peaks, may.n_candidates), np.int64)
    wish = replace(
        asked.wish,
        reach_kw=np.zeros((n_pools, n_steps)),
        two_pole_kw=np.zeros(n_steps),
        targets_kwh=targets.copy(),
        stay_kwh=np.full((n_pools, n_steps), -1.0),
    )
    double = may.is_double
    circuits = Circuits(
        may.kw, expected_kw, may.tied, may.on_pool * ~double, double.astype(float), may.seen, may.room_kw
    )
    cells = np.array([pool.cell for pool in pools], dtype=float).reshape(n_pools, len(Cell._fields))
    soc = np.zeros((n_pools, n_steps + 1))
    soc[:, 0] = cells[:, 0]
    spare = house.solar_kw - house.load_kw - cells[:, 10].sum()
    walked = Walked(wish.wanted, cells, house.load_kw, spare, hours.step_h, np.zeros((n_pools, 6, n_steps)), soc)
    stay = int(np.ceil(house.site.subpanel.transfer.least_stay_min / hours.step_min - 1e-9))
    rules = (stay, max(1, round(BLOCK_H / hours.step_h)))
    if n_peaks and may.n_candidates:
        switch_over(circuits, peaks, money, asked.floor_kwh, rules, walked, begin, end)
    return wish, Switched(wish.reach_kw, wish.two_pole_kw, begin[:, may.tied], end[:, may.tied])


def _peaks(targets, asked, sunny, of_pool, of_candidate, of_limit) -> Peaks:
    """Runs of steps in which a full pool would serve, cut after a day and where a spell of surplus ends."""
    hours, found = asked.house.hours, []
    longest = round(LONGEST_H / hours.step_h)
    for group in np.unique(of_pool):
        pools = np.flatnonzero(of_pool == group)
        serves = np.array([targets[p, :, 1] < asked.pools[p].usable_kwh - 1e-6 for p in pools]).any(axis=0)
        for a, b in periods_of(serves & ~(sunny & ~np.roll(sunny, -1))):
            found += [(first, min(first + longest - 1, b), int(group)) for first in range(a, b, longest)]
    first, last, group = np.array(sorted(found), dtype=np.int64).reshape(-1, 3).T
    ends = np.r_[np.searchsorted(hours.day, np.arange(1, hours.n_days)), hours.n_steps]
    return Peaks(first.copy(), last.copy(), ends[hours.day[first]], group.copy(), of_pool, of_candidate, of_limit)
