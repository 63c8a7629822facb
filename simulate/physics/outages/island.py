"""An island in an outage: what its pools meet, walked from one start or from every start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.physics.outage_walk import EMPTY, HELD_OFF, OVERLOAD, every_outage, one_outage
from simulate.physics.pool import Cell, Pool

WHY = {EMPTY: "empty", OVERLOAD: "overload", HELD_OFF: "held-off"}


@dataclass(frozen=True, eq=False)
class Island:
    """What the pools meet in an outage, ready for the compiled walk; time is the last axis.

    Attributes
    ----------
    load_kw : ndarray, shape (2, 2, n_pools, n_steps)
        Load on each pool [hand or not, other pool up or dark]: index 0 of the first axis is what load control leaves
        at once, 1 is what people have switched off by hand; of the second, 0 both pools up, 1 only this one. [kW]
    trips : ndarray of bool, same shape
        The load exceeds the output.
    sheds : ndarray of bool, same shape
        Load control has dropped a single-pole circuit of this pool.
    hand : ndarray of bool, shape (n_steps,)
        Someone is up to switch off by hand.
    solar_kw : ndarray, shape (n_pools, n_steps)
        Solar that returns to the island, AC. [kW]
    dc_kw : ndarray, shape (n_pools, n_steps)
        Solar on the cells. [kW]
    may_charge : ndarray, shape (n_pools, n_steps)
        1, or 0 where the cells are too cold.
    latches : bool
        A trip lasts to the end of the outage.
    reconnect_h : float
        Wait of solar on a new island. [h]
    """

    load_kw: np.ndarray
    trips: np.ndarray
    sheds: np.ndarray
    hand: np.ndarray
    solar_kw: np.ndarray
    dc_kw: np.ndarray
    may_charge: np.ndarray
    latches: bool
    reconnect_h: float


@dataclass(frozen=True, eq=False)
class Dark:
    """When and why each pool first goes dark, and when load control first drops one of its circuits.

    Attributes
    ----------
    dark_h, shed_h : ndarray, shape (n_starts, n_pools)
        Hours from the start; infinite beyond the horizon. [h]
    why : ndarray of int, shape (n_starts, n_pools)
        0 not dark, 1 empty, 2 overload, 3 solar held off.
    end_h : ndarray, shape (n_starts,)
        How long each outage was followed. [h]
    """

    dark_h: np.ndarray
    shed_h: np.ndarray
    why: np.ndarray
    end_h: np.ndarray


def dark_hours(island: Island, pools, soc_kwh, *, step_h, horizon_h=336.0, begin=None, wrap=True) -> Dark:
    """First dark moment of each pool for an outage that begins at every step.

    Parameters
    ----------
    island : Island
    pools : tuple of Pool
    soc_kwh : ndarray, shape (n_pools, n_starts)
        Stored energy of each pool at the start. [kWh]
    step_h, horizon_h : float
        Length of a step, and how long an outage is followed. [h]
    begin : ndarray of int, shape (n_starts,), optional
        Step at which the units take over; by default start k is step k.
    wrap : bool
        The year's end is followed by its beginning.

    Returns
    -------
    Dark
    """
    n_starts = soc_kwh.shape[1]
    begin = np.arange(n_starts) if begin is None else np.asarray(begin, dtype=np.int64)
    cells = np.array([pool.cell for pool in pools], dtype=float).reshape(len(pools), len(Cell._fields))
    dark, shed = np.full((n_starts, len(pools)), np.inf), np.full((n_starts, len(pools)), np.inf)
    why, end_h = np.zeros((n_starts, len(pools)), np.int64), np.zeros(n_starts)
    times = (float(step_h), float(horizon_h), island.reconnect_h)
    every_outage(
        begin,
        np.ascontiguousarray(soc_kwh, dtype=float),
        island.load_kw,
        island.trips,
        island.sheds,
        island.hand,
        island.solar_kw,
        island.dc_kw,
        island.may_charge,
        (island.latches, wrap),
        times,
        cells,
        dark,
        shed,
        why,
        end_h,
    )
    return Dark(dark, shed, why, end_h)


@dataclass(frozen=True, eq=False)
class Trace:
    """One outage step by step; every array has shape (n_pools, n_steps_followed) or (n_steps_followed,).

    `soc_kwh` is at the start of each step, `on_h` the hours of the step in which the pool serves its leg, `pair_h`
    those in which all pools do; energies are of the step. [kWh]
    """

    soc_kwh: np.ndarray
    on_h: np.ndarray
    pair_h: np.ndarray
    served_kwh: np.ndarray
    charge_kwh: np.ndarray
    curtailed_kwh: np.ndarray
    by_hand: np.ndarray


def follow_outage(island: Island, pools, soc_kwh, start: int, *, step_h: float, horizon_h: float) -> Trace:
    """Follow one outage past the first dark moment, restarts included.

    Parameters
    ----------
    island : Island
    pools : tuple of Pool
    soc_kwh : sequence of float, length n_pools
        Stored energy at the start. [kWh]
    start : int
        Step at which it begins.
    """
    n = int(np.ceil(horizon_h / step_h - 1e-9))
    rows = np.zeros((n, 5 * len(pools) + 2))
    cells = np.array([pool.cell for pool in pools], dtype=float).reshape(len(pools), len(Cell._fields))
    nothing = np.full(len(pools), np.inf), np.full(len(pools), np.inf), np.zeros(len(pools), np.int64)
    one_outage(
        start,
        np.array(soc_kwh, dtype=float),
        island.load_kw,
        island.trips,
        island.sheds,
        island.hand,
        island.solar_kw,
        island.dc_kw,
        island.may_charge,
        (island.latches, True),
        (float(step_h), float(horizon_h), island.reconnect_h),
        cells,
        *nothing,
        rows,
    )
    p = len(pools)
    part = [rows[:, k * p : (k + 1) * p].T for k in range(5)]
    return Trace(part[0], part[1], rows[:, 5 * p], part[2], part[3], part[4], rows[:, 5 * p + 1] > 0.0)


def simple_island(load_kw, pool: Pool, solar_kw=None, reconnect_h: float = 0.0) -> Island:
    """One pool that meets one load, and solar on the island, shape (n_steps,) each."""
    n = len(load_kw)
    four = (2, 2, 1, n)
    solar = np.zeros(n) if solar_kw is None else solar_kw
    over = load_kw > pool.discharge_kw + 1e-12
    return Island(
        load_kw=np.broadcast_to(load_kw, four).copy(),
        trips=np.broadcast_to(over, four).copy(),
        sheds=np.zeros(four, bool),
        hand=np.zeros(n, bool),
        solar_kw=np.reshape(solar, (1, n)).astype(float),
        dc_kw=np.zeros((1, n)),
        may_charge=np.ones((1, n)),
        latches=True,
        reconnect_h=reconnect_h,
    )
