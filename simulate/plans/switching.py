"""Which circuits go over to battery and when, peak after peak, from what the past makes likely: transfer mode.

The pools are walked as the year goes on, so that each peak is planned from what is then in store: one window for each
circuit, the windows that save most on the expected loads. Where loads come larger than the output carries, circuits go
back for the rest of the peak; at the floor all of them do.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.meter_step import INVERTING_H, Shares, Wanted, cell_at, pools_step
from simulate.physics.step import drain_kwh
from simulate.plans.windows import search

MOST_TRIED = 2_000
"""Sets of windows that are looked at for one peak and one price below which nothing is served."""
MOST_LEVELS = 4
"""Prices below which nothing is served that are tried for a peak that outlasts the store."""


class Circuits(NamedTuple):
    """What may be switched; time is the last axis.

    Attributes
    ----------
    kw : ndarray, shape (n_circuits, n_steps)
        As it comes. [kW]
    expected_kw : ndarray, shape (2, n_circuits, n_steps)
        As expected on the day itself, and on the day before. [kW]
    tied : ndarray of int, shape (n_circuits,)
        Candidate that each is a part of: what is tied goes over as one.
    single : ndarray, shape (n_pools, n_circuits)
        Share of each that is single-pole on each pool. [0 to 1]
    double : ndarray, shape (n_circuits,)
        Share of each that takes half from each of a locked pair. [0 to 1]
    seen : ndarray, shape (n_limits, n_circuits)
        Share of each that each limit sees. [0 to 1]
    room_kw : ndarray, shape (n_limits,)
        What each limit allows. [kW]
    """

    kw: np.ndarray
    expected_kw: np.ndarray
    tied: np.ndarray
    single: np.ndarray
    double: np.ndarray
    seen: np.ndarray
    room_kw: np.ndarray


class Peaks(NamedTuple):
    """Runs of steps in which service may pay, in order of time, each for the pools of one group.

    Attributes
    ----------
    first, last, midnight : ndarray of int, shape (n_peaks,)
        First step, the one past the last, and the first step of the day after the first one's.
    group : ndarray of int, shape (n_peaks,)
    of_pool, of_candidate, of_limit : ndarray of int
        Group of each.
    """

    first: np.ndarray
    last: np.ndarray
    midnight: np.ndarray
    group: np.ndarray
    of_pool: np.ndarray
    of_candidate: np.ndarray
    of_limit: np.ndarray


class Walked(NamedTuple):
    """The walk of the year.

    Attributes
    ----------
    wanted : Wanted
        Reach and two-pole load are written, targets changed in the peaks.
    cells : ndarray, shape (n_pools, 11)
    load_kw, spare_kw : ndarray, shape (n_steps,)
        House load; solar less the house and the on-grid draws.
    step_h : float
    out : ndarray, shape (n_pools, 6, n_steps)
    soc : ndarray, shape (n_pools, n_steps + 1)
        Its first column is given.
    """

    wanted: Wanted
    cells: np.ndarray
    load_kw: np.ndarray
    spare_kw: np.ndarray
    step_h: float
    out: np.ndarray
    soc: np.ndarray


@jit
def switch_over(circuits, peaks, money, floor_kwh, rules, walked, begin, end):
    """Plan and walk the year: writes the wish, the walk, and the window of each candidate in each peak.

    Parameters
    ----------
    circuits : Circuits
    peaks : Peaks
    money : ndarray, shape (2, n_steps)
        What a kWh delivered is expected to save, and what a kWh in store costs to buy back. [money/kWh]
    floor_kwh : ndarray, shape (n_pools, n_steps)
        At the end of each step. [kWh]
    rules : (int, int)
        Steps of the least stay, and of the blocks at whose borders windows begin and end.
    walked : Walked
    begin, end : ndarray of int, shape (n_peaks, n_candidates)
        Written; both 0 where a candidate stays on the utility.
    """
    n_pools, n_steps = walked.wanted.reach_kw.shape
    shares = Shares(np.zeros(n_pools, np.bool_), np.zeros(n_pools), np.zeros(n_pools), np.zeros(n_pools))
    current, planned = np.full(peaks.of_pool.max() + 1, -1), np.zeros(len(peaks.first), np.bool_)
    at = 0
    for t in range(n_steps):
        while at < len(peaks.first) and peaks.first[at] == t:
            current[peaks.group[at]] = at
            at += 1
        for group in range(len(current)):
            k = current[group]
            if k >= 0 and t < peaks.last[k] and not planned[k] and _pays(t, group, peaks, walked):
                planned[k], peaks.first[k] = True, t
                _plan(k, circuits, peaks, money, rules, walked, begin[k], end[k])
                _aim(k, peaks, floor_kwh, walked, begin[k], end[k])
        for group in range(len(current)):
            k = current[group]
            if k >= 0 and t < peaks.last[k] and planned[k]:
                _come_back(t, k, peaks, circuits, walked, begin[k], end[k])
                _go_over(t, k, peaks, circuits, rules, walked, begin[k], end[k])
                _fit(t, k, peaks, circuits, begin[k], end[k])
                _reach(t, k, peaks, circuits, walked, begin[k], end[k])
        _cut_to_meter(t, walked)
        net = (walked.spare_kw[t], -math.inf)
        pools_step(t, net, walked.wanted, walked.cells, walked.step_h, shares, walked.out, walked.soc)


@jit
def _pays(t, group, peaks, walked):
    """Whether some pool holds more than service in this step is worth, and is not to be charged: the peak begins."""
    targets = walked.wanted.targets
    for p in range(len(peaks.of_pool)):
        stored = walked.soc[p, t]
        if peaks.of_pool[p] == group and stored > targets[p, t, 1] + 1e-9 and stored >= targets[p, t, 3]:
            return True
    return False


@jit
def _plan(k, circuits, peaks, money, rules, walked, begin, end):
    """Windows of one peak: of a few prices below which nothing is served the one that saves most."""
    t0, t1, group, block, h = peaks.first[k], peaks.last[k], peaks.group[k], rules[1], walked.step_h
    mine = np.flatnonzero(peaks.of_candidate == group)
    kw, burden, room, price = _blocks(k, circuits, peaks, money[0], mine, block)
    n_blocks, refill = len(price), money[1, t0]
    held, idle_kw, dc_per_ac = 0.0, 0.0, 1.0
    for p in range(len(peaks.of_pool)):
        if peaks.of_pool[p] == group:
            held += max(walked.soc[p, t0] - walked.wanted.targets[p, t0:t1, 1].min(), 0.0)
            cell = cell_at(walked.cells, p)
            idle_kw, dc_per_ac = idle_kw + cell.no_load_kw, max(dc_per_ac, cell.dc_per_ac)
    per_kwh, length = np.empty(n_blocks), np.full(n_blocks, block * h)
    length[-1] = (t1 - t0 - (n_blocks - 1) * block) * h
    for b in range(n_blocks):
        total = kw[:, b].sum()
        per_kwh[b] = dc_per_ac + (idle_kw / total if total > 0.0 else 0.0)
    best, level = 0.0, refill
    for _ in range(MOST_LEVELS):
        starts, stops, _, _ = search(kw, burden, room, length * (price - level * per_kwh), MOST_TRIED)
        saved, lasts = _saved(kw, price, length, starts, stops, held, (idle_kw, dc_per_ac, refill))
        if saved > best + 1e-9:
            best = saved
            for j in range(len(mine)):
                over = stops[j] > starts[j]
                begin[mine[j]] = t0 + starts[j] * block if over else 0
                end[mine[j]] = min(t0 + stops[j] * block, t1) if over else 0
        above = math.inf
        for b in range(n_blocks):
            if price[b] > level * per_kwh[b] + 1e-9:
                above = min(above, price[b] / per_kwh[b])
        if lasts or not above < math.inf:
            break
        level = above + 1e-9


@jit
def _blocks(k, circuits, peaks, price_per_kwh, mine, block):
    """Expected load of each candidate, the most that each limit sees of it, each limit's room, and the mean price."""
    t0, t1 = peaks.first[k], peaks.last[k]
    rows = np.flatnonzero(peaks.of_limit == peaks.group[k])
    n_blocks = (t1 - t0 + block - 1) // block
    kw, burden, price = np.zeros((len(mine), n_blocks)), np.zeros((len(mine), len(rows), n_blocks)), np.zeros(n_blocks)
    room, seen = np.empty((len(rows), n_blocks)), np.zeros(len(rows))
    for i in range(len(rows)):
        room[i] = circuits.room_kw[rows[i]]
    for t in range(t0, t1):
        b, ahead = (t - t0) // block, 0 if t < peaks.midnight[k] else 1
        steps = min(block, t1 - t0 - b * block)
        price[b] += price_per_kwh[t] / steps
        for j in range(len(mine)):
            seen[:] = 0.0
            for c in range(len(circuits.tied)):
                if circuits.tied[c] == mine[j]:
                    one = circuits.expected_kw[ahead, c, t]
                    kw[j, b] += one / steps
                    for i in range(len(rows)):
                        seen[i] += circuits.seen[rows[i], c] * one
            burden[j, :, b] = np.maximum(burden[j, :, b], seen)
    return kw, burden, room, price


