"""A pool of battery energy and its physics: what it can do in one step, on the utility and islanded."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.physics.step import Cell, of_series


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
    def dc_per_ac(self) -> float:
        """DC energy taken from the cells for each AC kWh delivered, the no-load draw aside."""
        return of_series["dc_per_ac"](self.discharge_efficiency)

    def drain_kw(self, ac_kw):
        """DC power taken from the cells while inverting for an AC load, a number or a series. [kW]"""
        return of_series["drain_kw"](ac_kw, self.dc_per_ac, self.no_load_kw)

    def dc_per_served(self, inverts_kw) -> np.ndarray:
        """DC energy for each AC kWh of a unit that inverts only while it serves so much, its no-load draw counted."""
        return self.dc_per_ac + _per_kw(self.no_load_kw, inverts_kw)

    @property
    def cell(self) -> Cell:
        """The pool for the compiled functions."""
        start, end = self._taper()
        values = (
            self.usable_kwh,
            self.charge_kw,
            self.discharge_kw,
            self.charge_efficiency,
            self.dc_per_ac,
            self.no_load_kw,
            self.takes_back_kw,
            start * self.usable_kwh,
            end,
            self.restart_kwh,
            self.on_grid_kw,
        )
        return Cell(*map(float, values))


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
    inverts = np.full(reach.shape, pool.discharge_kw) if works_in_parallel(load_kw, reach_kw) else reach
    per_served = pool.dc_per_served(inverts)
    if works_in_parallel(load_kw, reach_kw):
        freed = _per_kw(pool.on_grid_kw, inverts)
        left_kw = np.maximum(load_kw + pool.on_grid_kw - solar_kw, 0.0) / (1.0 + freed)
        return np.minimum(reach, left_kw), 1.0 / per_served
    return reach, 1.0 / per_served


def _per_kw(draw_kw: float, inverts_kw) -> np.ndarray:
    """A draw for each kW that is served while it lasts; none where nothing may be served."""
    return np.divide(draw_kw, inverts_kw, out=np.zeros(len(inverts_kw)), where=inverts_kw > 0.0)


def works_in_parallel(load_kw, reach_kw) -> bool:
    """True where the reach anywhere exceeds the house load by more than rounding: whole circuits of it cannot."""
    return bool((reach_kw > load_kw + 1e-9 * np.abs(load_kw)).any())
