"""Of some circuits the subset of largest energy that stays within every limit in every step."""

from __future__ import annotations

import numpy as np

from simulate.physics.compiled import jit

MOST_TO_ENUMERATE = 16
MOST_TRIED = 200_000
"""Sets that branch and bound looks at before it ends with what it has, some tens of milliseconds."""


def largest_subset(kw, share, limit_kw) -> tuple[np.ndarray, float]:
    """Subset of largest energy within the limits of every step, and the energy that it may miss.

    Parameters
    ----------
    kw : ndarray, shape (n_circuits, n_steps)
        Circuits in file order. [kW]
    share : ndarray, shape (n_limits, n_circuits)
        Share of each circuit's power that each limit sees.
    limit_kw : ndarray, shape (n_limits,)
        What each limit allows in every step. [kW]

    Returns
    -------
    chosen : ndarray of bool, shape (n_circuits,)
        Circuits that draw nothing are left out.
    missed : float
        0 where the search ended; else no subset has more than this beyond the chosen one. [kW steps]

    Notes
    -----
    Limits that no circuit ties together are looked at one by one. Up to 16 circuits by enumeration (ties: fewest
    circuits, then file order), above that by branch and bound.

    Examples
    --------
    >>> chosen, missed = largest_subset(np.array([[2.0], [1.5], [0.8]]), np.ones((1, 3)), np.array([3.0]))
    >>> chosen.tolist(), missed
    ([True, False, True], 0.0)
    """
    chosen, missed = kw.sum(axis=1) > 0.0, 0.0
    if (share[:, chosen] @ kw[chosen] <= limit_kw[:, None] + 1e-12).all():
        return chosen, 0.0
    for rows in _tied_limits(share):
        mine = np.flatnonzero(chosen & (share[rows] > 0.0).any(axis=0))
        part, seen, limit = kw[mine], share[np.ix_(rows, mine)], limit_kw[rows]
        if (seen @ part <= limit[:, None] + 1e-12).all():
            continue
        if len(mine) <= MOST_TO_ENUMERATE:
            chosen[mine] = _enumerated(part, seen, limit)
        else:
            chosen[mine], open_kw = _branched(part, seen, limit)
            missed += open_kw
    return chosen, missed


def _tied_limits(share) -> list[list[int]]:
    """Limits in groups: two that one circuit burdens stand in one group."""
    groups: list[list[int]] = []
    for row in range(len(share)):
        tied = [group for group in groups if (share[group].any(axis=0) & (share[row] > 0.0)).any()]
        groups = [group for group in groups if group not in tied] + [[*sum(tied, []), row]]
    return groups


def _enumerated(kw, share, limit_kw) -> np.ndarray:
    n = len(kw)
    sets = ((np.arange(2**n)[:, None] >> np.arange(n)) & 1).astype(bool)
    fits = np.ones(len(sets), bool)
    for row, limit in zip(share, limit_kw, strict=True):
        fits &= ((sets * row) @ kw).max(axis=1) <= limit + 1e-12
    sets = sets[fits]
    total = np.round(sets @ kw.sum(axis=1), 12)
    order = np.lexsort([-total, *(~sets[:, j] for j in range(n - 1, -1, -1)), sets.sum(axis=1), -total])
    return sets[order[0]]


def _branched(kw, share, limit_kw) -> tuple[np.ndarray, float]:
    """Branch and bound in falling order of energy; of equal circuits the first ones in the file."""
    energy = kw.sum(axis=1)
    order = np.argsort(-energy, kind="stable")
    burden = np.ascontiguousarray((share[:, order, None] * kw[order]).swapaxes(0, 1))
    later = np.concatenate([np.cumsum(burden[::-1], axis=0)[::-1], np.zeros_like(burden[:1])])
    twin = np.r_[False, (burden[1:] == burden[:-1]).all(axis=(1, 2))]
    room = np.repeat(limit_kw[:, None], kw.shape[1], axis=1)
    weight = np.ascontiguousarray(burden.sum(axis=1).T)
    densest = np.argsort(-energy[order] / np.maximum(weight, 1e-300), axis=1, kind="stable")
    taken, missed = _search(
        burden, later, weight, densest, energy[order], twin, room, share.sum(axis=0).min(), MOST_TRIED
    )
    chosen = np.zeros(len(kw), bool)
    chosen[order[taken]] = True
    return chosen, float(missed)


@jit
def _filled(depth, room, weight, energy, densest, t):
    """Energy of the circuits from `depth` on that fill one step's room, the last of them in part."""
    left, gained = 0.0, 0.0
    for i in range(room.shape[0]):
        left += max(room[i, t], 0.0)
    for j in densest:
        if j < depth:
            continue
        if weight[j] > left:
            return gained + energy[j] * left / weight[j]
        left -= weight[j]
        gained += energy[j]
    return gained


@jit
def _search(burden, later, weight, densest, energy, twin, limit, times_seen, most_tried):
    """Depth first, each circuit first taken, then not. The rest adds no more than the room of each step.

    Every kW of a circuit takes room `times_seen` times at least. Nor does the rest add more than whole and part
    circuits that fill the room of one step, those of most energy for their `weight` there first (`densest`). Once
    `most_tried` sets are seen no branch is opened any more; what those could hold is returned beside the best set.
    """
    n, n_rows, n_steps = burden.shape
    room, gained = np.empty((n + 1, n_rows, n_steps)), np.zeros(n + 1)
    room[0] = limit
    taken, best_taken, turn = np.zeros(n, np.bool_), np.zeros(n, np.bool_), np.zeros(n + 1, np.int64)
    best, most_open, tried, depth = 0.0, 0.0, 0, 0
    while depth >= 0:
        if turn[depth] == 0:
            tried += 1
            if gained[depth] > best + 1e-12:
                best = gained[depth]
                for j in range(n):
                    best_taken[j] = j < depth and taken[j]
            most = gained[depth]
            fits = depth < n
            for i in range(n_rows):
                for t in range(n_steps):
                    most += min(room[depth, i, t] + 1e-12, later[depth, i, t]) / times_seen
                    fits = fits and burden[depth, i, t] <= room[depth, i, t] + 1e-12
            for t in range(n_steps):
                if most > best + 1e-9:
                    most = min(most, gained[depth] + _filled(depth, room[depth], weight[t], energy, densest[t], t))
            if depth == n or most <= best + 1e-9:
                depth -= 1
                continue
            if tried > most_tried:
                most_open = max(most_open, most)
                depth -= 1
                continue
            turn[depth] = 1
            if fits and not (twin[depth] and not taken[depth - 1]):
                taken[depth] = True
        elif turn[depth] == 1:
            turn[depth], taken[depth] = 2, False
        else:
            depth -= 1
            continue
        if turn[depth] == 1 and not taken[depth]:
            continue
        for i in range(n_rows):
            for t in range(n_steps):
                room[depth + 1, i, t] = room[depth, i, t] - (burden[depth, i, t] if taken[depth] else 0.0)
        gained[depth + 1] = gained[depth] + (energy[depth] if taken[depth] else 0.0)
        turn[depth + 1] = 0
        depth += 1
    return best_taken, max(most_open - best, 0.0)
