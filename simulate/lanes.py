"""One year for many designs side by side: they share every series and differ in numbers."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import inf

import numpy as np

from profiles.noun import BadInput
from profiles.rate_calendar import DemandBlocks
from simulate.battery import Pool, works_in_parallel
from simulate.metered import MeterSums
from simulate.walk import series

CODE_POOL = Pool(2.0)
"""A plan's targets for this pool with its floor at 1 kWh are its codes: 0 empty, 1 the reserve, 2 full."""

CLOSES_KWH = 1e-9
TASKS_PER_WORKER = 4


@dataclass(frozen=True, eq=False)
class Lanes:
    """Designs of one pool each; every field has shape (n_designs,), or is one number for all.

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
            lengths = sorted({len(array) for array in given.values() if array.ndim})
            raise BadInput("must have one value a design", key="Lanes", value=lengths) from None
        if len(shape) != 1:
            raise BadInput("must be one-dimensional", key="Lanes", value=shape)
        for name, array in given.items():
            _check_range(name, array)
            object.__setattr__(self, name, np.broadcast_to(array, shape))

    @property
    def n_designs(self) -> int:
        return len(self.usable_kwh)

    @cached_property
    def tapers(self) -> bool:
        """Any lane charges more slowly near full."""
        return bool(((self.taper_to_frac < 1.0) & (self.taper_from_frac < 1.0)).any())

    @property
    def rows(self) -> np.ndarray:
        """The lanes as the compiled loops read them, shape (13, n_designs)."""
        return np.array(
            [
                self.usable_kwh, self.reserve_frac * self.usable_kwh, self.charge_kw, self.discharge_kw,
                self.charge_efficiency, self.discharge_efficiency, self.no_load_kw, self.takes_back_kw,
                self.taper_from_frac * self.usable_kwh, self.taper_to_frac, self.on_grid_kw, self.load_scale,
                self.solar_scale,
            ]
        )  # fmt: skip

    @classmethod
    def of_pools(cls, pools, *, reserve_frac=0.0, load_scale=1.0, solar_scale=1.0) -> Lanes:
        """Lanes of pools that exist already."""
        cells = np.array([pool.cell for pool in pools], dtype=float).T
        usable = cells[0]
        start = np.divide(cells[7], usable, out=np.ones_like(usable), where=usable > 0.0)
        return cls(
            usable, cells[1], cells[2], cells[3], cells[4], cells[5], cells[10], cells[6], start, cells[8],
            reserve_frac, load_scale, solar_scale,
        )  # fmt: skip


def _check_range(name: str, array: np.ndarray) -> None:
    share = name.endswith(("_frac", "_efficiency"))
    low = (array > 0.0) if name.startswith("taper") or name.endswith("_efficiency") else (array >= 0.0)
    may_be_infinite = name in ("charge_kw", "discharge_kw", "takes_back_kw")
    good = low & ((array <= 1.0) if share else (array <= inf) if may_be_infinite else (array < inf))
    if not good.all():
        rule = "must lie between 0 and 1" if share else "must be 0 or above and finite"
        raise BadInput(rule, key=f"Lanes.{name}", value=float(array[~good].flat[0]))


@dataclass(frozen=True, eq=False)
class Track:
    """What every lane meets, step by step; series of shape (n_steps,).

    Attributes
    ----------
    load_kw, solar_kw : array_like
        House load and AC solar at the meter, before a lane's own scale. [kW]
    codes : array_like of int, shape (n_steps, 4)
        The plan: export down to, serve down to, fill from solar up to, fill from the utility up to, each 0 (empty),
        1 (the lane's reserve) or 2 (full). A plan's targets for `CODE_POOL` with a floor of 1 kWh are its codes.
    reach_kw : array_like, optional
        Load of the whole circuits that are switched over (transfer mode), on the load's scale; without it, or anywhere
        above the load, lanes work in parallel. [kW]
    step_h : float
        Length of a step. [h]
    bucket : array_like of int, optional
        Where the step's import and export are summed: a price period, or month times periods.
    buy_per_kwh, sell_per_kwh : array_like, optional
        Prices, for `LaneYears.cost`. [currency/kWh]
    demand : tuple of DemandBlocks
        Blocks whose highest mean import counts, such as `RateCalendar.demand` (none that roll).
    may_charge : array_like of bool, optional
        False where the cells are too cold.
    dc_kw, inside_kw : array_like, optional
        Solar on the cells, and the part of `solar_kw` that goes with the sub-panel. [kW]
    stay_kwh, stay_h, stay_to : array_like, optional
        At the first step of a period of service the AC energy of the least stay, its hours, and the code of the floor
        that it is above; else -1, 0 and 0.
    pool_exports, surplus_exports : bool
        The units may send energy out; solar that nobody uses may go out (else it is curtailed).
    """

    load_kw: np.ndarray
    solar_kw: np.ndarray
    codes: np.ndarray
    reach_kw: np.ndarray | None = None
    step_h: float = 1.0
    bucket: np.ndarray | None = None
    buy_per_kwh: np.ndarray | None = None
    sell_per_kwh: np.ndarray | None = None
    demand: tuple[DemandBlocks, ...] = ()
    may_charge: np.ndarray | None = None
    dc_kw: np.ndarray | None = None
    inside_kw: np.ndarray | None = None
    stay_kwh: np.ndarray | None = None
    stay_h: np.ndarray | None = None
    stay_to: np.ndarray | None = None
    pool_exports: bool = False
    surplus_exports: bool = True

    @property
    def n_steps(self) -> int:
        return len(self.codes)

    @cached_property
    def ready(self) -> _Ready:
        """The track checked and in the form that the compiled loops take."""
        return _Ready(self)


def every_step(month) -> DemandBlocks:
    """Demand blocks of one step each: the highest mean import of a step by month.

    Parameters
    ----------
    month : ndarray of int, shape (n_steps,)
        Billing month of each step, from 0.
    """
    steps = np.arange(len(month))
    return DemandBlocks(steps, np.ones_like(steps), np.asarray(month), steps.astype(np.int32))


class _Ready:
    """A track's arrays, checked, as contiguous float64 and int64."""

    def __init__(self, track: Track):
        n = track.n_steps
        codes = np.asarray(track.codes)
        if codes.shape != (n, 4) or not np.isin(codes, (0, 1, 2)).all():
            raise BadInput("must have shape (n_steps, 4) of 0, 1 and 2", key="Track.codes", value=codes.shape)
        if not 0.0 < track.step_h < inf:
            raise BadInput("must be above 0", key="Track.step_h", value=track.step_h)
        none = np.zeros(n)
        self.load, self.solar, self.dc, self.inside = (
            none if one is None else series(one, n, f"Track.{key}")
            for one, key in ((track.load_kw, "load_kw"), (track.solar_kw, "solar_kw"), (track.dc_kw, "dc_kw"),
                             (track.inside_kw, "inside_kw"))
        )  # fmt: skip
        reach = np.full(n, inf) if track.reach_kw is None else series(track.reach_kw, n, "Track.reach_kw", most=inf)
        self.parallel = works_in_parallel(self.load, reach)
        self.reach = none if self.parallel else reach
        self.codes = np.ascontiguousarray(codes, dtype=np.int64)
        self.may_charge = np.ones(n, bool) if track.may_charge is None else np.asarray(track.may_charge, dtype=bool)
        self.bucket = np.zeros(n, np.int64) if track.bucket is None else np.asarray(track.bucket, dtype=np.int64)
        self.n_buckets = int(self.bucket.max()) + 1
        self.needs_exact = bool(self.dc.any() or self.inside.any())
        self.stay = (np.zeros(0), np.zeros(0), np.zeros(0, np.int64))
        if track.stay_kwh is not None:
            stay = (np.asarray(one, dtype=float) for one in (track.stay_kwh, track.stay_h))
            self.stay = (*stay, np.asarray(track.stay_to, dtype=np.int64))
        self._prices(track)
        self._demand(track, n)
        self._runs(track)

    def _prices(self, track: Track) -> None:
        """Prices that are one number a bucket are applied to the sums, others in the loop."""
        self.bucket_prices, self.loop_prices = None, (np.zeros(0), np.zeros(0))
        if track.buy_per_kwh is None:
            return
        given = [track.buy_per_kwh, 0.0 if track.sell_per_kwh is None else track.sell_per_kwh]
        both = [np.broadcast_to(np.asarray(one, dtype=float), self.load.shape) for one in given]
        if not all(np.isfinite(one).all() for one in both):
            raise BadInput("must be finite", key="Track.buy_per_kwh, sell_per_kwh")
        each = [np.zeros(self.n_buckets) for _ in both]
        for one, price in zip(each, both, strict=True):
            one[self.bucket] = price
        if all((one[self.bucket] == price).all() for one, price in zip(each, both, strict=True)):
            self.bucket_prices = each
        else:
            self.loop_prices = tuple(np.ascontiguousarray(price) for price in both)

    def _demand(self, track: Track, n: int) -> None:
        if any(one.of_step is None for one in track.demand):
            raise BadInput("must not roll", key="Track.demand", way_out="run such designs one by one")
        each = lambda values: np.array(values, dtype=np.int64).reshape(len(track.demand), n)
        of_step = [one.of_step for one in track.demand]
        lengths = each([one.n_steps[k] for one, k in zip(track.demand, of_step, strict=True)])
        months = each([np.where(k < 0, -1, one.month[k]) for one, k in zip(track.demand, of_step, strict=True)])
        single = np.array([bool((one.n_steps == 1).all()) for one in track.demand], dtype=bool).reshape(-1, 1)
        self.month_of_peak = np.where(single, months, -1)
        blocks = np.where(single, -1, each(of_step))
        self.blocks = (blocks if (blocks >= 0).any() else blocks[:0], lengths, months)
        self.n_months = int(months.max()) + 1 if months.size else 0

    def _runs(self, track: Track) -> None:
        """Cut the year into stretches in which code, bucket and cold do not change."""
        from simulate import lane_steps as steps

        export_to, serve_to, _, grid_to = self.codes.T
        serves = steps.SERVES if self.parallel else steps.SWITCHES
        kind = np.where(serve_to < 2, serves, np.where(grid_to == 2, steps.FILLS, steps.HOLDS))
        if track.pool_exports and self.parallel:
            kind = np.where(export_to < 2, steps.EXPORTS, kind)
        marks = np.column_stack([self.codes, self.bucket, self.may_charge, kind, self.month_of_peak.T])
        first = np.flatnonzero(np.r_[True, (marks[1:] != marks[:-1]).any(axis=1)])
        self.first = np.r_[first, track.n_steps].astype(np.int64)
        self.demand = (np.ascontiguousarray(self.month_of_peak[:, first]), *self.blocks)
        self.runs = (kind[first].astype(np.int64), self.bucket[first], self.may_charge[first])

    def track(self, h: float, exact: bool) -> tuple:
        """As the compiled loops take it."""
        load = (self.load, self.solar, self.reach, self.dc, self.inside, *self.stay)
        return load, (self.first, *self.runs, exact), self.codes, self.loop_prices, self.demand, h, self.parallel


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
        Hours of the steps that end with nothing above the reserve. [h]
    start_kwh, end_kwh : ndarray, shape (n_designs,)
        Stored energy at both ends of the year. [kWh]
    laps : ndarray, shape (n_designs,)
        How often the block of the design was walked.
    stored_kwh : ndarray, shape (n_designs, n_steps + 1), or None
        Stored energy at the start of each step, the end included, where it was asked for. [kWh]
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
        by_month = lambda one: None if one is None else one.reshape(shape).sum(axis=2)
        n_demands = self.peak_kw.shape[1]
        peak_kw = np.zeros((len(self.end_kwh), n_demands, n_months))
        peak_kw[:, :, : self.peak_kw.shape[2]] = self.peak_kw
        return MeterSums(
            self.import_kwh.reshape(shape), self.export_kwh.reshape(shape), peak_kw, by_month(self.bought_cost),
            by_month(self.sold_credit),
        )  # fmt: skip


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
    start_kwh : float or array_like, shape (n_designs,), optional
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
    instructions over the block. Equal to `run_plan` to 1e-9.

    Examples
    --------
    Two pools serve 2 kW down to their reserve:

    >>> codes = [[2, 1, 0, 0]] * 4
    >>> track = Track(load_kw=[2.0] * 4, solar_kw=[0.0] * 4, codes=codes)
    >>> years = run_lanes(track, Lanes(usable_kwh=[5.0, 10.0], reserve_frac=0.4))
    >>> years.import_kwh[:, 0].tolist(), years.end_kwh.tolist()
    ([5.0, 2.0], [2.0, 4.0])
    """
    from simulate.lane_steps import WIDTH, run_blocks

    ready, n = track.ready, lanes.n_designs
    start = np.array(np.broadcast_to(lanes.usable_kwh if start_kwh is None else np.asarray(start_kwh, float), (n,)))
    if not ((start >= 0.0) & (start <= lanes.usable_kwh)).all():
        raise BadInput("must lie between 0 and usable_kwh", key="start_kwh", value=float(start.max()))
    given = lanes.rows
    n_priced = ready.n_buckets if len(ready.loop_prices[0]) else 0
    sums = (
        *(np.zeros((n, ready.n_buckets)) for _ in range(2)), *(np.zeros((n, n_priced)) for _ in range(2)),
        np.zeros((n, len(track.demand), ready.n_months)), np.zeros((n, (track.n_steps + 1) * keep_stored)),
    )  # fmt: skip
    years = np.zeros((8, n))
    exact = ready.needs_exact or lanes.tapers
    told = ready.track(float(track.step_h), exact)
    workers = workers or os.cpu_count() or 1
    n_blocks = -(-n // WIDTH)
    edges = np.unique(np.linspace(0, n_blocks, min(n_blocks, workers * TASKS_PER_WORKER) + 1).astype(int))
    with ThreadPoolExecutor(workers) as pool:
        parts = [
            pool.submit(run_blocks, int(a), int(b), given, start, laps, CLOSES_KWH, told, sums, years)
            for a, b in zip(edges[:-1], edges[1:], strict=True)
        ]
        for part in parts:
            part.result()
    return _years(track, lanes, sums, years)


def _years(track: Track, lanes: Lanes, sums, years) -> LaneYears:
    import_kwh, export_kwh, bought_cost, sold_credit, peak_kw, stored = sums
    start, end, laps, charged, served, served_h, reserve_h, wasted = years
    ready = track.ready
    if ready.parallel:
        served_h = served / lanes.discharge_kw
    year_h = track.n_steps * track.step_h
    loss = charged * (1.0 - lanes.charge_efficiency) + served * (1.0 / lanes.discharge_efficiency - 1.0)
    loss += lanes.no_load_kw * served_h + lanes.on_grid_kw * (year_h - served_h)
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
        import_kwh, export_kwh, cost, peak_kw, charged, served, loss, wasted, reserve_h, start, end, laps,
        stored if stored.shape[1] else None, *((bought_cost, sold_credit) if in_loop else (None, None)),
    )  # fmt: skip


def one_of(lanes: Lanes, design: int) -> Lanes:
    """One design of many."""
    return replace(lanes, **{field.name: getattr(lanes, field.name)[design : design + 1] for field in fields(lanes)})