@jit
def _saved(kw, price, length, starts, stops, held_kwh, terms):
    """What windows are expected to save until the store is empty, and whether it lasts."""
    idle_kw, dc_per_ac, refill = terms
    saved, left = 0.0, held_kwh
    for b in range(len(price)):
        total = 0.0
        for j in range(len(kw)):
            if starts[j] <= b < stops[j]:
                total += kw[j, b]
        if total > 0.0:
            taken = (total * dc_per_ac + idle_kw) * length[b]
            part = min(left / taken, 1.0)
            saved += part * (total * price[b] * length[b] - refill * taken)
            left -= part * taken
            if part < 1.0:
                return saved, False
    return saved, True


@jit
def _aim(k, peaks, floor_kwh, walked, begin, end):
    """Serve down to one level while anything is over, and to nothing else in the peak."""
    t0, t1, targets = peaks.first[k], peaks.last[k], walked.wanted.targets
    any_over = (end > begin).any()
    for p in range(len(peaks.of_pool)):
        if peaks.of_pool[p] != peaks.group[k]:
            continue
        level = targets[p, t0:t1, 1].min()
        for t in range(t0, t1):
            level = max(level, floor_kwh[p, t])
            targets[p, t, 1] = level if any_over else cell_at(walked.cells, p).usable_kwh


