"""Daily energy by heating and cooling degree days: a + b HDD + c CDD, none of them below zero."""

from __future__ import annotations

import numpy as np

from profiles.hours import Hours
from profiles.meter.on_axis.source_days import SourceDays, seasons
from profiles.noun import BadInput

BALANCE_C = 18.0  # heating and cooling degree days to 65 F, rounded: common practice


def daily_degrees(temp_c: np.ndarray, hours: Hours) -> np.ndarray:
    """One, heating and cooling degrees of each local day's mean temperature, shape (n_days, 3). [-], [degC], [degC]"""
    mean_c = np.bincount(hours.day, weights=temp_c) / np.bincount(hours.day)
    if not np.isfinite(mean_c).all():
        raise BadInput("needs a finite temperature on every step", key="temp_c")
    return np.column_stack(
        (np.ones(len(mean_c)), np.maximum(BALANCE_C - mean_c, 0.0), np.maximum(mean_c - BALANCE_C, 0.0))
    )


def fitted(terms: np.ndarray, kwh: np.ndarray) -> tuple[np.ndarray, float]:
    """Least squares of energy on base, heating and cooling, none below zero, and the share of the spread explained.

    Parameters
    ----------
    terms : ndarray, shape (n, 3)
        Days, heating degree days and cooling degree days of each period.
    kwh : ndarray, shape (n,)
        Energy of each. [kWh]

    Returns
    -------
    fit : ndarray, shape (3,)
        kWh a day, per heating and per cooling degree day.
    explained : float
        R2, 1 where all periods are alike.
    """
    from scipy.optimize import nnls

    fit, _ = nnls(terms, kwh)
    spread = float(((kwh - kwh.mean()) ** 2).sum())
    return fit, 1.0 - float(((kwh - terms @ fit) ** 2).sum()) / spread if spread else 1.0


def fit_text(fit: np.ndarray) -> str:
    return (
        f"{fit[0]:.2f} kWh a day + {fit[1]:.3f} per heating and {fit[2]:.3f} per cooling degree day "
        f"to {BALANCE_C:g} degC"
    )


def degree_day_factor(hours: Hours, days: SourceDays, source: np.ndarray, temp_c: np.ndarray) -> tuple[np.ndarray, str]:
    """Factor on each day's source day, and the fit in words; weather is known by the day of the year only.

    Returns
    -------
    factor : ndarray, shape (n_days,)
    text : str
    """
    terms = daily_degrees(temp_c, hours)
    by_season = np.zeros((365, 3))
    by_season[seasons(hours)[::-1]] = terms[::-1]
    daily = days.delivered.mean(axis=1) * 24.0  # of 24 h, so that a day of 23 or 25 fits in
    theirs = by_season[days.season]
    fit, explained = fitted(theirs, daily)
    at_source, modelled = (theirs @ fit)[source], terms @ fit
    factor = np.divide(modelled, at_source, out=np.ones(hours.n_days), where=at_source > 0)
    text = f"{fit_text(fit)}, fitted to {len(days)} days (R2 {explained:.2f}), "
    return factor, text + "shaped by the nearest day of the same weekday"
