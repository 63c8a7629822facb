"""A pool of battery energy and its physics: what it can do in one step, on the utility and islanded."""

from __future__ import annotations

import math
from collections import namedtuple
from dataclasses import dataclass
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.physics.compiled import jit

Cell = namedtuple(
    "Cell",
    "usable_kwh charge_kw discharge_kw charge_efficiency discharge_efficiency no_load_kw takes_back_kw "
    "taper_from_kwh taper_to_frac restart_kwh on_grid_kw",
)
"""A pool as the compiled functions see it: eleven floats."""


@dataclass(frozen=True)
class Pool:
    """Battery units that share their energy, with no hidden losses: what is not given is ideal.

    Parameters
    ----------
    usable_kwh : float
        DC energy in the cells between the low-battery cutoff and full. [kWh]
    charge_kw, discharge_kw : float
        AC limits of charging on the utility and of the output. [kW]
    charge_efficiency, discharge_efficiency : float
        One way, AC to cells and cells to AC. [0 to 1]
    no_load_kw : float
        DC draw while inverting. [kW]
    takes_back_kw : float
        AC power that the output accepts while islanded. [kW]
    taper : mapping, optional
        `{"from_soc": .., "to_frac": ..}`: above that state of charge the charging limit falls in proportion to the
        state of charge, to the named fraction of `charge_kw` at full.
    restart_kwh : float
        Loads are dropped here in an outage; the rest is kept to form a grid for solar. [kWh]
    on_grid_kw : float
        AC draw on the utility while not inverting. [kW]

    Raises
    ------
    BadInput
        A value outside its range, or NaN.

    Examples
    --------
    >>> Pool(10.0).charge_efficiency
    1.0
    """

    usable_kwh: float
    charge_kw: float = inf
    discharge_kw: float = inf
    charge_efficiency: float = 1.0
    discharge_efficiency: float = 1.0
    no_load_kw: float = 0.0
    takes_back_kw: float = inf
    taper: object = None
    restart_kwh: float = 0.0
    on_grid_kw: float = 0.0

    def __post_init__(self):
        for name, value in vars(self).items():
            if name != "taper" and not 0.0 <= value:
                raise BadInput("must be 0 or above", key=f"Pool.{name}", value=value)
        for name in ("charge_efficiency", "discharge_efficiency"):
            if not 0.0 < getattr(self, name) <= 1.0:
                raise BadInput(
                    "must be above 0 and at most 1",
                    key=f"Pool.{name}",
                    value=getattr(self, name),
                    way_out="it is one way, never a percentage",
                )
        for name in ("usable_kwh", "no_load_kw", "on_grid_kw"):
            if not getattr(self, name) < inf:
                raise BadInput("must be finite", key=f"Pool.{name}", value=getattr(self, name))
        if not self.restart_kwh <= self.usable_kwh:
            raise BadInput("must not exceed usable_kwh", key="Pool.restart_kwh", value=self.restart_kwh)
        start, end = self._taper()
        if not (0.0 < start <= 1.0 and 0.0 < end <= 1.0):
            raise BadInput("must have from_soc and to_frac above 0 and at most 1", key="Pool.taper", value=self.taper)

    def _taper(self) -> tuple[float, float]:
        if self.taper is None:
            return 1.0, 1.0
        given = self.taper if isinstance(self.taper, dict) else dict(self.taper)
        return float(given["from_soc"]), float(given["to_frac"])

    @property
    def cell(self) -> Cell:
        """The pool for the compiled functions."""
        start, end = self._taper()
        values = (
            self.usable_kwh,
            self.charge_kw,
            self.discharge_kw,
            self.charge_efficiency,
            self.discharge_efficiency,
            self.no_load_kw,
            self.takes_back_kw,
            start * self.usable_kwh,
            end,
            self.restart_kwh,
            self.on_grid_kw,
        )
        return Cell(*map(float, values))


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
        return goal_kwh, (goal_kwh - e_kwh) / net_kw
    return e_kwh + net_kw * h, h


@jit
def drain_kw(load_kw, cell):
    """DC power that a unit takes from its cells while it inverts for an AC load. [kW]"""
    return load_kw / cell.discharge_efficiency + cell.no_load_kw


@jit
def discharge_efficiency(reach_kw, cell):
    """Discharge efficiency that counts the no-load draw in proportion to what is delivered.

    A unit that serves `reach_kw` for part of a step inverts for that part only: `1 / (1/eta_d + P0 / reach)`.
    """
    idle = cell.no_load_kw / reach_kw if reach_kw > 0.0 else 0.0
    return 1.0 / (1.0 / cell.discharge_efficiency + idle)


