"""An island in an outage: what its pools meet, walked from one start or from every start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.physics.outage_walk import (
    EMPTY,
    HELD_OFF,
    OVERLOAD,
    Ends,
    Met,
    Rules,
    Steps,
    every_outage,
    one_outage,
    steps_of,
    unserved_kwh,
)
from simulate.physics.pool import Pool
from simulate.physics.step import Cell

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

    @property
    def met(self) -> Met:
        """Its series as the compiled walk takes them."""
        return Met(*(getattr(self, name) for name in Met._fields))

    def rules(self, step_h: float, horizon_h: float, wrap: bool = True) -> Rules:
        """How an outage is followed, as the compiled walk takes it."""
        return Rules(float(step_h), float(horizon_h), float(self.reconnect_h), bool(self.latches), wrap)


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
    ends, end_h = ends_of((n_starts, len(pools))), np.zeros(n_starts)
    rules, soc = island.rules(step_h, horizon_h, wrap), np.ascontiguousarray(soc_kwh, dtype=float)
    every_outage(begin, soc, island.met, rules, cells_of(pools), ends, end_h)
    return Dark(*ends, end_h)


def ends_of(shape) -> Ends:
    """Room for what ends outages, nothing dark yet."""
    return Ends(np.full(shape, np.inf), np.full(shape, np.inf), np.zeros(shape, np.int64))


def cells_of(pools) -> np.ndarray:
    """Pools as the compiled walk takes them, shape (n_pools, 11)."""
    return np.array([pool.cell for pool in pools], dtype=float).reshape(len(pools), len(Cell._fields))


def unserved_by_start(island: Island, pools, soc_kwh, begin, weight, *, wanted_kw, step_h, horizon_h) -> np.ndarray:
    """What is not served in the outage of each start, its steps weighed, restarts and returns included.

    Parameters
    ----------
    soc_kwh : ndarray, shape (n_pools, n_starts)
        Stored energy of each pool at the start. [kWh]
    begin : ndarray of int, shape (n_starts,)
        Step at which the units take over.
    weight : ndarray, shape (n_followed,)
        Hours for which each step of an outage counts. [h]
    wanted_kw : ndarray, shape (n_steps,)
        What the carried circuits ask for. [kW]

    Returns
    -------
    ndarray, shape (n_starts,)
        [kWh]
    """
    out = np.zeros(len(begin))
    soc, rules = np.ascontiguousarray(soc_kwh, dtype=float), island.rules(step_h, horizon_h)
    unserved_kwh(begin.astype(np.int64), soc, wanted_kw, island.met, rules, cells_of(pools), weight, out)
    return out


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
    steps, ends = steps_of(n, len(pools)), ends_of(len(pools))
    rules, soc = island.rules(step_h, horizon_h), np.array(soc_kwh, dtype=float)
    one_outage(start, soc, island.met, rules, cells_of(pools), ends, steps)
    by_pool = {name: getattr(steps, name).T for name in Steps._fields[:5]}
    return Trace(**by_pool, pair_h=steps.pair_h, by_hand=steps.by_hand > 0.0)


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
