"""What every lane of a sweep meets step by step, checked and in the form that the compiled loops take."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import DemandBlocks
from simulate.physics.lanes import steps
from simulate.physics.lanes.blocks import Runs, Series, Told
from simulate.physics.pool import works_in_parallel
from simulate.physics.walk import series

BY_POOL = ("reach_kw", "may_charge", "dc_kw", "inside_kw", "stay_kwh", "stay_h", "stay_to")


@dataclass(frozen=True, eq=False)
class Track:
    """What every lane meets, step by step; series of shape (n_steps,).

    Where the pools of a design share a meter, `codes`, `reach_kw`, `may_charge`, `dc_kw`, `inside_kw` and the three of
    `stay` may have one row for each pool, shape (n_pools, n_steps), `codes` (n_pools, n_steps, 4); else all pools meet
    the same.

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
    two_pole_kw : array_like, optional
        Two-pole circuits that are switched over to a locked pair of pools, half on each, on the load's scale. [kW]
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
    two_pole_kw: np.ndarray | None = None

    @property
    def n_steps(self) -> int:
        return np.shape(self.codes)[-2] if np.ndim(self.codes) > 1 else 0

    @cached_property
    def n_pools(self) -> int:
        """Rows of the series by pool; 1 where all pools meet the same."""
        rows = [len(self.codes)] if np.ndim(self.codes) == 3 else []
        rows += [len(one) for one in (getattr(self, name) for name in BY_POOL) if np.ndim(one) == 2]
        if len(set(rows)) > 1:
            raise BadInput("must have one row a pool", key="Track", value=sorted(set(rows)))
        return rows[0] if rows else 1

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
        n, pools = track.n_steps, track.n_pools
        codes = np.asarray(track.codes)
        if codes.shape[-2:] != (n, 4) or not n or not np.isin(codes, (0, 1, 2)).all():
            raise BadInput("must have shape (n_steps, 4) of 0, 1 and 2", key="Track.codes", value=codes.shape)
        if not 0.0 < track.step_h < inf:
            raise BadInput("must be above 0", key="Track.step_h", value=track.step_h)
        self.load, self.solar, self.two = (
            np.zeros(n) if one is None else series(one, n, f"Track.{key}")
            for one, key in (
                (track.load_kw, "load_kw"),
                (track.solar_kw, "solar_kw"),
                (track.two_pole_kw, "two_pole_kw"),
            )
        )
        self.dc, self.inside = (_by_pool(getattr(track, key), n, pools, key) for key in ("dc_kw", "inside_kw"))
        reach = _by_pool(np.inf if track.reach_kw is None else track.reach_kw, n, pools, "reach_kw", most=inf)
        self.parallel = works_in_parallel(self.load, reach.sum(axis=1) + self.two)
        if self.parallel and self.two.any():
            raise BadInput("must be 0 in parallel", key="Track.two_pole_kw", value=float(self.two.max()))
        self.reach = np.zeros_like(reach) if self.parallel else reach
        self.exports = bool(track.pool_exports and self.parallel)
        self.codes = np.array(_rows(codes, pools, 3), dtype=np.int64)
        self.codes[:, :, 0] = self.codes[:, :, 0] if self.exports else 2
        self.may_charge = np.array(_rows(np.asarray(True if track.may_charge is None else track.may_charge), pools, n))
        self.bucket = np.zeros(n, np.int64) if track.bucket is None else np.asarray(track.bucket, dtype=np.int64)
        self.n_buckets = int(self.bucket.max()) + 1
        self.needs_exact = bool(self.dc.any() or self.inside.any())
        self.stay = (np.zeros((0, pools)), np.zeros((0, pools)), np.zeros((0, pools), np.int64))
        if track.stay_kwh is not None:
            stay = (np.array(_rows(np.asarray(one), pools, n)) for one in (track.stay_kwh, track.stay_h, track.stay_to))
            self.stay = tuple(one.astype(kind) for one, kind in zip(stay, (float, float, np.int64), strict=True))
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
        export_to, serve_to, _, grid_to = np.moveaxis(self.codes, 2, 0)
        serves = steps.SERVES if self.parallel else steps.SWITCHES
        fills = np.where((grid_to == 2).all(axis=1), steps.FILLS, steps.HOLDS)
        kind = np.where((serve_to < 2).any(axis=1), serves, fills)
        # the step that exports also tells a lane that is charged from one that serves, which others need not
        tells = (export_to < 2) | (grid_to > serve_to)
        kind = np.where(tells.any(axis=1) & self.parallel, steps.EXPORTS, kind)
        by_pool = (self.codes.reshape(track.n_steps, -1), self.may_charge)
        marks = np.column_stack([*by_pool, self.bucket, kind, self.month_of_peak.T])
        first = np.flatnonzero(np.r_[True, (marks[1:] != marks[:-1]).any(axis=1)])
        self.first = np.r_[first, track.n_steps].astype(np.int64)
        self.demand = (np.ascontiguousarray(self.month_of_peak[:, first]), *self.blocks)
        self.runs = (kind[first].astype(np.int64), self.bucket[first], self.may_charge[first])

    def track(self, h: float, exact: bool, n_pools: int) -> Told:
        """As the compiled loops take it, the pools all alike where the track has one row for them."""
        each = lambda one: np.ascontiguousarray(np.broadcast_to(one, (one.shape[0], n_pools, *one.shape[2:])))
        by_pool = (each(one) for one in (self.reach, self.dc, self.inside, *self.stay))
        kind, bucket, may_charge = self.runs
        runs = Runs(self.first, kind, bucket, each(may_charge), exact)
        series = Series(self.load, self.solar, self.two, *by_pool)
        return Told(series, runs, each(self.codes), self.loop_prices, self.demand, h, (self.parallel, self.exports))


def _rows(array, n_pools: int, n_or_ndim: int) -> np.ndarray:
    """A series by pool with the step as its first axis, shape (n_steps, n_pools, ...)."""
    if array.ndim < 2:
        array = np.broadcast_to(array, (n_pools, n_or_ndim))
    elif n_or_ndim == 3 and array.ndim == 2:
        array = np.broadcast_to(array, (n_pools, *array.shape))
    return np.ascontiguousarray(np.moveaxis(array, 0, 1))


def _by_pool(values, n_steps: int, n_pools: int, key: str, most: float = 1e9) -> np.ndarray:
    """A checked series by pool, shape (n_steps, n_pools)."""
    array = np.asarray(0.0 if values is None else values, dtype=float)
    each = array if array.ndim == 2 else [array] * n_pools
    return np.array([series(one, n_steps, f"Track.{key}", most=most) for one in each]).T.copy()
