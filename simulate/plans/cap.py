"""The lowest import cap that pools can keep, month by month, and how often it would have held."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.optimum.forecast import Calendar
from simulate.optimum.programme import charge_limit_kw, number, series, switches
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, walk_year

HALVINGS = 36
"""Of the interval in which a cap lies: to 2e-11 of the month's largest import."""

KEPT_KW = 1e-10
"""Rounding that a mean over a window may add. [kW]"""


@dataclass(frozen=True, eq=False)
class Gauge:
    """What one demand charge looks at.

    Parameters
    ----------
    counts : ndarray of bool, shape (n_steps,)
        Steps that the charge looks at.
    block : ndarray of int, shape (n_steps,)
        Block over which import is averaged, rising; all of a block counts or none of it.
    """

    counts: np.ndarray
    block: np.ndarray

    def part(self, first: int, last: int) -> Gauge:
        """The same over some steps."""
        return Gauge(self.counts[first:last], self.block[first:last] - self.block[first])

    def mean_kw(self, kw) -> np.ndarray:
        """Mean over each step's own block, shape (n_steps,)."""
        return (np.bincount(self.block, kw) / np.maximum(np.bincount(self.block), 1))[self.block]

    def peak_kw(self, import_kw) -> float:
        """Largest mean that the charge looks at; 0 where it looks at none."""
        return float(np.max(self.mean_kw(import_kw), where=self.counts, initial=0.0))

    def over_kw(self, net_kw, cap_kw: float) -> np.ndarray:
        """What each step's mean exceeds a cap by, its own surplus taken off; -inf where the charge does not look."""
        mean = self.mean_kw(np.maximum(net_kw, 0.0)) - np.maximum(-net_kw, 0.0)
        return np.where(self.counts, mean - cap_kw, -inf)


@dataclass(frozen=True, eq=False)
class Cap:
    """The lowest caps that hold, one row a charge and one column a billing period.

    Attributes
    ----------
    kw : ndarray, shape (n_charges, n_periods)
        The lowest cap on the mean import that counts; NaN where the charge does not look. [kW]
    without_kw : ndarray, shape (n_charges, n_periods)
        The largest counted import without a battery. [kW]
    held_frac : ndarray, shape (n_periods,)
        Share of the redraws of like days in which all caps of the period held. [0 to 1]
    over_kw : ndarray, shape (n_steps,)
        For `Wish.over_kw`. [kW]
    end_kwh : ndarray, shape (n_pools,)
        Stored energy at the end of the last period. [kWh]
    """

    kw: np.ndarray
    without_kw: np.ndarray
    held_frac: np.ndarray
    over_kw: np.ndarray
    end_kwh: np.ndarray


@dataclass(frozen=True, eq=False)
class Limited:
    """Pools behind a meter whose import is to be capped.

    Parameters
    ----------
    load_kw, solar_kw : ndarray, shape (n_steps,)
    pools : tuple of Pool
    wish_of : callable
        From the first step, the one past the last, and `over_kw` between them, to the `Wish` of those steps.
    gauges : tuple of Gauge
        The dearest charge first: each next cap is sought with the ones before it kept.
    edges : ndarray of int, shape (n_periods + 1,)
        First step of each billing period, and the end; no block lies across one.
    step_h : float
    """

    load_kw: np.ndarray
    solar_kw: np.ndarray
    pools: tuple[Pool, ...]
    wish_of: Callable[[int, int, np.ndarray], Wish]
    gauges: tuple[Gauge, ...]
    edges: np.ndarray
    step_h: float

    @cached_property
    def net_kw(self) -> np.ndarray:
        return self.load_kw - self.solar_kw + sum(pool.on_grid_kw for pool in self.pools)


def lowest_caps(limited: Limited, calendar: Calendar, soc_kwh, *, n_redraws: int = 200, seed: int = 0) -> Cap:
    """The lowest caps that the pools keep in each billing period, and how often they hold on other like days.

    Parameters
    ----------
    limited : Limited
    calendar : Calendar
        Its kinds say which days are alike.
    soc_kwh : sequence of float, length n_pools
        Stored energy at the start of the first period. [kWh]
    n_redraws : int
        Redraws of each period, every day replaced by one of its kind and period; none: `held_frac` is NaN.
    seed : int
        Of the redraws.

    Notes
    -----
    Halving on the walk of the year, one period after the other, each from the state in which the one before it ended.
    Where whole circuits are switched the set that is switched changes with the cap; then the cap is the lowest that
    halving finds. It is found with the year known; `held_frac` says how much of it is luck, on redraws from the same
    one year.
    """
    edges, soc = limited.edges, np.array(soc_kwh, dtype=float)
    n_periods, gauges = len(edges) - 1, limited.gauges
    kw, without = np.full((2, len(gauges), n_periods), np.nan)
    held, over = np.full(n_periods, np.nan), np.empty(len(limited.load_kw))
    sources = redraws(calendar, edges, n_redraws, seed)
    for k, (first, last) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        month = _Month(limited, int(first), int(last), soc)
        caps = month.lowest()
        looked = [bool(gauge.counts.any()) for gauge in month.gauges]
        kw[:, k] = np.where(looked, caps, np.nan)
        without[:, k] = np.where(looked, [gauge.peak_kw(month.plain_kw) for gauge in month.gauges], np.nan)
        over[first:last] = month.over_kw(caps)
        if len(sources):
            held[k] = month.held_frac(caps, sources[:, first:last] - first)
        soc = month.year(month.wish(caps)).pool_kwh[:, -1]
    return Cap(kw, without, held, over, soc)


