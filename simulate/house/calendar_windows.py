"""Which circuits go over when under the plans by the calendar, which know the circuits' kW of the peak at hand."""

from __future__ import annotations

import numpy as np

from simulate.house.candidates import MaySwitch
from simulate.plans.switched import Switched, periods_of
from simulate.plans.windows import best_windows

BLOCK_H = 0.5
"""Windows of finer steps begin and end on this grid. [h]"""


def windows_in(may: MaySwitch, serve, load_kw, worth_per_kwh, step_h: float) -> Switched:
    """In each run of serve steps the windows that save most within every limit, cut to the meter.

    Parameters
    ----------
    may : MaySwitch
    serve : ndarray of bool, shape (n_steps,)
    load_kw : ndarray, shape (n_steps,)
        Of the house. [kW]
    worth_per_kwh : ndarray, shape (n_steps,)
        What a kWh delivered saves, its refill taken off. [currency/kWh]
    step_h : float

    Notes
    -----
    Where all candidates fit together each stays over for the whole run. Pools that no candidate ties together are
    looked at one by one.
    """
    groups, of_candidate = may.groups()
    of_limit, periods = groups[may.pool_of_limit], periods_of(serve)
    begin, end = np.zeros((2, len(periods) * len(np.unique(groups)), may.n_candidates), np.int64)
    known, missed, row = {}, 0.0, 0
    for a, b in periods:
        for group in np.unique(groups):
            mine, rows = np.flatnonzero(of_candidate == group), np.flatnonzero(of_limit == group)
            if len(mine):
                part = _part(may, mine, rows, a, b)
                key = (*(one.tobytes() for one in part), worth_per_kwh[a:b].tobytes())
                if key not in known:
                    known[key] = _windows(*part, may.room_kw[rows], worth_per_kwh[a:b] * step_h, step_h)
                starts, stops, open_frac = known[key]
                begin[row, mine], end[row, mine] = a * (stops > 0) + starts, a * (stops > 0) + stops
                missed = max(missed, open_frac)
            row += 1
    begin, end = begin[:, may.tied], end[:, may.tied]
    return switched_over(may, begin, end, load_kw, missed or None)


def _part(may: MaySwitch, mine, rows, a: int, b: int) -> tuple[np.ndarray, np.ndarray]:
    """Load of some candidates in some steps, and what some limits see of each."""
    kw = may.of_candidates(may.kw[:, a:b])[mine]
    burden = np.stack([may.of_candidates(may.seen[row][:, None] * may.kw[:, a:b])[mine] for row in rows], axis=1)
    return np.ascontiguousarray(kw), np.ascontiguousarray(burden)


def _windows(kw, burden, room_kw, worth, step_h: float):
    """First step and the one past the last of each candidate in a run, and what the search may miss."""
    n_steps, used = kw.shape[1], kw.sum(axis=1) > 0.0
    if (burden.sum(axis=0) <= room_kw[:, None] + 1e-12).all():
        return np.zeros(len(kw), np.int64), used * n_steps, 0.0
    block = max(1, round(BLOCK_H / step_h))
    at = np.arange(0, n_steps, block)
    most = np.maximum.reduceat(burden, at, axis=2)
    gain = np.add.reduceat(kw * worth, at, axis=1)
    mean = np.add.reduceat(kw, at, axis=1)
    per_kw = np.where(mean.sum(axis=0) > 0.0, gain.sum(axis=0) / np.maximum(mean.sum(axis=0), 1e-300), 0.0)
    found = best_windows(mean, most, room_kw, per_kw)
    stops = np.minimum(found.end * block, n_steps)
    return found.begin * block, stops, found.missed / found.gain if found.gain > 0.0 else 0.0


def switched_over(may: MaySwitch, begin, end, load_kw, missed_frac=None) -> Switched:
    """What is over in each step, cut to the meter.

    Parameters
    ----------
    begin, end : ndarray of int, shape (n_periods, n_circuits)
    """
    over = np.zeros((len(may.kw), may.kw.shape[1] + 1))
    for starts, stops in zip(begin, end, strict=True):
        here = np.flatnonzero(stops > starts)
        over[here, starts[here]] += 1.0
        over[here, stops[here]] -= 1.0
    kw = may.kw * np.cumsum(over, axis=1)[:, :-1]
    total = kw.sum(axis=0)
    kw = kw * np.minimum(1.0, np.maximum(load_kw, 0.0) / np.where(total > 0.0, total, 1.0))
    return Switched((may.on_pool * ~may.is_double) @ kw, may.is_double @ kw, begin, end, missed_frac)
