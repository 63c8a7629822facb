"""One year for many designs side by side: they share every series and differ in numbers."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import inf

import numpy as np

from profiles.noun import BadInput
from profiles.rate.meter_sums import MeterSums
from simulate.physics.lanes.blocks import run_blocks
from simulate.physics.lanes.steps import WIDTH
from simulate.physics.lanes.track import Track, every_step
from simulate.physics.pool import Pool
from simulate.physics.step import of_series

__all__ = ["CODE_POOL", "LaneYears", "Lanes", "Track", "every_step", "one_of", "run_lanes"]

CODE_POOL = Pool(2.0)
"""A plan's targets for this pool with its floor at 1 kWh are its codes: 0 empty, 1 the reserve, 2 full."""

CLOSES_KWH = 1e-9
SCALES = ("load_scale", "solar_scale")
TASKS_PER_WORKER = 4


@dataclass(frozen=True, eq=False)
class Lanes:
    """Designs that differ in numbers; every field has shape (n_designs,), or is one number for all.

    Designs of several pools behind one meter have shape (n_pools, n_designs) in the fields of a pool: all but
    `load_scale` and `solar_scale`.

    Attributes
    ----------
    usable_kwh : ndarray
        DC energy between the cutoff and full. [kWh]
    charge_kw, discharge_kw : ndarray
        AC limits. [kW]
    charge_efficiency, discharge_efficiency : ndarray
        One way. [0 to 1]
    no_load_kw, on_grid_kw : ndarray
        DC draw while inverting, AC draw on the utility. [kW]
    takes_back_kw : ndarray
        AC power that the output accepts from sub-panel solar while switched over. [kW]
    taper_from_frac, taper_to_frac : ndarray
        State of charge above which the charging limit falls, and the share of it left at full; 1 and 1: no taper.
    reserve_frac : ndarray
        Share of `usable_kwh` that the plan's reserve is. [0 to 1]
    load_scale, solar_scale : ndarray
        Factors on the shared series.

    Raises
    ------
    BadInput
        A value outside its range, NaN, or a length that differs.

    Examples
    --------
    >>> Lanes(usable_kwh=np.array([5.0, 10.0]), reserve_frac=0.2).n_designs
    2
    """

    usable_kwh: np.ndarray
    charge_kw: np.ndarray = inf
    discharge_kw: np.ndarray = inf
    charge_efficiency: np.ndarray = 1.0
    discharge_efficiency: np.ndarray = 1.0
    no_load_kw: np.ndarray = 0.0
    on_grid_kw: np.ndarray = 0.0
    takes_back_kw: np.ndarray = inf
    taper_from_frac: np.ndarray = 1.0
    taper_to_frac: np.ndarray = 1.0
    reserve_frac: np.ndarray = 0.0
    load_scale: np.ndarray = 1.0
    solar_scale: np.ndarray = 1.0

    def __post_init__(self):
        given = {field.name: np.asarray(getattr(self, field.name), dtype=float) for field in fields(self)}
        try:
            shape = np.broadcast_shapes((1,), *(array.shape for array in given.values()))
        except ValueError:
            lengths = sorted({array.shape[-1] for array in given.values() if array.ndim})
            raise BadInput("must have one value a design", key="Lanes", value=lengths) from None
        if len(shape) > 2 or given["load_scale"].ndim > 1 or given["solar_scale"].ndim > 1:
            raise BadInput("must have shape (n_designs,), or (n_pools, n_designs) for a pool", key="Lanes", value=shape)
        for name, array in given.items():
            _check_range(name, array)
            object.__setattr__(self, name, np.broadcast_to(array, shape[-1:] if name in SCALES else shape))

    @cached_property
    def dc_per_ac(self) -> np.ndarray:
        """DC energy taken from the cells for each AC kWh delivered, the no-load draw aside."""
        return of_series["dc_per_ac"](self.discharge_efficiency)

    @property
    def n_designs(self) -> int:
        return self.usable_kwh.shape[-1]

    @property
    def n_pools(self) -> int:
        return 1 if self.usable_kwh.ndim == 1 else len(self.usable_kwh)

    @cached_property
    def tapers(self) -> bool:
        """Any lane charges more slowly near full."""
        return bool(((self.taper_to_frac < 1.0) & (self.taper_from_frac < 1.0)).any())

    @property
    def rows(self) -> np.ndarray:
        """The lanes as the compiled loops read them, shape (n_pools, 13, n_designs)."""
        rows = (
            self.usable_kwh,
            self.reserve_frac * self.usable_kwh,
            self.charge_kw,
            self.discharge_kw,
            self.charge_efficiency,
            self.discharge_efficiency,
            self.no_load_kw,
            self.takes_back_kw,
            self.taper_from_frac * self.usable_kwh,
            self.taper_to_frac,
            self.on_grid_kw,
            self.load_scale,
            self.solar_scale,
        )
        shape = (self.n_pools, self.n_designs)
        return np.ascontiguousarray(np.stack([np.broadcast_to(row, shape) for row in rows], axis=1))

    @classmethod
    def of_pools(cls, pools, *, reserve_frac=0.0, load_scale=1.0, solar_scale=1.0) -> Lanes:
        """Lanes of pools that exist already: a `Pool` for each design, or a tuple of as many pools for each."""
        several = [[one] if isinstance(one, Pool) else one for one in pools]
        cells = np.array([[pool.cell for pool in one] for one in several], dtype=float).transpose(2, 1, 0)
        cells = cells[:, 0] if isinstance(pools[0], Pool) else cells
        efficiency = np.array([[pool.discharge_efficiency for pool in one] for one in several], dtype=float).T
        usable = cells[0]
        start = np.divide(cells[7], usable, out=np.ones_like(usable), where=usable > 0.0)
        return cls(
            usable,
            cells[1],
            cells[2],
            cells[3],
            efficiency[0] if isinstance(pools[0], Pool) else efficiency,
            cells[5],
            cells[10],
            cells[6],
            start,
            cells[8],
            reserve_frac,
            load_scale,
            solar_scale,
        )


