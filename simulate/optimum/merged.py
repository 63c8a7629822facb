"""Pools that switch whole circuits beside shared solar, as a programme with one step for each run of like steps."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import inf

import numpy as np

from simulate.optimum.equations import Case, Equations, add_circle, add_peaks, offending

MOST_POOLS = 3


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of consecutive steps that the programme takes as one; arrays over steps.

    Attributes
    ----------
    first : ndarray of int, shape (n_runs,)
        First step of each run.
    metered : ndarray of bool, shape (n_steps,)
        Steps, each a run of its own, whose import and export stand as columns: what is served may turn the meter, or
        a demand charge looks.
    net_kw : ndarray, shape (n_steps,)
        House and on-grid draws less solar, the battery untouched. [kW]
    """

    first: np.ndarray
    metered: np.ndarray
    net_kw: np.ndarray

    def sums(self, kwh) -> np.ndarray:
        """Sums over each run."""
        return np.add.reduceat(kwh, self.first)


def can_merge(case: Case) -> bool:
    """Whether `merged_equations` holds a case: transfer mode without two-pole circuits, prices in order."""
    ordered = (case.buy_per_kwh >= case.sell_per_kwh).all()
    return bool(not case.parallel and not case.two_pole_kw.any() and ordered and len(case.pools) <= MOST_POOLS)


def runs_of(case: Case, floor_kwh) -> Runs:
    """Runs of steps in which nothing can be served and neither price, floor nor charging circuit changes.

    Parameters
    ----------
    case : Case
    floor_kwh : ndarray, shape (n_pools, n_steps)
        At the end of each step. [kWh]
    """
    net = case.load_kw + case.draw_kw - case.solar_kw
    served = [case.served(p) for p in range(len(case.pools))]
    at_most = sum(limit * at_meter for limit, _, at_meter in served)
    busy = (at_most > 0.0) | case.dc_kw.any(axis=0)
    metered = (at_most > 0.0) & (np.maximum(net, 0.0) < at_most)
    for demand in case.demands:
        metered |= demand.period >= 0
    alone = busy | metered
    marks = np.column_stack([case.buy_per_kwh, case.sell_per_kwh, case.utility_ok, floor_kwh.T])
    new = alone | np.r_[True, alone[:-1] | (marks[1:] != marks[:-1]).any(axis=1)]
    return Runs(np.flatnonzero(new), metered, net)


