"""Plans that look ahead: the year known, or foreseen from the past of the house."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.noun import BadInput
from simulate.house.asked import Asked
from simulate.house.caps import days_of
from simulate.house.priced import PricedMeter, case_of, inside_kw, usable_kwh
from simulate.optimum.best import METHOD
from simulate.optimum.forecast import forecast_targets
from simulate.optimum.linear import Planner, checked_case, checked_states
from simulate.physics.pool import Pool
from simulate.plans.calendar_plans import reachable_floor


def best_plan(asked: Asked) -> np.ndarray:
    """Targets of `best-possible`: the year known, every floor reachable, shape (n_pools, n_steps, 4). [kWh]"""
    return BestPlanner(asked)(asked)


class BestPlanner:
    """From an `Asked` of one house, whatever its reserve, to the targets of `best-possible`.

    Attributes
    ----------
    method : str
    is_exact : bool
        One exact programme a pool: milliseconds a call.
    """

    def __init__(self, asked: Asked):
        meter = PricedMeter(asked)
        try:
            given, options = case_of(meter, meter.site.operation.wear_per_kwh)
            self._planner = Planner(checked_case(*given, **options))
        except BadInput as error:
            raise error.at(meter.site.file) from None
        self.is_exact = self._planner.is_exact
        self.method = METHOD if self.is_exact else "programme of HiGHS"

    def __call__(self, asked: Asked) -> np.ndarray:
        """Targets, shape (n_pools, n_steps, 4). [kWh]"""
        floor, start = _reachable(asked), usable_kwh(asked)[:, 0]
        states = checked_states(self._planner.case, floor, start, np.minimum(start, floor[:, -1]))
        return self._planner.best(*states).targets_kwh


def _reachable(asked: Asked) -> np.ndarray:
    """Floors from which every later one can be met, cut to what charging flat out from full reaches."""
    can_buy, usable = asked.house.site.operation.charge_from == "any", usable_kwh(asked)
    floor, step_h = np.empty_like(asked.floor_kwh), asked.house.hours.step_h
    for p, pool in enumerate(asked.pools):
        limit = asked.wish.charge_kw[p] * can_buy
        floor[p] = reachable_floor(asked.floor_kwh[p], limit > 0.0, limit, pool, step_h)
        gain = np.cumsum(limit * pool.charge_efficiency * step_h)
        floor[p] = np.minimum(floor[p], np.minimum(usable[p] + gain, pool.usable_kwh) if can_buy else 0.0)
    return np.clip(floor, 0.0, usable)


def forecast_plan(asked: Asked) -> np.ndarray:
    """Targets of `forecast`: re-solved every step from the past of the house, shape (n_pools, n_steps, 4). [kWh]

    In parallel the pools are foreseen as one and follow it in proportion; in transfer mode each foresees its own leg.
    An on-grid draw that saves more than the losses cost is left out of what is foreseen: the programme cannot hold it.
    """
    house, wish, hours = asked.house, asked.wish, asked.house.hours
    calendar = days_of(hours)
    operation, meter = house.site.operation, PricedMeter(asked)
    shared = {
        "calendar": calendar,
        "wear_per_kwh": operation.wear_per_kwh,
        "export": wish.export,
        "step_h": hours.step_h,
        "utility_ok": np.full(hours.n_steps, operation.charge_from == "any"),
    }

    def one(pool: Pool, reach, floor, dc, cold):
        try:
            return forecast_targets(
                house.load_kw,
                reach,
                house.solar_kw,
                asked.prices.buy_per_kwh,
                meter.sell_per_kwh,
                pool,
                floor_kwh=floor,
                dc_kw=dc,
                charge_ok=(~cold).astype(float),
                **shared,
            )
        except BadInput as error:
            if error.key != "Pool.on_grid_kw":
                raise
            return one(replace(pool, on_grid_kw=0.0), reach, floor, dc, cold)

    if wish.parallel:
        whole = _one_pool(asked.pools)
        targets = one(whole, np.inf, asked.floor_kwh.sum(axis=0), wish.dc_kw.sum(axis=0), house.cold.any(axis=0))
        return np.array([targets * (pool.usable_kwh / whole.usable_kwh) for pool in asked.pools])
    reach = np.maximum(wish.reach_kw + 0.5 * wish.two_pole_kw - inside_kw(asked), 0.0)
    return np.array(
        [one(pool, reach[p], asked.floor_kwh[p], wish.dc_kw[p], house.cold[p]) for p, pool in enumerate(asked.pools)]
    )


def _one_pool(pools: tuple[Pool, ...]) -> Pool:
    """Several pools as one, for foreseeing only."""
    total = lambda name: sum(getattr(pool, name) for pool in pools)
    return replace(
        pools[0],
        usable_kwh=total("usable_kwh"),
        charge_kw=total("charge_kw"),
        discharge_kw=total("discharge_kw"),
        no_load_kw=total("no_load_kw"),
        on_grid_kw=total("on_grid_kw"),
        restart_kwh=0.0,
    )
