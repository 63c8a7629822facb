"""One step of the pools behind one meter on the utility: who is filled, who serves, whole circuits and pairs."""

from __future__ import annotations

import math

from simulate.physics.compiled import jit, jit_inside
from simulate.physics.pool import Cell, discharge_efficiency, drain_kw, fill, grid_step


@jit
def cell_at(cells, p):
    c = cells[p]
    return Cell(c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7], c[8], c[9], c[10])


@jit
def serve_switched(e_kwh, floor_kwh, load_kw, inside_kw, cell, h):
    """Whole circuits switched over until the floor is reached, sub-panel solar with them.

    Outputs that take nothing back carry no solar: it is lost while it is switched over. Returns the stored energy,
    the time served [h], AC charged, AC delivered and solar not used [kWh].
    """
    if not cell.takes_back_kw > 0.0:
        lost_kw, inside_kw = inside_kw, 0.0
    else:
        lost_kw = 0.0
    out_kw = max(load_kw - inside_kw, 0.0)
    spare_kw = max(inside_kw - load_kw, 0.0)
    back_kw = min(spare_kw, cell.takes_back_kw)
    rate_kw = drain_kw(out_kw, cell) - back_kw * cell.charge_efficiency
    if rate_kw > 0.0:
        t = min((e_kwh - floor_kwh) / rate_kw, h)
        end = floor_kwh if t < h else max(e_kwh - rate_kw * h, floor_kwh)
        return end, t, back_kw * t, out_kw * t, (spare_kw - back_kw + lost_kw) * t
    end, _ = fill(e_kwh, cell.usable_kwh, back_kw * cell.charge_efficiency, cell.no_load_kw, cell, h)
    charged = (end - e_kwh + cell.no_load_kw * h) / cell.charge_efficiency
    return end, h, charged, 0.0, spare_kw * h - charged


@jit_inside
def pools_step(t, spare, over, wish, modes, cells, h, hold, out, soc):
    """One step of all pools behind one meter, from `soc[:, t]` to `soc[:, t + 1]`; writes `out[:, :, t]`.

    Parameters
    ----------
    t : int
        Step, the last index of every array of `wish`.
    spare : float
        Solar less the house and the on-grid draws; negative where the house draws. [kW]
    over : float
        What the house draws beyond an import cap; -inf without a cap. [kW]
    wish : tuple
        (reach, two-pole, targets, stay, charging limits, solar on the cells, sub-panel solar) as in `Wish`.
    hold : tuple of arrays, shape (n_pools,)
        Pools that are not switched over in this period, which lasts from step to step; then room for three floats.
    """
    reach_kw, two_kw, targets, stay, charge_kw, dc_kw, inside_kw = wish
    parallel, export = modes
    blocked, sun_kw, draw_kw, most_kw = hold
    n_pools, capped = reach_kw.shape[0], over > -math.inf
    if parallel:
        _split_need(min(-spare, over) if capped else -spare, t, reach_kw, targets, dc_kw, cells, soc, h, draw_kw)
    _split_surplus(spare, t, charge_kw, targets, cells, soc, h, sun_kw)
    for p in range(n_pools):
        most_kw[p] = charge_kw[p, t]
        if stay[p, t] >= 0.0:
            blocked[p] = soc[p, t] < stay[p, t]
    if capped:
        _split_room(-over, spare > 0.0, t, targets, cells, soc, h, most_kw)
    pair_h = _pair_h(t, wish, blocked, sun_kw, cells, soc, h)
    for p in range(n_pools):
        cell = cell_at(cells, p)
        e = soc[p, t] + dc_kw[p, t] * h
        charged, served, wasted, spilled, time = 0.0, 0.0, 0.0, 0.0, 0.0
        kw = 0.0 if blocked[p] else reach_kw[p, t]
        floor = targets[p, t, 1]
        if parallel or _wants(p, t, e, sun_kw, targets) or e <= floor or not (kw > 0.0 or pair_h > 0.0):
            kw = draw_kw[p] if parallel else 0.0
            efficiency = discharge_efficiency(cell.discharge_kw, cell)
            x = targets[p, t]
            export_to = x[0] if export else math.inf
            e, charged, served = grid_step(
                e, export_to, x[1], x[2], x[3], sun_kw[p], most_kw[p], kw, efficiency, cell, h
            )
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
        lost = charged * (1.0 - cell.charge_efficiency) + served * (1.0 / cell.discharge_efficiency - 1.0)
        out[p, 0, t] = charged / h
        out[p, 1, t] = served / h
        out[p, 2, t] = wasted / h
        out[p, 3, t] = spilled / h
        out[p, 4, t] = (lost + cell.no_load_kw * time + cell.on_grid_kw * (h - time)) / h
        out[p, 5, t] = time


