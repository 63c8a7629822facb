"""Which whole circuits are switched to battery for the rate, period by period."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_TO_ENUMERATE = 16


@dataclass(frozen=True, eq=False)
class Switched:
    """The circuits that are switched over and their load.

    Attributes
    ----------
    reach_kw : ndarray, shape (n_pools, n_steps)
        Single-pole circuits on each pool. [kW]
    two_pole_kw : ndarray, shape (n_steps,)
        Two-pole circuits on a locked pair. [kW]
    starts : ndarray of int, shape (n_periods,)
        First step of each period.
    chosen : ndarray of bool, shape (n_periods, n_circuits)
        Circuits of each period's set.
    method : str
        "enumeration" or "branch and bound".
    """

    reach_kw: np.ndarray
    two_pole_kw: np.ndarray
    starts: np.ndarray
    chosen: np.ndarray
    method: str


def periods_of(serve) -> list[tuple[int, int]]:
    """First and one-past-last step of each run of consecutive serve steps.

    Examples
    --------
    >>> periods_of(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    edges = np.flatnonzero(np.diff(np.r_[False, serve, False].astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def switched_sets(circuit_kw, on_pool, limit_kw, serve) -> Switched:
    """For each period of service the whole circuits of largest energy that stay within every limit.

    Parameters
    ----------
    circuit_kw : ndarray, shape (n_circuits, n_steps)
        Candidates in file order, mean kW per step.
    on_pool : ndarray, shape (n_pools, n_circuits)
        Share of each circuit's power that each limit sees: 1 on its own leg, 0.5 on both for a two-pole circuit.
        More rows than pools may be given: a 120/240 V unit has one per leg and one for the whole.
    limit_kw : ndarray, shape (n_limits,)
        Continuous output. [kW]
    serve : ndarray of bool, shape (n_steps,)

    Returns
    -------
    Switched
        Its `reach_kw` has one row per limit; two-pole circuits are in `two_pole_kw` only.

    Notes
    -----
    Ties: fewest circuits, then file order. Up to 16 candidates by enumeration, above that by branch and bound.

    Examples
    --------
    >>> kw = np.array([[2.0], [1.5], [0.8]])
    >>> sets = switched_sets(kw, np.ones((1, 3)), np.array([3.0]), np.array([True]))
    >>> sets.chosen[0].tolist(), float(sets.reach_kw[0, 0])
    ([True, False, True], 2.8)
    """
    n_circuits, n_steps = circuit_kw.shape
    periods = periods_of(serve)
    chosen = np.zeros((len(periods), n_circuits), bool)
    reach, two = np.zeros((len(limit_kw), n_steps)), np.zeros(n_steps)
    is_two = (on_pool == 0.5).any(axis=0) if n_circuits else np.zeros(0, bool)
    for k, (a, b) in enumerate(periods):
        part = circuit_kw[:, a:b]
        chosen[k] = _largest_set(part, on_pool, limit_kw)
        reach[:, a:b] = (on_pool * (chosen[k] & ~is_two)) @ part
        two[a:b] = (chosen[k] & is_two) @ part
    method = "enumeration" if n_circuits <= MOST_TO_ENUMERATE else "branch and bound"
    return Switched(reach, two, np.array([a for a, _ in periods], dtype=np.int64), chosen, method)


def _largest_set(kw, on_pool, limit_kw) -> np.ndarray:
    """Subset of largest energy within the limits of every step, shape (n_circuits,) of bool."""
    energy = kw.sum(axis=1)
    useful = energy > 0.0
    if not useful.any() or (on_pool[:, useful] @ kw[useful] <= limit_kw[:, None] + 1e-12).all():
        return useful
    if useful.sum() > MOST_TO_ENUMERATE:
        return _branch(kw, on_pool, limit_kw, energy)
    index = np.flatnonzero(useful)
    sets = ((np.arange(2 ** len(index))[:, None] >> np.arange(len(index))) & 1).astype(bool)
    fits = np.ones(len(sets), bool)
    for row, limit in zip(on_pool, limit_kw, strict=True):
        fits &= ((sets * row[index]) @ kw[index]).max(axis=1) <= limit + 1e-12
    sets = sets[fits]
    total = np.round(sets @ energy[index], 12)
    order = np.lexsort([-total, *(~sets[:, j] for j in range(len(index) - 1, -1, -1)), sets.sum(axis=1), -total])
    out = np.zeros(len(kw), bool)
    out[index] = sets[order[0]]
    return out


def _branch(kw, on_pool, limit_kw, energy) -> np.ndarray:
    """Branch and bound over the circuits in falling order of energy; the bound is all that are left."""
    order = np.argsort(-energy, kind="stable")
    left = np.r_[np.cumsum(energy[order][::-1])[::-1], 0.0]
    best, best_set = -1.0, np.zeros(len(kw), bool)
    stack = [(0, np.zeros(len(kw), bool), np.zeros((len(limit_kw), kw.shape[1])), 0.0)]
    while stack:
        depth, chosen, used, gained = stack.pop()
        if gained > best + 1e-12:
            best, best_set = gained, chosen
        if depth == len(order) or gained + left[depth] <= best + 1e-12:
            continue
        c = order[depth]
        stack.append((depth + 1, chosen, used, gained))
        more = used + on_pool[:, c, None] * kw[c]
        if (more <= limit_kw[:, None] + 1e-12).all():
            with_c = chosen.copy()
            with_c[c] = True
            stack.append((depth + 1, with_c, more, gained + energy[c]))
    return best_set
