"""The largest load of whole circuits that a unit can carry, step by step: what no switching can exceed."""

from __future__ import annotations

import numpy as np

from simulate.physics.compiled import jit

MOST_TRIED = 20_000
"""Sets looked at in one step; beyond it what fits in parts is taken, which is no less."""


def largest_load(kw, burden_kw, room_kw) -> np.ndarray:
    """Largest sum of whole circuits within every limit, in each step by itself.

    Parameters
    ----------
    kw : array_like, shape (n_circuits, n_steps)
        What each adds to the sum. [kW]
    burden_kw : array_like, shape (n_circuits, n_limits, n_steps)
        What each limit sees of it. [kW]
    room_kw : array_like, shape (n_limits,)
        What each limit allows. [kW]

    Returns
    -------
    ndarray, shape (n_steps,)
        [kW]

    Notes
    -----
    Depth first in falling order of load; a step that would need more than `MOST_TRIED` sets takes the sum or what the
    limits leave, whichever is less: no set carries more.

    Examples
    --------
    >>> kw = np.array([[2.0], [1.5], [0.8]])
    >>> largest_load(kw, kw[:, None], [3.0]).tolist()
    [2.8]
    """
    kw, burden = np.ascontiguousarray(kw, float), np.ascontiguousarray(burden_kw, float)
    return _largest(kw, burden, np.asarray(room_kw, float), MOST_TRIED)


@jit
def _largest(kw, burden, room_kw, most_tried):
    n, n_rows, n_steps = burden.shape
    out = np.zeros(n_steps)
    room, gained = np.empty((n + 1, n_rows)), np.zeros(n + 1)
    turn, later = np.zeros(n + 1, np.int64), np.zeros(n + 1)
    for t in range(n_steps):
        total, fits = 0.0, True
        for j in range(n):
            total += kw[j, t]
        for i in range(n_rows):
            used = 0.0
            for j in range(n):
                used += burden[j, i, t]
            fits = fits and used <= room_kw[i] + 1e-9
        if fits:
            out[t] = total
            continue
        order = np.argsort(-kw[:, t])
        for d in range(n - 1, -1, -1):
            later[d] = later[d + 1] + kw[order[d], t]
        seen = _least_share(kw[:, t], burden[:, :, t])
        room[0], turn[0], depth, best, tried = room_kw, 0, 0, 0.0, 0
        while depth >= 0:
            if turn[depth] == 0:
                tried += 1
                best = max(best, gained[depth])
                left = 0.0
                for i in range(n_rows):
                    left += max(room[depth, i] + 1e-9, 0.0)
                if depth == n or gained[depth] + min(later[depth], left / seen) <= best + 1e-12 or tried > most_tried:
                    depth -= 1
                    continue
            elif turn[depth] == 2:
                depth -= 1
                continue
            take, j = turn[depth] == 0, order[depth]
            turn[depth] += 1
            ok = True
            if take:
                for i in range(n_rows):
                    ok = ok and burden[j, i, t] <= room[depth, i] + 1e-9
                if not ok:
                    continue
            for i in range(n_rows):
                room[depth + 1, i] = room[depth, i] - (burden[j, i, t] if take else 0.0)
            gained[depth + 1] = gained[depth] + (kw[j, t] if take else 0.0)
            depth += 1
            turn[depth] = 0
        out[t] = min(total, room_kw.sum() / seen) if tried > most_tried else best
    return out


@jit
def _least_share(kw, burden):
    """Least sum of what the limits see of one kW of any circuit."""
    least = np.inf
    for j in range(len(kw)):
        if kw[j] > 0.0:
            least = min(least, burden[j].sum() / kw[j])
    return least if least > 0.0 else 1e-12
