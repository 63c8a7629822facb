"""One pool's year made ready for the exact programme: its series checked, its steps cut into pieces."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.optimum.convex import N_COLUMNS, write_stages
from simulate.physics.pool import Pool, serve_terms, works_in_parallel

ELSEWHERE = "simulate.optimum.linear.best_possible solves such a case"


@dataclass(frozen=True, eq=False)
class Programme:
    """One pool's year as the compiled functions want it: prepare it once, solve it many times.

    Attributes
    ----------
    stages : ndarray, shape (n_steps, 10)
        The four pieces of each step's cost, and the cost with the battery untouched.
    limit_dc_kwh : ndarray, shape (n_steps,)
        What can be served in each step, DC; negative in transfer mode. [kWh]
    is_plain : bool
        Whether no threshold depends on the state: no surplus, nothing served beyond the house's import.
    pool : Pool
    """

    stages: np.ndarray
    limit_dc_kwh: np.ndarray
    is_plain: bool
    pool: Pool

    @functools.cached_property
    def rows(self) -> np.ndarray:
        """The stage of each step."""
        return np.arange(self.n_steps)

    @property
    def n_steps(self) -> int:
        return len(self.stages)


def programme(
    load_kw,
    reach_kw,
    solar_kw,
    buy_per_kwh,
    sell_per_kwh,
    pool,
    *,
    wear_per_kwh=0.0,
    export=False,
    step_h=1.0,
    charge_ok=None,
    utility_ok=None,
    dc_kw=0.0,
) -> Programme:
    """Check the series of `best_targets` and prepare them for many solves.

    Raises
    ------
    BadInput
        As `best_targets`, the floors aside.

    Examples
    --------
    >>> made = programme([0.0, 0.81], 9, 0, [0.10, 0.30], 0.0, Pool(0.9))
    >>> made.n_steps
    2
    """
    load = series(load_kw, "load_kw", least=-inf)
    n = len(load)
    reach = series(reach_kw, "reach_kw", n, infinite=True)
    solar = series(solar_kw, "solar_kw", n)
    buy, sell = series(buy_per_kwh, "buy_per_kwh", n, least=-inf), series(sell_per_kwh, "sell_per_kwh", n, least=-inf)
    _refuse_prices(buy, sell)
    wear, h = number(wear_per_kwh, "wear_per_kwh"), number(step_h, "step_h", least=1e-6)
    charge = charge_limit_kw(pool, charge_ok, n)
    limit, efficiency = serve_terms(load, reach, solar, pool)
    stages = np.empty((n, N_COLUMNS))
    columns = (load, reach, solar, buy, sell, limit, efficiency, charge, series(dc_kw, "dc_kw", n))
    may_buy = switches(utility_ok, "utility_ok", n)
    parallel = works_in_parallel(load, reach)
    refused, plain = write_stages(stages, columns, may_buy, (parallel, bool(export)), wear, pool.cell, h)
    if refused >= 0:
        raise BadInput(
            f"saves more while the pool inverts than its losses cost, so that charging and serving at once would pay "
            f"(step {refused})",
            key="Pool.on_grid_kw",
            value=pool.on_grid_kw,
            way_out=ELSEWHERE,
        )
    limit_dc = (limit if parallel else -limit) * (h / efficiency)
    return Programme(stages, limit_dc, plain, pool)


def _refuse_prices(buy, sell) -> None:
    for name, low, high in (("sell_per_kwh", np.zeros(1), sell), ("buy_per_kwh", sell, buy)):
        if not (high >= low).all():
            t = int(np.argmin(high >= low))
            rule = f"must be at least the sell price {sell[t]:g}" if name == "buy_per_kwh" else "must be 0 or above"
            raise BadInput(rule, key=f"{name}[{t}]", value=float(high[t]), way_out=ELSEWHERE)


def charge_limit_kw(pool: Pool, charge_ok, n_steps: int) -> np.ndarray:
    """AC charging limit of each step: the pool's times the share that is there.

    Examples
    --------
    >>> charge_limit_kw(Pool(1.0), [True, False], 2).tolist()
    [inf, 0.0]
    """
    if charge_ok is None:
        return np.full(n_steps, pool.charge_kw)
    share = series(charge_ok, "charge_ok", n_steps, most=1.0)
    return np.where(share > 0.0, np.where(share > 0.0, share, 1.0) * pool.charge_kw, 0.0)


def switches(values, name: str, n_steps: int) -> np.ndarray:
    """A checked series of yes and no; yes everywhere unless given.

    Examples
    --------
    >>> switches([1, 0], "utility_ok", 2).tolist()
    [True, False]
    """
    if values is None:
        return np.ones(n_steps, dtype=np.bool_)
    array = series(values, name, n_steps, most=1.0)
    if not ((array == 0.0) | (array == 1.0)).all():
        raise BadInput("must hold only true and false", key=name, value=float(array[(array > 0.0) & (array < 1.0)][0]))
    return array > 0.0


def number(value, name: str, *, least: float = 0.0, most: float = inf) -> float:
    """A checked finite number within [least, most].

    Raises
    ------
    BadInput
        NaN, infinity, no number, or outside.

    Examples
    --------
    >>> number(1, "step_h")
    1.0
    """
    try:
        one = float(value)
    except (TypeError, ValueError):
        raise BadInput("must be a number", key=name, value=value) from None
    if not (least <= one <= most and abs(one) < inf):
        top = f" and at most {most:g}" if most < inf else ""
        raise BadInput(f"must be finite, at least {least:g}{top}", key=name, value=one)
    return one


def series(values, name: str, n_steps: int | None = None, *, least=0.0, most=inf, infinite=False) -> np.ndarray:
    """A checked series, float64, of shape (n_steps,); a single number stands for all steps.

    Raises
    ------
    BadInput
        Another shape, NaN, infinity (unless `infinite`), or a value outside [least, most].

    Examples
    --------
    >>> series(2, "load_kw", 3)
    array([2., 2., 2.])
    """
    try:
        array = np.ascontiguousarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise BadInput("must hold numbers", key=name, value=values) from None
    if np.ndim(values) == 0 and n_steps is not None:
        array = np.full(n_steps, array[0])
    if array.ndim != 1 or np.ndim(values) > 1 or array.size != (n_steps or array.size) or array.size == 0:
        wanted = f"({n_steps},)" if n_steps else "(n_steps,)"
        raise BadInput(f"must have shape {wanted}", key=name, value=np.shape(values), way_out="give one value a step")
    low, high = array.min(), array.max()  # NaN where any is
    if not (least <= low and high <= most and (infinite or (low > -inf and high < inf))):
        good = (array >= least) & (array <= most) & (infinite | (np.abs(array) < inf))
        t = int(np.argmin(good))
        bounds = " ".join([f"at least {least:g}"] * (least > -inf) + [f"at most {most:g}"] * (most < inf))
        rule = f"must be {'a' if infinite else 'a finite'} number {bounds}".strip()
        raise BadInput(rule, key=f"{name}[{t}]", value=float(array[t]))
    return array
