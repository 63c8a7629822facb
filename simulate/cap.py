"""The lowest import cap that a pool can keep, month by month, and how often it would have held."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput
from simulate.battery import Pool, grid_step, serve_terms, works_in_parallel
from simulate.compiled import jit
from simulate.forecast import Calendar
from simulate.programme import charge_limit_kw, number, series, switches

HALVINGS = 50
"""Of the interval in which the cap lies: to 1e-15 of the month's largest import."""

KEPT_KW = 1e-12


@dataclass(frozen=True, eq=False)
class Cap:
    """The lowest caps that hold.

    Attributes
    ----------
    kw : ndarray, shape (n_periods,)
        The lowest cap on the import of each period. [kW]
    held_frac : ndarray, shape (n_periods,)
        Share of the redraws of like days in which it held. [0 to 1]
    without_kw : ndarray, shape (n_periods,)
        The largest import of each period without a battery. [kW]
    """

    kw: np.ndarray
    held_frac: np.ndarray
    without_kw: np.ndarray


@jit
def cap_step(e_kwh, goal, floor_kwh, net_kw, cap_kw, charge_kw, limit_kw, efficiency, gain, cell, h):
    """One step on the utility under an import cap.

    The plan's step comes first, its charging cut to what the cap leaves. Where that still buys too much, the pool
    serves what is over, down to the floor.

    Returns
    -------
    e_kwh, import_kw : float
        Stored energy at the end, and mean import less export. [kWh, kW]
    """
    surplus_kw, room_kw = max(-net_kw, 0.0), max(cap_kw - net_kw, 0.0)
    end, charged, served = grid_step(
        e_kwh, goal[0], goal[1], goal[2], goal[3], surplus_kw, min(charge_kw, room_kw), limit_kw, efficiency, cell, h
    )
    import_kw = net_kw + (charged - served * gain) / h
    if import_kw > cap_kw and net_kw > cap_kw:
        most_kw = min((net_kw - cap_kw) / gain, limit_kw)
        end, _, served = grid_step(
            e_kwh, math.inf, min(floor_kwh, e_kwh), 0.0, 0.0, 0.0, 0.0, most_kw, efficiency, cell, h
        )
        import_kw = net_kw - served * gain / h
    return end, import_kw


@jit
def cap_walk(source, first, last, e_kwh, cap_kw, counted, targets, floor_kwh, series, cell, h):
    """Walk steps `first` to `last` under a cap; `source` names the step whose load, solar and reach each one has.

    `series` are net_kw, charge_kw, limit_kw, efficiency and gain. Returns whether the cap was kept, and the state.
    """
    net_kw, charge_kw, limit_kw, efficiency, gain = series
    for t in range(first, last):
        s = source[t]
        cap = cap_kw if counted[t] else math.inf
        e_kwh, import_kw = cap_step(
            e_kwh, targets[t], floor_kwh[t], net_kw[s], cap, charge_kw[t], limit_kw[s], efficiency[s], gain[s], cell, h
        )
        if import_kw > cap + KEPT_KW:
            return False, e_kwh
    return True, e_kwh


@jit
def _lowest(source, first, last, e_kwh, high_kw, counted, targets, floor_kwh, series, cell, h):
    low, high = 0.0, high_kw
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if cap_walk(source, first, last, e_kwh, middle, counted, targets, floor_kwh, series, cell, h)[0]:
            high = middle
        else:
            low = middle
    return high, cap_walk(source, first, last, e_kwh, high, counted, targets, floor_kwh, series, cell, h)[1]


@jit
def _held(sources, first, last, e_kwh, cap_kw, counted, targets, floor_kwh, series, cell, h):
    held = 0
    for r in range(len(sources)):
        if cap_walk(sources[r], first, last, e_kwh, cap_kw, counted, targets, floor_kwh, series, cell, h)[0]:
            held += 1
    return held / len(sources)


