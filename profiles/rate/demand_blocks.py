"""Blocks of time whose mean power counts for a demand charge."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from profiles.hours import Hours
from profiles.noun import BadInput


@dataclass(frozen=True, eq=False)
class DemandBlocks:
    """The blocks of time whose mean power counts for one demand charge.

    Attributes
    ----------
    start : ndarray of int, shape (n_blocks,)
        First step of each counted block, rising.
    n_steps : ndarray of int, shape (n_blocks,)
        Steps in the block: a mean is their sum over this number.
    month : ndarray of int, shape (n_blocks,)
        Billing month of the block.
    of_step : ndarray of int32, shape (n_steps,) or None
        Block of each step, -1 where none counts; None for rolling blocks, which overlap.
    day : ndarray of int, shape (n_blocks,), or None
        Day of the year on which each block begins.
    days_meant : int
        Days whose highest means are averaged; 1: the highest alone.
    """

    start: np.ndarray
    n_steps: np.ndarray
    month: np.ndarray
    of_step: np.ndarray | None
    day: np.ndarray | None = None
    days_meant: int = 1

    def peak_kw(self, kw: np.ndarray, n_months: int) -> np.ndarray:
        """Highest block mean of each billing month, or the mean of its highest days; 0 where no block counts.

        Returns
        -------
        ndarray, shape (n_months,)
            [kW]
        """
        peak = np.zeros(n_months)
        if not len(self.start):
            return peak
        if self.days_meant > 1:
            return self._mean_of_days(kw, peak)
        first = np.flatnonzero(np.diff(self.month, prepend=-1))
        peak[self.month[first]] = np.maximum.reduceat(self._means(kw), first)
        return peak

    def _mean_of_days(self, kw: np.ndarray, peak: np.ndarray) -> np.ndarray:
        """Mean of the highest daily means of each month; of all its days where it has fewer."""
        of_day = np.full(int(self.day.max()) + 1, -np.inf)
        np.maximum.at(of_day, self.day, self._means(kw))
        month = np.full(len(of_day), -1)
        month[self.day] = self.month
        for m in np.unique(self.month):
            peak[m] = np.sort(of_day[month == m])[-self.days_meant :].mean()
        return peak

    def _means(self, kw: np.ndarray) -> np.ndarray:
        n = int(self.n_steps[0])
        if n == 1 and (self.n_steps == 1).all():
            return kw[self.start]
        total = np.zeros(len(self.start))
        for k in range(int(self.n_steps.max())):
            inside = k < self.n_steps
            total[inside] += kw[self.start[inside] + k]
        return total / self.n_steps


def fixed_blocks(inside: np.ndarray, month: np.ndarray, hours: Hours, window_min: int, key: str) -> DemandBlocks:
    """Blocks of the local clock that lie in the window; one that lies in it in part is refused."""
    starts, counts = _layout(hours, window_min)
    n_inside = np.add.reduceat(inside.astype(np.int64), starts)
    if ((n_inside > 0) & (n_inside < counts)).any():
        raise BadInput(
            f"has a bound inside a block of {window_min} min",
            key=f"{key}.hours",
            way_out="choose bounds that are multiples of window_min, or a shorter window_min",
        )
    counted = n_inside > 0
    of_step = np.repeat(np.where(counted, np.cumsum(counted) - 1, -1), counts).astype(np.int32)
    return DemandBlocks(starts[counted], counts[counted], month[starts[counted]], of_step)


@functools.lru_cache(maxsize=8)
def _layout(hours: Hours, window_min: int) -> tuple[np.ndarray, np.ndarray]:
    """First step and number of steps of every block of the local clock."""
    starts = np.flatnonzero(block_starts(hours, window_min))
    return starts, np.diff(starts, append=hours.n_steps)


def block_starts(hours: Hours, block_min: int) -> np.ndarray:
    """True where a block of the local clock begins, or where the clock jumps, shape (n_steps,)."""
    jump = np.diff(hours.minute, prepend=hours.minute[0] - hours.step_min) % 1440 != hours.step_min
    return (hours.minute % block_min == 0) | jump


def rolling_blocks(inside: np.ndarray, month: np.ndarray, n: int) -> DemandBlocks:
    """Blocks that lie wholly inside the window and one billing month; one begins at every step."""
    start = np.arange(len(inside) - n + 1)
    run = np.concatenate(([0], np.cumsum(inside)))
    counted = (run[n:] - run[:-n] == n) & (month[start] == month[start + n - 1])
    return DemandBlocks(start[counted], np.full(counted.sum(), n), month[start[counted]], None)
