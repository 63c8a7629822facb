"""The physics of a battery in one step, written once: scalars in, scalars out, the compiler lays them into every loop.

The state is the energy `e_kwh` stored in the cells above the low-battery cutoff, DC. It rises by
``charge_kw * charge_efficiency``; while a unit inverts it falls by ``drain_kw``, the AC power divided by the discharge
efficiency plus the no-load draw. Both are constant within a step or, above the start of a taper, fall in proportion to
what is stored, so every end and every instant inside the step is solved in closed form.

Worked example: 10 kWh at 95 % carry 0.5 kW with 0.05 kW of no-load draw for ``10 / (0.5 / 0.95 + 0.05) = 17.35 h``.

Every loop calls these functions: the year (`walk`), an outage (`outage_walk`), all outages at once (`outages`), many
designs side by side (`lanes`). They differ in loop and search only.
"""

from __future__ import annotations

import math
from collections import namedtuple

from simulate.physics.compiled import jit

Cell = namedtuple(
    "Cell",
    "usable_kwh charge_kw discharge_kw charge_efficiency dc_per_ac no_load_kw takes_back_kw "
    "taper_from_kwh taper_to_frac restart_kwh on_grid_kw",
)
"""A pool as the compiled functions see it: eleven floats. `dc_per_ac` is one over the discharge efficiency."""


def _dc_per_ac(discharge_efficiency):
    """DC energy taken from the cells for each AC kWh, the no-load draw aside."""
    return 1.0 / discharge_efficiency


def _drain_kw(ac_kw, dc_per_ac, no_load_kw):
    """DC power that a unit takes from its cells while it inverts for an AC load. [kW]"""
    return ac_kw * dc_per_ac + no_load_kw


def _dc_per_served(reach_kw, dc_per_ac, no_load_kw):
    """DC energy for each AC kWh of a unit that inverts only while it serves `reach_kw`, its no-load draw counted.

    A unit that serves `reach_kw` for part of a step inverts for that part only: ``1/eta_d + P0 / reach``.
    """
    return dc_per_ac + (no_load_kw / reach_kw if reach_kw > 0.0 else 0.0)


def _drain_kwh(ac_kwh, hours, dc_per_ac, no_load_kw):
    """DC energy that a unit takes from its cells while it inverts for so long. [kWh]"""
    return ac_kwh * dc_per_ac + no_load_kw * hours


def _lost_kwh(charged_kwh, served_kwh, inverting_h, cell):
    """What conversion and the no-load draw lose of AC energy charged and delivered. [kWh]"""
    drained = served_kwh * cell.dc_per_ac + cell.no_load_kw * inverting_h
    return charged_kwh * (1.0 - cell.charge_efficiency) + drained - served_kwh


dc_per_ac, drain_kw, dc_per_served = jit(_dc_per_ac), jit(_drain_kw), jit(_dc_per_served)
drain_kwh, lost_kwh = jit(_drain_kwh), jit(_lost_kwh)
of_series = {
    "dc_per_ac": _dc_per_ac,
    "drain_kw": _drain_kw,
    "drain_kwh": _drain_kwh,
    "lost_kwh": _lost_kwh,
}
"""The same sentences for whole series, which numpy does as fast."""


@jit
def lasts_h(held_kwh, rate_kw):
    """How long what is held lasts at a constant rate. [h]"""
    return held_kwh / rate_kw


@jit
def net_in_kw(load_kw, solar_kw, dc_kw, may_charge, cell):
    """What feeds the cells of an islanded unit, from its output and from solar on the cells, and what drains them. [kW]

    Solar carries the load first; the output takes back what is left of it up to its limit. Cells that are too cold to
    charge take from `dc_kw` no more than the drain.
    """
    out_kw = drain_kw(max(load_kw - solar_kw, 0.0), cell.dc_per_ac, cell.no_load_kw)
    dc_in_kw = dc_kw if may_charge > 0.0 else min(dc_kw, out_kw)
    back_kw = min(max(solar_kw - load_kw, 0.0), cell.takes_back_kw) * may_charge
    return back_kw * cell.charge_efficiency, dc_in_kw, out_kw


@jit
def fill(e_kwh, goal_kwh, in_kw, out_kw, cell, h):
    """Charge towards a goal for `h` hours against a constant drain, the taper solved in closed form.

    `in_kw` is what is there to charge with and `out_kw` the drain, both DC. Returns the stored energy at the end and
    the time [h] at which the goal was met (h where it was not); from there on it is held.
    """
    span = cell.usable_kwh - cell.taper_from_kwh
    full_kw = cell.charge_kw * cell.charge_efficiency
    in_kw = min(in_kw, full_kw) if cell.taper_to_frac < 1.0 else in_kw
    if not (cell.taper_to_frac < 1.0 and span > 0.0 and full_kw < math.inf):
        return _fill_straight(e_kwh, goal_kwh, in_kw - out_kw, h)
    fall = (1.0 - cell.taper_to_frac) / span  # of full_kw, per kWh above the start of the taper
    knee_kwh = cell.taper_from_kwh + (1.0 - in_kw / full_kw) / fall
    e, t = e_kwh, 0.0
    if e < knee_kwh:
        e, t = _fill_straight(e, min(goal_kwh, knee_kwh), in_kw - out_kw, h)
        if t >= h or goal_kwh <= knee_kwh:
            return e, t
    rest_kwh = cell.taper_from_kwh + (1.0 - out_kw / full_kw) / fall  # where the taper just carries the drain
    rate = full_kw * fall
    if goal_kwh < rest_kwh:
        until = t + math.log((rest_kwh - e) / (rest_kwh - goal_kwh)) / rate
        if until <= h:
            return goal_kwh, until
    return rest_kwh + (e - rest_kwh) * math.exp(-rate * (h - t)), h