def lowest_cap(
    load_kw, reach_kw, solar_kw, targets_kwh, pool: Pool, *, period, calendar: Calendar, soc_kwh, floor_kwh=0.0,
    counted=None, charge_ok=None, n_redraws=200, seed=0, step_h=1.0,
) -> Cap:  # fmt: skip
    """The lowest import cap that a pool keeps in each billing period, and how often it holds on other like days.

    Parameters
    ----------
    load_kw, reach_kw, solar_kw, pool, step_h, charge_ok
        As `best_targets`.
    targets_kwh : array_like, shape (n_steps, 4)
        The plan that is followed below the cap: keep-full targets refill as fast as the cap allows. [kWh]
    period : array_like of int, shape (n_steps,)
        Billing period of each step, 0, 1, 2 ... in order of time.
    calendar : Calendar
        Its kinds say which days are alike.
    soc_kwh : float
        Stored energy at the start of the first period. [kWh]
    floor_kwh : array_like, shape (n_steps,) or float
        What the cap may not draw on. [kWh]
    counted : array_like of bool, shape (n_steps,), optional
        Steps in which the demand charge looks; all unless given.
    n_redraws : int
        Redraws of each period, every day replaced by one of its kind and period.
    seed : int
        Of the redraws.

    Returns
    -------
    Cap

    Raises
    ------
    BadInput
        Series of other lengths, NaN, or periods out of order.

    Notes
    -----
    Bisection over the cap on a compiled walk, one period after the other, each from the state in which the one before
    it ended. The cap holds on the mean of every step: where the demand window is longer it could be lower. It is found
    with the year known; `held_frac` says how much of it is luck, on redraws from the same one year.

    Examples
    --------
    A 4 kW hour among 1 kW hours, 1 kWh in store that is bought back later:

    >>> from simulate.forecast import calendar_of
    >>> calendar = calendar_of([0, 0, 0, 0], [0, 1, 2, 3], [0])
    >>> cap = lowest_cap([1.0, 4.0, 1.0, 1.0], 9, 0, [[1, 1, 1, 1]] * 4, Pool(1.0), period=[0] * 4, calendar=calendar,
    ...                  soc_kwh=1.0)
    >>> round(float(cap.kw[0]), 9), float(cap.held_frac[0]), float(cap.without_kw[0])
    (3.0, 1.0, 4.0)
    """
    load = series(load_kw, "load_kw", least=-math.inf)
    n, h = len(load), number(step_h, "step_h", least=1e-6)
    reach, solar = series(reach_kw, "reach_kw", n, infinite=True), series(solar_kw, "solar_kw", n)
    floor = series(floor_kwh, "floor_kwh", n, most=pool.usable_kwh)
    looked, e = switches(counted, "counted", n), number(soc_kwh, "soc_kwh", most=pool.usable_kwh)
    targets = np.ascontiguousarray(targets_kwh, dtype=float)
    if targets.shape != (n, 4) or np.isnan(targets).any():
        raise BadInput(f"must have shape ({n}, 4) and no NaN", key="targets_kwh", value=targets.shape)
    edges = _edges(np.asarray(period), n)
    if len(calendar.day) != n or not n_redraws >= 1:
        raise BadInput("needs one day a step and n_redraws of 1 or more", key="calendar.day", value=len(calendar.day))
    columns = _columns(load, reach, solar, pool, charge_limit_kw(pool, charge_ok, n))
    sources = redraws(calendar, np.asarray(period), n_redraws, seed)
    kw, held, without = (np.zeros(len(edges) - 1) for _ in range(3))
    for k, (first, last) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        without[k] = max(float(np.max(columns[0][first:last], where=looked[first:last], initial=0.0)), 0.0)
        common = (looked, targets, floor, columns, pool.cell, h)
        start = e
        kw[k], e = _lowest(np.arange(n), first, last, start, without[k], *common)
        held[k] = _held(sources, first, last, start, kw[k], *common)
    return Cap(kw, held, without)


def redraws(calendar: Calendar, period, n_redraws: int, seed: int) -> np.ndarray:
    """Steps from which each step takes its load and solar in each redraw, shape (n_redraws, n_steps).

    Every day is replaced by one drawn from the days of its kind that begin in its billing period, itself among them.
    """
    rng = np.random.default_rng(seed)
    table = calendar.step_table()
    month = np.asarray(period)[table[:, 0]]
    drawn = np.empty((n_redraws, calendar.n_days), dtype=np.int64)
    for one in np.unique(month):
        for kind in np.unique(calendar.kind):
            days = np.flatnonzero((month == one) & (calendar.kind == kind))
            if len(days):
                drawn[:, days] = rng.choice(days, (n_redraws, len(days)))
    return table[drawn[:, calendar.day], calendar.slot]


def _edges(period, n_steps: int) -> np.ndarray:
    """First step of each period, and the end."""
    if period.shape != (n_steps,) or not np.array_equal(np.unique(period), np.arange(period.max() + 1)):
        raise BadInput("must have one value a step and be numbered 0, 1, 2 ...", key="period", value=period.shape)
    if (np.diff(period) < 0).any():
        raise BadInput("must be in order of time", key="period", value=int(period[0]))
    return np.r_[np.flatnonzero(np.diff(period, prepend=-1)), n_steps]


def _columns(load, reach, solar, pool: Pool, charge):
    """Net load, charging limit, serving limit, its efficiency, and AC at the meter per AC delivered, by step."""
    limit, efficiency = serve_terms(load, reach, solar, pool)
    parallel = works_in_parallel(load, reach)
    inverts = np.full(len(load), pool.discharge_kw) if parallel else np.minimum(reach, pool.discharge_kw)
    gain = 1.0 + pool.on_grid_kw / np.where(inverts > 0.0, inverts, np.inf)
    return load - solar + pool.on_grid_kw, charge, limit, efficiency, gain
