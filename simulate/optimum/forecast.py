"""Targets from the past only: a horizon that rolls through the year, solved anew at every step."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.optimum.convex import roll
from simulate.optimum.programme import number, programme, series
from simulate.physics.pool import Pool, works_in_parallel

HORIZON_H = 36.0
"""Enough to see tomorrow's peak from any hour of today; common practice, no source. [h]"""

LIKE_DAYS = 5
"""Days of the same kind that are averaged; common practice, no source."""


@dataclass(frozen=True, eq=False)
class Calendar:
    """Where each step stands in a year of days.

    Parameters
    ----------
    day : ndarray of int, shape (n_steps,)
        Day of the year, 0, 1, 2 ..., every one present.
    slot : ndarray of int, shape (n_steps,)
        Step of the local day, 0, 1, 2 ...
    kind : ndarray of int, shape (n_days,)
        Kind of each day, such as 0 for a weekday and 1 for a weekend.
    """

    day: np.ndarray
    slot: np.ndarray
    kind: np.ndarray

    @property
    def n_days(self) -> int:
        return len(self.kind)

    def step_table(self) -> np.ndarray:
        """Step of each day and slot, shape (n_days, n_slots); a slot that a day lacks takes the nearest before it."""
        table = np.full((self.n_days, int(self.slot.max()) + 1), -1)
        table[self.day, self.slot] = np.arange(len(self.day))
        for slot in range(1, table.shape[1]):
            table[:, slot] = np.where(table[:, slot] < 0, table[:, slot - 1], table[:, slot])
        for slot in range(table.shape[1] - 2, -1, -1):  # a day that begins late
            table[:, slot] = np.where(table[:, slot] < 0, table[:, slot + 1], table[:, slot])
        return table

    def like_days(self, n_ahead: int, n_like: int) -> np.ndarray:
        """The last days of each day's kind that ended before it, and before the day it is foreseen on.

        Returns
        -------
        ndarray of int, shape (n_ahead, n_days, n_like)
            Row 0 is foreseen on the day itself, row 1 on the day before; the year is a circle.
        """
        out = np.empty((n_ahead, self.n_days, n_like), dtype=np.int64)
        for kind in np.unique(self.kind):
            days = np.flatnonzero(self.kind == kind)
            back = np.arange(1, n_like + 1)
            for ahead in range(n_ahead):
                before = np.searchsorted(np.r_[days - self.n_days, days], days - ahead)
                out[ahead, days] = np.r_[days, days][before[:, None] - back]
        return out


def calendar_of(day, slot, kind) -> Calendar:
    """Check the place of each step in the year.

    Parameters
    ----------
    day, slot : array_like of int, shape (n_steps,)
    kind : array_like of int, shape (n_days,)

    Raises
    ------
    BadInput
        A day that is missing, or shapes that differ.

    Examples
    --------
    >>> calendar_of([0, 0, 1, 1], [0, 1, 0, 1], [0, 0]).step_table().tolist()
    [[0, 1], [2, 3]]
    """
    made = Calendar(*(np.asarray(x, dtype=np.int64) for x in (day, slot, kind)))
    if made.day.ndim != 1 or made.slot.shape != made.day.shape or not (made.slot >= 0).all():
        raise BadInput("must have one value a step, 0 or above", key="slot", value=made.slot.shape)
    if not np.array_equal(np.unique(made.day), np.arange(made.n_days)):
        raise BadInput("must have one value for each of the days 0, 1, 2 ...", key="kind", value=made.kind.shape)
    return made


def foreseen(values, calendar: Calendar, n_ahead: int, n_like: int) -> np.ndarray:
    """A series as its own past foresees it: the mean of the last like days at the same time of day.

    Parameters
    ----------
    values : ndarray, shape (n_steps,)
    n_ahead : int
        Rows: foreseen on the day itself, the day before, ...
    n_like : int
        Days that are averaged.

    Returns
    -------
    ndarray, shape (n_ahead, n_steps)

    Examples
    --------
    >>> calendar = calendar_of(np.arange(4), np.zeros(4), np.zeros(4))
    >>> foreseen(np.array([1.0, 2.0, 3.0, 4.0]), calendar, 2, 1).tolist()
    [[4.0, 1.0, 2.0, 3.0], [3.0, 4.0, 1.0, 2.0]]
    """
    table = values[calendar.step_table()]
    return table[calendar.like_days(n_ahead, n_like)].mean(axis=2)[:, calendar.day, calendar.slot]


def sky_errors(calendar: Calendar, n_ahead: int, error_frac: float, seed: int) -> np.ndarray:
    """Factors by which a weather forecast misses the solar of each day, shape (n_ahead, n_days).

    One plus a normal error of standard deviation `error_frac`, drawn anew for each day and each day on which it is
    foreseen, never below 0: an error model of our own, to be stated wherever its result is shown.
    """
    drawn = np.random.default_rng(seed).standard_normal((n_ahead, calendar.n_days))
    return np.maximum(1.0 + error_frac * drawn, 0.0)


