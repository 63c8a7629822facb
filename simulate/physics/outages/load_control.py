"""What load control leaves on each pool, step by step, and where the load still exceeds the output."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LIMIT_TOLERANCE_KW = 1e-9


@dataclass(frozen=True, eq=False)
class Controlled:
    """Load on the pools after load control.

    Attributes
    ----------
    load_kw : ndarray, shape (n_pools, n_steps)
        [kW]
    trips : ndarray of bool, shape (n_pools, n_steps)
        The load exceeds the output, on a leg or in all.
    dropped : ndarray of bool, shape (n_circuits, n_steps)
        Circuits that were switched off.
    """

    load_kw: np.ndarray
    trips: np.ndarray
    dropped: np.ndarray


def control_load(circuit_kw, priority, share, on_leg, limits_kw, *, sheds: bool) -> Controlled:
    """Drop the lowest priorities where a limit is exceeded, the highest number first and the whole priority.

    Parameters
    ----------
    circuit_kw : ndarray, shape (n_circuits, n_steps)
        Mean kW of each circuit that is on. [kW]
    priority : ndarray of int, shape (n_circuits,)
        1 is kept longest; the lowest number present is never dropped.
    share : ndarray, shape (n_pools, n_circuits)
        Share of each circuit's power on each pool.
    on_leg : ndarray, shape (n_limits, n_circuits)
        Share of each circuit's power that each limit sees.
    limits_kw : tuple (limits, pool)
        `limits`, shape (n_limits,): output limits [kW]; `pool`, shape (n_limits,): the pool each belongs to.
    sheds : bool
        Whether anything drops circuits at all.

    Notes
    -----
    Of a priority the circuits on the legs that are exceeded are dropped together, two-pole ones with them. Each step
    is judged for itself, so what was dropped is back in a later step if it fits.

    Examples
    --------
    6 kW carry 4.6 of 7.6 kW, the 3 kW of the last priority dropped whole:

    >>> kw = np.array([[0.7], [0.8], [1.5], [1.6], [3.0]])
    >>> ones = np.ones((1, 5))
    >>> limits = (np.array([6.0]), np.array([0]))
    >>> left = control_load(kw, np.array([1, 1, 2, 3, 4]), ones, ones, limits, sheds=True)
    >>> round(float(left.load_kw[0, 0]), 9), bool(left.trips[0, 0])
    (4.6, False)
    """
    limit_kw, pool = limits_kw
    on = np.ones(circuit_kw.shape, bool)
    if sheds and len(priority):
        for level in sorted(set(priority.tolist()), reverse=True)[:-1]:
            over = on_leg @ (circuit_kw * on) > limit_kw[:, None] + LIMIT_TOLERANCE_KW
            if not over.any():
                break
            for c in np.flatnonzero(priority == level):
                on[c] &= ~over[on_leg[:, c] > 0.0].any(axis=0)
    kept = circuit_kw * on
    over = on_leg @ kept > limit_kw[:, None] + LIMIT_TOLERANCE_KW
    trips = np.array([over[pool == p].any(axis=0) for p in range(len(share))]).reshape(len(share), -1)
    return Controlled(share @ kept, trips, ~on)
