"""Sets of candidates in falling worth, and what a set that fails says of others."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

import numpy as np

from profiles.loads.circuit import Circuit
from simulate.designs.sets import Sets, set_of, with_circuits
from simulate.panel.checks.layout import Layout, demand, power_keys
from simulate.panel.checks.spaces import items_of, slots_of

MOST_TO_ENUMERATE = 16
MOST_PROPOSALS = 400
ROUNDING = 1e-9
"""Share of a limit by which sums over a year may exceed it in rounding."""

Cut = tuple[int, int, int]
"""Bits of a part that fails by itself; of the movers that must be on for that; of those that must be as these say."""


def method_of(sets: Sets) -> str:
    """How sets are proposed."""
    return "enumeration" if len(sets.movers) <= MOST_TO_ENUMERATE else "mixed-integer programme"


def best_sets(sets: Sets, n_best: int = 2) -> list[tuple[int, ...]]:
    """The sets of most worth that meet the target and that the panel takes, as their movers."""
    propose = in_order if len(sets.movers) <= MOST_TO_ENUMERATE else programme
    found = []
    for mask in propose(sets):
        if sets.may_meet(mask) and sets.panel_takes(mask) and sets.meets(mask):
            found.append(mask)
            if len(found) == n_best:
                break
    return [set_of(mask) for mask in found]


def learn(sets: Sets, mask: int) -> Iterator[Cut]:
    """Parts of a set that fail by themselves, whatever else is in a set.

    More load lasts no longer with the same units, the same start, no load control and no overload (model of the
    outage); so a part of a set that is too much for one pool is so in every set with the same start. From full units,
    which no start exceeds, that holds for every start.
    """
    for p in np.flatnonzero(sets.steady):
        if sets.pool_trips(p, sets.is_on(mask)).any():
            continue
        short = lambda part: int(sets.pool_lasts(p, part, full=True).sum()) < sets.needed  # noqa: B023
        if short(mask):
            yield _shrunk(sets, mask & sets.touch[p], short), 0, 0
            continue
        same = sets.rate_bits_of(p)
        group = mask & same
        short = lambda part: int(sets.pool_lasts(p, part | group).sum()) < sets.needed  # noqa: B023
        if short(mask):
            yield _shrunk(sets, mask & sets.touch[p] & ~group, short) | group, group, same
    if sets.panel and not sets.panel_takes(mask) and not power_keys(Layout(sets.all.site).circuits):
        yield _shrunk(sets, mask, lambda part: not sets.panel_takes(part)), 0, 0


def _shrunk(sets: Sets, part: int, fails) -> int:
    """What is left of a failing part when everything that it fails without is taken out, least worth first."""
    for k in sorted(set_of(part), key=lambda k: sets.worth[k]):
        if fails(part & ~(1 << k)):
            part &= ~(1 << k)
    return part


def conditions(sets: Sets) -> tuple[np.ndarray, np.ndarray]:
    """Linear conditions that no good set breaks, ``A x <= b``: spaces, power and energy."""
    rows = list(_panel_rows(sets)) if sets.panel else []
    kept = [(a, b) for a, b in rows if b >= -1e-9]
    if len(kept) < len(rows):
        sets.notes.append("what is on the sub-panel exceeds a limit by itself: see keeplit panel")
    kept += _energy_rows(sets)
    return np.array([a for a, _ in kept]).reshape(len(kept), len(sets.movers)), np.array([b for _, b in kept])


def in_order(sets: Sets) -> Iterator[int]:
    """Sets in falling worth (ties: fewer circuits, then file order), without those known to fail."""
    n = len(sets.movers)
    masks = np.arange(1 << n)
    bits = ((masks[:, None] >> np.arange(n)) & 1).astype(float)
    a, b = conditions(sets)
    order = np.lexsort((masks, bits.sum(axis=1), -np.round(bits @ sets.worth, 9)))
    fits = (bits @ a.T <= b + ROUNDING * np.maximum(1.0, np.abs(b))).all(axis=1)
    masks = masks[order][fits[order]]
    while len(masks):
        mask, masks = int(masks[0]), masks[1:]
        yield mask
        for part, group, same in learn(sets, mask):
            masks = masks[((masks & part) != part) | ((masks & same) != group)]


def programme(sets: Sets) -> Iterator[int]:
    """Sets in falling worth from a mixed-integer programme that learns from every proposal that fails."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    n, (a, b) = len(sets.movers), conditions(sets)
    cuts_a, cuts_b = [*a], [*b]
    for _ in range(MOST_PROPOSALS):
        rules = LinearConstraint(np.array(cuts_a).reshape(-1, n), -inf, np.array(cuts_b)) if cuts_a else ()
        done = milp(
            -sets.worth,
            constraints=rules,
            integrality=np.ones(n),
            bounds=Bounds(0.0, 1.0),
            options={"mip_rel_gap": 0.0},
        )
        if not done.success:
            return
        mask = sum(1 << k for k in np.flatnonzero(done.x > 0.5).tolist())
        yield mask
        for part, group, same in [*learn(sets, mask), (mask, mask, (1 << n) - 1)]:
            sign = np.array([_sign(k, part, group, same) for k in range(n)])
            cuts_a.append(sign)
            cuts_b.append(float((sign > 0.0).sum()) - 1.0)
    sets.notes.append(f"stopped after {MOST_PROPOSALS} proposals: the best found, not proven to be the best")


