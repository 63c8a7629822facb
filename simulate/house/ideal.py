"""The programme of one house that no way of running it can beat, whoever chooses steps and circuits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.noun import BadInput
from simulate.house.asked import Asked
from simulate.house.candidates import may_switch
from simulate.house.priced import PricedMeter, inside_kw, usable_kwh
from simulate.optimum.equations import Case
from simulate.optimum.linear import checked_case, cyclic_bound
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, walk_year
from simulate.plans.cap import part_of


def least_cost_of(meter: PricedMeter, wear_per_kwh: float, more: Pool | None = None) -> tuple[float, str]:
    """Least cost of a year that keeps the reserve and ends as full as it begins, and the method that found it.

    Parameters
    ----------
    meter : PricedMeter
        Of an `Asked` with its floors; nothing of its plan is used.
    wear_per_kwh : float
    more : Pool, optional
        Energy and power that the pools have beyond their own, shared in proportion to their energy.

    Returns
    -------
    cost : float
        Energy and demand charges. [currency]
    method : str
    """
    case, credit = ideal_case(meter, wear_per_kwh, more)
    try:
        cost, method = cyclic_bound(case, np.minimum(kept_floor(meter.asked), _usable(case)))
    except BadInput as error:
        raise error.at(meter.site.file) from None
    return cost - credit, method


def ideal_case(meter: PricedMeter, wear_per_kwh: float, more: Pool | None = None) -> tuple[Case, float]:
    """The case of a house, and what a year of it costs less than the case says. [currency]

    Notes
    -----
    In transfer mode each pool reaches, in each step by itself, the largest load of whole circuits that may be switched
    and that it carries; each half of a two-pole circuit counts on its own pool, and windows and stays are left out: all
    of it only adds to what can be done. A kWh delivered costs least no-load draw at that load.
    """
    asked, house = meter.asked, meter.house
    wish, n, pools = asked.wish, house.hours.n_steps, asked.pools
    options = {
        "wear_per_kwh": wear_per_kwh,
        "export": wish.export,
        "step_h": house.hours.step_h,
        "charge_ok": (~house.cold.all(axis=0)).astype(float),
        "utility_ok": np.full(n, meter.site.operation.charge_from == "any"),
        "dc_kw": wish.dc_kw,
        "demands": meter.demands,
    }
    reach, credit = np.full(wish.reach_kw.shape, np.inf), 0.0
    if not wish.parallel:
        reach, pools, credit = _switched_reach(meter, options)
    if more is not None:
        pools = _enlarged(pools, more)
    given = (house.load_kw, reach, house.solar_kw, asked.prices.buy_per_kwh, meter.sell_per_kwh, pools)
    try:
        return checked_case(*given, **options), credit
    except BadInput as error:
        raise error.at(meter.site.file) from None


def _switched_reach(meter: PricedMeter, options: dict) -> tuple[np.ndarray, tuple[Pool, ...], float]:
    """What each pool reaches at most, the pools, and a credit that sub-panel solar and on-grid draws may be worth.

    Where sub-panel solar may exceed the circuits it is switched over with, the pool may be charged from it: the case
    lets it draw that much from any source, and gives it the on-grid draw of the step. A unit whose on-grid draw is more
    than what inverting takes would gain by serving next to nothing: there the draw is left out altogether.
    """
    asked = meter.asked
    may = may_switch(meter.house)
    largest, inside = may.largest_kw(), inside_kw(asked)
    reach = np.minimum(np.maximum(largest - inside, 0.0), np.maximum(meter.house.load_kw, 0.0))
    back = (inside > 0.0) & bool(may.n_candidates)
    pools, credit = asked.pools, 0.0
    if back.any():
        steps = back.any(axis=0)
        options["charge_ok"] = np.where(steps, 1.0, options["charge_ok"])
        options["utility_ok"] = options["utility_ok"] | steps
        pools = tuple(replace(pool, charge_kw=max(pool.charge_kw, pool.takes_back_kw)) for pool in pools)
        draws = np.array([pool.on_grid_kw for pool in pools]) @ back
        credit = float((draws * np.maximum(asked.prices.buy_per_kwh, 0.0)).sum()) * meter.house.hours.step_h
    if may.n_candidates:
        pools = tuple(replace(pool, on_grid_kw=pool.on_grid_kw * (not gains_by_inverting(pool))) for pool in pools)
    return reach, pools, credit


def gains_by_inverting(pool: Pool) -> bool:
    """Whether a unit draws more on the utility than its inverter takes when it serves nothing."""
    return pool.on_grid_kw * pool.dc_per_ac > pool.drain_kw(0.0) + 1e-12


def kept_floor(asked: Asked) -> np.ndarray:
    """The reserve as far as every plan keeps it, shape (n_pools, n_steps). [kWh]

    A plan may be at the reserve of the step before; where the reserve rises it then charges flat out. No plan that
    does so is below this, whatever the sun and the taper of its units.
    """
    house, floor, usable = asked.house, asked.floor_kwh, usable_kwh(asked)
    rises = np.flatnonzero((np.diff(floor, axis=1) != 0.0).any(axis=0)) + 1
    if not floor.size or not len(rises):
        return floor
    edges, kept = np.r_[0, rises, floor.shape[1]], floor.copy()
    wish = _only_charging(asked, usable)
    held = floor.min(axis=1)
    for first, last in zip(edges[:-1], edges[1:], strict=True):
        series = (house.load_kw[first:last].copy(), house.solar_kw[first:last].copy())
        year = walk_year(*series, part_of(wish, int(first), int(last)), asked.pools, held, house.hours.step_h)
        kept[:, first:last] = np.minimum(floor[:, first:last], year.pool_kwh[:, 1:])
        held = kept[:, last - 1].copy()
    return kept


def _only_charging(asked: Asked, usable) -> Wish:
    wish, from_utility = asked.wish, float(asked.house.site.operation.charge_from == "any")
    full = usable[:, :, None] * np.array([1.0, 1.0, 1.0, from_utility])
    return replace(
        wish,
        reach_kw=wish.reach_kw if wish.parallel else np.zeros_like(wish.reach_kw),
        two_pole_kw=np.zeros_like(wish.two_pole_kw),
        targets_kwh=np.broadcast_to(full, wish.targets_kwh.shape),
        stay_kwh=np.full_like(wish.stay_kwh, -1.0),
        over_kw=None,
        held_kwh=None,
    )


def _usable(case: Case) -> np.ndarray:
    return np.array([pool.usable_kwh for pool in case.pools]).reshape(-1, 1)


def _enlarged(pools: tuple[Pool, ...], more: Pool) -> tuple[Pool, ...]:
    """The pools with so much more energy and power, shared in proportion to their energy."""
    total = sum(pool.usable_kwh for pool in pools) or 1.0
    names = ("usable_kwh", "charge_kw", "discharge_kw")
    return tuple(
        replace(pool, **{k: getattr(pool, k) + getattr(more, k) * pool.usable_kwh / total for k in names})
        for pool in pools
    )