def merged_equations(case: Case, floor_kwh, start_kwh=None, end_kwh=None) -> tuple[Equations, float]:
    """Columns and rows of a case with its floors and ends, and the cost that no use of the pools changes.

    Without a start it ends as full as it begins, wherever that is.

    Notes
    -----
    Where nothing can be served, stored energy only grows, so that a run's floor and capacity bind at its end alone.
    What the pools P can take of the sun in a run is ``F(P) = sum over steps of min(surplus, charging limits of P)``,
    and any amounts with ``sum over P <= F(P)`` for every P can be taken: the cuts of a flow from steps to pools
    (Ford and Fulkerson's theorem). What is bought fills what the charging limits leave.
    """
    runs, made, n_pools = runs_of(case, floor_kwh), Equations(), len(case.pools)
    first, h = runs.first, case.step_h
    n, k = len(first), np.arange(len(first))
    buy, sell, metered = case.buy_per_kwh[first], case.sell_per_kwh[first], runs.metered[first]
    spare_kw = np.where(runs.metered, 0.0, np.maximum(-runs.net_kw, 0.0))
    most_kw = np.array([case.most_in_kw(p) for p in range(n_pools)])
    taken = {pools: runs.sums(np.minimum(spare_kw, most_kw[list(pools)].sum(axis=0))) * h for pools in _sets(n_pools)}
    sunny = np.flatnonzero(runs.sums(spare_kw) > 0.0)
    may_buy, meter = case.utility_ok[first] | metered, []
    for p, pool in enumerate(case.pools):
        limit, dc, at_meter = (one[first] for one in case.served(p))
        room = runs.sums(most_kw[p]) * h
        bought = made.add_columns(f"bought {p}", n, 0.0, room * may_buy, np.where(metered, 0.0, buy))
        filled = made.add_columns(f"filled {p}", len(sunny), 0.0, taken[(p,)][sunny], sell[sunny])
        serves = np.flatnonzero(limit > 0.0)
        worth = case.wear_per_kwh * dc - np.where(metered, 0.0, buy) * at_meter
        served = made.add_columns(f"served {p}", len(serves), 0.0, limit[serves] * h, worth[serves])
        begins = (0.0, pool.usable_kwh) if start_kwh is None else (start_kwh[p], start_kwh[p])
        low = np.r_[begins[0], floor_kwh[p][np.r_[first[1:], case.n_steps] - 1]]
        low[-1] = max(low[-1], 0.0 if end_kwh is None else end_kwh[p])
        high = np.r_[begins[1], np.full(n, pool.usable_kwh)]
        stored = made.add_columns(f"stored {p}", n + 1, low, high, 0.0)
        sun = np.flatnonzero(case.dc_kw[p][first] > 0.0)
        spill = made.add_columns(f"spill {p}", len(sun), 0.0, case.dc_kw[p][first[sun]] * h, 0.0)
        given = runs.sums(case.dc_kw[p]) * h
        made.add_rows(
            given,
            given,
            (k, stored[1:], 1.0),
            (k, stored[:-1], -1.0),
            (k, bought, -pool.charge_efficiency),
            (sunny, filled, -pool.charge_efficiency),
            (serves, served, dc[serves]),
            (sun, spill, 1.0),
        )
        at = np.full(n, -1)
        at[sunny] = np.arange(len(sunny))
        odd = np.flatnonzero(offending(case, p)[first] & (limit > 0.0))
        here, lit = np.arange(len(odd)), np.flatnonzero(at[odd] >= 0)
        made.add_rows(  # charging and serving share the time of a step in which both at once would pay
            -inf,
            1.0,
            (here, bought[odd], 1.0 / room[odd]),
            (lit, filled[at[odd[lit]]], 1.0 / room[odd[lit]]),
            (here, served[np.searchsorted(serves, odd)], 1.0 / (limit[odd] * h)),
        )
        row = np.arange(len(sunny))
        made.add_rows(-inf, room[sunny], (row, bought[sunny], 1.0), (row, filled, 1.0))
        meter += [(k, bought, -metered.astype(float)), (serves, served, np.where(metered, at_meter, 0.0)[serves])]
    for pools in (one for one in taken if len(one) > 1):
        row = np.arange(len(sunny))
        made.add_rows(-inf, taken[pools][sunny], *((row, made.columns[f"filled {p}"], 1.0) for p in pools))
    _add_meter(made, case, runs, meter)
    if start_kwh is None:
        add_circle(made, n_pools)
    untouched = np.where(runs.net_kw > 0.0, case.buy_per_kwh, case.sell_per_kwh) * runs.net_kw * h
    return made, float(untouched[~runs.metered].sum())


def _sets(n_pools: int) -> list[tuple[int, ...]]:
    """Every set of pools, the single ones first."""
    return [pools for size in range(1, n_pools + 1) for pools in combinations(range(n_pools), size)]


def _add_meter(made: Equations, case: Case, runs: Runs, terms) -> None:
    """Import and export of the metered steps, the surplus where nothing may be bought, and the peaks."""
    steps, h = np.flatnonzero(runs.metered), case.step_h
    row_of = np.full(len(runs.first), -1)
    row_of[runs.metered[runs.first]] = np.arange(len(steps))
    bought = made.add_columns("import", len(steps), 0.0, inf, case.buy_per_kwh[steps])
    sold = made.add_columns("export", len(steps), 0.0, inf, -case.sell_per_kwh[steps])
    row, net = np.arange(len(steps)), runs.net_kw[steps] * h
    mine = [(row_of[k], columns, np.broadcast_to(values, len(k)), row_of[k] >= 0) for k, columns, values in terms]
    mine = [(rows[at], columns[at], values[at]) for rows, columns, values, at in mine]
    if len(steps):
        made.add_rows(net, net, *mine, (row, bought, 1.0), (row, sold, -1.0))
    short = np.flatnonzero(~case.utility_ok[steps])
    if len(short):
        place = np.full(len(steps) + 1, -1)
        place[short] = np.arange(len(short))
        charging = [(place[rows], at, -values, (place[rows] >= 0) & (values < 0.0)) for rows, at, values in mine]
        made.add_rows(-inf, np.maximum(-net, 0.0)[short], *((rows[ok], at[ok], v[ok]) for rows, at, v, ok in charging))
    place = np.full(case.n_steps, -1)
    place[steps] = bought
    add_peaks(made, case, place, h)
