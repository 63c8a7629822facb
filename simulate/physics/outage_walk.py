"""The compiled walk through an outage: legs, trips, load control, solar that returns, restarts."""

from __future__ import annotations

import math

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.meter_step import cell_at
from simulate.physics.pool import drain_kw, island_step

EMPTY, OVERLOAD, HELD_OFF = 1, 2, 3
DEAD, SERVING, WAITING = 0, 1, 2
HAND_AFTER_H = 0.5
"""Nobody has switched anything off by hand before half an hour has passed (practice of the trade, no source)."""


@jit
def one_outage(
    begin,
    soc_kwh,
    load_kw,
    trips,
    sheds,
    hand,
    solar_kw,
    dc_kw,
    may_charge,
    modes,
    times,
    cells,
    dark_h,
    shed_h,
    why,
    rows,
):
    """Walk one outage and note when each pool goes dark first; `rows` of shape (n, ..) asks for a full trace.

    `modes` is (a trip latches, the year wraps) and `times` is (step, horizon, reconnect), in hours. A pool is dead,
    serving its legs, or waiting: its loads dropped, the rest kept to form a grid for solar. Solar's wait begins with
    the island, by night too; after a wait for the sun it begins with the sun. Returns the hours followed.
    """
    latches, wrap = modes
    h, horizon_h, reconnect_h = times
    n_pools, n_steps = solar_kw.shape
    tracing = rows.shape[0] > 0
    e = soc_kwh.copy()
    state = np.full(n_pools, SERVING)
    tripped = np.zeros(n_pools, np.bool_)
    wait_h = reconnect_h
    k = 0
    while k * h < horizon_h - 1e-12 and (wrap or begin + k < n_steps):
        t = (begin + k) % n_steps
        by_hand = 1 if hand[t] and k * h >= HAND_AFTER_H - 1e-12 else 0
        span = min(h, horizon_h - k * h)
        left = span
        _trip(k * h, t, by_hand, trips, sheds, latches, state, tripped, dark_h, shed_h, why)
        if tracing:
            for p in range(n_pools):
                rows[k, p] = e[p]
            rows[k, 5 * n_pools + 1] = by_hand
        while left > 0.0:
            took, wait_h = _part(
                k * h + span - left,
                left,
                wait_h,
                t,
                by_hand,
                load_kw,
                solar_kw,
                dc_kw,
                may_charge,
                reconnect_h,
                cells,
                e,
                state,
                tripped,
                dark_h,
                why,
                rows[k if tracing else 0 :],
            )
            left -= took
            if left < 1e-13:
                left = 0.0
        k += 1
        if not tracing:
            known = True
            for p in range(n_pools):
                known = known and dark_h[p] < math.inf
            if known:
                break
    return min(k * h, horizon_h)


@jit
def _trip(now_h, t, by_hand, trips, sheds, latches, state, tripped, dark_h, shed_h, why):
    """An overload takes the whole pool off; it latches, or comes back in a later step that fits."""
    n_pools = state.shape[0]
    for p in range(n_pools):
        tripped[p] = False
    for _ in range(n_pools):
        for p in range(n_pools):
            alone = _alone(p, state, tripped)
            if state[p] == SERVING and not tripped[p] and trips[by_hand, alone, p, t]:
                tripped[p] = True
                if latches:
                    state[p] = DEAD
                if dark_h[p] == math.inf:
                    dark_h[p], why[p] = now_h, OVERLOAD
    for p in range(n_pools):
        if state[p] == SERVING and not tripped[p] and sheds[by_hand, _alone(p, state, tripped), p, t]:
            shed_h[p] = min(shed_h[p], now_h)


@jit
def _alone(p, state, tripped):
    for q in range(state.shape[0]):
        if q != p and (state[q] != SERVING or tripped[q]):
            return 1
    return 0


