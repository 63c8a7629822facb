"""The best possible where one exact programme cannot hold it: pools that share a meter, demand charges, odd prices."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.optimum.best import METHOD, best_cost, best_path
from simulate.optimum.cyclic import lowest
from simulate.optimum.equations import Case, Demand, equations, offending
from simulate.optimum.highs import loaded, solved
from simulate.optimum.merged import can_merge, merged_equations
from simulate.optimum.programme import Programme, charge_limit_kw, number, programme, series, switches
from simulate.physics.pool import Pool, works_in_parallel

LINEAR, MIXED = "linear programme (HiGHS)", "mixed-integer programme (HiGHS)"
RELAXED = "linear programme (HiGHS), relaxed: a unit may charge and serve in one step"

MOST_STEPS = 400
"""Beyond it the binaries that part charging from serving are not searched over, which can take minutes for a year."""

MOST_ROUNDS = 4
"""A search finds steps that need a binary only as the ones before have theirs; then it ends with a bound."""

CLASH = 1e-6
"""kW (or share of a step) above which charging and serving at once are taken for real."""


@dataclass(frozen=True, eq=False)
class Best:
    """The best possible of one or more pools.

    Attributes
    ----------
    targets_kwh : ndarray, shape (n_pools, n_steps, 4)
        Targets that lead the walk along the best path. [kWh DC]
    soc_kwh : ndarray, shape (n_pools, n_steps + 1)
        Stored energy at the start of each step, and at the end. [kWh DC]
    cost : float
        Import less export, demand charges and wear over the horizon. [money]
    bound : float
        What no use of the pools can undercut; below `cost` only by the gap of a search over binaries. [money]
    peak_kw : tuple of ndarray
        Of each demand charge, the largest mean import of each of its billing periods. [kW]
    method : str
        "exact convex programme", "linear programme (HiGHS)", "mixed-integer programme (HiGHS)", or the linear
        programme without the binaries that part charging from serving (then `cost` is a bound).
    """

    targets_kwh: np.ndarray
    soc_kwh: np.ndarray
    cost: float
    bound: float
    peak_kw: tuple[np.ndarray, ...]
    method: str


def best_possible(
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pools, *, floor_kwh, start_kwh, end_kwh, **options
) -> Best:
    """The best possible of pools that share a meter, by the exact programme where it holds and by HiGHS beyond it.

    Parameters
    ----------
    load_kw, solar_kw, buy_per_kwh, sell_per_kwh
        As `best_targets`; prices may be negative and selling dearer than buying.
    reach_kw : array_like, shape (n_pools, n_steps), (n_steps,) or float
        Single-pole circuits switched to each pool (transfer); anywhere above the load in sum: in parallel. [kW]
    pools : Pool or sequence of Pool
    floor_kwh : array_like, shape (n_pools, n_steps), (n_steps,) or float
        [kWh DC]
    start_kwh, end_kwh : float or one for each pool
        [kWh DC]
    **options
        `wear_per_kwh`, `export`, `step_h`, `charge_ok`, `utility_ok` and `dc_kw` (one for each pool) as
        `best_targets`; `two_pole_kw`, two-pole circuits that take half from each of two locked pools (transfer);
        `demands`, a sequence of `Demand`.

    Returns
    -------
    Best
        It names its method.

    Raises
    ------
    BadInput
        As `best_targets`.

    Notes
    -----
    Binaries stand only in the steps where charging and serving at once would pay (a negative price, an on-grid draw
    beyond the losses, or a pair one of which would be refilled as it serves so that the other goes on) or where
    selling is dearer than buying. Several pools are one exact programme each where
    they are switched, without solar and without two-pole circuits.

    Examples
    --------
    A 4 kW hour shaved to 3 kW at 12 a kW, energy at no cost:

    >>> best = best_possible([4.0, 1.0], 9, 0, 0.0, 0.0, Pool(1.0), floor_kwh=0, start_kwh=1, end_kwh=0,
    ...                      demands=[Demand(12.0, np.zeros(2, int))])
    >>> best.method, round(best.cost, 9)
    ('linear programme (HiGHS)', 36.0)
    """
    case = checked_case(load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pools, **options)
    return Planner(case).best(*checked_states(case, floor_kwh, start_kwh, end_kwh))


class Planner:
    """A case that is solved again and again with other floors, starts and ends, HiGHS from where it last ended."""

    def __init__(self, case: Case):
        self.case, self._solver = case, None

    @property
    def is_exact(self) -> bool:
        """Whether the exact programme holds it; pools in proportion with states in proportion."""
        none = np.zeros(len(self.case.pools))
        whole = as_one(self.case, np.zeros((len(none), self.case.n_steps)), none, none)
        return _is_exact(self.case) or (whole is not None and _is_exact(whole[0]))

    def best(self, floor_kwh, start_kwh, end_kwh) -> Best:
        """The best possible with these floors, shape (n_pools, n_steps), starts and ends, shape (n_pools,)."""
        states = (floor_kwh, start_kwh, end_kwh)
        whole = as_one(self.case, *states)
        if whole is not None and _is_exact(whole[0]):
            best = _exact(whole[0], *whole[1])
            share = np.array([pool.usable_kwh for pool in self.case.pools]) / whole[0].pools[0].usable_kwh
            share = share.reshape(-1, 1)
            return replace(best, targets_kwh=best.targets_kwh * share[:, :, None], soc_kwh=best.soc_kwh * share)
        if _is_exact(self.case):
            return _exact(self.case, *states)
        if self._solver is None:
            self._solver = Solver(self.case)
        return self._solver.best(*states)

    def best_circle(self, floor_kwh) -> Best:
        """The best possible that ends as full as it begins."""
        none = np.zeros(len(self.case.pools))
        whole = as_one(self.case, floor_kwh, none, none)
        if whole is not None and _is_exact(whole[0]):
            share = np.array([pool.usable_kwh for pool in self.case.pools]) / whole[0].pools[0].usable_kwh
            start = _lowest(whole[0], 0, whole[1][0][0])[0] * share
            return self.best(floor_kwh, start, start)
        if _is_exact(self.case):
            start = np.array([_lowest(self.case, p, floor_kwh[p])[0] for p in range(len(self.case.pools))])
            return self.best(floor_kwh, start, start)
        if self._solver is None:
            self._solver = Solver(self.case, cyclic=True)
        return self._solver.best(floor_kwh, None, None)


def best_bound(
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pools, *, floor_kwh, start_kwh, end_kwh, **options
) -> tuple[float, str]:
    """Cost that no use of the pools undercuts, without the path to it, and the method that found it.

    Parameters
    ----------
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pools, floor_kwh, start_kwh, end_kwh, **options
        As `best_possible`.

    Notes
    -----
    Switched pools that share solar or a demand charge are solved with one step for each run of like steps: the same
    optimum by a programme a quarter of the size. Pools in proportion that work in parallel are one pool. Beyond
    `MOST_STEPS` charging and serving at once is forbidden only in so far as they share the time of a step: still a
    bound, and the method says it.

    Examples
    --------
    >>> cost, method = best_bound([0.0, 1.0], 9, 0, [0.1, 0.3], 0.0, Pool(1.0), floor_kwh=0, start_kwh=0, end_kwh=0)
    >>> round(cost, 9), method
    (0.1, 'exact convex programme')
    """
    case = checked_case(load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pools, **options)
    states = checked_states(case, floor_kwh, start_kwh, end_kwh)
    case, states = as_one(case, *states) or (case, states)
    if _is_exact(case):
        return _exact_cost(case, *states), METHOD
    odd = any(offending(case, p).any() for p in range(len(case.pools)))
    if can_merge(case) and (case.n_steps > MOST_STEPS or not odd):
        made, untouched = merged_equations(case, *states)
        return solved(loaded(made)[0]) + untouched, RELAXED if odd else LINEAR
    best = Solver(case).best(*states)
    return best.bound, best.method


def cyclic_bound(case: Case, floor_kwh) -> tuple[float, str]:
    """Cost that no use of the pools undercuts that ends as full as it begins, and the method that found it.

    Parameters
    ----------
    case : Case
        From `checked_case`.
    floor_kwh : ndarray, shape (n_pools, n_steps)
        [kWh DC]

    Examples
    --------
    >>> case = checked_case([0.0, 1.0], 9, 0, [0.1, 0.3], 0.0, Pool(1.0))
    >>> cost, method = cyclic_bound(case, np.zeros((1, 2)))
    >>> round(cost, 9), method
    (0.1, 'exact convex programme')
    """
    floor_kwh = np.asarray(floor_kwh, dtype=float)
    none = np.zeros(len(case.pools))
    case, (floor, _, _) = as_one(case, floor_kwh, none, none) or (case, (floor_kwh, none, none))
    if _is_exact(case):
        return sum(_lowest(case, p, floor[p])[1] for p in range(len(case.pools))) - _shared(case), METHOD
    odd = any(offending(case, p).any() for p in range(len(case.pools)))
    if can_merge(case) and (case.n_steps > MOST_STEPS or not odd):
        made, untouched = merged_equations(case, floor)
        return solved(loaded(made)[0]) + untouched, RELAXED if odd else LINEAR
    best = Solver(case, cyclic=True).best(floor, None, None)
    return best.bound, best.method


def _lowest(case: Case, p: int, floor) -> tuple[float, float]:
    """Best start of one pool that ends as full, and the cost from there."""
    made, usable = _programme(case, p), case.pools[p].usable_kwh
    cost_of = lambda start: best_cost(made, floor_kwh=floor, start_kwh=start, end_kwh=start)
    return lowest(cost_of, min(float(floor.min()), usable), usable)


def as_one(case: Case, floor_kwh, start_kwh, end_kwh):
    """Pools in proportion that work in parallel, as one case of one pool with its states; None where they are not."""
    sizes = np.array([pool.usable_kwh for pool in case.pools])
    if len(sizes) < 2 or not case.parallel or not (sizes > 0.0).all():
        return None
    same = ("charge_efficiency", "discharge_efficiency")
    per_kwh = ("charge_kw", "discharge_kw", "no_load_kw", "on_grid_kw")
    given = [[getattr(pool, name) for pool in case.pools] for name in same]
    given += [[getattr(pool, name) / pool.usable_kwh for pool in case.pools] for name in per_kwh]
    rows = [*given, *(one / sizes for one in (case.charge_kw.T, case.dc_kw.T, floor_kwh.T, start_kwh, end_kwh))]
    if not all(np.allclose(np.asarray(row).T, np.asarray(row).T[:1], rtol=1e-9, atol=1e-12) for row in rows):
        return None
    total = {name: sum(getattr(pool, name) for pool in case.pools) for name in ("usable_kwh", *per_kwh)}
    pool = replace(case.pools[0], taper=None, restart_kwh=0.0, **total)
    whole = replace(
        case,
        pools=(pool,),
        reach_kw=np.minimum(case.reach_kw.sum(axis=0, keepdims=True), 1e12),
        charge_kw=case.charge_kw.sum(axis=0, keepdims=True),
        dc_kw=case.dc_kw.sum(axis=0, keepdims=True),
    )
    floor = np.minimum(floor_kwh.sum(axis=0, keepdims=True), pool.usable_kwh)
    return whole, (floor, *(np.minimum(one.sum(keepdims=True), pool.usable_kwh) for one in (start_kwh, end_kwh)))


def checked_case(
    load_kw,
    reach_kw,
    solar_kw,
    buy_per_kwh,
    sell_per_kwh,
    pools,
    *,
    two_pole_kw=0.0,
    demands=(),
    wear_per_kwh=0.0,
    export=False,
    step_h=1.0,
    charge_ok=None,
    utility_ok=None,
    dc_kw=0.0,
) -> Case:
    """Check the series of `best_possible`."""
    pools = (pools,) if isinstance(pools, Pool) else tuple(pools)
    load = series(load_kw, "load_kw", least=-inf)
    n = len(load)
    reach = _by_pool(reach_kw, "reach_kw", pools, n, infinite=True)
    two = series(two_pole_kw, "two_pole_kw", n)
    parallel = works_in_parallel(load, reach.sum(axis=0) + two)
    if two.any() and (parallel or len(pools) != 2):
        raise BadInput("needs two pools in transfer mode", key="two_pole_kw", value=float(two.max()))
    for p, pool in enumerate(pools):
        most = float((np.minimum(reach[p], inf if parallel else reach[p]) + 0.5 * two).max())
        if two.any() and not most <= pool.discharge_kw + 1e-9:
            raise BadInput(
                f"must stay within the output of pool {p} with the single-pole circuits",
                key="two_pole_kw",
                value=most,
                way_out=f"its limit is {pool.discharge_kw:g} kW",
            )
    return Case(
        load,
        np.where(np.isfinite(reach), reach, 1e12),
        two,
        series(solar_kw, "solar_kw", n),
        series(buy_per_kwh, "buy_per_kwh", n, least=-inf),
        series(sell_per_kwh, "sell_per_kwh", n, least=-inf),
        pools,
        np.array([charge_limit_kw(pool, charge_ok, n) for pool in pools]),
        _by_pool(dc_kw, "dc_kw", pools, n),
        switches(utility_ok, "utility_ok", n),
        parallel,
        bool(export),
        number(wear_per_kwh, "wear_per_kwh"),
        number(step_h, "step_h", least=1e-6),
        tuple(_checked_demand(one, n) for one in demands),
    )


def checked_states(case: Case, floor_kwh, start_kwh, end_kwh):
    """Floors, shape (n_pools, n_steps), starts and ends, shape (n_pools,)."""
    floor = _by_pool(floor_kwh, "floor_kwh", case.pools, case.n_steps)
    start, end = (
        np.array(
            [
                number(one, f"{name}[{p}]", most=pool.usable_kwh)
                for p, (one, pool) in enumerate(zip(np.broadcast_to(given, len(case.pools)), case.pools, strict=True))
            ]
        )
        for name, given in (("start_kwh", start_kwh), ("end_kwh", end_kwh))
    )
    for p, pool in enumerate(case.pools):
        series(floor[p], f"floor_kwh[{p}]", most=pool.usable_kwh)
    return floor, start, end


def _by_pool(values, name, pools, n_steps, **bounds) -> np.ndarray:
    array = np.asarray(values, dtype=float)
    rows = array if array.ndim == 2 else [array] * len(pools)
    if len(rows) != len(pools):
        raise BadInput("must have one row a pool", key=name, value=array.shape, way_out=f"give {len(pools)} rows")
    return np.array([series(row if np.ndim(row) else float(row), name, n_steps, **bounds) for row in rows])


def _checked_demand(demand: Demand, n_steps: int) -> Demand:
    period, window = np.asarray(demand.period, dtype=np.int64), int(demand.window_steps)
    number(demand.per_kw, "Demand.per_kw")
    if period.shape != (n_steps,) or not period.max() >= 0:
        raise BadInput("must name a billing period for some step", key="Demand.period", value=period.shape)
    if window < 1 or n_steps % window or (period.reshape(-1, window) != period[::window, None]).any():
        raise BadInput("must divide the steps and lie within one period each", key="Demand.window_steps", value=window)
    return Demand(float(demand.per_kw), period, window)


def _is_exact(case: Case) -> bool:
    alone = len(case.pools) == 1 or not (
        case.parallel or case.solar_kw.any() or (case.reach_kw.sum(axis=0) > case.load_kw + 1e-9).any()
    )
    ordered = (case.buy_per_kwh >= case.sell_per_kwh).all() and (case.sell_per_kwh >= 0.0).all()
    odd = any(offending(case, p).any() for p in range(len(case.pools)))
    return bool(alone and ordered and not odd and not case.demands and not case.two_pole_kw.any())


def _programme(case: Case, p: int) -> Programme:
    pool = case.pools[p]
    share = case.charge_kw[p] / pool.charge_kw if 0.0 < pool.charge_kw < inf else case.charge_kw[p] > 0.0
    return programme(
        case.load_kw,
        case.reach_kw[p],
        case.solar_kw,
        case.buy_per_kwh,
        case.sell_per_kwh,
        pool,
        wear_per_kwh=case.wear_per_kwh,
        export=case.export,
        step_h=case.step_h,
        charge_ok=share,
        utility_ok=case.utility_ok,
        dc_kw=case.dc_kw[p],
    )


def _exact(case: Case, floor, start, end) -> Best:
    found = [
        best_path(_programme(case, p), floor_kwh=floor[p], start_kwh=start[p], end_kwh=end[p])
        for p in range(len(case.pools))
    ]
    targets, soc, costs = zip(*found, strict=True)
    cost = sum(costs) - _shared(case)
    return Best(np.array(targets), np.array(soc), cost, cost, (), METHOD)


def _exact_cost(case: Case, floor, start, end) -> float:
    costs = [
        best_cost(_programme(case, p), floor_kwh=floor[p], start_kwh=start[p], end_kwh=end[p])
        for p in range(len(case.pools))
    ]
    return sum(costs) - _shared(case)


def _shared(case: Case) -> float:
    """The house's own cost, counted once for each pool beyond the first."""
    return (len(case.pools) - 1) * float((case.buy_per_kwh * case.load_kw).sum()) * case.step_h


