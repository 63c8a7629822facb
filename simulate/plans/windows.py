"""One window of service for each circuit in a peak: which circuits go over when, so that it saves most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.physics.compiled import jit

MOST_TRIED = 200_000
"""Sets of windows that the search looks at before it ends with what it has, some tens of milliseconds."""
BETTER = 1e-9
"""Money by which one more circuit must gain: of equal savings the one with fewest breaks, then file order."""


@dataclass(frozen=True, eq=False)
class Windows:
    """Where each candidate goes over and comes back in one peak.

    Attributes
    ----------
    begin, end : ndarray of int, shape (n_candidates,)
        First step and the one past the last; both 0 where a candidate is left on the utility.
    gain : float
        What they save. [money]
    missed : float
        0 where the search ended; else no choice saves more than this beyond it. [money]
    """

    begin: np.ndarray
    end: np.ndarray
    gain: float
    missed: float


def best_windows(kw, burden, room_kw, worth_per_kw) -> Windows:
    """Windows that save most where what is over stays within every limit in every step.

    Parameters
    ----------
    kw : array_like, shape (n_candidates, n_steps)
        Load of each candidate. [kW]
    burden : array_like, shape (n_candidates, n_limits, n_steps)
        What each limit sees of it. [kW]
    room_kw : array_like, shape (n_limits,)
        What each limit allows. [kW]
    worth_per_kw : array_like, shape (n_steps,)
        What one kW that is over for the whole step saves; it may be negative. [money/kW]

    Returns
    -------
    Windows

    Examples
    --------
    Two circuits of 2 kW whose hours overlap, 3 kW of output: the second waits for the first:

    >>> kw = np.array([[2.0, 2.0, 2.0, 0.0, 0.0], [0.0, 0.0, 2.0, 2.0, 2.0]])
    >>> found = best_windows(kw, kw[:, None], [3.0], np.full(5, 0.3))
    >>> found.begin.tolist(), found.end.tolist(), round(found.gain, 9)
    ([0, 3], [3, 5], 3.0)
    """
    kw, burden = np.ascontiguousarray(kw, float), np.ascontiguousarray(burden, float)
    limits = np.broadcast_to(np.asarray(room_kw, float)[:, None], burden.shape[1:])
    begin, end, gain, missed = search(
        kw, burden, np.ascontiguousarray(limits), np.asarray(worth_per_kw, float), MOST_TRIED
    )
    return Windows(begin, end, float(gain), float(missed))


@jit
def search(kw, burden, room_kw, worth, most_tried):
    """Depth first over candidates, each one's windows in falling order of gain, then left out.

    What the rest can add is at most the sum of their own best windows, and at most the worth of the room that is left
    in each step.
    """
    n, n_rows, n_steps = burden.shape
    begin, end = np.zeros(n, np.int64), np.zeros(n, np.int64)
    if n == 0 or n_steps == 0:
        return begin, end, 0.0, 0.0
    gains, starts, stops, counts, alone = _options(kw, burden, room_kw, worth)
    order = np.argsort(-alone, kind="mergesort")
    seen = np.inf
    for j in range(n):
        for t in range(n_steps):
            if kw[j, t] > 0.0:
                seen = min(seen, burden[j, :, t].sum() / kw[j, t])
    later_gain, later_kw = np.zeros(n + 1), np.zeros((n + 1, n_steps))
    for d in range(n - 1, -1, -1):
        later_gain[d] = later_gain[d + 1] + alone[order[d]]
        for t in range(n_steps):
            later_kw[d, t] = later_kw[d + 1, t] + kw[order[d], t]
    room = np.empty((n + 1, n_rows, n_steps))
    room[0] = room_kw
    gained, turn, taken = np.zeros(n + 1), np.zeros(n + 1, np.int64), np.full(n, -1)
    best, most_open, tried, depth = 0.0, 0.0, 0, 0
    best_taken = np.full(n, -1)
    while depth >= 0:
        if turn[depth] == 0:
            tried += 1
            if gained[depth] > best + BETTER:
                best = gained[depth]
                best_taken[:] = -1
                best_taken[:depth] = taken[:depth]
            if depth == n:
                depth -= 1
                continue
            most = gained[depth] + _rest(room[depth], later_kw[depth], worth, seen, later_gain[depth])
            if most <= best + BETTER:
                depth -= 1
                continue
            if tried > most_tried:
                most_open = max(most_open, most)
                depth -= 1
                continue
        j, k = order[depth], turn[depth]
        if k > counts[j] or (k < counts[j] and gained[depth] + gains[j, k] + later_gain[depth + 1] <= best + BETTER):
            turn[depth] = 0  # later windows gain less still
            if k <= counts[j] and gained[depth] + later_gain[depth + 1] > best + BETTER:
                turn[depth] = counts[j]
                k = counts[j]
            else:
                depth -= 1
                continue
        turn[depth] += 1
        if k == counts[j]:
            taken[depth] = -1
            room[depth + 1] = room[depth]
            gained[depth + 1] = gained[depth]
        else:
            a, b = starts[j, k], stops[j, k]
            if not _fits(room[depth], burden[j], a, b):
                continue
            taken[depth] = k
            room[depth + 1] = room[depth]
            for i in range(n_rows):
                for t in range(a, b):
                    room[depth + 1, i, t] -= burden[j, i, t]
            gained[depth + 1] = gained[depth] + gains[j, k]
        depth += 1
        turn[depth] = 0
    for d in range(n):
        if best_taken[d] >= 0:
            begin[order[d]], end[order[d]] = starts[order[d], best_taken[d]], stops[order[d], best_taken[d]]
    return begin, end, best, max(most_open - best, 0.0)


@jit
def _options(kw, burden, room_kw, worth):
    """Windows of each candidate that gain and fit alone, in falling order of gain; and the best gain of each."""
    n, n_rows, n_steps = burden.shape
    most = n_steps * (n_steps + 1) // 2
    gains, starts, stops = np.zeros((n, most)), np.zeros((n, most), np.int64), np.zeros((n, most), np.int64)
    counts, alone = np.zeros(n, np.int64), np.zeros(n)
    for j in range(n):
        count = 0
        for a in range(n_steps):
            if not kw[j, a] * worth[a] > 0.0:  # a window begins and ends where it gains
                continue
            gain = 0.0
            for t in range(a, n_steps):
                fits = True
                for i in range(n_rows):
                    fits = fits and burden[j, i, t] <= room_kw[i, t] + 1e-9
                if not fits:
                    break
                gain += kw[j, t] * worth[t]
                if kw[j, t] * worth[t] > 0.0 and gain > BETTER:
                    gains[j, count], starts[j, count], stops[j, count] = gain, a, t + 1
                    count += 1
        falling = np.argsort(-gains[j, :count], kind="mergesort")
        gains[j, :count] = gains[j, :count][falling]
        starts[j, :count] = starts[j, :count][falling]
        stops[j, :count] = stops[j, :count][falling]
        counts[j] = count
        alone[j] = gains[j, 0] if count else 0.0
    return gains, starts, stops, counts, alone


@jit
def _fits(room, burden, a, b):
    for i in range(room.shape[0]):
        for t in range(a, b):
            if burden[i, t] > room[i, t] + 1e-9:
                return False
    return True


@jit
def _rest(room, later_kw, worth, seen, later_gain):
    """What later candidates can add at most."""
    total = 0.0
    for t in range(room.shape[1]):
        if worth[t] > 0.0:
            left = 0.0
            for i in range(room.shape[0]):
                left += max(room[i, t] + 1e-9, 0.0)
            total += worth[t] * min(later_kw[t], left / seen)
    return min(total, later_gain)
