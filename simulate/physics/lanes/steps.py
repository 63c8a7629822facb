"""The compiled steps of many designs side by side: one block of lanes in a buffer that fits the first-level cache.

The physics is that of `physics.step`. `exact_step` calls them lane by lane. The
other loops hold the same rules with min and max in the place of branches, so that the compiler turns a step into vector
instructions; they leave out what needs a logarithm or a second source (taper, solar on the cells or inside the
sub-panel). `tests/physics/test_lanes.py` holds both to the single walk.
"""

from __future__ import annotations

import math

from simulate.physics.compiled import jit
from simulate.physics.step import (
    Cell,
    dc_per_ac,
    dc_per_served,
    drain_kw,
    drain_kwh,
    grid_step,
    lasts_h,
    serve_switched,
)

WIDTH = 96
"""Lanes in a block."""
PITCH = 104
"""Distance of two rows of the buffer: no multiple of 512 bytes, which would make loads wait for unrelated stores."""

# Rows of the buffer. What a lane is:
(
    USABLE,
    RESERVE,
    CHARGE_KW,
    DISCHARGE_KW,
    CHARGE_EFF,
    DISCHARGE_EFF,
    NO_LOAD_KW,
    TAKES_BACK_KW,
    TAPER_FROM,
    TAPER_TO,
    ON_GRID_KW,
    LOAD_SCALE,
    SOLAR_SCALE,
    # what follows from it: DC per AC of an output at its limit, kWh a step, what serving frees of its own draw;
    PER_CHARGE_EFF,
    PER_DISCHARGE_EFF,
    SERVE_EFF,
    PER_SERVE_EFF,
    MOST_OUT,
    PER_DRAW,
    DRAW_FREED,
    # of the present run: what the plan aims at, and what may be charged;
    EXPORT_TO,
    SERVE_TO,
    SOLAR_TO,
    GRID_TO,
    FILL,
    CHARGE,
    PER_FILL,
    MAY,
    # state and sums.
    STORED,
    IMPORT,
    EXPORT,
    CHARGED,
    SERVED,
    SERVED_H,
    RESERVE_H,
    LAST_IMPORT,
    SPILLED,
    PEAK,
    # of a step, where pools share a meter: solar that a pool may take, what it is to serve, and that it is charged.
    SUN,
    DRAW,
    WANTS,
) = (row * PITCH for row in range(41))
ROWS = 41
YEAR_ROWS = (CHARGED, SERVED, SERVED_H, RESERVE_H, SPILLED)
"""Sums of the whole year that are handed back."""

FILLS, HOLDS, SERVES, EXPORTS, SWITCHES = 0, 1, 2, 3, 4
AT_RESERVE_KWH = 1e-9


@jit
def least(a, b):
    return a if a < b else b


@jit
def most(a, b):
    return a if a > b else b


@jit
def prepare(s, h):
    """Work out what follows from the lanes' own numbers."""
    for j in range(WIDTH):
        reach = s[DISCHARGE_KW + j]
        s[PER_CHARGE_EFF + j] = 1.0 / s[CHARGE_EFF + j]
        s[PER_DISCHARGE_EFF + j] = dc_per_ac(s[DISCHARGE_EFF + j])
        s[PER_SERVE_EFF + j] = dc_per_served(reach, s[PER_DISCHARGE_EFF + j], s[NO_LOAD_KW + j])
        s[SERVE_EFF + j] = 1.0 / s[PER_SERVE_EFF + j]
        s[MOST_OUT + j] = reach * h
        freed = s[ON_GRID_KW + j] / reach if reach > 0.0 else 0.0
        s[PER_DRAW + j] = 1.0 / (1.0 + freed)
        s[DRAW_FREED + j] = 1.0 + freed
        s[MAY + j] = 1.0


@jit
def aim(s, codes, may_charge, h):
    """Lay the plan's codes of a run on every lane: 0 empty, 1 the reserve, 2 full."""
    for k in range(4):
        row = EXPORT_TO + k * PITCH
        for j in range(WIDTH):
            s[row + j] = s[USABLE + j] if codes[k] == 2 else s[RESERVE + j] if codes[k] == 1 else 0.0
    for j in range(WIDTH):
        s[CHARGE + j] = s[CHARGE_KW + j] * h if may_charge else 0.0
        s[FILL + j] = s[CHARGE + j] * s[CHARGE_EFF + j] if may_charge else 0.0
        s[PER_FILL + j] = 1.0 / s[FILL + j] if s[FILL + j] > 0.0 else 0.0