@jit
def _fill_straight(e_kwh, goal_kwh, net_kw, h):
    if net_kw > 0.0 and e_kwh + net_kw * h >= goal_kwh:
        return goal_kwh, lasts_h(goal_kwh - e_kwh, net_kw)
    return e_kwh + net_kw * h, h


@jit
def serve(e_kwh, floor_kwh, most_kwh, per_served):
    """Serve so much AC energy, or what is held above a floor; `per_served` is DC for each kWh of it."""
    held = (e_kwh - floor_kwh) / per_served
    if held <= most_kwh:
        return held, floor_kwh
    return most_kwh, e_kwh - most_kwh * per_served


@jit
def grid_step(e_kwh, aims, surplus_kw, charge_kw, reach_kw, per_served, cell, h):
    """One step on the utility: a unit charges or serves, never both.

    Parameters
    ----------
    e_kwh : float
        Stored energy at the start. [kWh]
    aims : tuple of four floats
        The plan: export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    surplus_kw : float
        Solar that the house does not use (>= 0 only where there is a surplus; AC). [kW]
    charge_kw : float
        AC charging limit in this step. [kW]
    reach_kw : float
        AC load that may be served in this step. [kW]
    per_served : float
        `dc_per_served` of this step.

    Returns
    -------
    e_kwh, charge_kwh, discharge_kwh : float
        Stored energy at the end, AC energy charged and AC energy delivered. [kWh]
    """
    export_to, serve_to, solar_to, grid_to = aims
    if e_kwh < grid_to or (surplus_kw > 0.0 and e_kwh < solar_to):
        end, t = e_kwh, 0.0
        if e_kwh < grid_to:
            end, t = fill(e_kwh, grid_to, charge_kw * cell.charge_efficiency, 0.0, cell, h)
        if t < h and surplus_kw > 0.0 and end < solar_to:
            end, t = fill(end, solar_to, min(surplus_kw, charge_kw) * cell.charge_efficiency, 0.0, cell, h - t)
        return end, (end - e_kwh) / cell.charge_efficiency, 0.0
    served, end = 0.0, e_kwh
    if end > serve_to and reach_kw > 0.0:
        served, end = serve(end, serve_to, min(reach_kw, cell.discharge_kw) * h, per_served)
    if end > export_to:
        more, end = serve(end, export_to, cell.discharge_kw * h - served, per_served)
        served += more
    return end, 0.0, served


@jit
def island_step(e_kwh, floor_kwh, load_kw, solar_kw, dc_kw, may_charge, cell, h):
    """One step islanded: the load, no-load draw and solar that the output takes back, to the instant of the floor.

    Parameters
    ----------
    e_kwh, floor_kwh : float
        Stored energy at the start, and where the loads are dropped. [kWh]
    load_kw, solar_kw : float
        AC load and AC solar on the island, constant over the step. [kW]
    dc_kw : float
        Solar that charges the cells directly. [kW]
    may_charge : float
        1, or 0 where the cells are too cold to charge.

    Returns
    -------
    e_kwh, served_h, charge_kwh, curtailed_kwh : float
        Stored energy at the end, the time carried [h], AC energy charged, solar not used. [kWh]
    """
    spare_kw = max(solar_kw - load_kw, 0.0)
    back_kw, dc_in_kw, out_kw = net_in_kw(load_kw, solar_kw, dc_kw, may_charge, cell)
    in_kw = back_kw + dc_in_kw
    if in_kw < out_kw:
        end, t = e_kwh - (out_kw - in_kw) * h, h
        if end < floor_kwh:
            end, t = floor_kwh, max(lasts_h(e_kwh - floor_kwh, out_kw - in_kw), 0.0)
        charged = (in_kw - dc_in_kw) / cell.charge_efficiency * t
        return end, t, charged, spare_kw * t - charged + (dc_kw - dc_in_kw) * t
    end, _ = fill(e_kwh, cell.usable_kwh, in_kw - dc_in_kw, out_kw - dc_in_kw, cell, h)
    stored = end - e_kwh + out_kw * h
    from_dc = min(dc_in_kw * h, stored)
    charged = (stored - from_dc) / cell.charge_efficiency
    return end, h, charged, max(spare_kw * h - charged, 0.0) + dc_kw * h - from_dc


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
    rate_kw = drain_kw(out_kw, cell.dc_per_ac, cell.no_load_kw) - back_kw * cell.charge_efficiency
    if rate_kw > 0.0:
        t = min(lasts_h(e_kwh - floor_kwh, rate_kw), h)
        end = floor_kwh if t < h else max(e_kwh - rate_kw * h, floor_kwh)
        return end, t, back_kw * t, out_kw * t, (spare_kw - back_kw + lost_kw) * t
    end, _ = fill(e_kwh, cell.usable_kwh, back_kw * cell.charge_efficiency, cell.no_load_kw, cell, h)
    charged = (end - e_kwh + drain_kwh(0.0, h, cell.dc_per_ac, cell.no_load_kw)) / cell.charge_efficiency
    return end, h, charged, 0.0, spare_kw * h - charged
