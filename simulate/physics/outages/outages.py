"""Hours survived by an outage that begins at any step of the year."""

from __future__ import annotations

import numpy as np

from profiles.noun import BadInput
from simulate.physics.outages.island import Dark, Island, dark_hours, simple_island
from simulate.physics.outages.sums import fast_dark_hours
from simulate.physics.pool import Pool
from simulate.physics.walk import series


def first_dark(island: Island, pools, soc_kwh, **options) -> Dark:
    """`dark_hours` by the faster route where the drain does not depend on the state, else by the walk."""
    quick = fast_dark_hours(island, pools, soc_kwh, **options)
    return dark_hours(island, pools, soc_kwh, **options) if quick is None else quick


def hours_survived(
    load_kw, pool: Pool, *, solar_kw=None, soc_kwh, step_h=1.0, horizon_h=336.0, wrap=True, reconnect_s=0.0
) -> np.ndarray:
    """Time until the pool can no longer carry the load, from every start.

    Parameters
    ----------
    load_kw : array_like, shape (n_steps,)
        AC load on the pool, mean over each step. [kW]
    pool : Pool
        A load above `discharge_kw` trips it. Loads are dropped at `restart_kwh`.
    solar_kw : array_like, shape (n_steps,), optional
        AC solar on the island, used up to the load plus `takes_back_kw`. [kW]
    soc_kwh : float or array_like, shape (n_steps,)
        Stored energy at each start. [kWh]
    step_h, horizon_h : float
        Length of a step, and how long an outage is followed; what outlives it is given as the horizon. [h]
    wrap : bool
        The last step is followed by the first; without it an outage is followed to the end of the series only.
    reconnect_s : float
        Solar waits so long on a new island. [s]

    Returns
    -------
    ndarray, shape (n_steps,)
        Hours from each start to the first unserved instant, solved inside the step. [h]

    Raises
    ------
    BadInput
        A series of the wrong length, negative, NaN or infinite.

    Notes
    -----
    .. math:: E_{t+1} = E_t - (P / \\eta_d + P_0) \\, h

    Examples
    --------
    10 kWh carry half a kilowatt for twenty hours:

    >>> float(hours_survived([0.5] * 48, Pool(usable_kwh=10), soc_kwh=10.0)[0])
    20.0
    """
    n = len(load_kw)
    load = series(load_kw, n, "load_kw")
    soc = series(soc_kwh, n, "soc_kwh")
    if (soc > pool.usable_kwh + 1e-9).any():
        raise BadInput("must not exceed usable_kwh", key="soc_kwh", value=float(soc.max()))
    if not 0.0 < step_h < np.inf or not 0.0 < horizon_h < np.inf:
        raise BadInput("must be above 0", key="step_h, horizon_h", value=(step_h, horizon_h))
    solar = np.zeros(n) if solar_kw is None else series(solar_kw, n, "solar_kw")
    island = simple_island(load, pool, solar, reconnect_s / 3600.0)
    dark = first_dark(island, (pool,), soc.reshape(1, n), step_h=float(step_h), horizon_h=float(horizon_h), wrap=wrap)
    return np.minimum(dark.dark_h[:, 0], dark.end_h)