@jit
def _net(load_kw, solar_kw, s, j, h):
    """What the house would draw with the unit idle; negative where solar is in surplus. [kWh]"""
    return (load_kw * s[LOAD_SCALE + j] + s[ON_GRID_KW + j] - solar_kw * s[SOLAR_SCALE + j]) * h


@jit
def _gain(e, net, s, j):
    """DC energy filled from the utility, then from solar for what is left of the step. [kWh]"""
    gain = most(least(s[GRID_TO + j] - e, s[FILL + j]), 0.0)
    sun = least(most(-net, 0.0), s[CHARGE + j]) * s[CHARGE_EFF + j] * (1.0 - gain * s[PER_FILL + j])
    return gain + most(least(s[SOLAR_TO + j] - e - gain, sun), 0.0)


@jit
def _wants(e, net, s, j):
    """The lane is to be charged in this step, so it does not serve."""
    return (e < s[GRID_TO + j]) | ((net < 0.0) & (e < s[SOLAR_TO + j]))


@jit
def _book(end, net, charged, s, j, h):
    bought = most(net, 0.0)
    s[STORED + j] = end
    s[CHARGED + j] += charged
    s[IMPORT + j] += bought
    s[EXPORT + j] += bought - net
    s[LAST_IMPORT + j] = bought
    s[PEAK + j] = most(s[PEAK + j], bought)
    s[RESERVE_H + j] += h if end <= s[RESERVE + j] + AT_RESERVE_KWH else 0.0


@jit
def fill_step(load_kw, solar_kw, s, h):
    """Fill to full from the utility."""
    for j in range(WIDTH):
        e = s[STORED + j]
        gain = most(least(s[GRID_TO + j] - e, s[FILL + j]), 0.0)
        charged = gain * s[PER_CHARGE_EFF + j]
        _book(e + gain, _net(load_kw, solar_kw, s, j, h) + charged, charged, s, j, h)


@jit
def hold_step(load_kw, solar_kw, s, h):
    """Fill from the utility, then from solar."""
    for j in range(WIDTH):
        e = s[STORED + j]
        net = _net(load_kw, solar_kw, s, j, h)
        gain = _gain(e, net, s, j)
        charged = gain * s[PER_CHARGE_EFF + j]
        _book(e + gain, net + charged, charged, s, j, h)


@jit
def serve_step(load_kw, solar_kw, s, h):
    """In parallel: fill, or serve what solar leaves of the load."""
    for j in range(WIDTH):
        e = s[STORED + j]
        net = _net(load_kw, solar_kw, s, j, h)
        gain = _gain(e, net, s, j)
        held = (e - s[SERVE_TO + j]) * s[SERVE_EFF + j]
        served = most(least(least(held, s[MOST_OUT + j]), net * s[PER_DRAW + j]), 0.0)
        charged = gain * s[PER_CHARGE_EFF + j]
        s[SERVED + j] += served
        end = e + gain - served * s[PER_SERVE_EFF + j]
        _book(end, net + charged - served * s[DRAW_FREED + j], charged, s, j, h)


@jit
def export_step(load_kw, solar_kw, s, h):
    """In parallel: fill, or serve the load and send what the output has left to the grid."""
    for j in range(WIDTH):
        e = s[STORED + j]
        net = _net(load_kw, solar_kw, s, j, h)
        gain = _gain(e, net, s, j)
        out = 0.0 if _wants(e, net, s, j) else s[MOST_OUT + j]
        held = (e - s[SERVE_TO + j]) * s[SERVE_EFF + j]
        served = most(least(least(held, out), net * s[PER_DRAW + j]), 0.0)
        spare = (e - s[EXPORT_TO + j]) * s[SERVE_EFF + j] - served
        served += most(least(spare, out - served), 0.0)
        charged = gain * s[PER_CHARGE_EFF + j]
        s[SERVED + j] += served
        end = e + gain - served * s[PER_SERVE_EFF + j]
        _book(end, net + charged - served * s[DRAW_FREED + j], charged, s, j, h)


