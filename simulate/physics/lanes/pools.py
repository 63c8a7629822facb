"""The compiled steps of many designs side by side whose pools share a meter: two legs, or as many pools as there are.

The physics is `meter_step.pools_step`. `exact_step` calls it lane by lane; the other loops hold the same rules with min
and max in the place of branches, as in `lane_steps`. A block is one row of the buffer for each pool, and one more for
what the pools of a lane share; the meter's sums stand in the row of the first pool.
"""

from __future__ import annotations

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.lanes.steps import (
    AT_RESERVE_KWH,
    CHARGE,
    CHARGE_EFF,
    CHARGED,
    DISCHARGE_KW,
    DRAW,
    DRAW_FREED,
    EXPORT,
    EXPORT_TO,
    FILL,
    GRID_TO,
    IMPORT,
    LAST_IMPORT,
    LOAD_SCALE,
    MAY,
    MOST_OUT,
    NO_LOAD_KW,
    ON_GRID_KW,
    PEAK,
    PER_CHARGE_EFF,
    PER_DISCHARGE_EFF,
    PER_FILL,
    PER_SERVE_EFF,
    PITCH,
    RESERVE,
    RESERVE_H,
    SERVE_EFF,
    SERVE_TO,
    SERVED,
    SERVED_H,
    SOLAR_SCALE,
    SOLAR_TO,
    SPILLED,
    STORED,
    SUN,
    USABLE,
    WANTS,
    WIDTH,
    least,
    most,
)
from simulate.physics.meter_step import CHARGE as CHARGE_KW
from simulate.physics.meter_step import DISCHARGE, INVERTING_H, Shares, Wanted, pools_step
from simulate.physics.meter_step import SPILLED as SPILLED_KW
from simulate.physics.meter_step import WASTED as WASTED_KW
from simulate.physics.step import drain_kw, lasts_h

NET, AFTER, TOTAL, PAIR, ABOVE, DRAWS = (row * PITCH for row in range(6))
"""Rows of what the pools of a lane share: house draw before and after the pools [kWh], a sum, hours of a locked pair,
whether any pool ends above its reserve, and the on-grid draws [kW]."""


@jit
def prepare_shared(s):
    """Work out what follows from the numbers of a lane's pools together."""
    shared = s[-1]
    shared[DRAWS : DRAWS + WIDTH] = 0.0
    for p in range(s.shape[0] - 1):
        for j in range(WIDTH):
            shared[DRAWS + j] += s[p, ON_GRID_KW + j]


@jit
def _meet(load_kw, solar_kw, s, h):
    """Lay down what the house would draw with the pools idle; negative where solar is in surplus. [kWh]"""
    shared, meter = s[-1], s[0]
    for j in range(WIDTH):
        kw = load_kw * meter[LOAD_SCALE + j] - solar_kw * meter[SOLAR_SCALE + j] + shared[DRAWS + j]
        shared[NET + j] = kw * h
        shared[AFTER + j] = kw * h
        shared[ABOVE + j] = 0.0


@jit
def _share_sun(sunny, s):
    """Surplus solar that each pool may take: all of it where there is room for all, else by room in proportion."""
    n_pools, shared = s.shape[0] - 1, s[-1]
    if not sunny:
        for p in range(n_pools):
            s[p, SUN : SUN + WIDTH] = 0.0
        return
    shared[TOTAL : TOTAL + WIDTH] = 0.0
    for p in range(n_pools):
        q = s[p]
        for j in range(WIDTH):
            q[SUN + j] = least(q[CHARGE + j], most(q[SOLAR_TO + j] - q[STORED + j], 0.0) * q[PER_CHARGE_EFF + j])
            shared[TOTAL + j] += q[SUN + j]
    for p in range(n_pools):
        q = s[p]
        for j in range(WIDTH):
            spare, total = most(-shared[NET + j], 0.0), shared[TOTAL + j]
            part = spare * q[SUN + j] / total
            q[SUN + j] = part if total > spare else spare


@jit
def _share_need(s):
    """House load that each pool is to serve, in proportion to what each can deliver. [kWh]"""
    n_pools, shared = s.shape[0] - 1, s[-1]
    shared[TOTAL : TOTAL + WIDTH] = 0.0
    for p in range(n_pools):
        q = s[p]
        for j in range(WIDTH):
            held = most(q[STORED + j] - q[SERVE_TO + j], 0.0) * q[SERVE_EFF + j]
            q[DRAW + j] = least(held, q[MOST_OUT + j])
            shared[TOTAL + j] += q[DRAW + j] * q[DRAW_FREED + j]
    for p in range(n_pools):
        q = s[p]
        for j in range(WIDTH):
            need, total = most(shared[NET + j], 0.0), shared[TOTAL + j]
            part = q[DRAW + j] * need / total
            q[DRAW + j] = part if total > need else q[DRAW + j]


