"""Which circuits of a house may be switched for the rate, and what the limits of its pools see of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from profiles.loads.circuit import Circuit
from simulate.house.house import House
from simulate.plans.largest import largest_load


@dataclass(frozen=True, eq=False)
class MaySwitch:
    """Circuits that may be switched; both mates of a multiwire pair go over as one.

    Attributes
    ----------
    names : tuple of str
    tied : ndarray of int, shape (n_circuits,)
        Candidate that each circuit is a part of, 0, 1, 2 ... in file order.
    kw : ndarray, shape (n_circuits, n_steps)
    on_pool : ndarray, shape (n_pools, n_circuits)
        Share of each on each pool; half for a two-pole circuit on a locked pair. [0 to 1]
    seen : ndarray, shape (n_limits, n_circuits)
        Share of each that each limit sees. [0 to 1]
    room_kw : ndarray, shape (n_limits,)
    pool_of_limit : ndarray of int, shape (n_limits,)
    """

    names: tuple[str, ...]
    tied: np.ndarray
    kw: np.ndarray
    on_pool: np.ndarray
    seen: np.ndarray
    room_kw: np.ndarray
    pool_of_limit: np.ndarray

    @property
    def n_candidates(self) -> int:
        return int(self.tied.max(initial=-1)) + 1

    @cached_property
    def is_double(self) -> np.ndarray:
        """Two-pole circuits on a locked pair, shape (n_circuits,) of bool."""
        return (self.on_pool > 0.0).sum(axis=0) > 1

    def groups(self) -> tuple[np.ndarray, np.ndarray]:
        """Pools that one candidate burdens belong together: group of each pool, and of each candidate."""
        n_pools = len(self.on_pool)
        group = np.arange(n_pools)
        on = [(self.on_pool[:, self.tied == j] > 0.0).any(axis=1) for j in range(self.n_candidates)]
        for pools in on:
            if pools.any():
                group[np.isin(group, group[pools])] = group[pools].min()
        _, group = np.unique(group, return_inverse=True)
        return group, group[np.array([int(np.argmax(pools)) for pools in on], dtype=int)]

    def of_candidates(self, kw) -> np.ndarray:
        """Sums over the circuits of each candidate, shape (n_candidates, ...)."""
        out = np.zeros((self.n_candidates, *kw.shape[1:]))
        np.add.at(out, self.tied, kw)
        return out

    def largest_kw(self) -> np.ndarray:
        """The largest load of whole candidates that each pool can carry in each step, shape (n_pools, n_steps). [kW]"""
        out = np.zeros((len(self.on_pool), self.kw.shape[1]))
        for p, share in enumerate(self.on_pool):
            rows = np.flatnonzero(self.pool_of_limit == p)
            burden = np.stack([self.of_candidates(self.seen[row][:, None] * self.kw) for row in rows], axis=1)
            out[p] = largest_load(self.of_candidates(share[:, None] * self.kw), burden, self.room_kw[rows])
        return out


def may_switch(house: House) -> MaySwitch:
    """The circuits of a house that may be switched for the rate."""
    kept = np.array([k for k, circuit in enumerate(house.circuits) if switches(circuit, house.circuits)], dtype=int)
    seen, room_kw, pool_of_limit = house.limits
    circuits = [house.circuits[k] for k in kept]
    return MaySwitch(
        tuple(circuit.name for circuit in circuits),
        _tied(circuits),
        house.circuit_kw[house.carried[kept]] if len(kept) else np.zeros((0, house.hours.n_steps)),
        house.share[:, kept],
        seen[:, kept],
        room_kw,
        pool_of_limit,
    )


def switches(circuit: Circuit, circuits) -> bool:
    """Whether a circuit may be switched: flagged, and so is the mate that shares its neutral."""
    mates = mates_of(circuit, circuits)
    shared = circuit.multiwire_with is None or bool(mates)
    return circuit.rate_transfer and shared and all(mate.rate_transfer for mate in mates)


def mates_of(circuit: Circuit, circuits) -> list[Circuit]:
    """The circuits that share its neutral, whichever of them says so."""
    return [
        one
        for one in circuits
        if one is not circuit and (one.name == circuit.multiwire_with or one.multiwire_with == circuit.name)
    ]


def _tied(circuits: list[Circuit]) -> np.ndarray:
    tied = np.full(len(circuits), -1)
    for k, circuit in enumerate(circuits):
        if tied[k] < 0:
            tied[k] = tied.max(initial=-1) + 1
        for mate in mates_of(circuit, circuits):
            tied[circuits.index(mate)] = tied[k]
    return tied
