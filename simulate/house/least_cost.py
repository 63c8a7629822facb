"""The plan `least-cost` on one house: pools, prices as far ahead as they are published, and what the past expects."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.hours import Hours
from profiles.rate.prices import rate_prices
from profiles.rate.rate import Rate
from simulate.house.caps import days_of
from simulate.optimum.least_cost import least_cost_targets
from simulate.optimum.scenarios import PricesAhead, published
from simulate.physics.pool import Pool
from simulate.plans.calendar_plans import reachable_floor, self_consumption


def prices_ahead(rate: Rate, hours: Hours, buy_per_kwh, sell_per_kwh) -> PricesAhead:
    """What is known of a rate beforehand: hourly prices and events from noon of the day before, all else always.

    Parameters
    ----------
    rate : Rate
    hours : Hours
    buy_per_kwh, sell_per_kwh : ndarray, shape (n_steps,)
        Of the rate; the second is zero where nothing may be sent out. [currency/kWh]
    """
    usual = None
    if rate.event:
        plain = rate_prices(rate.model_copy(update={"event": ()}), hours)
        usual = (plain.buy_per_kwh, plain.sell_per_kwh * (np.asarray(sell_per_kwh) != 0.0))
    return published(buy_per_kwh, sell_per_kwh, usual, day_ahead=rate.hourly_prices is not None)


def interactive_targets(asked, ahead: PricesAhead, **cap) -> np.ndarray:
    """Targets of pools in parallel, shape (n_pools, n_steps, 4): planned as one, followed in proportion. [kWh]

    Parameters
    ----------
    asked : Asked
        With its floors.
    ahead : PricesAhead
    **cap
        `cap_kw` and `over_per_kwh` as `least_cost_targets`.
    """
    house, wish, operation = asked.house, asked.wish, asked.house.site.operation
    whole, from_utility = one_pool(asked.pools), operation.charge_from == "any"
    charge_kw = wish.charge_kw.sum(axis=0)
    floor = asked.floor_kwh.sum(axis=0)
    if from_utility:
        floor = reachable_floor(floor, charge_kw > 0.0, charge_kw, whole, house.hours.step_h)
    floor = np.minimum(floor, whole.usable_kwh)
    targets = least_cost_targets(
        house.load_kw,
        np.inf,
        house.solar_kw,
        *ahead.at_noon[:, 0],
        whole,
        calendar=days_of(house.hours),
        floor_kwh=floor,
        step_h=house.hours.step_h,
        dc_kw=wish.dc_kw.sum(axis=0),
        charge_ok=charge_kw / whole.charge_kw if whole.charge_kw > 0.0 else None,
        day_one=self_consumption(whole, floor, from_utility=from_utility),
        wear_per_kwh=operation.wear_per_kwh,
        export=wish.export,
        from_utility=from_utility,
        ahead=ahead,
        **cap,
    )
    share = np.array([pool.usable_kwh for pool in asked.pools]) / (whole.usable_kwh or 1.0)
    return np.maximum(targets * share[:, None, None], _least(asked, from_utility))


def _least(asked, from_utility: bool) -> np.ndarray:
    """Floors below which no pool serves, and to which each is filled, shape (n_pools, n_steps, 4). [kWh]"""
    floor = asked.floor_kwh[:, :, None] * np.ones(4)
    floor[:, :, 3] *= from_utility
    return floor


def one_pool(pools: tuple[Pool, ...]) -> Pool:
    """Several pools as one, for foreseeing only."""
    total = lambda name: sum(getattr(pool, name) for pool in pools)
    names = ("usable_kwh", "charge_kw", "discharge_kw", "no_load_kw", "on_grid_kw")
    return replace(pools[0], restart_kwh=0.0, **{name: total(name) for name in names})