def _check_range(name: str, array: np.ndarray) -> None:
    share = name.endswith(("_frac", "_efficiency"))
    low = (array > 0.0) if name.startswith("taper") or name.endswith("_efficiency") else (array >= 0.0)
    may_be_infinite = name in ("charge_kw", "discharge_kw", "takes_back_kw")
    good = low & ((array <= 1.0) if share else (array <= inf) if may_be_infinite else (array < inf))
    if not good.all():
        rule = "must lie between 0 and 1" if share else "must be 0 or above and finite"
        raise BadInput(rule, key=f"Lanes.{name}", value=float(array[~good].flat[0]))


@dataclass(frozen=True, eq=False)
class LaneYears:
    """A year of every design; the first axis is always the design.

    Attributes
    ----------
    import_kwh, export_kwh : ndarray, shape (n_designs, n_buckets)
        From and to the utility. [kWh]
    cost : ndarray, shape (n_designs, n_buckets), or None
        Import times its price less export times its credit; None where the track has no prices. [currency]
    peak_kw : ndarray, shape (n_designs, n_demands, n_months)
        Highest mean import of a demand block. [kW]
    charge_kwh, discharge_kwh, loss_kwh, curtailed_kwh : ndarray, shape (n_designs,)
        AC energy in and out of the units, what they lose, and solar that is not used. [kWh]
    reserve_h : ndarray, shape (n_designs,)
        Hours of the steps that end with nothing above the reserve in any pool. [h]
    start_kwh, end_kwh : ndarray, shape (n_designs,)
        Stored energy of all pools at both ends of the year. [kWh]
    laps : ndarray, shape (n_designs,)
        How often the block of the design was walked.
    stored_kwh : ndarray, shape (n_designs, n_steps + 1) or (n_designs, n_pools, n_steps + 1), or None
        Stored energy at the start of each step, the end included, where it was asked for; by pool for lanes whose
        fields are. [kWh]
    bought_cost, sold_credit : ndarray, shape (n_designs, n_buckets), or None
        The two parts of `cost` where prices differ within a bucket. [currency]
    """

    import_kwh: np.ndarray
    export_kwh: np.ndarray
    cost: np.ndarray | None
    peak_kw: np.ndarray
    charge_kwh: np.ndarray
    discharge_kwh: np.ndarray
    loss_kwh: np.ndarray
    curtailed_kwh: np.ndarray
    reserve_h: np.ndarray
    start_kwh: np.ndarray
    end_kwh: np.ndarray
    laps: np.ndarray
    stored_kwh: np.ndarray | None = None
    bought_cost: np.ndarray | None = None
    sold_credit: np.ndarray | None = None

    def meter_sums(self, n_months: int, n_periods: int) -> MeterSums:
        """What `bill_amounts` prices, for a track whose buckets are month times periods; designs lead."""
        shape = (-1, n_months, n_periods)
        by_period = lambda one: None if one is None else one.reshape(shape)
        n_demands = self.peak_kw.shape[1]
        peak_kw = np.zeros((len(self.end_kwh), n_demands, n_months))
        peak_kw[:, :, : self.peak_kw.shape[2]] = self.peak_kw
        return MeterSums(
            self.import_kwh.reshape(shape),
            self.export_kwh.reshape(shape),
            peak_kw,
            by_period(self.bought_cost),
            by_period(self.sold_credit),
        )