@jit
def _fill(q, shared):
    """Fill a pool from the utility, then from solar for what is left of the step; a goal is met to the last digit."""
    for j in range(WIDTH):
        e = q[STORED + j]
        q[WANTS + j] = 1.0 if (e < q[GRID_TO + j]) | ((q[SUN + j] > 0.0) & (e < q[SOLAR_TO + j])) else 0.0
        room, can = q[GRID_TO + j] - e, q[FILL + j]
        gain = most(least(room, can), 0.0)
        bought = q[GRID_TO + j] if (room > 0.0) & (room <= can) else e + gain
        sun = least(q[SUN + j], q[CHARGE + j]) * q[CHARGE_EFF + j] * (1.0 - gain * q[PER_FILL + j])
        room = q[SOLAR_TO + j] - bought
        end = q[SOLAR_TO + j] if (room > 0.0) & (room <= sun) else bought + most(least(room, sun), 0.0)
        charged = (end - e) * q[PER_CHARGE_EFF + j]
        q[STORED + j] = end
        q[CHARGED + j] += charged
        shared[AFTER + j] += charged


@jit
def _deliver(q, shared, exports):
    """In parallel: a pool that is not charged serves its part, then sends what its output has left to the grid."""
    for j in range(WIDTH):
        e, floor, idle = q[STORED + j], q[SERVE_TO + j], q[WANTS + j] > 0.0
        served = 0.0 if idle else q[DRAW + j]
        spent = (served > 0.0) & (served >= (e - floor) * q[SERVE_EFF + j])
        e = floor if spent else e - served * q[PER_SERVE_EFF + j]
        if exports:
            floor = q[EXPORT_TO + j]
            held, left = (e - floor) * q[SERVE_EFF + j], most(q[MOST_OUT + j] - served, 0.0)
            more = 0.0 if idle else most(least(held, left), 0.0)
            spent = (more > 0.0) & (more >= held)
            e = floor if spent else e - more * q[PER_SERVE_EFF + j]
            served += more
        q[STORED + j] = e
        q[SERVED + j] += served
        shared[AFTER + j] -= served * q[DRAW_FREED + j]


@jit
def _pair_time(reach_kw, two_kw, s, h):
    """Hours for which the two-pole circuits of a locked pair are served: until the first pool reaches its floor."""
    n_pools, shared = s.shape[0] - 1, s[-1]
    shared[PAIR : PAIR + WIDTH] = h if two_kw > 0.0 else 0.0
    if not two_kw > 0.0:
        return
    for p in range(n_pools):
        q = s[p]
        for j in range(WIDTH):
            kw = least(reach_kw[p] * q[LOAD_SCALE + j], q[DISCHARGE_KW + j]) + 0.5 * two_kw * q[LOAD_SCALE + j]
            held = q[STORED + j] - q[SERVE_TO + j]
            idle = (q[WANTS + j] > 0.0) | (held <= 0.0) | (q[MAY + j] <= 0.0)
            lasts = lasts_h(held, drain_kw(kw, q[PER_DISCHARGE_EFF + j], q[NO_LOAD_KW + j]))
            shared[PAIR + j] = least(shared[PAIR + j], 0.0 if idle else lasts)


@jit
def _switch(q, reach_kw, two_kw, shared, h):
    """Transfer: a pool that is not charged serves its circuits, those of two poles first, until its floor."""
    for j in range(WIDTH):
        e, floor, pair = q[STORED + j], q[SERVE_TO + j], shared[PAIR + j]
        kw = least(reach_kw * q[LOAD_SCALE + j], q[DISCHARGE_KW + j]) * q[MAY + j]
        both = kw + 0.5 * two_kw * q[LOAD_SCALE + j]
        taken = drain_kw(both, q[PER_DISCHARGE_EFF + j], q[NO_LOAD_KW + j]) * pair
        e = most(e - taken, floor) if pair > 0.0 else e
        rate_kw = drain_kw(kw, q[PER_DISCHARGE_EFF + j], q[NO_LOAD_KW + j])
        lasts = lasts_h(e - floor, rate_kw)
        idle = (q[WANTS + j] > 0.0) | (e <= floor) | (kw <= 0.0)
        time = 0.0 if idle else least(lasts, h - pair)
        e = floor if (not idle) & (lasts < h - pair) else e - rate_kw * time
        served = both * pair + kw * time
        q[STORED + j] = e
        q[SERVED + j] += served
        q[SERVED_H + j] += pair + time
        shared[AFTER + j] -= served + q[ON_GRID_KW + j] * (pair + time)


