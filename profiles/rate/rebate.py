"""Rebates of event days: what is bought less than on like days before, in the hours of the event."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class RebateDays:
    """The days of one event that pays a rebate, and the days that its baseline looks at.

    Attributes
    ----------
    day, month : ndarray of int, shape (n_events,)
        Day of the year, and its billing month.
    like : tuple of ndarray of int
        For each event day the like days before it: weekdays that are no holidays and no events. A year that begins
        has its own last days before it.
    n_best : int
        Of the like days those with the highest use, whose mean is the baseline.
    inside : ndarray of bool, shape (n_steps,)
        The hours of the event, on every day.
    of_step : ndarray of int, shape (n_steps,)
        Day of each step.
    """

    day: np.ndarray
    month: np.ndarray
    like: tuple[np.ndarray, ...]
    n_best: int
    inside: np.ndarray
    of_step: np.ndarray

    def saved_kwh(self, import_kw: np.ndarray, n_months: int, step_h: float) -> np.ndarray:
        """What is bought less than the baseline, never negative, by billing month, shape (n_months,) [kWh]."""
        used = np.bincount(self.of_step[self.inside], import_kw[self.inside], int(self.of_step[-1]) + 1) * step_h
        saved = np.zeros(n_months)
        for day, month, like in zip(self.day, self.month, self.like, strict=True):
            best = np.sort(used[like])[-self.n_best :]
            saved[month] += max(float(best.mean()) - used[day], 0.0) if len(best) else 0.0
        return saved


def days_before(like: np.ndarray, day: int, n: int, n_days: int) -> np.ndarray:
    """The last `n` of these days before a day, round the year where it has too few.

    Examples
    --------
    >>> days_before(np.array([0, 2, 4, 363]), 3, 3, 365).tolist()
    [363, 0, 2]
    """
    before = np.r_[like[like > day] - n_days, like[like < day]]
    return before[-n:] % n_days
