"""A meter's readings on the hour axis, with energy exact and every gap filled by a stated rule or refused."""

from __future__ import annotations

import numpy as np

from profiles.hours import Hours
from profiles.meter.on_axis.gaps import fill_gaps
from profiles.meter.readings.meter import Meter
from profiles.noun import BadInput


def meter_kw(meter: Meter, hours: Hours, *, register: str = "net") -> np.ndarray:
    """Mean power of a meter on each step of the year.

    Parameters
    ----------
    meter : Meter
    hours : Hours
        The file must cover its year. Readings longer than a step are spread evenly, shorter ones averaged.
    register : str
        "net" (delivered minus received, may be negative where solar is behind the meter), "delivered" or "received".

    Returns
    -------
    ndarray, shape (n_steps,)
        Mean over each step. [kW]

    Raises
    ------
    BadInput
        The year is not covered, or a gap is longer than a day.

    Notes
    -----
    Gaps are filled as `fill_gaps` says; its meter lists how many and how. "delivered" and "received" are split at the
    file's own interval, before any averaging, so that a half-hour in and a half-hour out never cancel.
    """
    if register not in ("net", "delivered", "received"):
        raise BadInput('must be "net", "delivered" or "received"', key="register", value=register)
    whole = fill_gaps(meter, hours)
    return _on_steps(whole.start_utc, whole.duration_s, whole.register_kwh(register), hours)


def _on_steps(start, duration, kwh, hours: Hours) -> np.ndarray:
    step_s = hours.step_min * 60
    first = step_starts(hours)[0]
    steps = first + step_s * np.arange(hours.n_steps + 1, dtype=np.int64)
    end = start + duration
    edges = np.unique(np.concatenate((steps, np.clip(start, first, steps[-1]), np.clip(end, first, steps[-1]))))
    length = np.diff(edges)
    reading = np.clip(np.searchsorted(start, edges[:-1], side="right") - 1, 0, None)
    inside = (start[reading] <= edges[:-1]) & (edges[1:] <= end[reading])
    energy = np.where(inside, kwh[reading] * (length / duration[reading]), 0.0)
    return np.bincount((edges[:-1] - first) // step_s, weights=energy, minlength=hours.n_steps) / hours.step_h


def covered_kw(meter: Meter, hours: Hours, register: str = "net") -> np.ndarray:
    """Mean power on the steps that the file covers wholly, NaN on the others, shape (n_steps,)."""
    energy = _on_steps(meter.start_utc, meter.duration_s, meter.register_kwh(register), hours)
    time = _on_steps(meter.start_utc, meter.duration_s, meter.duration_s / 3600.0, hours)
    return np.where(time > 1.0 - 1e-9, energy, np.nan)


def step_starts(hours: Hours) -> np.ndarray:
    """Starts of the steps, seconds since 1970 in UTC, shape (n_steps,)."""
    return hours.utc.as_unit("s").asi8