class _Month:
    """One billing period from the state that it begins in."""

    def __init__(self, limited: Limited, first: int, last: int, soc_kwh):
        self.limited, self.first, self.last, self.soc_kwh = limited, first, last, soc_kwh
        self.load_kw, self.solar_kw = limited.load_kw[first:last].copy(), limited.solar_kw[first:last].copy()
        self.net_kw = limited.net_kw[first:last]
        self.plain_kw = np.maximum(self.load_kw - self.solar_kw, 0.0)
        self.gauges = [gauge.part(first, last) for gauge in limited.gauges]

    def over_kw(self, caps) -> np.ndarray:
        return np.max([gauge.over_kw(self.net_kw, cap) for gauge, cap in zip(self.gauges, caps, strict=True)], axis=0)

    def wish(self, caps) -> Wish:
        return self.limited.wish_of(self.first, self.last, self.over_kw(caps))

    def year(self, wish: Wish, load_kw=None, solar_kw=None):
        load, solar = (self.load_kw, self.solar_kw) if load_kw is None else (load_kw, solar_kw)
        return walk_year(load, solar, wish, self.limited.pools, self.soc_kwh, self.limited.step_h)

    def keeps(self, caps, year) -> bool:
        return all(gauge.peak_kw(year.import_kw) <= cap + KEPT_KW for gauge, cap in zip(self.gauges, caps, strict=True))

    def lowest(self) -> list[float]:
        """The lowest cap of each charge that halving finds, those of dearer charges kept."""
        caps = [inf] * len(self.gauges)
        for d, gauge in enumerate(self.gauges):
            if not gauge.counts.any():
                continue
            low, high = 0.0, gauge.peak_kw(np.maximum(self.net_kw, 0.0))
            caps[d] = high
            if not self.keeps(caps, self.year(self.wish(caps))):
                caps[d] = inf  # left alone: a cap would break that of a dearer charge
                continue
            for _ in range(HALVINGS):
                caps[d] = 0.5 * (low + high)
                low, high = (low, caps[d]) if self.keeps(caps, self.year(self.wish(caps))) else (caps[d], high)
            caps[d] = high
        return caps

    def held_frac(self, caps, sources) -> float:
        """Share of redraws in which the caps are kept; a step's circuits and sun come with the day it is drawn from."""
        wish, held = self.wish(caps), 0
        for source in sources:
            drawn = replace(
                wish,
                reach_kw=wish.reach_kw[:, source],
                two_pole_kw=wish.two_pole_kw[source],
                targets_kwh=wish.targets_kwh[:, source],
                dc_kw=wish.dc_kw[:, source],
                inside_kw=wish.inside_kw[:, source],
                over_kw=wish.over_kw[source],
                stay_kwh=wish.stay_kwh[:, source],
                held_kwh=wish.held_kwh[:, source],
            )
            held += self.keeps(caps, self.year(drawn, self.load_kw[source], self.solar_kw[source]))
        return held / len(sources)