def _sign(k: int, part: int, group: int, same: int) -> float:
    """Coefficient of a cut: not all of `part` together while the movers of `same` are as in `group`."""
    bit = 1 << k
    if part & bit or (same & bit and group & bit):
        return 1.0
    return -1.0 if same & bit else 0.0


def _energy_rows(sets: Sets) -> Iterator[tuple[np.ndarray, float]]:
    """For each pool that must last: what a set takes at least against what is there at most.

    In the outages that last, as many as are needed, each takes no more than it finds; so the sum of as many of the
    smallest takings of every circuit stays within the sum of as many of the largest stores, solar counted in full.
    """
    k, hours = sets.needed, sets.target.hours
    for p in np.flatnonzero(sets.steady):
        pool = sets.all.pools[p].pool
        over = lambda row: _window_kwh(row, sets.begin, hours, sets.house.hours.step_h)
        least = lambda row: float(np.sort(over(row))[:k].sum()) * pool.dc_per_ac  # noqa: B023
        load = lambda on: (sets.all.share[p] * on) @ sets.kw  # noqa: B023
        fixed = sets.is_on(0)
        takes = np.array([least(load(sets.is_on(1 << m) & ~fixed)) for m in range(len(sets.movers))])
        there = sets.most_kwh(p) - pool.restart_kwh - pool.drain_kw(0.0) * hours
        there = there + over(sets.island.solar_kw[p]) * pool.dc_per_ac + over(sets.island.dc_kw[p])
        yield takes, float(np.sort(there)[::-1][:k].sum()) - least(load(fixed))


def _window_kwh(kw, begin, hours: float, step_h: float) -> np.ndarray:
    """Energy of a series over so many hours from each start; the year wraps. [kWh]"""
    turns = int(np.ceil((hours / step_h + 1) / len(kw))) + 1
    total = np.r_[0.0, np.cumsum(np.tile(kw, turns))] * step_h
    at = np.asarray(begin) % len(kw)
    return np.interp(at + hours / step_h, np.arange(len(total)), total) - total[at]


def _panel_rows(sets: Sets) -> Iterator[tuple[np.ndarray, float]]:
    """Spaces by rating, poles and leg, and running power by leg: conditions that no accepted set breaks."""
    layout = Layout(with_circuits(sets.house, sets.required).site)
    every = Layout(sets.all.site)
    yield from _space_rows(sets, layout, every)
    if layout.site.subpanel.load_control != "none":
        return
    limits = [((leg,), layout.leg_kw(leg)) for leg in layout.fed_legs]
    for legs, limit_kw in limits:
        running = lambda circuits: demand(every, legs, _known(circuits)).running_kw  # noqa: B023
        takes = [running(_circuits(every, group)) for group in sets.movers]
        yield np.array(takes), limit_kw - running(layout.circuits)


def _known(circuits) -> list[Circuit]:
    return [circuit for circuit in circuits if not power_keys([circuit], largest=False)]


def _circuits(layout: Layout, names) -> list[Circuit]:
    return [circuit for circuit in layout.circuits if circuit.name in names]


def _space_rows(sets: Sets, layout: Layout, every: Layout) -> Iterator[tuple[np.ndarray, float]]:
    slots = slots_of(layout)
    if layout.site.subpanel.spaces is None:
        return
    there, items = items_of(layout), items_of(every)
    kinds = {(item.poles, item.breaker_a) for item in items}
    for poles, least_a in sorted(kinds):
        for leg in (None, "A", "B"):
            asks = lambda item: item.poles == poles and item.breaker_a >= least_a and leg in (None, item.leg)  # noqa: B023
            room = sum(
                slot.poles == poles and slot.max_breaker_a >= least_a and (leg is None or slot.leg in (None, leg))
                for slot in slots
            )
            needs = [
                sum(asks(item) for item in items if {c.name for c in item.circuits} <= set(group))
                for group in sets.movers
            ]
            yield np.array(needs, dtype=float), float(room - sum(asks(item) for item in there))
