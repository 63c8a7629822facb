"""Plans that look ahead: the year known, or foreseen from the past of the house."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.noun import BadInput
from simulate.house.asked import Asked
from simulate.house.candidates import may_switch
from simulate.house.caps import days_of
from simulate.house.ideal import ideal_case, kept_floor
from simulate.house.priced import PricedMeter, inside_kw, usable_kwh
from simulate.house.switched_plan import walked_windows, worth_and_refill
from simulate.optimum.best import METHOD
from simulate.optimum.forecast import forecast_targets
from simulate.optimum.linear import Planner
from simulate.optimum.scenarios import published
from simulate.physics.pool import Pool
from simulate.plans.calendar_plans import reachable_floor


class BestPlanner:
    """From an `Asked` of one house, whatever its reserve, to what the best possible asks for: the year known.

    Attributes
    ----------
    method : str
    is_exact : bool
        One exact programme a pool: milliseconds a call.
    """

    def __init__(self, asked: Asked):
        self._meter = PricedMeter(asked)
        case, _ = ideal_case(self._meter, self._meter.site.operation.wear_per_kwh)
        self._planner = Planner(case)
        self.is_exact = self._planner.is_exact
        self.method = METHOD if self.is_exact else "programme of HiGHS"
        plain = not (self._meter.beyond or self._meter.left_out or any(pool.taper for pool in asked.pools))
        self._is_plain = bool(self.is_exact and asked.wish.parallel and plain)

    def is_best(self, asked: Asked) -> bool:
        """Whether what it asks for is the best possible to the last cent; else other plans may do better."""
        return self._is_plain and bool((asked.floor_kwh == asked.floor_kwh[:, :1]).all())

    def __call__(self, asked: Asked) -> Asked:
        """The same with its wish; in transfer mode each circuit has a window in each peak."""
        best = self._planner.best_circle(np.minimum(_reachable(asked), usable_kwh(asked)))
        targets = best.targets_kwh if self.is_exact or asked.wish.parallel else self._peaks_of(asked, best.soc_kwh)
        targets[:, :, :2] = np.maximum(targets[:, :, :2], asked.floor_kwh[:, :, None])  # what is held is held
        if asked.wish.parallel:
            return replace(asked, wish=replace(asked.wish, targets_kwh=targets))
        may, house = may_switch(asked.house), asked.house
        known = published(asked.prices.buy_per_kwh, self._meter.sell_per_kwh)
        net_kw = house.load_kw - house.solar_kw
        money = worth_and_refill(asked, known, net_kw)
        wish, switched = walked_windows(asked, may, targets, np.array([may.kw, may.kw]), money, net_kw < 0.0)
        return replace(asked, wish=wish, switched=switched, may_switch=may.names)

    def _peaks_of(self, asked: Asked, soc_kwh) -> np.ndarray:
        """Thresholds of a path that is followed where it falls and where it rises."""
        usable, after = usable_kwh(asked), soc_kwh[:, 1:]
        falls, rises = after < soc_kwh[:, :-1] - 1e-9, after > soc_kwh[:, :-1] + 1e-9
        buys = asked.house.site.operation.charge_from == "any"
        grid_to = np.where(rises, after, asked.floor_kwh) * buys
        full = np.broadcast_to(usable, after.shape)
        return np.stack([full, np.where(falls, after, usable), np.where(falls, after, usable), grid_to], axis=2)


def _reachable(asked: Asked) -> np.ndarray:
    """Floors from which every later one can be met, where the utility may charge; else as far as the sun keeps them."""
    if asked.house.site.operation.charge_from != "any":
        return kept_floor(asked)
    step_h, rows = asked.house.hours.step_h, zip(asked.floor_kwh, asked.wish.charge_kw, asked.pools, strict=True)
    return np.array([reachable_floor(floor, limit > 0.0, limit, pool, step_h) for floor, limit, pool in rows])


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
