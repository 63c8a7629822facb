"""The best possible use of one pool in hindsight: exact targets, the cost they reach, and what more would be worth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from simulate.optimum.convex import fold, follow
from simulate.optimum.programme import Programme, number, programme, series
from simulate.physics.pool import Pool

METHOD = "exact convex programme"
"""Name of the method, for a result to carry."""

SLACK_KWH = 1e-9
"""Rounding that a start below the least feasible one is allowed. [kWh]"""


@dataclass(frozen=True)
class Worth:
    """What one more unit would take off the cost of the horizon, as forward differences.

    Attributes
    ----------
    per_kwh : float
        Of one more kWh of usable energy. [money/kWh]
    per_kw : float
        Of one more kW of charging and of discharging. [money/kW]
    """

    per_kwh: float
    per_kw: float


def best_targets(
    load_kw,
    reach_kw,
    solar_kw,
    buy_per_kwh,
    sell_per_kwh,
    pool: Pool,
    *,
    floor_kwh,
    start_kwh,
    end_kwh,
    wear_per_kwh=0.0,
    export=False,
    step_h=1.0,
    charge_ok=None,
    utility_ok=None,
    dc_kw=0.0,
):
    """Targets that no other use of the pool can beat in hindsight, and the cost that they reach.

    Parameters
    ----------
    load_kw, solar_kw : array_like, shape (n_steps,)
        House load and solar at the meter, AC, mean over each step. [kW]
    reach_kw : array_like, shape (n_steps,) or float
        Load of the whole circuits that are switched over in transfer mode; infinite, or anywhere above the load: the
        pool works in parallel. [kW]
    buy_per_kwh, sell_per_kwh : array_like, shape (n_steps,) or float
        Price of import and of export; buy >= sell >= 0. [money/kWh]
    pool : Pool
        Its taper is left out, so that the cost is a bound for a pool that has one.
    floor_kwh : array_like, shape (n_steps,) or float
        Least stored energy at the *end* of each step. [kWh DC]
    start_kwh, end_kwh : float
        Stored energy at the start, and the least at the end. [kWh DC]
    wear_per_kwh : float
        Cost of wear per DC energy discharged; none unless given. [money/kWh]
    export : bool
        Whether a pool that works in parallel may send its energy to the grid.
    step_h : float
        Length of a step. [h]
    charge_ok : array_like, shape (n_steps,), optional
        Share of the charging limit that is there in each step; true and false are 1 and 0. [0 to 1]
    utility_ok : array_like of bool, shape (n_steps,), optional
        Whether energy may be bought to charge; everywhere unless given.
    dc_kw : array_like, shape (n_steps,) or float
        Solar that charges the cells directly; what finds no room is spilled. [kW]

    Returns
    -------
    targets_kwh : ndarray, shape (n_steps, 4)
        Export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh DC]
    cost : float
        Of all import less export, the load's own included, and wear. [money]

    Raises
    ------
    BadInput
        NaN, a value out of range, prices out of order, or floors that charging flat out cannot meet.

    Notes
    -----
    With E the stored energy, `V_t(E) = min over E' of c_t(E' - E) + V_t+1(E')`, both convex and piecewise linear: the
    slopes of V are merged with the four of c. What serves the house takes the on-grid draw away in proportion to the
    share of the limit that is delivered; the draw stands behind the same meter as the house. The meter nets within
    a step. The thresholds depend on the state only where a step holds two of these at once: solar in surplus and
    energy to be bought, or whole circuits of which solar already covers a part.

    References
    ----------
    .. [1] Tseng and Luo, "On computing the nested sums and infimal convolutions of convex piecewise-linear
       functions", Journal of Algorithms 21, 1996.
    .. [2] Cruise, Flatley, Gibbens and Zachary, "Control of energy storage with market impact", Operations Research
       67, 2019, for storage arbitrage. Both from memory.

    Examples
    --------
    One kWh bought at 0.10 saves 0.81 kWh at 0.30:

    >>> pool = Pool(0.9, charge_efficiency=0.9, discharge_efficiency=0.9)
    >>> targets, cost = best_targets([0.0, 0.81], [9, 9], [0, 0], [0.10, 0.30], 0.0, pool,
    ...                              floor_kwh=0.0, start_kwh=0.0, end_kwh=0.0)
    >>> round(cost, 9), float(targets[0, 3])
    (0.1, 0.9)
    """
    made = programme(
        load_kw,
        reach_kw,
        solar_kw,
        buy_per_kwh,
        sell_per_kwh,
        pool,
        wear_per_kwh=wear_per_kwh,
        export=export,
        step_h=step_h,
        charge_ok=charge_ok,
        utility_ok=utility_ok,
        dc_kw=dc_kw,
    )
    floor, start, end = _states(made, floor_kwh, start_kwh, end_kwh)
    targets, cost = _solve(made, floor, start, end)
    return targets, cost if made.is_plain else _follow(made, start, targets)[1]


def best_cost(made: Programme, *, floor_kwh, start_kwh, end_kwh) -> float:
    """Cost of the best possible, without its targets.

    Parameters
    ----------
    made : Programme
        From `programme`.
    floor_kwh, start_kwh, end_kwh
        As `best_targets`.

    Returns
    -------
    float
        [money]

    Examples
    --------
    >>> made = programme([0.0, 1.0], 9, 0, [0.10, 0.30], 0.0, Pool(1.0))
    >>> round(best_cost(made, floor_kwh=0.0, start_kwh=0.0, end_kwh=0.0), 9)
    0.1
    """
    floor, start, end = _states(made, floor_kwh, start_kwh, end_kwh)
    return _solve(made, floor, start, end, n_targets=1)[1]


def best_path(made: Programme, *, floor_kwh, start_kwh, end_kwh):
    """Targets, stored energy along the best path, and its cost.

    Parameters
    ----------
    made : Programme
    floor_kwh, start_kwh, end_kwh
        As `best_targets`.

    Returns
    -------
    targets_kwh : ndarray, shape (n_steps, 4)
        [kWh DC]
    soc_kwh : ndarray, shape (n_steps + 1,)
        Stored energy at the start of each step, and at the end. [kWh DC]
    cost : float
        [money]

    Examples
    --------
    >>> made = programme([0.0, 1.0], 9, 0, [0.10, 0.30], 0.0, Pool(1.0))
    >>> best_path(made, floor_kwh=0.0, start_kwh=0.0, end_kwh=0.0)[1].tolist()
    [0.0, 1.0, 0.0]
    """
    floor, start, end = _states(made, floor_kwh, start_kwh, end_kwh)
    targets, _ = _solve(made, floor, start, end)
    path, cost = _follow(made, start, targets)
    return targets, path, cost


def worth_of_more(
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pool: Pool, *, floor_kwh, start_kwh, end_kwh, **options
) -> Worth:
    """What one more kWh and one more kW would take off the best possible cost.

    Parameters
    ----------
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pool, floor_kwh, start_kwh, end_kwh, **options
        As `best_targets`; floors, start and end stay at the same kWh.

    Returns
    -------
    Worth
        Forward differences: two more solves. Duals would not be unique at kinks.

    Examples
    --------
    >>> worth = worth_of_more([0.0, 3.0], 9, 0, [0.10, 0.30], 0.0, Pool(1.0, discharge_kw=2.0), floor_kwh=0.0,
    ...                       start_kwh=0.0, end_kwh=0.0)
    >>> round(worth.per_kwh, 9), round(worth.per_kw, 9)
    (0.2, 0.0)
    """
    given = (load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh)
    states = {"floor_kwh": floor_kwh, "start_kwh": start_kwh, "end_kwh": end_kwh}
    larger = replace(pool, usable_kwh=pool.usable_kwh + 1.0)
    stronger = replace(pool, charge_kw=pool.charge_kw + 1.0, discharge_kw=pool.discharge_kw + 1.0)
    cost, cost_larger, cost_stronger = (
        best_cost(programme(*given, one, **options), **states) for one in (pool, larger, stronger)
    )
    return Worth(cost - cost_larger, cost - cost_stronger)


def _states(made: Programme, floor_kwh, start_kwh, end_kwh):
    usable = made.pool.usable_kwh
    floor = series(floor_kwh, "floor_kwh", made.n_steps, most=usable)
    return floor, number(start_kwh, "start_kwh", most=usable), number(end_kwh, "end_kwh", most=usable)


def _solve(made: Programme, floor, start, end, n_targets=None):
    targets = np.empty((n_targets or made.n_steps, 4))
    least, cost = fold(made.stages, made.rows, floor, end, made.pool.usable_kwh, start, targets)
    _refuse_short(made, least, floor, start, end)
    return targets, cost


def _follow(made: Programme, start, targets):
    path = np.empty(made.n_steps + 1)
    cost = follow(made.stages, made.limit_dc_kwh, start, made.pool.usable_kwh, targets, path)
    return path, cost


def _refuse_short(made: Programme, least_kwh, floor, start, end) -> None:
    """Name the first step whose floor cannot be met from the start by charging flat out."""
    if least_kwh <= start + SLACK_KWH:
        return
    need = floor.copy()
    need[-1] = max(need[-1], end)
    held = start
    for t, more in enumerate(made.stages[:, [0, 2, 9]].sum(axis=1)):
        held = min(held + more, made.pool.usable_kwh)
        if held < need[t]:
            break
    key, value = ("end_kwh", end) if t == made.n_steps - 1 and end > floor[t] else (f"floor_kwh[{t}]", float(need[t]))
    raise BadInput(
        f"cannot be met: charging flat out from start_kwh = {start:g} reaches {held:.6g} kWh at the end of step {t}",
        key=key,
        value=value,
        way_out=f"start at {least_kwh:.6g} kWh or above, or lower the floor",
    )
