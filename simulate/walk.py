"""The walk over the steps of a year on the utility: a plan's targets, moved to within the pools' limits."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from profiles.noun import BadInput
from simulate.battery import Cell, Pool, discharge_efficiency, fill, grid_step, works_in_parallel
from simulate.compiled import jit, jit_inside


@dataclass(frozen=True, eq=False)
class Year:
    """One year, step by step; every series has shape (n_steps,), AC mean kW unless it says otherwise.

    `soc_kwh` is the stored energy of all pools at the start of each step and `pool_kwh` the same by pool, shape
    (n_pools, n_steps + 1), the end included. `residual_kwh` is what the energy balance leaves over.
    """

    step_h: float
    load_kw: np.ndarray
    solar_kw: np.ndarray
    import_kw: np.ndarray
    export_kw: np.ndarray
    charge_kw: np.ndarray
    discharge_kw: np.ndarray
    loss_kw: np.ndarray
    curtailed_kw: np.ndarray
    pool_kwh: np.ndarray
    pool_discharge_kw: np.ndarray

    def __post_init__(self):
        for field in fields(self):
            if isinstance(getattr(self, field.name), np.ndarray):
                getattr(self, field.name).flags.writeable = False

    @property
    def soc_kwh(self) -> np.ndarray:
        return self.pool_kwh[:, :-1].sum(axis=0)

    @property
    def stored_change_kwh(self) -> float:
        return float(self.pool_kwh[:, -1].sum() - self.pool_kwh[:, 0].sum())

    def energy_kwh(self) -> dict[str, float]:
        """Sums over the year by name, with the residual of the balance. [kWh]"""
        names = ("load", "solar", "import", "export", "charge", "discharge", "loss", "curtailed")
        sums = {name: float(getattr(self, f"{name}_kw").sum() * self.step_h) for name in names}
        sums["stored_change"] = self.stored_change_kwh
        sums["residual"] = (
            sums["solar"] + sums["import"] - sums["export"] - sums["load"] - sums["loss"] - sums["curtailed"]
            - sums["stored_change"]
        )  # fmt: skip
        return sums

    def to_frame(self):
        """The series as a pandas DataFrame, one row a step."""
        import pandas as pd

        names = [f.name for f in fields(self) if f.name.endswith("_kw") and f.name != "pool_discharge_kw"]
        return pd.DataFrame({name: getattr(self, name) for name in names} | {"soc_kwh": self.soc_kwh})

    def _repr_html_(self) -> str:
        from simulate.glance import year_html

        return year_html(self.energy_kwh())


@dataclass(frozen=True, eq=False)
class Wish:
    """What the pools are asked to do in each step, all arrays ready for the compiled walk.

    Parameters
    ----------
    reach_kw : ndarray, shape (n_pools, n_steps)
        Load of the circuits that are switched to each pool (transfer); the output limit in parallel. [kW]
    two_pole_kw : ndarray, shape (n_steps,)
        Two-pole circuits that are switched to a locked pair, half on each pool (transfer). [kW]
    targets_kwh : ndarray, shape (n_pools, n_steps, 4)
        Export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    stay_kwh : ndarray, shape (n_pools, n_steps)
        At the first step of a period of service: the stored energy below which the least stay cannot be kept, so
        that nothing is switched in it; else -1. [kWh]
    charge_kw : ndarray, shape (n_pools, n_steps)
        AC charging limit. [kW]
    dc_kw : ndarray, shape (n_pools, n_steps)
        Solar that is connected to the cells. [kW]
    inside_kw : ndarray, shape (n_pools, n_steps)
        Part of `solar_kw` that is connected at the sub-panel and goes with it when it is switched over. [kW]
    parallel : bool
        Works in parallel with the utility and follows what solar leaves of the house load.
    export : bool
        The pools may export (parallel only); without it "export down to" is not followed.
    over_kw : ndarray, shape (n_steps,), optional
        House and on-grid draws less solar, less an import cap; -inf where no cap counts. Charging then draws no more
        than what is left below the cap, and in parallel the pools serve only what is over it. [kW]
    """

    reach_kw: np.ndarray
    two_pole_kw: np.ndarray
    targets_kwh: np.ndarray
    stay_kwh: np.ndarray
    charge_kw: np.ndarray
    dc_kw: np.ndarray
    inside_kw: np.ndarray
    parallel: bool
    export: bool = False
    over_kw: np.ndarray | None = None


NO_CAP = np.zeros(0)


@jit
def _cell(cells, p):
    c = cells[p]
    return Cell(c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7], c[8], c[9], c[10])


@jit
def _serve(e_kwh, floor_kwh, load_kw, inside_kw, cell, h):
    """Whole circuits switched over until the floor is reached, sub-panel solar with them.

    Outputs that take nothing back carry no solar: it is lost while it is switched over. Returns the stored energy,
    the time served [h], AC charged, AC delivered and solar not used [kWh].
    """
    if not cell.takes_back_kw > 0.0:
        lost_kw, inside_kw = inside_kw, 0.0
    else:
        lost_kw = 0.0
    out_kw = max(load_kw - inside_kw, 0.0)
    spare_kw = max(inside_kw - load_kw, 0.0)
    back_kw = min(spare_kw, cell.takes_back_kw)
    rate_kw = out_kw / cell.discharge_efficiency + cell.no_load_kw - back_kw * cell.charge_efficiency
    if rate_kw > 0.0:
        t = min((e_kwh - floor_kwh) / rate_kw, h)
        end = floor_kwh if t < h else max(e_kwh - rate_kw * h, floor_kwh)
        return end, t, back_kw * t, out_kw * t, (spare_kw - back_kw + lost_kw) * t
    end, _ = fill(e_kwh, cell.usable_kwh, back_kw * cell.charge_efficiency, cell.no_load_kw, cell, h)
    charged = (end - e_kwh + cell.no_load_kw * h) / cell.charge_efficiency
    return end, h, charged, 0.0, spare_kw * h - charged


@jit
def _walk(
    load_kw, solar_kw, over_kw, reach_kw, two_kw, targets, stay, charge_kw, dc_kw, inside_kw, modes, cells, h, out, soc
):
    """Fill `out` (AC in and out, solar lost, solar spilled, losses [kW], hours inverting) and `soc`.

    `out` has the shape (n_pools, 6, n_steps), `modes` is (parallel, export), and without a cap `over_kw` has no steps.
    """
    n_pools, n_steps = reach_kw.shape
    hold = (np.zeros(n_pools, np.bool_), np.zeros(n_pools), np.zeros(n_pools), np.zeros(n_pools))
    on_grid = cells[:, 10].sum()
    wish = (reach_kw, two_kw, targets, stay, charge_kw, dc_kw, inside_kw)
    for t in range(n_steps):
        over = over_kw[t] if over_kw.shape[0] > 0 else -math.inf
        pools_step(t, solar_kw[t] - load_kw[t] - on_grid, over, wish, modes, cells, h, hold, out, soc)


@jit_inside
def pools_step(t, spare, over, wish, modes, cells, h, hold, out, soc):
    """One step of all pools behind one meter, from `soc[:, t]` to `soc[:, t + 1]`; writes `out[:, :, t]`.

    Parameters
    ----------
    t : int
        Step, the last index of every array of `wish`.
    spare : float
        Solar less the house and the on-grid draws; negative where the house draws. [kW]
    over : float
        What the house draws beyond an import cap; -inf without a cap. [kW]
    wish : tuple
        (reach, two-pole, targets, stay, charging limits, solar on the cells, sub-panel solar) as in `Wish`.
    hold : tuple of arrays, shape (n_pools,)
        Pools that are not switched over in this period, which lasts from step to step; then room for three floats.
    """
    reach_kw, two_kw, targets, stay, charge_kw, dc_kw, inside_kw = wish
    parallel, export = modes
    blocked, sun_kw, draw_kw, most_kw = hold
    n_pools, capped = reach_kw.shape[0], over > -math.inf
    if parallel:
        _split_need(min(-spare, over) if capped else -spare, t, reach_kw, targets, dc_kw, cells, soc, h, draw_kw)
    _split_surplus(spare, t, charge_kw, targets, cells, soc, h, sun_kw)
    for p in range(n_pools):
        most_kw[p] = charge_kw[p, t]
        if stay[p, t] >= 0.0:
            blocked[p] = soc[p, t] < stay[p, t]
    if capped:
        _split_room(-over, spare > 0.0, t, targets, cells, soc, h, most_kw)
    pair_h = _pair_h(t, wish, blocked, sun_kw, cells, soc, h)
    for p in range(n_pools):
        cell = _cell(cells, p)
        e = soc[p, t] + dc_kw[p, t] * h
        charged, served, wasted, spilled, time = 0.0, 0.0, 0.0, 0.0, 0.0
        kw = 0.0 if blocked[p] else reach_kw[p, t]
        floor = targets[p, t, 1]
        if parallel or _wants(p, t, e, sun_kw, targets) or e <= floor or not (kw > 0.0 or pair_h > 0.0):
            kw = draw_kw[p] if parallel else 0.0
            efficiency = discharge_efficiency(cell.discharge_kw, cell)
            x = targets[p, t]
            export_to = x[0] if export else math.inf
            e, charged, served = grid_step(
                e, export_to, x[1], x[2], x[3], sun_kw[p], most_kw[p], kw, efficiency, cell, h
            )
            time = served / cell.discharge_kw if served > 0.0 else 0.0
        else:
            if pair_h > 0.0:
                e, time, charged, served, wasted = _serve(
                    e, floor, kw + 0.5 * two_kw[t], inside_kw[p, t], cell, pair_h
                )
            if kw > 0.0 and time < h and e > floor:
                e, more, c, s, w = _serve(e, floor, kw, inside_kw[p, t], cell, h - time)
                time, charged, served, wasted = time + more, charged + c, served + s, wasted + w
        if e > cell.usable_kwh:
            spilled = e - cell.usable_kwh
            e = cell.usable_kwh
        soc[p, t + 1] = e
        lost = charged * (1.0 - cell.charge_efficiency) + served * (1.0 / cell.discharge_efficiency - 1.0)
        out[p, 0, t] = charged / h
        out[p, 1, t] = served / h
        out[p, 2, t] = wasted / h
        out[p, 3, t] = spilled / h
        out[p, 4, t] = (lost + cell.no_load_kw * time + cell.on_grid_kw * (h - time)) / h
        out[p, 5, t] = time


@jit
def _wants(p, t, e_kwh, sun_kw, targets):
    """The pool is to be charged in this step, so it does not serve."""
    return (sun_kw[p] > 0.0 and e_kwh < targets[p, t, 2]) or e_kwh < targets[p, t, 3]


@jit
def _pair_h(t, wish, blocked, sun_kw, cells, soc, h):
    """Time for which a locked pair serves its two-pole circuits: until the first reaches its floor. [h]"""
    reach_kw, two_kw, targets, _, _, dc_kw, inside_kw = wish
    if not two_kw[t] > 0.0:
        return 0.0
    pair_h = h
    for p in range(reach_kw.shape[0]):
        e = soc[p, t] + dc_kw[p, t] * h
        if blocked[p] or e <= targets[p, t, 1] or _wants(p, t, e, sun_kw, targets):
            return 0.0
        kw = reach_kw[p, t] + 0.5 * two_kw[t]
        pair_h = min(pair_h, _serve(e, targets[p, t, 1], kw, inside_kw[p, t], _cell(cells, p), h)[1])
    return pair_h


@jit
def _split_need(need_kw, t, reach_kw, targets, dc_kw, cells, soc, h, draw_kw):
    """Share the house load that solar leaves among the pools in proportion to what each can deliver."""
    total, grid = 0.0, 0.0
    for p in range(reach_kw.shape[0]):
        cell = _cell(cells, p)
        held = max(soc[p, t] + dc_kw[p, t] * h - targets[p, t, 1], 0.0)
        draw_kw[p] = min(reach_kw[p, t], held * discharge_efficiency(cell.discharge_kw, cell) / h)
        total += draw_kw[p]
        grid += draw_kw[p] * cell.on_grid_kw / cell.discharge_kw if draw_kw[p] > 0.0 else 0.0
    if total + grid > need_kw:
        for p in range(reach_kw.shape[0]):
            draw_kw[p] *= max(need_kw, 0.0) / (total + grid)


@jit
def _split_surplus(spare_kw, t, charge_kw, targets, cells, soc, h, sun_kw):
    """Surplus solar that each pool may take: all of it where there is room for all, else by room in proportion."""
    total, n_pools = 0.0, sun_kw.shape[0]
    for p in range(n_pools):
        sun_kw[p] = max(spare_kw, 0.0)
    if n_pools == 1 or spare_kw <= 0.0:
        return
    for p in range(n_pools):
        total += min(charge_kw[p, t], max(targets[p, t, 2] - soc[p, t], 0.0) / (cells[p, 3] * h))
    if total > spare_kw:
        for p in range(n_pools):
            room_kw = min(charge_kw[p, t], max(targets[p, t, 2] - soc[p, t], 0.0) / (cells[p, 3] * h))
            sun_kw[p] = spare_kw * room_kw / total


@jit
def _split_room(room_kw, sunny, t, targets, cells, soc, h, most_kw):
    """Cut the charging limits to what a cap leaves, in proportion to what each pool has room for."""
    total = 0.0
    for p in range(most_kw.shape[0]):
        total += min(most_kw[p], _wanted_kw(p, t, sunny, targets, cells, soc, h))
    if total > room_kw:
        for p in range(most_kw.shape[0]):
            wanted_kw = min(most_kw[p], _wanted_kw(p, t, sunny, targets, cells, soc, h))
            most_kw[p] = wanted_kw * max(room_kw, 0.0) / total


@jit
def _wanted_kw(p, t, sunny, targets, cells, soc, h):
    """AC power that fills a pool to its target within the step."""
    goal = max(targets[p, t, 2], targets[p, t, 3]) if sunny else targets[p, t, 3]
    return max(goal - soc[p, t], 0.0) / (cells[p, 3] * h)


def walk_year(load_kw, solar_kw, wish: Wish, pools: tuple[Pool, ...], soc_kwh, step_h: float, export=True) -> Year:
    """Move the pools through every step of a year.

    Parameters
    ----------
    load_kw, solar_kw : ndarray, shape (n_steps,)
        House load and AC solar at the meter. [kW]
    wish : Wish
    pools : tuple of Pool
        One for each leg, or one for both.
    soc_kwh : sequence of float, length n_pools
        Stored energy at the start. [kWh]
    step_h : float
        Length of a step. [h]
    export : bool
        Surplus solar may go out; if not it is curtailed.

    Returns
    -------
    Year
    """
    n_pools, n_steps = wish.reach_kw.shape
    cells = np.array([pool.cell for pool in pools], dtype=float).reshape(n_pools, len(Cell._fields))
    out = np.zeros((n_pools, 6, n_steps))
    soc = np.zeros((n_pools, n_steps + 1))
    soc[:, 0] = soc_kwh
    over_kw = NO_CAP if wish.over_kw is None else wish.over_kw
    _walk(
        load_kw, solar_kw, over_kw, wish.reach_kw, wish.two_pole_kw, wish.targets_kwh, wish.stay_kwh, wish.charge_kw,
        wish.dc_kw, wish.inside_kw, (wish.parallel, wish.export), cells, float(step_h), out, soc,
    )  # fmt: skip
    charge, discharge, wasted, spilled, loss = (out[:, k].sum(axis=0) for k in range(5))
    on_grid = cells[:, 10] @ (1.0 - out[:, 5] / step_h)
    net = load_kw + on_grid + charge - discharge - solar_kw + wasted
    net[np.abs(net) < 1e-12] = 0.0
    over = np.maximum(-net, 0.0)
    curtailed = wasted + spilled
    if not export:
        curtailed, over = curtailed + over, np.zeros(n_steps)
    return Year(
        step_h=float(step_h), load_kw=load_kw.copy(), solar_kw=solar_kw + wish.dc_kw.sum(axis=0),
        import_kw=np.maximum(net, 0.0), export_kw=over, charge_kw=charge, discharge_kw=discharge, loss_kw=loss,
        curtailed_kw=curtailed, pool_kwh=soc, pool_discharge_kw=out[:, 1].copy(),
    )  # fmt: skip


def run_plan(load_kw, reach_kw, solar_kw, targets_kwh, pool: Pool, *, soc_kwh: float, step_h: float = 1.0) -> Year:
    """Move one pool towards a plan's states of charge, within its limits.

    Parameters
    ----------
    load_kw, solar_kw : array_like, shape (n_steps,) or scalar
        House load and solar at the meter, mean over each step. [kW]
    reach_kw : array_like, shape (n_steps,) or scalar
        Load of the whole circuits that may be switched over in each step; anywhere above the house load (or
        infinite): the pool works in parallel and follows what solar leaves. [kW]
    targets_kwh : array_like, shape (n_steps, 4)
        Export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    pool : Pool
    soc_kwh : float
        Stored energy at the start. [kWh]
    step_h : float
        Length of a step. [h]

    Returns
    -------
    Year

    Raises
    ------
    BadInput
        A series of the wrong length, negative, NaN or infinite.

    Examples
    --------
    A full 10 kWh pool serves 2 kW down to 4 kWh:

    >>> year = run_plan([2.0] * 4, [2.0] * 4, 0.0, [[10, 4, 0, 0]] * 4, Pool(10), soc_kwh=10)
    >>> [float(kw) for kw in year.import_kw]
    [0.0, 0.0, 0.0, 2.0]
    """
    targets = np.array(targets_kwh, dtype=float)
    n_steps = len(targets)
    if targets.shape != (n_steps, 4) or np.isnan(targets).any():
        raise BadInput("must have shape (n_steps, 4) and no NaN", key="targets_kwh", value=targets.shape)
    load, solar = (series(x, n_steps, key) for x, key in ((load_kw, "load_kw"), (solar_kw, "solar_kw")))
    reach = series(reach_kw, n_steps, "reach_kw", most=np.inf)
    if not 0.0 <= soc_kwh <= pool.usable_kwh:
        raise BadInput("must lie between 0 and usable_kwh", key="soc_kwh", value=soc_kwh)
    one = (1, n_steps)
    wish = Wish(
        reach_kw=np.minimum(reach, pool.discharge_kw).reshape(one), two_pole_kw=np.zeros(n_steps),
        targets_kwh=targets.reshape(1, n_steps, 4), stay_kwh=np.full(one, -1.0),
        charge_kw=np.full(one, pool.charge_kw), dc_kw=np.zeros(one), inside_kw=np.zeros(one),
        parallel=works_in_parallel(load, reach), export=bool((targets[:, 0] < pool.usable_kwh).any()),
    )  # fmt: skip
    return walk_year(load, solar, wish, (pool,), [soc_kwh], step_h)


def series(values, n_steps: int, key: str, most: float = 1e9) -> np.ndarray:
    """A series as a float64 array of shape (n_steps,), refused where it is negative, NaN or beyond `most`."""
    array = np.full(n_steps, float(values)) if np.ndim(values) == 0 else np.array(values, dtype=float)
    if array.shape != (n_steps,):
        raise BadInput("must have one value a step", key=key, value=array.shape, way_out=f"give {n_steps} values")
    if not ((array >= 0.0) & (array <= most)).all():
        first = int(np.flatnonzero(~((array >= 0.0) & (array <= most)))[0])
        raise BadInput(f"must be 0 or above and finite in step {first}", key=key, value=float(array[first]))
    return array