@jit
def _book(s, h):
    n_pools, shared, meter = s.shape[0] - 1, s[-1], s[0]
    for p in range(n_pools):
        q = s[p]
        for j in range(WIDTH):
            shared[ABOVE + j] = 1.0 if q[STORED + j] > q[RESERVE + j] + AT_RESERVE_KWH else shared[ABOVE + j]
    for j in range(WIDTH):
        net = shared[AFTER + j]
        bought = most(net, 0.0)
        meter[IMPORT + j] += bought
        meter[EXPORT + j] += bought - net
        meter[LAST_IMPORT + j] = bought
        meter[PEAK + j] = most(meter[PEAK + j], bought)
        meter[RESERVE_H + j] += 0.0 if shared[ABOVE + j] > 0.0 else h


@jit
def parallel_step(load_kw, solar_kw, serves, exports, s, h):
    """In parallel: fill, or serve what solar leaves of the load."""
    _meet(load_kw, solar_kw, s, h)
    _share_sun(solar_kw > 0.0, s)
    if serves:
        _share_need(s)
    for p in range(s.shape[0] - 1):
        _fill(s[p], s[-1])
        if serves:
            _deliver(s[p], s[-1], exports)
    _book(s, h)


@jit
def transfer_step(load_kw, solar_kw, reach_kw, two_kw, s, h):
    """Transfer: fill, or whole circuits are switched over until the floor is reached."""
    _meet(load_kw, solar_kw, s, h)
    _share_sun(solar_kw > 0.0, s)
    for p in range(s.shape[0] - 1):
        _fill(s[p], s[-1])
    _pair_time(reach_kw, two_kw, s, h)
    for p in range(s.shape[0] - 1):
        _switch(s[p], reach_kw[p], two_kw, s[-1], h)
    _book(s, h)


@jit
def room_for(n_pools):
    """Arrays of one step of one lane, as `meter_step.pools_step` takes them."""
    one = lambda: np.zeros((n_pools, 1))
    targets, stay = np.zeros((n_pools, 1, 4)), np.full((n_pools, 1), -1.0)
    series = (one(), np.zeros(1), targets, stay, one(), one(), one(), one())
    shares = Shares(np.zeros(n_pools, np.bool_), np.zeros(n_pools), np.zeros(n_pools), np.zeros(n_pools))
    return (
        series,
        shares,
        np.zeros((n_pools, 11)),
        np.zeros((n_pools, 6, 1)),
        np.zeros((n_pools, 2)),
    )


@jit
def _lay_out(met, modes, j, room, s):
    """Lay what one lane is, wants and meets into the arrays of a step."""
    _, _, reach_kw, two_kw, dc_kw, inside_kw, h = met
    (reach, two, targets, _, charge, dc, inside, _), shares, cells, _, soc = room
    scale, sun = s[0, LOAD_SCALE + j], s[0, SOLAR_SCALE + j]
    two[0] = two_kw * scale
    for p in range(s.shape[0] - 1):
        q, limit_kw = s[p], s[p, DISCHARGE_KW + j]
        for k in range(9):
            cells[p, k] = q[USABLE + j] if k == 0 else q[(k + 1) * PITCH + j]
        cells[p, 4] = q[PER_DISCHARGE_EFF + j]
        cells[p, 9], cells[p, 10] = 0.0, q[ON_GRID_KW + j]
        shares.blocked[p] = q[MAY + j] <= 0.0
        reach[p, 0] = limit_kw if modes[0] else least(reach_kw[p] * scale, limit_kw)
        for k in range(4):
            targets[p, 0, k] = q[EXPORT_TO + k * PITCH + j]
        charge[p, 0], dc[p, 0], inside[p, 0] = q[CHARGE + j] / h, dc_kw[p] * sun, inside_kw[p] * sun
        soc[p, 0] = q[STORED + j]


@jit
def exact_step(met, modes, room, s, h):
    """The single walk's own physics, lane by lane, for what the other steps leave out.

    `met` is (load, solar, and by pool reach, two-pole, solar on the cells, solar inside the sub-panel, then the hours
    of a step); `modes` is (parallel, exports).
    """
    series, shares, cells, flows, soc = room
    _meet(met[0], met[1], s, h)
    wanted = Wanted(*series, modes[0], modes[1])
    for j in range(WIDTH):
        _lay_out(met, modes, j, room, s)
        pools_step(0, (-s[-1, NET + j] / h, -np.inf), wanted, cells, h, shares, flows, soc)
        for p in range(s.shape[0] - 1):
            q = s[p]
            charged, served = flows[p, CHARGE_KW, 0] * h, flows[p, DISCHARGE, 0] * h
            wasted, time = flows[p, WASTED_KW, 0] * h, flows[p, INVERTING_H, 0]
            q[STORED + j] = soc[p, 1]
            q[CHARGED + j] += charged
            q[SERVED + j] += served
            q[SERVED_H + j] += 0.0 if modes[0] else time
            q[SPILLED + j] += wasted + flows[p, SPILLED_KW, 0] * h
            s[-1, AFTER + j] += charged - served + wasted - q[ON_GRID_KW + j] * time
    _book(s, h)