class Solver:
    """A case held by HiGHS: the first solve is cold, later ones with other floors, starts and ends are warm.

    Examples
    --------
    >>> solver = Solver(checked_case([0.0, 1.0], 9, 0, [0.1, 0.3], 0.0, Pool(1.0)))
    >>> [round(solver.best(*checked_states(solver.case, floor, 0.5, 0.0)).cost, 9) for floor in (0.0, 0.5)]
    [0.05, 0.2]
    """

    def __init__(self, case: Case, clashes=None, rounds: int = MOST_ROUNDS, *, cyclic: bool = False):
        self.rounds, self.cyclic = rounds, cyclic
        self.case, self.clashes = case, np.zeros((len(case.pools), case.n_steps), bool) if clashes is None else clashes
        self.is_small = case.n_steps <= MOST_STEPS
        self.made = equations(case, self.clashes, may_split=self.is_small, cyclic=cyclic)
        self.highs, self.is_mixed = loaded(self.made)

    def best(self, floor_kwh, start_kwh, end_kwh) -> Best:
        """Solve with these floors, shape (n_pools, n_steps), starts and ends, shape (n_pools,), if not cyclic."""
        for p, pool in enumerate(self.case.pools):
            begins = (0.0, pool.usable_kwh) if self.cyclic else (start_kwh[p], start_kwh[p])
            low = np.r_[begins[0], floor_kwh[p]]
            low[-1] = max(low[-1], 0.0 if self.cyclic else end_kwh[p])
            high = np.r_[begins[1], np.full(self.case.n_steps, pool.usable_kwh)]
            columns = self.made.columns[f"stored {p}"].astype(np.int32)
            self.highs.changeColsBounds(len(columns), columns, low, high)
        solved(self.highs)
        value = np.array(self.highs.getSolution().col_value)
        clashes = self._clashes(value) | self.clashes
        new = bool((clashes & ~self.clashes).any())
        if new and self.is_small and self.rounds > 0:
            again = Solver(self.case, clashes, self.rounds - 1, cyclic=self.cyclic)
            return again.best(floor_kwh, start_kwh, end_kwh)
        odd = not self.is_small and any(offending(self.case, p).any() for p in range(len(self.case.pools)))
        return self._read(value, relaxed=new or odd)

    def _clashes(self, value) -> np.ndarray:
        """Steps in which a pool would charge and serve at once, since the other pool of a pair gains by it."""
        at = self.made.columns
        busy = [value[at[f"serve {p}"]] + value[at["pair"]] for p in range(len(self.case.pools))]
        charging = [value[at[f"charge {p}"]] for p in range(len(self.case.pools))]
        return (np.minimum(busy, charging) > CLASH) & (self.case.two_pole_kw > 0.0)

    def _read(self, value, relaxed: bool) -> Best:
        case, info = self.case, self.highs.getInfo()
        soc = np.array(
            [
                np.clip(value[self.made.columns[f"stored {p}"]], 0.0, pool.usable_kwh)
                for p, pool in enumerate(case.pools)
            ]
        )
        targets = np.repeat(soc[:, 1:, None], 4, axis=2)
        if not (case.parallel and case.export):
            for p, pool in enumerate(case.pools):
                targets[p, :, 0] = pool.usable_kwh + case.dc_kw[p] * case.step_h
        targets[:, ~case.utility_ok, 3] = 0.0  # a walk that is off the path may not buy its way back
        peaks = tuple(value[self.made.columns[f"peak {d}"]] for d in range(len(case.demands)))
        cost = float(info.objective_function_value)
        bound = float(info.mip_dual_bound) if self.is_mixed else cost
        method = RELAXED if relaxed else MIXED if self.is_mixed else LINEAR
        return Best(targets, soc, cost, min(bound, cost), peaks, method)