def lowest_cap(
    load_kw,
    solar_kw,
    pool: Pool,
    *,
    period,
    calendar: Calendar,
    soc_kwh,
    floor_kwh=0.0,
    counted=None,
    window_steps=1,
    charge_ok=None,
    n_redraws=200,
    seed=0,
    step_h=1.0,
) -> Cap:
    """The lowest import cap that one pool in parallel keeps in each billing period, refilled as fast as it allows.

    Parameters
    ----------
    load_kw, solar_kw, pool, step_h, charge_ok
        As `best_targets`.
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
    window_steps : int
        Steps over which import is averaged, counted from the first step.
    n_redraws, seed
        As `lowest_caps`.

    Returns
    -------
    Cap
        Of one charge.

    Raises
    ------
    BadInput
        Series of other lengths, NaN, or periods out of order.

    Examples
    --------
    A 4 kW hour among 1 kW hours, 1 kWh in store that is bought back later:

    >>> from simulate.optimum.forecast import calendar_of
    >>> calendar = calendar_of([0, 0, 0, 0], [0, 1, 2, 3], [0])
    >>> cap = lowest_cap([1.0, 4.0, 1.0, 1.0], 0, Pool(1.0, 5.0, 5.0), period=[0] * 4, calendar=calendar, soc_kwh=1.0)
    >>> round(float(cap.kw[0, 0]), 9), float(cap.held_frac[0]), float(cap.without_kw[0, 0])
    (3.0, 1.0, 4.0)
    """
    load = series(load_kw, "load_kw", least=-inf)
    n, h = len(load), number(step_h, "step_h", least=1e-6)
    solar = series(solar_kw, "solar_kw", n)
    floor = series(floor_kwh, "floor_kwh", n, most=pool.usable_kwh)
    looked, start = switches(counted, "counted", n), number(soc_kwh, "soc_kwh", most=pool.usable_kwh)
    period = _checked_period(np.asarray(period), n)
    if len(calendar.day) != n or not n_redraws >= 0 or window_steps < 1 or n % window_steps:
        raise BadInput(
            "needs one day a step, n_redraws of 0 or more and a window that divides the steps",
            key="calendar.day",
            value=len(calendar.day),
        )
    edges = np.r_[np.flatnonzero(np.diff(period, prepend=-1)), n]
    gauge = Gauge(looked, np.arange(n) // window_steps)
    charge, one = charge_limit_kw(pool, charge_ok, n), (1, n)
    whole = Wish(
        reach_kw=np.full(one, pool.discharge_kw),
        two_pole_kw=np.zeros(n),
        targets_kwh=np.zeros((1, n, 4)),
        stay_kwh=np.full(one, -1.0),
        charge_kw=charge.reshape(one),
        dc_kw=np.zeros(one),
        inside_kw=np.zeros(one),
        parallel=True,
    )

    def wish_of(first, last, over_kw):
        part = part_of(whole, first, last)
        return capped(part, [pool], floor[None, first:last], over_kw)

    return lowest_caps(
        Limited(load, solar, (pool,), wish_of, (gauge,), edges, h), calendar, [start], n_redraws=n_redraws, seed=seed
    )


def part_of(wish: Wish, first: int, last: int) -> Wish:
    """A wish over some of its steps."""
    cut = {
        name: np.ascontiguousarray(getattr(wish, name)[:, first:last])
        for name in ("reach_kw", "targets_kwh", "stay_kwh", "charge_kw", "dc_kw", "inside_kw")
    }
    return replace(wish, two_pole_kw=wish.two_pole_kw[first:last].copy(), over_kw=None, **cut)


def capped(wish: Wish, pools, floor_kwh, over_kw, *, from_utility: bool = True) -> Wish:
    """A wish that keeps pools full under a cap on import: what is over it is served down to the floor."""
    targets = kept_full(pools, floor_kwh, over_kw, from_utility=from_utility)
    if wish.parallel:
        targets[:, :, 1] = targets[:, :, 0]
    return replace(wish, over_kw=over_kw, targets_kwh=targets, held_kwh=np.ascontiguousarray(floor_kwh))


def kept_full(pools, floor_kwh, over_kw, *, from_utility: bool = True) -> np.ndarray:
    """Targets that keep pools full but where import would exceed the cap: there they serve down to the floor.

    Returns
    -------
    ndarray, shape (n_pools, n_steps, 4)
        [kWh]

    Examples
    --------
    >>> kept_full([Pool(5.0)], [np.ones(2)], np.array([-1.0, 0.5]))[0].tolist()
    [[5.0, 5.0, 5.0, 5.0], [5.0, 1.0, 1.0, 1.0]]
    """
    over, out = over_kw > 0.0, np.empty((len(pools), len(over_kw), 4))
    for p, pool in enumerate(pools):
        full = np.full(len(over_kw), pool.usable_kwh)
        down = np.where(over, floor_kwh[p], full)
        out[p] = np.column_stack([full, down, down, down if from_utility else 0.0 * full])
    return out


def redraws(calendar: Calendar, edges, n_redraws: int, seed: int) -> np.ndarray:
    """Steps from which each step takes its load and solar in each redraw, shape (n_redraws, n_steps).

    Every day is replaced by one drawn from the days of its kind that begin in its billing period, itself among them.
    """
    rng = np.random.default_rng(seed)
    table = calendar.step_table()
    month = np.searchsorted(edges, table[:, 0], side="right") - 1
    drawn = np.empty((n_redraws, calendar.n_days), dtype=np.int64)
    for one in np.unique(month):
        for kind in np.unique(calendar.kind):
            days = np.flatnonzero((month == one) & (calendar.kind == kind))
            if len(days):
                drawn[:, days] = rng.choice(days, (n_redraws, len(days)))
    return table[drawn[:, calendar.day], calendar.slot]


def _checked_period(period, n_steps: int) -> np.ndarray:
    if period.shape != (n_steps,) or not np.array_equal(np.unique(period), np.arange(period.max() + 1)):
        raise BadInput("must have one value a step and be numbered 0, 1, 2 ...", key="period", value=period.shape)
    if (np.diff(period) < 0).any():
        raise BadInput("must be in order of time", key="period", value=int(period[0]))
    return period
