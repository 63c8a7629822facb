"""Which whole circuits are switched to battery for the rate, period by period."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.plans.subset import MOST_TO_ENUMERATE, largest_subset


@dataclass(frozen=True, eq=False)
class Switched:
    """The circuits that are switched over and their load.

    Attributes
    ----------
    reach_kw : ndarray, shape (n_pools, n_steps)
        Single-pole circuits on each pool. [kW]
    two_pole_kw : ndarray, shape (n_steps,)
        Two-pole circuits on a locked pair. [kW]
    begin, end : ndarray of int, shape (n_periods, n_circuits)
        First step of each circuit on battery in each period, and the one past its last; both 0 where it is not.
    missed_frac : float or None
        None where all sets were enumerated; else branch and bound: no set has more energy than this share beyond the
        chosen one, at the worst of the periods.
    """

    reach_kw: np.ndarray
    two_pole_kw: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    missed_frac: float | None = None

    @property
    def chosen(self) -> np.ndarray:
        """Circuits that go over in each period, shape (n_periods, n_circuits) of bool."""
        return self.end > self.begin

    @property
    def method(self) -> str:
        """How the sets were found, and how far they may be from the largest."""
        if self.missed_frac is None:
            return "enumeration"
        within = f", within {self.missed_frac:.2%} of the largest energy" if self.missed_frac else ""
        return f"branch and bound{within}"


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
    known, missed_frac = {}, 0.0
    for k, (a, b) in enumerate(periods):
        part = np.ascontiguousarray(circuit_kw[:, a:b])
        key = (b - a, part.tobytes())
        if key not in known:
            known[key] = largest_subset(part, on_pool, limit_kw)
        chosen[k], missed = known[key]
        missed_frac = max(missed_frac, missed / max(part[chosen[k]].sum(), 1e-12))
        reach[:, a:b] = (on_pool * (chosen[k] & ~is_two)) @ part
        two[a:b] = (chosen[k] & is_two) @ part
    bounds = np.array(periods, dtype=np.int64).reshape(-1, 2)
    begin, end = (chosen * bounds[:, k : k + 1] for k in (0, 1))
    return Switched(reach, two, begin, end, missed_frac if n_circuits > MOST_TO_ENUMERATE else None)