@jit
def _part(
    now_h,
    left,
    wait_h,
    t,
    by_hand,
    load_kw,
    solar_kw,
    dc_kw,
    may_charge,
    reconnect_h,
    cells,
    e,
    state,
    tripped,
    dark_h,
    why,
    rows,
):
    """One stretch of a step with nothing changing, to the first pool that empties. Returns its length and the wait."""
    n_pools = state.shape[0]
    forms, sun, rests = True, False, False
    for p in range(n_pools):
        forms = forms and state[p] != DEAD and not tripped[p]
        sun = sun or solar_kw[p, t] > 0.0
        rests = rests or state[p] == WAITING
    if not forms:
        wait_h = reconnect_h
    waits = forms and (sun or not rests) and wait_h > 0.0
    solar_on = 1.0 if forms and sun and not waits else 0.0
    for p in range(n_pools):
        if state[p] == WAITING and _may_resume(p, t, by_hand, solar_on, load_kw, solar_kw, dc_kw, may_charge, cells, e):
            state[p] = SERVING
    stretch = min(left, wait_h) if waits else left
    ends = -1
    for p in range(n_pools):
        if state[p] == DEAD or tripped[p]:
            continue
        floor, kw = _floor_and_load(p, t, by_hand, load_kw, cells, state, tripped)
        _, served, _, _ = island_step(
            e[p], floor, kw, solar_on * solar_kw[p, t], dc_kw[p, t], may_charge[p, t], cell_at(cells, p), stretch
        )
        if served < stretch:
            stretch, ends = served, p
    for p in range(n_pools):
        if state[p] == DEAD or tripped[p]:
            continue
        floor, kw = _floor_and_load(p, t, by_hand, load_kw, cells, state, tripped)
        e[p], _, charged, curtailed = island_step(
            e[p], floor, kw, solar_on * solar_kw[p, t], dc_kw[p, t], may_charge[p, t], cell_at(cells, p), stretch
        )
        if rows.shape[0] > 0:
            rows[0, n_pools + p] += stretch if state[p] == SERVING else 0.0
            rows[0, 2 * n_pools + p] += kw * stretch
            rows[0, 3 * n_pools + p] += charged
            rows[0, 4 * n_pools + p] += curtailed
    if rows.shape[0] > 0:
        all_on = True
        for p in range(n_pools):
            all_on = all_on and state[p] == SERVING and not tripped[p]
        rows[0, 5 * n_pools] += stretch if all_on else 0.0
    if ends >= 0:
        p = ends
        e[p] = 0.0 if state[p] == WAITING else cells[p, 9]
        if state[p] == SERVING and dark_h[p] == math.inf:
            dark_h[p] = now_h + stretch
            kw = load_kw[by_hand, _alone(p, state, tripped), p, t]
            held = waits and solar_kw[p, t] > 0.0 and solar_kw[p, t] >= kw
            why[p] = HELD_OFF if held else EMPTY
        keeps = state[p] == SERVING and cells[p, 9] > 0.0
        state[p] = WAITING if keeps else DEAD
        if keeps:
            wait_h = reconnect_h
    elif waits:
        wait_h = max(wait_h - stretch, 0.0)
    return stretch, wait_h


@jit
def _floor_and_load(p, t, by_hand, load_kw, cells, state, tripped):
    if state[p] == WAITING:
        return 0.0, 0.0
    return cells[p, 9], load_kw[by_hand, _alone(p, state, tripped), p, t]


@jit
def _may_resume(p, t, by_hand, solar_on, load_kw, solar_kw, dc_kw, may_charge, cells, e):
    """Loads return once solar carries them, or an hour of them has been stored above the floor."""
    cell = cell_at(cells, p)
    kw = load_kw[by_hand, 0, p, t]
    sun_kw = solar_on * solar_kw[p, t]
    spare_kw = min(max(sun_kw - kw, 0.0), cell.takes_back_kw) * cell.charge_efficiency * may_charge[p, t]
    out_kw = drain_kw(max(kw - sun_kw, 0.0), cell)
    if spare_kw + dc_kw[p, t] >= out_kw and sun_kw + dc_kw[p, t] > 0.0 and e[p] >= cell.restart_kwh:
        return True
    return e[p] - cell.restart_kwh >= drain_kw(kw, cell)


@jit
def every_outage(
    begin,
    soc_kwh,
    load_kw,
    trips,
    sheds,
    hand,
    solar_kw,
    dc_kw,
    may_charge,
    modes,
    times,
    cells,
    dark_h,
    shed_h,
    why,
    end_h,
):
    """`one_outage` from every start: fills the rows of `dark_h`, `shed_h`, `why` and `end_h`."""
    nothing = np.zeros((0, 1))
    for s in range(begin.shape[0]):
        end_h[s] = one_outage(
            begin[s],
            soc_kwh[:, s],
            load_kw,
            trips,
            sheds,
            hand,
            solar_kw,
            dc_kw,
            may_charge,
            modes,
            times,
            cells,
            dark_h[s],
            shed_h[s],
            why[s],
            nothing,
        )
