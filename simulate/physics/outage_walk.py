"""The compiled walk through an outage: legs, trips, load control, solar that returns, restarts.

The state of each pool is what it holds, and whether it is dead, serving its legs, or waiting: its loads dropped, the
rest kept to form a grid for solar. Time runs in steps, each cut where solar's wait ends and where a pool empties. The
wait begins with the island, by night too; after a rest it begins with the sun.

Worked example: a pool of 1 kWh without losses that meets 0.4 kW serves two steps of an hour whole and half of the
third: it goes dark after 2.5 h, `EMPTY`.
"""

from __future__ import annotations

import math
from collections import namedtuple

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.meter_step import cell_at
from simulate.physics.step import drain_kw, island_step

EMPTY, OVERLOAD, HELD_OFF = 1, 2, 3
DEAD, SERVING, WAITING = 0, 1, 2
HAND_AFTER_H = 0.5
"""Nobody has switched anything off by hand before half an hour has passed (practice of the trade, no source)."""

Met = namedtuple("Met", "load_kw trips sheds hand solar_kw dc_kw may_charge")
"""What the pools meet, as in `island.Island`."""
Rules = namedtuple("Rules", "step_h horizon_h reconnect_h latches wraps")
"""Hours of a step, of the horizon and of solar's wait; whether a trip lasts, and whether the year goes on."""
Now = namedtuple("Now", "e_kwh state tripped")
"""The state of each pool, arrays of shape (n_pools,)."""
Ends = namedtuple("Ends", "dark_h shed_h why")
"""First dark moment, first drop by load control and the reason, by pool (or by start and pool)."""
Steps = namedtuple("Steps", "soc_kwh on_h served_kwh charge_kwh curtailed_kwh pair_h by_hand")
"""A full trace: arrays of shape (n, n_pools), the last two (n,); with n = 0 none is kept."""


def steps_of(n: int, n_pools: int) -> Steps:
    """Room for a trace."""
    return Steps(*(np.zeros((n, n_pools)) for _ in range(5)), np.zeros(n), np.zeros(n))


@jit
def one_outage(begin, soc_kwh, met, rules, cells, ends, steps):
    """Walk one outage from step `begin` and note when each pool goes dark first; returns the hours followed."""
    h = rules.step_h
    n_pools, n_steps = met.solar_kw.shape
    tracing = steps.pair_h.shape[0] > 0
    now = Now(soc_kwh.copy(), np.full(n_pools, SERVING), np.zeros(n_pools, np.bool_))
    wait_h = rules.reconnect_h
    k = 0
    while k * h < rules.horizon_h - 1e-12 and (rules.wraps or begin + k < n_steps):
        t = (begin + k) % n_steps
        by_hand = 1 if met.hand[t] and k * h >= HAND_AFTER_H - 1e-12 else 0
        span = min(h, rules.horizon_h - k * h)
        left = span
        _trip(k * h, (t, by_hand), met, rules.latches, now, ends)
        if tracing:
            steps.soc_kwh[k] = now.e_kwh
            steps.by_hand[k] = by_hand
        while left > 0.0:
            moment = (k if tracing else -1, k * h + span - left, left, wait_h)
            took, wait_h = _part(moment, (t, by_hand), met, rules.reconnect_h, cells, now, ends, steps)
            left -= took
            if left < 1e-13:
                left = 0.0
        k += 1
        if not tracing:
            known = True
            for p in range(n_pools):
                known = known and ends.dark_h[p] < math.inf
            if known:
                break
    return min(k * h, rules.horizon_h)


@jit
def _trip(now_h, where, met, latches, now, ends):
    """An overload takes the whole pool off; it latches, or comes back in a later step that fits."""
    t, by_hand = where
    n_pools = now.state.shape[0]
    for p in range(n_pools):
        now.tripped[p] = False
    for _ in range(n_pools):
        for p in range(n_pools):
            alone = _alone(p, now)
            if now.state[p] == SERVING and not now.tripped[p] and met.trips[by_hand, alone, p, t]:
                now.tripped[p] = True
                if latches:
                    now.state[p] = DEAD
                if ends.dark_h[p] == math.inf:
                    ends.dark_h[p], ends.why[p] = now_h, OVERLOAD
    for p in range(n_pools):
        if now.state[p] == SERVING and not now.tripped[p] and met.sheds[by_hand, _alone(p, now), p, t]:
            ends.shed_h[p] = min(ends.shed_h[p], now_h)


@jit
def _alone(p, now):
    for q in range(now.state.shape[0]):
        if q != p and (now.state[q] != SERVING or now.tripped[q]):
            return 1
    return 0


