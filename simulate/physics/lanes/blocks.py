"""Blocks of lanes walked through a year: the loops over time, laps and blocks around the steps."""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.lanes import pools as lane_pools
from simulate.physics.lanes import steps as lane_steps
from simulate.physics.lanes.steps import (
    CHARGED,
    EXPORT,
    EXPORTS,
    FILLS,
    HOLDS,
    IMPORT,
    LAST_IMPORT,
    MAY,
    PEAK,
    PITCH,
    RESERVE_H,
    ROWS,
    SERVED,
    SERVED_H,
    SERVES,
    SPILLED,
    STORED,
    WIDTH,
    aim,
    begin_period,
    most,
    prepare,
)

YEAR_ROWS = (CHARGED, SERVED, SERVED_H, RESERVE_H, SPILLED)
"""Sums of the whole year that are handed back for each pool."""

Told = namedtuple("Told", "series runs codes prices demand h modes")
"""What all lanes meet: `Series`, `Runs`, the plan's codes, prices (buy, sell), demand blocks, the hours of a step, and
(parallel, exports)."""
Series = namedtuple("Series", "load solar two reach dc inside stay_kwh stay_h stay_to")
"""Arrays by step, from `reach` on by step and pool."""
Runs = namedtuple("Runs", "first kind bucket may_charge exact")
"""Stretches in which the plan, the bucket and the cold do not change: their first steps, and what holds in each."""

_fill_step, _hold_step, _serve_step = lane_steps.fill_step, lane_steps.hold_step, lane_steps.serve_step
_export_step, _switch_step, _exact_step = lane_steps.export_step, lane_steps.switch_step, lane_steps.exact_step
_parallel_step, _transfer_step = lane_pools.parallel_step, lane_pools.transfer_step
_prepare_shared = lane_pools.prepare_shared
_exact_pools_step, _room_for = lane_pools.exact_step, lane_pools.room_for


@jit
def _flush(s, row, sums):
    for j in range(WIDTH):
        sums[j] += s[row + j]
        s[row + j] = 0.0


@jit
def _price(s, buy, sell, before_export, cost, credit):
    """Money of one step where the price differs within a bucket."""
    for j in range(WIDTH):
        cost[j] += buy * s[LAST_IMPORT + j]
        credit[j] += sell * (s[EXPORT + j] - before_export[j])


@jit
def _raise_to(peak, added, per):
    for j in range(WIDTH):
        peak[j] = most(peak[j], added[j] * per)


@jit
def _note_blocks(t, blocks, lengths, months, s, held, peaks, h):
    """Add a step to the demand blocks of several steps that are open, and close those that end with it."""
    bought = s[LAST_IMPORT : LAST_IMPORT + WIDTH]
    for d in range(blocks.shape[0]):
        b = blocks[d, t]
        if b < 0:
            continue
        part = held[d]
        for j in range(WIDTH):
            part[j] += bought[j]
        if t + 1 == blocks.shape[1] or blocks[d, t + 1] != b:
            _raise_to(peaks[d, months[d, t]], part, 1.0 / (h * lengths[d, t]))
            part[:] = 0.0


@jit
def _one_pool_step(kind, met, modes, exact, q, h):
    """One step of one pool; `met` is (load, solar, reach, solar on the cells, solar inside the sub-panel)."""
    load, solar, reach, _, _ = met
    if exact:
        _exact_step(met, modes, q, h)
    elif kind == FILLS:
        _fill_step(load, solar, q, h)
    elif kind == HOLDS:
        _hold_step(load, solar, q, h)
    elif kind == SERVES:
        _serve_step(load, solar, q, h)
    elif kind == EXPORTS:
        _export_step(load, solar, q, h)
    else:
        _switch_step(load, solar, reach, q, h)


@jit
def _pools_step(kind, met, modes, exact, room, s, h):
    """One step of several pools; `met` as in `pools.exact_step`."""
    load, solar, reach, two, _, _, _ = met
    if exact:
        _exact_pools_step(met, modes, room, s, h)
    elif modes[0] or kind <= HOLDS:
        _parallel_step(load, solar, kind > HOLDS, modes[1], s, h)
    else:
        _transfer_step(load, solar, reach, two, s, h)