def forecast_targets(
    load_kw,
    reach_kw,
    solar_kw,
    buy_per_kwh,
    sell_per_kwh,
    pool: Pool,
    *,
    calendar: Calendar,
    floor_kwh,
    horizon_h=HORIZON_H,
    like_days=LIKE_DAYS,
    solar_error_frac=None,
    seed=0,
    step_h=1.0,
    dc_kw=0.0,
    **options,
):
    """Targets that an operator without foresight sets, step by step, from prices ahead and the past of the house.

    Parameters
    ----------
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pool, floor_kwh, step_h, dc_kw
        As `best_targets`; prices and floors are known ahead, the rest is not.
    calendar : Calendar
        From `calendar_of`.
    horizon_h : float
        How far each solve looks. [h]
    like_days : int
        Days of the same kind whose mean at the same time of day foresees the load and what may be switched.
    solar_error_frac : float, optional
        None: solar is foreseen as the mean of the last `like_days` days, of any kind. A number: a weather forecast is
        imitated, the day's own solar times `sky_errors` of this standard deviation (it is then not from the past).
    seed : int
        Of `sky_errors`.
    **options
        `wear_per_kwh`, `export`, `charge_ok`, `utility_ok` as `best_targets`; the latter two are known ahead.

    Returns
    -------
    ndarray, shape (n_steps, 4)
        Thresholds of the first step of each horizon: they hold whatever the state then is. [kWh DC]

    Raises
    ------
    BadInput
        As `best_targets`; a horizon or a number of like days that the series cannot give.

    Notes
    -----
    Each step solves `best_targets`' programme from there to the horizon with what is foreseen; what is left at its
    end counts nothing beyond the floor. The step itself is as it comes: what it measures decides only whether it has
    a surplus. The year is a circle: the last days stand before the first ones.

    Examples
    --------
    Four equal days of a cheap and a dear half: fill in the one, serve in the other:

    >>> calendar = calendar_of(np.repeat(np.arange(8), 2), np.tile([0, 1], 8), np.zeros(8))
    >>> targets = forecast_targets([1.0] * 16, 9, 0, [0.1, 0.3] * 8, 0.0, Pool(2.0), calendar=calendar, floor_kwh=0.0,
    ...                            step_h=12.0, like_days=2)
    >>> [float(targets[4, 3]), float(targets[5, 1])]
    [2.0, 0.0]
    """
    load = series(load_kw, "load_kw", least=-inf)
    n = len(load)
    reach = series(reach_kw, "reach_kw", n, infinite=True)
    solar, dc = series(solar_kw, "solar_kw", n), series(dc_kw, "dc_kw", n)
    floor = series(floor_kwh, "floor_kwh", n, most=pool.usable_kwh)
    n_horizon, n_ahead, n_like = _extent(calendar, n, horizon_h, like_days, step_h)
    loads, reaches = (foreseen(x, calendar, n_ahead, n_like) for x in (load, np.minimum(reach, 1e9)))
    if solar_error_frac is None:
        any_day = Calendar(calendar.day, calendar.slot, np.zeros(calendar.n_days, dtype=np.int64))
        suns, dcs = (foreseen(x, any_day, n_ahead, n_like) for x in (solar, dc))
    else:
        error = number(solar_error_frac, "solar_error_frac")
        factor = sky_errors(calendar, n_ahead, error, seed)[:, calendar.day]
        suns, dcs = factor * solar, factor * dc
    if works_in_parallel(load, reach):
        reaches = np.full_like(loads, inf)
    given = (buy_per_kwh, sell_per_kwh, pool)
    days = [
        programme(loads[k], reaches[k], suns[k], *given, step_h=step_h, dc_kw=dcs[k], **options) for k in range(n_ahead)
    ]
    now = programme(load, reach, solar, *given, step_h=step_h, dc_kw=dc, **options)
    stages = np.concatenate([*(one.stages for one in days), now.stages])
    targets = np.empty((n, 4))
    roll(stages, calendar.day, calendar.n_days, np.tile(floor, n_ahead + 1), pool.usable_kwh, n_horizon, targets)
    if not works_in_parallel(load, reach):  # whole circuits are served down to one threshold, and never exported
        targets[:, 1] = np.where(now.stages[:, 4] > 0.0, targets[:, 1], targets[:, 0])
        targets[:, 0] = pool.usable_kwh + dc * step_h
    return targets


def _extent(calendar: Calendar, n_steps: int, horizon_h, like_days, step_h) -> tuple[int, int, int]:
    """Steps of a horizon, days on which a step may be foreseen, and like days that are averaged."""
    h = number(step_h, "step_h", least=1e-6)
    n_horizon = round(number(horizon_h, "horizon_h", least=h) / h)
    if len(calendar.day) != n_steps or n_horizon > n_steps:
        raise BadInput(
            f"must have one value a step of load_kw and be as long as the horizon of {n_horizon} steps",
            key="calendar.day",
            value=len(calendar.day),
        )
    n_ahead = 1 + int(((np.roll(calendar.day, 1 - n_horizon) - calendar.day) % calendar.n_days).max())
    fewest = int(np.unique(calendar.kind, return_counts=True)[1].min())
    if not 1 <= like_days <= fewest - n_ahead:
        raise BadInput(
            f"must be from 1 to {fewest - n_ahead}",
            key="like_days",
            value=like_days,
            way_out=f"the rarest kind of day occurs {fewest} times",
        )
    return n_horizon, n_ahead, int(like_days)