@jit
def switch_step(load_kw, solar_kw, reach_kw, s, h):
    """Transfer: fill, or whole circuits are switched over until the floor is reached."""
    for j in range(WIDTH):
        e = s[STORED + j]
        net = _net(load_kw, solar_kw, s, j, h)
        gain = _gain(e, net, s, j)
        kw = least(reach_kw * s[LOAD_SCALE + j], s[DISCHARGE_KW + j]) * s[MAY + j]
        rate_kw = drain_kw(kw, s[PER_DISCHARGE_EFF + j], s[NO_LOAD_KW + j])
        time = least(lasts_h(e - s[SERVE_TO + j], rate_kw), h)
        time = 0.0 if _wants(e, net, s, j) | (e <= s[SERVE_TO + j]) | (kw <= 0.0) else time
        charged = gain * s[PER_CHARGE_EFF + j]
        s[SERVED + j] += kw * time
        s[SERVED_H + j] += time
        end = e + gain - rate_kw * time
        _book(end, net + charged - kw * time - s[ON_GRID_KW + j] * time, charged, s, j, h)


@jit
def begin_period(stay_kwh, stay_h, code, s):
    """A lane whose energy does not last the least stay above the period's floor is not switched over in it."""
    for j in range(WIDTH):
        floor = s[USABLE + j] if code == 2 else s[RESERVE + j] if code == 1 else 0.0
        needed = drain_kwh(stay_kwh * s[LOAD_SCALE + j], stay_h, s[PER_DISCHARGE_EFF + j], s[NO_LOAD_KW + j])
        s[MAY + j] = 1.0 if s[STORED + j] >= floor + needed else 0.0


@jit
def exact_step(met, modes, s, h):
    """The single walk's own physics, lane by lane, for what the other steps leave out.

    `met` is (load, solar, reach, solar on the cells, solar inside the sub-panel) of the step. [kW]
    """
    load_kw, solar_kw, reach_kw, dc_kw, inside_kw = met
    parallel, exports = modes
    for j in range(WIDTH):
        cell = Cell(
            s[USABLE + j],
            s[CHARGE_KW + j],
            s[DISCHARGE_KW + j],
            s[CHARGE_EFF + j],
            s[PER_DISCHARGE_EFF + j],
            s[NO_LOAD_KW + j],
            s[TAKES_BACK_KW + j],
            s[TAPER_FROM + j],
            s[TAPER_TO + j],
            0.0,
            s[ON_GRID_KW + j],
        )
        charge_kw, sun = s[CHARGE + j] / h, s[SOLAR_SCALE + j]
        e = s[STORED + j] + dc_kw * sun * h
        spare = solar_kw * sun - load_kw * s[LOAD_SCALE + j] - s[ON_GRID_KW + j]
        surplus = max(spare, 0.0)
        serve_to, solar_to, grid_to = s[SERVE_TO + j], s[SOLAR_TO + j], s[GRID_TO + j]
        kw = min(reach_kw * s[LOAD_SCALE + j], cell.discharge_kw) * s[MAY + j]
        wants = surplus > 0.0 and e < solar_to or e < grid_to
        wasted = 0.0
        if parallel or wants or e <= serve_to or not kw > 0.0:
            kw = min(cell.discharge_kw, max(-spare, 0.0) * s[PER_DRAW + j]) if parallel else 0.0
            aims = (s[EXPORT_TO + j] if exports else math.inf, serve_to, solar_to, grid_to)
            e, charged, served = grid_step(e, aims, surplus, charge_kw, kw, s[PER_SERVE_EFF + j], cell, h)
            time = served / cell.discharge_kw if cell.discharge_kw > 0.0 else 0.0
        else:
            e, time, charged, served, wasted = serve_switched(e, serve_to, kw, inside_kw * sun, cell, h)
        if e > cell.usable_kwh:
            s[SPILLED + j] += e - cell.usable_kwh
            e = cell.usable_kwh
        s[SPILLED + j] += wasted
        s[SERVED + j] += served
        s[SERVED_H + j] += 0.0 if parallel else time
        net = charged - served + wasted - spare * h - s[ON_GRID_KW + j] * time
        _book(e, net, charged, s, j, h)