@jit
def _wants(p, t, e_kwh, sun_kw, targets):
    """The pool is to be charged in this step, so it does not serve."""
    return (sun_kw[p] > 0.0 and e_kwh < targets[p, t, 2]) or e_kwh < targets[p, t, 3]


@jit
def _pair_h(t, wish, blocked, sun_kw, cells, soc, h):
    """Time for which a locked pair serves its two-pole circuits: until the first reaches its floor. [h]"""
    reach_kw, two_kw, targets, _, _, dc_kw, inside_kw = wish
    if not two_kw[t] > 0.0:
        return 0.0
    pair_h = h
    for p in range(reach_kw.shape[0]):
        e = soc[p, t] + dc_kw[p, t] * h
        if blocked[p] or e <= targets[p, t, 1] or _wants(p, t, e, sun_kw, targets):
            return 0.0
        kw = reach_kw[p, t] + 0.5 * two_kw[t]
        pair_h = min(pair_h, serve_switched(e, targets[p, t, 1], kw, inside_kw[p, t], cell_at(cells, p), h)[1])
    return pair_h


@jit
def _split_need(need_kw, t, reach_kw, targets, dc_kw, cells, soc, h, draw_kw):
    """Share the house load that solar leaves among the pools in proportion to what each can deliver."""
    total, grid = 0.0, 0.0
    for p in range(reach_kw.shape[0]):
        cell = cell_at(cells, p)
        held = max(soc[p, t] + dc_kw[p, t] * h - targets[p, t, 1], 0.0)
        draw_kw[p] = min(reach_kw[p, t], held * discharge_efficiency(cell.discharge_kw, cell) / h)
        total += draw_kw[p]
        grid += draw_kw[p] * cell.on_grid_kw / cell.discharge_kw if draw_kw[p] > 0.0 else 0.0
    if total + grid > need_kw:
        for p in range(reach_kw.shape[0]):
            draw_kw[p] *= max(need_kw, 0.0) / (total + grid)


@jit
def _split_surplus(spare_kw, t, charge_kw, targets, cells, soc, h, sun_kw):
    """Surplus solar that each pool may take: all of it where there is room for all, else by room in proportion."""
    total, n_pools = 0.0, sun_kw.shape[0]
    for p in range(n_pools):
        sun_kw[p] = max(spare_kw, 0.0)
    if n_pools == 1 or spare_kw <= 0.0:
        return
    for p in range(n_pools):
        total += min(charge_kw[p, t], max(targets[p, t, 2] - soc[p, t], 0.0) / (cells[p, 3] * h))
    if total > spare_kw:
        for p in range(n_pools):
            room_kw = min(charge_kw[p, t], max(targets[p, t, 2] - soc[p, t], 0.0) / (cells[p, 3] * h))
            sun_kw[p] = spare_kw * room_kw / total


@jit
def _split_room(room_kw, sunny, t, targets, cells, soc, h, most_kw):
    """Cut the charging limits to what a cap leaves, in proportion to what each pool has room for."""
    total = 0.0
    for p in range(most_kw.shape[0]):
        total += min(most_kw[p], _wanted_kw(p, t, sunny, targets, cells, soc, h))
    if total > room_kw:
        for p in range(most_kw.shape[0]):
            wanted_kw = min(most_kw[p], _wanted_kw(p, t, sunny, targets, cells, soc, h))
            most_kw[p] = wanted_kw * max(room_kw, 0.0) / total


@jit
def _wanted_kw(p, t, sunny, targets, cells, soc, h):
    """AC power that fills a pool to its target within the step."""
    goal = max(targets[p, t, 2], targets[p, t, 3]) if sunny else targets[p, t, 3]
    return max(goal - soc[p, t], 0.0) / (cells[p, 3] * h)