@jit
def walk_block(s, told, room, out):
    """Walk one block of lanes over all steps.

    `s` has a row of the buffer for each pool, and one more where there are several; `out` is (import, export, cost,
    credit, peaks, stored).
    """
    series, runs, codes, prices, demand, h, modes = told
    load, solar, two, reach, dc, inside, stay_kwh, stay_h, stay_to = series
    first, kinds, bucket, may_charge, exact = runs
    buy, sell = prices
    month_of_run, blocks, lengths, months = demand
    bought, sold, cost, credit, peaks, stored = out
    n_pools, meter = codes.shape[1], s[0]
    held = np.zeros((blocks.shape[0], WIDTH))
    before = np.zeros(WIDTH)
    for r in range(kinds.shape[0]):
        for p in range(n_pools):
            aim(s[p], codes[first[r], p], may_charge[r, p], h)
        kind = kinds[r]
        for t in range(first[r], first[r + 1]):
            if stay_kwh.shape[0] > 0:
                for p in range(n_pools):
                    if stay_kwh[t, p] >= 0.0:
                        begin_period(stay_kwh[t, p], stay_h[t, p], stay_to[t, p], s[p])
            if stored.shape[0] > 0:
                for p in range(n_pools):
                    for j in range(WIDTH):
                        stored[t, p, j] = s[p, STORED + j]
            if buy.shape[0] > 0:
                for j in range(WIDTH):
                    before[j] = meter[EXPORT + j]
            if n_pools == 1:
                _one_pool_step(kind, (load[t], solar[t], reach[t, 0], dc[t, 0], inside[t, 0]), modes, exact, meter, h)
            else:
                met = (load[t], solar[t], reach[t], two[t], dc[t], inside[t], h)
                _pools_step(kind, met, modes, exact, room, s, h)
            if buy.shape[0] > 0:
                _price(meter, buy[t], sell[t], before, cost[bucket[r]], credit[bucket[r]])
            if blocks.shape[0] > 0:
                _note_blocks(t, blocks, lengths, months, meter, held, peaks, h)
        _flush(meter, IMPORT, bought[bucket[r]])
        _flush(meter, EXPORT, sold[bucket[r]])
        for d in range(month_of_run.shape[0]):
            if month_of_run[d, r] >= 0:
                _raise_to(peaks[d, month_of_run[d, r]], meter[PEAK : PEAK + WIDTH], 1.0 / h)
        meter[PEAK : PEAK + WIDTH] = 0.0
    if stored.shape[0] > 0:
        for p in range(n_pools):
            for j in range(WIDTH):
                stored[first[-1], p, j] = s[p, STORED + j]


@jit
def _load_block(given, start_kwh, first, s, begun, h):
    """Lay the designs from `first` on side by side; what is left of the block repeats the last."""
    n_pools, n_rows, n = given.shape
    for p in range(n_pools):
        for j in range(WIDTH):
            design = min(first + j, n - 1)
            for k in range(n_rows):
                s[p, k * PITCH + j] = given[p, k, design]
            begun[p, j] = start_kwh[p, design]
        prepare(s[p], h)
    if n_pools > 1:
        _prepare_shared(s)


@jit
def _start_lap(s, begun):
    for p in range(begun.shape[0]):
        s[p, IMPORT:] = 0.0
        for j in range(WIDTH):
            s[p, STORED + j] = begun[p, j]
            s[p, MAY + j] = 1.0


@jit
def _next_lap(s, begun, closes_kwh):
    """Start the lanes whose year has not closed on itself where they ended; True where any is left."""
    left = False
    for j in range(WIDTH):
        is_open = False
        for p in range(begun.shape[0]):
            is_open = is_open or abs(s[p, STORED + j] - begun[p, j]) > closes_kwh
        for p in range(begun.shape[0]):
            begun[p, j] = s[p, STORED + j] if is_open else begun[p, j]
        left = left or is_open
    return left


@jit
def run_blocks(span, given, start_kwh, laps, closes_kwh, told, sums, years):
    """Walk the blocks of a span, each until its lanes' years close on themselves or `laps` are done.

    `given` are the rows of what lanes are, shape (n_pools, 13, n_designs); `sums` are the results by bucket and month,
    `years` those of the whole year, shape (8, n_pools, n_designs).
    """
    first, last = span
    import_kwh, export_kwh, cost, credit, peak_kw, stored_kwh = sums
    n_pools, n, n_buckets = given.shape[0], given.shape[2], import_kwh.shape[1]
    bought, sold = np.zeros((n_buckets, WIDTH)), np.zeros((n_buckets, WIDTH))
    paid, earned = np.zeros((cost.shape[1], WIDTH)), np.zeros((cost.shape[1], WIDTH))
    peaks = np.zeros((peak_kw.shape[1], peak_kw.shape[2], WIDTH))
    stored = np.zeros((stored_kwh.shape[2], n_pools, WIDTH))
    s, begun = np.zeros((n_pools + (n_pools > 1), ROWS * PITCH)), np.zeros((n_pools, WIDTH))
    room = _room_for(n_pools)
    for block in range(first, last):
        _load_block(given, start_kwh, block * WIDTH, s, begun, told.h)
        lap = 0
        while True:
            lap += 1
            _start_lap(s, begun)
            bought[:], sold[:], paid[:], earned[:], peaks[:] = 0.0, 0.0, 0.0, 0.0, 0.0
            out = (bought, sold, paid, earned, peaks, stored)
            walk_block(s, told, room, out)
            started = begun.copy()
            if lap >= laps or not _next_lap(s, begun, closes_kwh):
                break
        for j in range(min(WIDTH, n - block * WIDTH)):
            d = block * WIDTH + j
            import_kwh[d], export_kwh[d] = bought[:, j], sold[:, j]
            cost[d], credit[d] = paid[:, j], earned[:, j]
            peak_kw[d] = peaks[:, :, j]
            for p in range(n_pools):
                stored_kwh[d, p] = stored[:, p, j]
                years[0, p, d], years[1, p, d], years[2, p, d] = started[p, j], s[p, STORED + j], lap
                for k in range(5):
                    years[3 + k, p, d] = s[p, YEAR_ROWS[k] + j]