@jit
def _cut(t, j, begin, end):
    """A candidate goes back for the rest of the peak, or does not go over."""
    if begin[j] >= t:
        begin[j], end[j] = 0, 0
    else:
        end[j] = min(end[j], t)


@jit
def _share(circuits, p, c):
    return circuits.single[p, c] + 0.5 * circuits.double[c]


@jit
def _come_back(t, k, peaks, circuits, walked, begin, end):
    """All that is over on a pool that met its floor in the step before goes back for the rest of the peak."""
    if t == peaks.first[k]:
        return
    for p in range(len(peaks.of_pool)):
        over = walked.wanted.reach_kw[p, t - 1] + walked.wanted.two_kw[t - 1]
        if (
            peaks.of_pool[p] == peaks.group[k]
            and over > 0.0
            and walked.out[p, INVERTING_H, t - 1] < walked.step_h - 1e-9
        ):
            for c in range(len(circuits.tied)):
                if _share(circuits, p, c) > 0.0 and end[circuits.tied[c]] > t:
                    _cut(t, circuits.tied[c], begin, end)


@jit
def _go_over(t, k, peaks, circuits, rules, walked, begin, end):
    """What would go over now and could not stay as long as it must is left on the utility."""
    stay_steps, h = rules[0], walked.step_h
    if stay_steps == 0:
        return
    for p in range(len(peaks.of_pool)):
        if peaks.of_pool[p] != peaks.group[k]:
            continue
        cell, starts = cell_at(walked.cells, p), False
        need = drain_kwh(0.0, stay_steps * h, cell.dc_per_ac, cell.no_load_kw)
        for c in range(len(circuits.tied)):
            share, j = _share(circuits, p, c), circuits.tied[c]
            if share > 0.0 and end[j] > t:
                starts = starts or begin[j] == t
                for u in range(max(t, begin[j]), min(t + stay_steps, end[j])):
                    ahead = 0 if u < peaks.midnight[k] else 1
                    need += share * circuits.expected_kw[ahead, c, u] * cell_at(walked.cells, p).dc_per_ac * h
        if starts and walked.soc[p, t] < walked.wanted.targets[p, t, 1] + need:
            for c in range(len(circuits.tied)):
                if _share(circuits, p, c) > 0.0 and begin[circuits.tied[c]] == t:
                    _cut(t, circuits.tied[c], begin, end)


@jit
def _fit(t, k, peaks, circuits, begin, end):
    """Where a limit would be exceeded, the last in the file that burden it go back."""
    for i in range(len(peaks.of_limit)):
        if peaks.of_limit[i] != peaks.group[k]:
            continue
        used = 0.0
        for c in range(len(circuits.tied)):
            if begin[circuits.tied[c]] <= t < end[circuits.tied[c]]:
                used += circuits.seen[i, c] * circuits.kw[c, t]
        for c in range(len(circuits.tied) - 1, -1, -1):
            j = circuits.tied[c]
            if (
                used > circuits.room_kw[i] + 1e-9
                and begin[j] <= t < end[j]
                and circuits.seen[i, c] * circuits.kw[c, t] > 0.0
            ):
                _cut(t, j, begin, end)
                for mate in range(len(circuits.tied)):
                    if circuits.tied[mate] == j:
                        used -= circuits.seen[i, mate] * circuits.kw[mate, t]


@jit
def _reach(t, k, peaks, circuits, walked, begin, end):
    """Write what is over in this step; while it is, nothing is charged."""
    reach, two, targets = walked.wanted.reach_kw, walked.wanted.two_kw, walked.wanted.targets
    for c in range(len(circuits.tied)):
        if begin[circuits.tied[c]] <= t < end[circuits.tied[c]]:
            two[t] += circuits.double[c] * circuits.kw[c, t]
            for p in range(len(peaks.of_pool)):
                reach[p, t] += circuits.single[p, c] * circuits.kw[c, t]
    for p in range(len(peaks.of_pool)):
        if peaks.of_pool[p] == peaks.group[k] and (reach[p, t] > 0.0 or two[t] > 0.0):
            targets[p, t, 2] = targets[p, t, 1]
            targets[p, t, 3] = min(targets[p, t, 3], targets[p, t, 1])


@jit
def _cut_to_meter(t, walked):
    """What is over is no more than the meter shows."""
    reach, two = walked.wanted.reach_kw, walked.wanted.two_kw
    total = two[t] + reach[:, t].sum()
    if total > max(walked.load_kw[t], 0.0):
        cut = max(walked.load_kw[t], 0.0) / total
        two[t] *= cut
        reach[:, t] *= cut
