"""One step of the pools behind one meter on the utility: who is filled, who serves, whole circuits and pairs.

The state is what each pool holds, `soc[p, t]`. In parallel the pools share what solar leaves of the house load in
proportion to what each can deliver; in transfer mode each serves the circuits that are switched to it until its floor,
two-pole circuits as long as both of a locked pair last. Example: two pools of which one holds 4 kWh above its floor and
the other 2 share a need of 3 kW for an hour as 2 kW and 1 kW.
"""

from __future__ import annotations

import math
from collections import namedtuple

import numpy as np

from simulate.physics.compiled import jit, jit_inside
from simulate.physics.step import Cell, dc_per_served, grid_step, lost_kwh, serve_switched

Wanted = namedtuple("Wanted", "reach_kw two_kw targets stay charge_kw dc_kw inside_kw held_kwh parallel export")
"""What the pools are asked to do, as in `walk.Wish`: arrays by pool and step, and two modes."""
Shares = namedtuple("Shares", "blocked sun_kw draw_kw most_kw")
"""Of each pool in one step: not switched over in this period; solar it may take, load to serve, charging limit."""
CHARGE, DISCHARGE, WASTED, SPILLED, LOSS, INVERTING_H = range(6)
"""Rows of the flows of a step, an array of shape (n_pools, 6, n_steps): AC in and out, solar lost while it is switched
over, solar spilled, losses [kW], and hours inverting. One array: each that is taken out of a tuple costs a step as much
as its work."""


@jit
def cell_at(cells, p):
    c = cells[p]
    return Cell(c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7], c[8], c[9], c[10])


def shares_of(n_pools: int) -> Shares:
    """Room for one step."""
    return Shares(np.zeros(n_pools, np.bool_), np.zeros(n_pools), np.zeros(n_pools), np.zeros(n_pools))


@jit_inside
def pools_step(t, net, wanted, cells, h, shares, flows, soc):
    """One step of all pools behind one meter, from `soc[:, t]` to `soc[:, t + 1]`; writes `flows` at `t`.

    Parameters
    ----------
    t : int
        Step, the last index of every array of `wanted`.
    net : tuple of two floats
        Solar less the house and the on-grid draws, negative where the house draws; and what the house draws beyond an
        import cap, -inf without a cap. [kW]
    wanted : Wanted
    cells : ndarray, shape (n_pools, 11)
    h : float
        Length of the step. [h]
    shares : Shares
        `blocked` lasts from step to step; the rest is room.
    flows : ndarray, shape (n_pools, 6, n_steps)
    soc : ndarray, shape (n_pools, n_steps + 1)
        Stored energy. [kWh]
    """
    spare, over = net
    reach_kw, two_kw, targets, stay, charge_kw, dc_kw, inside_kw, held, parallel, export = wanted
    blocked, sun_kw, draw_kw, most_kw = shares
    n_pools, capped, when, forced = soc.shape[0], over > -math.inf, (t, h), False
    if parallel:
        drawn = _split_need(-spare, when, reach_kw, targets[:, :, 1], dc_kw, cells, soc, draw_kw)
        forced = capped and over > drawn + 1e-12
        if forced:
            _split_need(min(-spare, over), when, reach_kw, held, dc_kw, cells, soc, draw_kw)
    _split_surplus(spare, when, charge_kw, targets, cells, soc, sun_kw)
    for p in range(n_pools):
        most_kw[p] = charge_kw[p, t]
        if stay[p, t] >= 0.0:
            blocked[p] = soc[p, t] < stay[p, t]
    if capped:
        _split_room(-over, spare > 0.0, when, targets, cells, soc, most_kw)
        for p in range(n_pools):  # what is to be held comes before the cap
            most_kw[p] = max(most_kw[p], min(_fills_kw(held[p, t] - soc[p, t], cells, p, h), charge_kw[p, t]))
    pair_h = _pair_h(when, wanted, blocked, sun_kw, cells, soc) if two_kw[t] > 0.0 else 0.0
    for p in range(n_pools):
        cell = cell_at(cells, p)
        e = soc[p, t] + dc_kw[p, t] * h
        charged, served, wasted, spilled, time = 0.0, 0.0, 0.0, 0.0, 0.0
        kw = 0.0 if blocked[p] else reach_kw[p, t]
        floor = targets[p, t, 1]
        if parallel or _wants(p, t, e, sun_kw, targets) or e <= floor or not (kw > 0.0 or pair_h > 0.0):
            kw = draw_kw[p] if parallel else 0.0
            per_served = dc_per_served(cell.discharge_kw, cell.dc_per_ac, cell.no_load_kw)
            x = targets[p, t]
            aims = (x[0] if export else math.inf, held[p, t] if forced else x[1], x[2], x[3])
            e, charged, served = grid_step(e, aims, sun_kw[p], most_kw[p], kw, per_served, cell, h)
            time = served / cell.discharge_kw if served > 0.0 else 0.0
        else:
            if pair_h > 0.0:
                e, time, charged, served, wasted = serve_switched(
                    e, floor, kw + 0.5 * two_kw[t], inside_kw[p, t], cell, pair_h
                )
            if kw > 0.0 and time < h and e > floor:
                e, more, c, s, w = serve_switched(e, floor, kw, inside_kw[p, t], cell, h - time)
                time, charged, served, wasted = time + more, charged + c, served + s, wasted + w
        if e > cell.usable_kwh:
            spilled = e - cell.usable_kwh
            e = cell.usable_kwh
        soc[p, t + 1] = e
        lost = lost_kwh(charged, served, time, cell)
        flows[p, CHARGE, t] = charged / h
        flows[p, DISCHARGE, t] = served / h
        flows[p, WASTED, t] = wasted / h
        flows[p, SPILLED, t] = spilled / h
        flows[p, LOSS, t] = (lost + cell.on_grid_kw * (h - time)) / h
        flows[p, INVERTING_H, t] = time


