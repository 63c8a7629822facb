"""The walk over the steps of a year on the utility: a plan's targets, moved to within the pools' limits."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from profiles.noun import BadInput
from simulate.physics.compiled import jit
from simulate.physics.energy import year_html
from simulate.physics.meter_step import DISCHARGE, INVERTING_H, Wanted, pools_step, shares_of
from simulate.physics.pool import Pool, works_in_parallel
from simulate.physics.step import Cell


@dataclass(frozen=True, eq=False)
class Year:
    """One year, step by step; every series has shape (n_steps,), AC mean kW unless it says otherwise.

    `soc_kwh` is the stored energy of all pools at the start of each step and `pool_kwh` the same by pool, shape
    (n_pools, n_steps + 1), the end included. `residual_kwh` is what the energy balance leaves over.
    """

    step_h: float
    load_kw: np.ndarray
    solar_kw: np.ndarray
    import_kw: np.ndarray
    export_kw: np.ndarray
    charge_kw: np.ndarray
    discharge_kw: np.ndarray
    loss_kw: np.ndarray
    curtailed_kw: np.ndarray
    pool_kwh: np.ndarray
    pool_discharge_kw: np.ndarray

    def __post_init__(self):
        for field in fields(self):
            if isinstance(getattr(self, field.name), np.ndarray):
                getattr(self, field.name).flags.writeable = False

    @property
    def soc_kwh(self) -> np.ndarray:
        return self.pool_kwh[:, :-1].sum(axis=0)

    @property
    def stored_change_kwh(self) -> float:
        return float(self.pool_kwh[:, -1].sum() - self.pool_kwh[:, 0].sum())

    def energy_kwh(self) -> dict[str, float]:
        """Sums over the year by name, with the residual of the balance. [kWh]"""
        names = ("load", "solar", "import", "export", "charge", "discharge", "loss", "curtailed")
        sums = {name: float(getattr(self, f"{name}_kw").sum() * self.step_h) for name in names}
        sums["stored_change"] = self.stored_change_kwh
        sums["residual"] = (
            sums["solar"]
            + sums["import"]
            - sums["export"]
            - sums["load"]
            - sums["loss"]
            - sums["curtailed"]
            - sums["stored_change"]
        )
        return sums

    def to_frame(self):
        """The series as a pandas DataFrame, one row a step."""
        import pandas as pd

        names = [f.name for f in fields(self) if f.name.endswith("_kw") and f.name != "pool_discharge_kw"]
        return pd.DataFrame({name: getattr(self, name) for name in names} | {"soc_kwh": self.soc_kwh})

    def _repr_html_(self) -> str:
        return year_html(self.energy_kwh())


@dataclass(frozen=True, eq=False)
class Wish:
    """What the pools are asked to do in each step, all arrays ready for the compiled walk.

    Parameters
    ----------
    reach_kw : ndarray, shape (n_pools, n_steps)
        Load of the circuits that are switched to each pool (transfer); the output limit in parallel. [kW]
    two_pole_kw : ndarray, shape (n_steps,)
        Two-pole circuits that are switched to a locked pair, half on each pool (transfer). [kW]
    targets_kwh : ndarray, shape (n_pools, n_steps, 4)
        Export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    stay_kwh : ndarray, shape (n_pools, n_steps)
        At the first step of a period of service: the stored energy below which the least stay cannot be kept, so
        that nothing is switched in it; else -1. [kWh]
    charge_kw : ndarray, shape (n_pools, n_steps)
        AC charging limit. [kW]
    dc_kw : ndarray, shape (n_pools, n_steps)
        Solar that is connected to the cells. [kW]
    inside_kw : ndarray, shape (n_pools, n_steps)
        Part of `solar_kw` that is connected at the sub-panel and goes with it when it is switched over. [kW]
    parallel : bool
        Works in parallel with the utility and follows what solar leaves of the house load.
    export : bool
        The pools may export (parallel only); without it "export down to" is not followed.
    over_kw : ndarray, shape (n_steps,), optional
        House and on-grid draws less solar, less an import cap; -inf where no cap counts. Charging then draws no more
        than what is left below the cap, and in parallel the pools serve what is over it down to `held_kwh`. [kW]
    held_kwh : ndarray, shape (n_pools, n_steps), optional
        What a cap may not draw on, and what is charged whatever the cap says; nothing unless given. [kWh]
    """

    reach_kw: np.ndarray
    two_pole_kw: np.ndarray
    targets_kwh: np.ndarray
    stay_kwh: np.ndarray
    charge_kw: np.ndarray
    dc_kw: np.ndarray
    inside_kw: np.ndarray
    parallel: bool
    export: bool = False
    over_kw: np.ndarray | None = None
    held_kwh: np.ndarray | None = None

    @property
    def wanted(self) -> Wanted:
        """As the compiled step takes it."""
        given = (self.reach_kw, self.two_pole_kw, self.targets_kwh, self.stay_kwh, self.charge_kw, self.dc_kw)
        held = np.zeros(self.reach_kw.shape) if self.held_kwh is None else self.held_kwh
        return Wanted(*given, self.inside_kw, held, self.parallel, self.export)


NO_CAP = np.zeros(0)


@jit
def _walk(met, wanted, cells, h, shares, flows, soc):
    """Fill `flows` and `soc` step by step; `met` is (load, solar, over), the last without steps where no cap is."""
    load_kw, solar_kw, over_kw = met
    on_grid = cells[:, 10].sum()
    for t in range(load_kw.shape[0]):
        over = over_kw[t] if over_kw.shape[0] > 0 else -math.inf
        pools_step(t, (solar_kw[t] - load_kw[t] - on_grid, over), wanted, cells, h, shares, flows, soc)


def walk_year(load_kw, solar_kw, wish: Wish, pools: tuple[Pool, ...], soc_kwh, step_h: float, export=True) -> Year:
    """Move the pools through every step of a year.

    Parameters
    ----------
    load_kw, solar_kw : ndarray, shape (n_steps,)
        House load and AC solar at the meter. [kW]
    wish : Wish
    pools : tuple of Pool
        One for each leg, or one for both.
    soc_kwh : sequence of float, length n_pools
        Stored energy at the start. [kWh]
    step_h : float
        Length of a step. [h]
    export : bool
        Surplus solar may go out; if not it is curtailed.

    Returns
    -------
    Year
    """
    n_pools, n_steps = wish.reach_kw.shape
    cells = np.array([pool.cell for pool in pools], dtype=float).reshape(n_pools, len(Cell._fields))
    soc = np.zeros((n_pools, n_steps + 1))
    soc[:, 0] = soc_kwh
    over_kw = NO_CAP if wish.over_kw is None else wish.over_kw
    flows = np.zeros((n_pools, 6, n_steps))
    met = (load_kw, solar_kw, over_kw)
    _walk(met, wish.wanted, cells, float(step_h), shares_of(n_pools), flows, soc)
    charge, discharge, wasted, spilled, loss = (flows[:, k].sum(axis=0) for k in range(5))
    on_grid = cells[:, 10] @ (1.0 - flows[:, INVERTING_H] / step_h)
    net = load_kw + on_grid + charge - discharge - solar_kw + wasted
    net[np.abs(net) < 1e-12] = 0.0
    over = np.maximum(-net, 0.0)
    curtailed = wasted + spilled
    if not export:
        curtailed, over = curtailed + over, np.zeros(n_steps)
    return Year(
        step_h=float(step_h),
        load_kw=load_kw.copy(),
        solar_kw=solar_kw + wish.dc_kw.sum(axis=0),
        import_kw=np.maximum(net, 0.0),
        export_kw=over,
        charge_kw=charge,
        discharge_kw=discharge,
        loss_kw=loss,
        curtailed_kw=curtailed,
        pool_kwh=soc,
        pool_discharge_kw=flows[:, DISCHARGE].copy(),
    )


def run_plan(load_kw, reach_kw, solar_kw, targets_kwh, pool: Pool, *, soc_kwh: float, step_h: float = 1.0) -> Year:
    """Move one pool towards a plan's states of charge, within its limits.

    Parameters
    ----------
    load_kw, solar_kw : array_like, shape (n_steps,) or scalar
        House load and solar at the meter, mean over each step. [kW]
    reach_kw : array_like, shape (n_steps,) or scalar
        Load of the whole circuits that may be switched over in each step; anywhere above the house load (or
        infinite): the pool works in parallel and follows what solar leaves. [kW]
    targets_kwh : array_like, shape (n_steps, 4)
        Export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    pool : Pool
    soc_kwh : float
        Stored energy at the start. [kWh]
    step_h : float
        Length of a step. [h]

    Returns
    -------
    Year

    Raises
    ------
    BadInput
        A series of the wrong length, negative, NaN or infinite.

    Examples
    --------
    A full 10 kWh pool serves 2 kW down to 4 kWh:

    >>> year = run_plan([2.0] * 4, [2.0] * 4, 0.0, [[10, 4, 0, 0]] * 4, Pool(10), soc_kwh=10)
    >>> [float(kw) for kw in year.import_kw]
    [0.0, 0.0, 0.0, 2.0]
    """
    targets = np.array(targets_kwh, dtype=float)
    n_steps = len(targets)
    if targets.shape != (n_steps, 4) or np.isnan(targets).any():
        raise BadInput("must have shape (n_steps, 4) and no NaN", key="targets_kwh", value=targets.shape)
    load, solar = (series(x, n_steps, key) for x, key in ((load_kw, "load_kw"), (solar_kw, "solar_kw")))
    reach = series(reach_kw, n_steps, "reach_kw", most=np.inf)
    if not 0.0 <= soc_kwh <= pool.usable_kwh:
        raise BadInput("must lie between 0 and usable_kwh", key="soc_kwh", value=soc_kwh)
    one, parallel = (1, n_steps), works_in_parallel(load, reach)
    wish = Wish(
        reach_kw=np.minimum(reach, pool.discharge_kw).reshape(one),
        two_pole_kw=np.zeros(n_steps),
        targets_kwh=targets.reshape(1, n_steps, 4),
        stay_kwh=np.full(one, -1.0),
        charge_kw=np.full(one, pool.charge_kw),
        dc_kw=np.zeros(one),
        inside_kw=np.zeros(one),
        parallel=parallel,
        export=parallel and bool((targets[:, 0] < pool.usable_kwh).any()),
    )
    return walk_year(load, solar, wish, (pool,), [soc_kwh], step_h)


def series(values, n_steps: int, key: str, most: float = 1e9) -> np.ndarray:
    """A series as a float64 array of shape (n_steps,), refused where it is negative, NaN or beyond `most`."""
    array = np.full(n_steps, float(values)) if np.ndim(values) == 0 else np.array(values, dtype=float)
    if array.shape != (n_steps,):
        raise BadInput("must have one value a step", key=key, value=array.shape, way_out=f"give {n_steps} values")
    if not ((array >= 0.0) & (array <= most)).all():
        first = int(np.flatnonzero(~((array >= 0.0) & (array <= most)))[0])
        raise BadInput(f"must be 0 or above and finite in step {first}", key=key, value=float(array[first]))
    return array