@jit
def grid_step(e_kwh, export_to, serve_to, solar_to, grid_to, surplus_kw, charge_kw, reach_kw, efficiency, cell, h):
    """One step on the utility: a unit charges or serves, never both.

    Parameters
    ----------
    e_kwh : float
        Stored energy at the start. [kWh]
    export_to, serve_to, solar_to, grid_to : float
        The plan: export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    surplus_kw : float
        Solar that the house does not use (>= 0 only where there is a surplus; AC). [kW]
    charge_kw : float
        AC charging limit in this step. [kW]
    reach_kw : float
        AC load that may be served in this step. [kW]
    efficiency : float
        `discharge_efficiency` of this step.

    Returns
    -------
    e_kwh, charge_kwh, discharge_kwh : float
        Stored energy at the end, AC energy charged and AC energy delivered. [kWh]
    """
    if e_kwh < grid_to or (surplus_kw > 0.0 and e_kwh < solar_to):
        end, t = e_kwh, 0.0
        if e_kwh < grid_to:
            end, t = fill(e_kwh, grid_to, charge_kw * cell.charge_efficiency, 0.0, cell, h)
        if t < h and surplus_kw > 0.0 and end < solar_to:
            end, t = fill(end, solar_to, min(surplus_kw, charge_kw) * cell.charge_efficiency, 0.0, cell, h - t)
        return end, (end - e_kwh) / cell.charge_efficiency, 0.0
    served, end = 0.0, e_kwh
    if end > serve_to and reach_kw > 0.0:
        served, end = _draw(end, serve_to, min(reach_kw, cell.discharge_kw) * h, efficiency)
    if end > export_to:
        more, end = _draw(end, export_to, cell.discharge_kw * h - served, efficiency)
        served += more
    return end, 0.0, served


@jit
def _draw(e_kwh, floor_kwh, most_kwh, efficiency):
    held = (e_kwh - floor_kwh) * efficiency
    if held <= most_kwh:
        return held, floor_kwh
    return most_kwh, e_kwh - most_kwh / efficiency


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
    short_kw = max(load_kw - solar_kw, 0.0)
    spare_kw = max(solar_kw - load_kw, 0.0)
    out_kw = drain_kw(short_kw, cell)
    dc_in_kw = dc_kw if may_charge > 0.0 else min(dc_kw, out_kw)
    in_kw = min(spare_kw, cell.takes_back_kw) * may_charge * cell.charge_efficiency + dc_in_kw
    if in_kw < out_kw:
        end, t = e_kwh - (out_kw - in_kw) * h, h
        if end < floor_kwh:
            end, t = floor_kwh, max((e_kwh - floor_kwh) / (out_kw - in_kw), 0.0)
        charged = (in_kw - dc_in_kw) / cell.charge_efficiency * t
        return end, t, charged, spare_kw * t - charged + (dc_kw - dc_in_kw) * t
    end, _ = fill(e_kwh, cell.usable_kwh, in_kw - dc_in_kw, out_kw - dc_in_kw, cell, h)
    stored = end - e_kwh + out_kw * h
    from_dc = min(dc_in_kw * h, stored)
    charged = (stored - from_dc) / cell.charge_efficiency
    return end, h, charged, max(spare_kw * h - charged, 0.0) + dc_kw * h - from_dc


def serve_terms(load_kw, reach_kw, solar_kw, pool: Pool) -> tuple[np.ndarray, np.ndarray]:
    """What one pool may serve in each step and at which discharge efficiency.

    Parameters
    ----------
    load_kw, solar_kw : ndarray, shape (n_steps,)
        House load and solar at the meter. [kW]
    reach_kw : ndarray, shape (n_steps,)
        Load of the whole circuits that are switched over (transfer mode: they are served whatever the sun does);
        infinite or anywhere above the house load: the pool works in parallel and follows what solar leaves. [kW]

    Returns
    -------
    limit_kw, efficiency : ndarray, shape (n_steps,)
        AC power that may be served [kW], and AC delivered per DC taken, no-load draw included.

    Notes
    -----
    ``1 / (1/eta_d + P_noload / reach)``; in parallel the discharge limit stands in the place of `reach`. The on-grid
    draw ends in the same proportion, so in parallel ``(load + P_grid - solar) / (1 + P_grid / limit)`` may be served.

    Examples
    --------
    >>> limit, efficiency = serve_terms(np.array([1.0]), np.array([0.5]), np.zeros(1), Pool(10, no_load_kw=0.05))
    >>> float(limit[0]), round(float(efficiency[0]), 4)
    (0.5, 0.9091)
    """
    reach = np.minimum(reach_kw, pool.discharge_kw)
    if works_in_parallel(load_kw, reach_kw):
        out = pool.discharge_kw
        idle, freed = (pool.no_load_kw / out, pool.on_grid_kw / out) if out > 0.0 else (0.0, 0.0)
        left_kw = np.maximum(load_kw + pool.on_grid_kw - solar_kw, 0.0) / (1.0 + freed)
        return np.minimum(reach, left_kw), np.full(reach.shape, 1.0 / (1.0 / pool.discharge_efficiency + idle))
    with np.errstate(divide="ignore", invalid="ignore"):
        idle = np.where(reach > 0.0, pool.no_load_kw / reach, 0.0)
    return reach, 1.0 / (1.0 / pool.discharge_efficiency + idle)


def works_in_parallel(load_kw, reach_kw) -> bool:
    """True where the reach anywhere exceeds the house load by more than rounding: whole circuits of it cannot."""
    return bool((reach_kw > load_kw + 1e-9 * np.abs(load_kw)).any())