@jit
def _wants(p, t, e_kwh, sun_kw, targets):
    """The pool is to be charged in this step, so it does not serve."""
    return (sun_kw[p] > 0.0 and e_kwh < targets[p, t, 2]) or e_kwh < targets[p, t, 3]


@jit
def _pair_h(when, wanted, blocked, sun_kw, cells, soc):
    """Time for which a locked pair serves its two-pole circuits: until the first reaches its floor. [h]"""
    t, h = when
    reach_kw, two_kw, targets, _, _, dc_kw, inside_kw, _, _, _ = wanted
    pair_h = h
    for p in range(soc.shape[0]):
        e = soc[p, t] + dc_kw[p, t] * h
        if blocked[p] or e <= targets[p, t, 1] or _wants(p, t, e, sun_kw, targets):
            return 0.0
        kw = reach_kw[p, t] + 0.5 * two_kw[t]
        pair_h = min(pair_h, serve_switched(e, targets[p, t, 1], kw, inside_kw[p, t], cell_at(cells, p), h)[1])
    return pair_h


@jit
def _split_need(need_kw, when, reach_kw, down_to, dc_kw, cells, soc, draw_kw):
    """Share the house load that solar leaves among the pools in proportion to what each can deliver; their sum."""
    total, grid = 0.0, 0.0
    t, h = when
    for p in range(reach_kw.shape[0]):
        cell = cell_at(cells, p)
        held = max(soc[p, t] + dc_kw[p, t] * h - down_to[p, t], 0.0)
        per_served = dc_per_served(cell.discharge_kw, cell.dc_per_ac, cell.no_load_kw)
        draw_kw[p] = min(reach_kw[p, t], held / per_served / h)
        total += draw_kw[p]
        grid += draw_kw[p] * cell.on_grid_kw / cell.discharge_kw if draw_kw[p] > 0.0 else 0.0
    if total + grid > need_kw:
        for p in range(reach_kw.shape[0]):
            draw_kw[p] *= max(need_kw, 0.0) / (total + grid)
        return max(need_kw, 0.0)
    return total + grid


@jit
def _split_surplus(spare_kw, when, charge_kw, targets, cells, soc, sun_kw):
    """Surplus solar that each pool may take: all of it where there is room for all, else by room in proportion."""
    total, n_pools = 0.0, sun_kw.shape[0]
    t, h = when
    for p in range(n_pools):
        sun_kw[p] = max(spare_kw, 0.0)
    if n_pools == 1 or spare_kw <= 0.0:
        return
    for p in range(n_pools):
        total += min(charge_kw[p, t], _fills_kw(targets[p, t, 2] - soc[p, t], cells, p, h))
    if total > spare_kw:
        for p in range(n_pools):
            room_kw = min(charge_kw[p, t], _fills_kw(targets[p, t, 2] - soc[p, t], cells, p, h))
            sun_kw[p] = spare_kw * room_kw / total


@jit
def _split_room(room_kw, sunny, when, targets, cells, soc, most_kw):
    """Cut the charging limits to what a cap leaves, in proportion to what each pool has room for."""
    total = 0.0
    t, h = when
    for p in range(most_kw.shape[0]):
        goal = max(targets[p, t, 2], targets[p, t, 3]) if sunny else targets[p, t, 3]
        total += min(most_kw[p], _fills_kw(goal - soc[p, t], cells, p, h))
    if total > room_kw:
        for p in range(most_kw.shape[0]):
            goal = max(targets[p, t, 2], targets[p, t, 3]) if sunny else targets[p, t, 3]
            most_kw[p] = min(most_kw[p], _fills_kw(goal - soc[p, t], cells, p, h)) * max(room_kw, 0.0) / total


@jit
def _fills_kw(room_kwh, cells, p, h):
    """AC power that fills so much room within the step."""
    return max(room_kwh, 0.0) / (cell_at(cells, p).charge_efficiency * h)