@jit
def _part(moment, where, met, reconnect_h, cells, now, ends, steps):
    """One stretch of a step with nothing changing, to the first pool that empties. Returns its length and the wait.

    `moment` is (row of the trace or -1, hours since the start, what is left of the step, solar's wait).
    """
    row, now_h, left, wait_h = moment
    t, by_hand = where
    n_pools = now.state.shape[0]
    forms, sun, rests = True, False, False
    for p in range(n_pools):
        forms = forms and now.state[p] != DEAD and not now.tripped[p]
        sun = sun or met.solar_kw[p, t] > 0.0
        rests = rests or now.state[p] == WAITING
    if not forms:
        wait_h = reconnect_h
    waits = forms and (sun or not rests) and wait_h > 0.0
    solar_on = 1.0 if forms and sun and not waits else 0.0
    for p in range(n_pools):
        if now.state[p] == WAITING and _may_resume(p, where, solar_on, met, cell_at(cells, p), now.e_kwh[p]):
            now.state[p] = SERVING
    stretch = min(left, wait_h) if waits else left
    empties = -1
    for p in range(n_pools):
        if now.state[p] == DEAD or now.tripped[p]:
            continue
        served = _lived(p, where, solar_on, met, cells, now, stretch)[1]
        if served < stretch:
            stretch, empties = served, p
    for p in range(n_pools):
        if now.state[p] == DEAD or now.tripped[p]:
            continue
        end, _, charged, curtailed, kw = _lived(p, where, solar_on, met, cells, now, stretch)
        now.e_kwh[p] = end
        if row >= 0:
            steps.on_h[row, p] += stretch if now.state[p] == SERVING else 0.0
            steps.served_kwh[row, p] += kw * stretch
            steps.charge_kwh[row, p] += charged
            steps.curtailed_kwh[row, p] += curtailed
    if row >= 0:
        all_on = True
        for p in range(n_pools):
            all_on = all_on and now.state[p] == SERVING and not now.tripped[p]
        steps.pair_h[row] += stretch if all_on else 0.0
    if empties >= 0:
        p = empties
        cell = cell_at(cells, p)
        now.e_kwh[p] = 0.0 if now.state[p] == WAITING else cell.restart_kwh
        if now.state[p] == SERVING and ends.dark_h[p] == math.inf:
            ends.dark_h[p] = now_h + stretch
            kw = met.load_kw[by_hand, _alone(p, now), p, t]
            held = waits and met.solar_kw[p, t] > 0.0 and met.solar_kw[p, t] >= kw
            ends.why[p] = HELD_OFF if held else EMPTY
        keeps = now.state[p] == SERVING and cell.restart_kwh > 0.0
        now.state[p] = WAITING if keeps else DEAD
        if keeps:
            wait_h = reconnect_h
    elif waits:
        wait_h = max(wait_h - stretch, 0.0)
    return stretch, wait_h


@jit
def _lived(p, where, solar_on, met, cells, now, stretch):
    """A stretch of one pool as `island_step` gives it, and the load that it carried."""
    t, by_hand = where
    cell = cell_at(cells, p)
    if now.state[p] == WAITING:
        floor, kw = 0.0, 0.0
    else:
        floor, kw = cell.restart_kwh, met.load_kw[by_hand, _alone(p, now), p, t]
    sun_kw = solar_on * met.solar_kw[p, t]
    end, served, charged, curtailed = island_step(
        now.e_kwh[p], floor, kw, sun_kw, met.dc_kw[p, t], met.may_charge[p, t], cell, stretch
    )
    return end, served, charged, curtailed, kw


@jit
def _may_resume(p, where, solar_on, met, cell, e_kwh):
    """Loads return once solar carries them, or an hour of them has been stored above the floor."""
    t, by_hand = where
    kw = met.load_kw[by_hand, 0, p, t]
    sun_kw = solar_on * met.solar_kw[p, t]
    dc_kw = met.dc_kw[p, t]
    spare_kw = min(max(sun_kw - kw, 0.0), cell.takes_back_kw) * cell.charge_efficiency * met.may_charge[p, t]
    out_kw = drain_kw(max(kw - sun_kw, 0.0), cell.dc_per_ac, cell.no_load_kw)
    if spare_kw + dc_kw >= out_kw and sun_kw + dc_kw > 0.0 and e_kwh >= cell.restart_kwh:
        return True
    return e_kwh - cell.restart_kwh >= drain_kw(kw, cell.dc_per_ac, cell.no_load_kw)


@jit
def every_outage(begin, soc_kwh, met, rules, cells, ends, end_h):
    """`one_outage` from every start: fills the rows of `ends` and `end_h`."""
    n_pools = met.solar_kw.shape[0]
    none, alone = np.zeros((0, n_pools)), np.zeros(0)
    steps = Steps(none, none, none, none, none, alone, alone)
    for s in range(begin.shape[0]):
        own = Ends(ends.dark_h[s], ends.shed_h[s], ends.why[s])
        end_h[s] = one_outage(begin[s], soc_kwh[:, s], met, rules, cells, own, steps)


@jit
def unserved_kwh(begin, soc_kwh, wanted_kw, met, rules, cells, weight, out):
    """Fill `out` with what is not served in the outage of each start, its steps weighed. [kWh per step hour]

    `wanted_kw`, shape (n_steps,), is what the carried circuits ask for and `weight`, shape (n,), counts a step of an
    outage by the chance that it lasts so long.
    """
    n_pools, n_steps = met.solar_kw.shape
    n = weight.shape[0]
    served = np.zeros((n, n_pools))
    rest = np.zeros((n, n_pools))  # of the trace only what is served is read here
    steps = Steps(rest, rest, served, rest, rest, np.zeros(n), np.zeros(n))
    ends = Ends(np.zeros(n_pools), np.zeros(n_pools), np.zeros(n_pools, np.int64))
    for s in range(begin.shape[0]):
        served[:] = 0.0
        for p in range(n_pools):
            ends.dark_h[p], ends.shed_h[p] = np.inf, np.inf
        one_outage(begin[s], soc_kwh[:, s], met, rules, cells, ends, steps)
        total = 0.0
        for k in range(n):
            served_kwh = 0.0
            for p in range(n_pools):
                served_kwh += served[k, p]
            total += max(wanted_kw[(begin[s] + k) % n_steps] - served_kwh / rules.step_h, 0.0) * weight[k]
        out[s] = total