def run_lanes(
    track: Track, lanes: Lanes, *, start_kwh=None, laps: int = 1, workers: int | None = None, keep_stored: bool = False
) -> LaneYears:
    """Walk one year for many designs side by side.

    Parameters
    ----------
    track : Track
        What all designs share.
    lanes : Lanes
        What they differ in.
    start_kwh : float or array_like, shape (n_designs,) or (n_pools, n_designs), optional
        Stored energy at the start; full unless given. [kWh]
    laps : int
        The year is repeated so often at most, until its start and end agree to 1e-9 kWh.
    workers : int, optional
        Threads; one for each core unless given.
    keep_stored : bool
        Hand back the stored energy at every step too; memory then grows with the steps.

    Returns
    -------
    LaneYears

    Raises
    ------
    BadInput
        A series of the wrong length, negative, NaN or infinite; a start beyond full.

    Notes
    -----
    Blocks of lanes stay in the first-level cache while time passes in the outer loop and each step is vector
    instructions over the block. Equal to `run_plan`, and with several pools to `walk_year`, to 1e-9.

    Examples
    --------
    Two pools serve 2 kW down to their reserve:

    >>> codes = [[2, 1, 0, 0]] * 4
    >>> track = Track(load_kw=[2.0] * 4, solar_kw=[0.0] * 4, codes=codes)
    >>> years = run_lanes(track, Lanes(usable_kwh=[5.0, 10.0], reserve_frac=0.4))
    >>> years.import_kwh[:, 0].tolist(), years.end_kwh.tolist()
    ([5.0, 2.0], [2.0, 4.0])
    """
    ready, n, shape = track.ready, lanes.n_designs, (lanes.n_pools, lanes.n_designs)
    _check_pools(track, lanes)
    start = lanes.usable_kwh if start_kwh is None else np.asarray(start_kwh, float)
    if not ((start >= 0.0) & (start <= lanes.usable_kwh)).all():
        raise BadInput("must lie between 0 and usable_kwh", key="start_kwh", value=float(np.max(start)))
    given, start = lanes.rows, np.array(np.broadcast_to(start, shape))
    n_priced = ready.n_buckets if len(ready.loop_prices[0]) else 0
    sums = (
        *(np.zeros((n, ready.n_buckets)) for _ in range(2)),
        *(np.zeros((n, n_priced)) for _ in range(2)),
        np.zeros((n, len(track.demand), ready.n_months)),
        np.zeros((n, lanes.n_pools, (track.n_steps + 1) * keep_stored)),
    )
    years = np.zeros((8, *shape))
    exact = ready.needs_exact or lanes.tapers
    told = ready.track(float(track.step_h), exact, lanes.n_pools)
    workers = workers or os.cpu_count() or 1
    n_blocks = -(-n // WIDTH)
    edges = np.unique(np.linspace(0, n_blocks, min(n_blocks, workers * TASKS_PER_WORKER) + 1).astype(int))
    with ThreadPoolExecutor(workers) as pool:
        parts = [
            pool.submit(run_blocks, (int(a), int(b)), given, start, laps, CLOSES_KWH, told, sums, years)
            for a, b in zip(edges[:-1], edges[1:], strict=True)
        ]
        for part in parts:
            part.result()
    return _years(track, lanes, sums, years)


def _check_pools(track: Track, lanes: Lanes) -> None:
    """Refuse lanes and a track with other numbers of pools, and two-pole circuits beyond the outputs."""
    if track.n_pools not in (1, lanes.n_pools):
        raise BadInput(
            "must have one row a pool", key="Track", value=track.n_pools, way_out=f"the lanes have {lanes.n_pools}"
        )
    two = track.ready.two > 0.0
    if not two.any():
        return
    if lanes.n_pools != 2:
        raise BadInput("needs two pools", key="Track.two_pole_kw", value=lanes.n_pools)
    most_kw = (track.ready.reach + 0.5 * track.ready.two[:, None])[two].max(axis=0).reshape(-1, 1) * lanes.load_scale
    over = most_kw > lanes.discharge_kw * (1.0 + 1e-9)
    if over.any():
        value = float(np.broadcast_to(most_kw, over.shape)[over].max())
        rule = "must stay within the output of each pool with the single-pole circuits"
        raise BadInput(rule, key="Track.two_pole_kw", value=value)


def _years(track: Track, lanes: Lanes, sums, years) -> LaneYears:
    import_kwh, export_kwh, bought_cost, sold_credit, peak_kw, stored = sums
    charged, served, served_h = years[3:6]
    ready = track.ready
    if ready.parallel:
        served_h = np.divide(served, lanes.discharge_kw, out=np.zeros_like(served), where=served > 0.0)
    year_h = track.n_steps * track.step_h
    loss = of_series["lost_kwh"](charged, served, served_h, lanes) + lanes.on_grid_kw * (year_h - served_h)
    start, end, _, charged, served, _, reserve_h, wasted = years.sum(axis=1)
    loss, laps, stored = loss.sum(axis=0), years[2, 0], stored if lanes.usable_kwh.ndim > 1 else stored[:, 0]
    if not track.surplus_exports:
        wasted = wasted + export_kwh.sum(axis=1)
        export_kwh = np.zeros_like(export_kwh)
        sold_credit = np.zeros_like(sold_credit)
    cost, in_loop = None, bought_cost.shape[1] > 0
    if ready.bucket_prices is not None:
        buy, sell = ready.bucket_prices
        cost = import_kwh * buy - export_kwh * sell
    elif in_loop:
        cost = bought_cost - sold_credit
    return LaneYears(
        import_kwh,
        export_kwh,
        cost,
        peak_kw,
        charged,
        served,
        loss,
        wasted,
        reserve_h,
        start,
        end,
        laps,
        stored if stored.shape[-1] else None,
        *((bought_cost, sold_credit) if in_loop else (None, None)),
    )


def one_of(lanes: Lanes, design: int) -> Lanes:
    """One design of many."""
    own = {field.name: getattr(lanes, field.name)[..., design : design + 1] for field in fields(lanes)}
    return replace(lanes, **own)
