"""The plan that costs least on average: it does not know the future, and comes near to who does."""

import numpy as np
import pytest

from simulate.optimum.best import best_targets
from simulate.optimum.forecast import calendar_of
from simulate.optimum.least_cost import least_cost_targets
from simulate.optimum.scenarios import published
from simulate.physics.pool import Pool
from simulate.physics.walk import run_plan
from simulate.plans.calendar_plans import self_consumption

POOL = Pool(10.0, 5.0, 5.0, 0.92, 0.92, no_load_kw=0.05, on_grid_kw=0.015)
HOUR = np.tile(np.arange(24), 60)
DAY = np.repeat(np.arange(60), 24)
CALENDAR = calendar_of(DAY, HOUR, np.arange(60) % 7 >= 5)
PRICES = {
    "two periods": (np.where((HOUR >= 16) & (HOUR < 21), 0.42, 0.33), np.full(len(HOUR), 0.04)),
    "wide": (np.where((HOUR >= 16) & (HOUR < 21), 0.40, 0.10), np.full(len(HOUR), 0.04)),
    "flat": (np.full(len(HOUR), 0.16), np.full(len(HOUR), 0.04)),
    "hourly": (np.random.default_rng(3).uniform(0.05, 0.35, len(HOUR)), np.full(len(HOUR), 0.03)),
}


def sunny_house(seed=1):
    """Invented loads and sun that differ from day to day. [kW]"""
    rng = np.random.default_rng(seed)
    shape = 0.4 + 0.8 * np.exp(-(((HOUR - 19) / 2.5) ** 2))
    load = shape * rng.lognormal(0.0, 0.35, len(HOUR)) * rng.lognormal(0.0, 0.15, 60)[DAY]
    return load, np.maximum(np.sin((HOUR - 6) / 12 * np.pi), 0.0) * rng.uniform(0.5, 5.0, 60)[DAY]


def cost(load, solar, prices, targets) -> float:
    """Of six weeks in the middle, what is left in store at the dearest price."""
    year, middle = run_plan(load, np.inf, solar, targets, POOL, soc_kwh=5.0), slice(14 * 24, 56 * 24)
    left = year.pool_kwh[0, middle.stop] - year.pool_kwh[0, middle.start]
    return float((prices[0] * year.import_kw - prices[1] * year.export_kw)[middle].sum() - prices[0].max() * left)


def planned(load, solar, prices, **options):
    return least_cost_targets(load, np.inf, solar, *prices, POOL, calendar=CALENDAR, floor_kwh=2.0, **options)


@pytest.mark.parametrize("rate", PRICES)
def test_it_takes_most_of_what_foresight_could(rate):
    load, solar = sunny_house()
    prices, idle = PRICES[rate], np.tile([10.0, 10.0, 0.0, 0.0], (len(HOUR), 1))
    ideal, _ = best_targets(load, np.inf, solar, *prices, POOL, floor_kwh=2.0, start_kwh=5.0, end_kwh=5.0)
    untouched = cost(load, solar, prices, idle)
    best, ours = (untouched - cost(load, solar, prices, targets) for targets in (ideal, planned(load, solar, prices)))
    stored = untouched - cost(load, solar, prices, self_consumption(POOL, np.full(len(HOUR), 2.0)))
    assert 0.9 * best <= ours
    assert ours >= stored - 0.01 * best


def test_equal_days_are_run_as_well_as_anybody_could():
    """Where tomorrow is as today the scenarios are the truth, up to the cells in which the mean slope is kept."""
    load, solar = (np.tile(one[:24], 60) for one in sunny_house())
    prices = PRICES["wide"]
    ideal, _ = best_targets(load, np.inf, solar, *prices, POOL, floor_kwh=2.0, start_kwh=5.0, end_kwh=5.0)
    assert cost(load, solar, prices, planned(load, solar, prices)) == pytest.approx(
        cost(load, solar, prices, ideal), rel=2e-3
    )


@pytest.mark.parametrize("rate", PRICES)
def test_nothing_later_changes_an_earlier_step(rate):
    load, solar = sunny_house()
    buy, sell = PRICES[rate]
    for t in (14 * 24 + 7, 30 * 24 + 15, 45 * 24):
        later = np.arange(len(HOUR)) > t
        unknown = DAY > DAY[t] + (HOUR[t] >= 12)
        other = [np.where(later, one * 1.7 + 0.2, one) for one in (load, solar)]
        dear = [np.where(unknown, one * 2.0, one) for one in (buy, sell)]
        ours = planned(load, solar, (buy, sell), ahead=published(buy, sell, day_ahead=True))
        theirs = planned(*other, dear, ahead=published(*dear, day_ahead=True))
        assert np.array_equal(ours[: t + 1], theirs[: t + 1])
        assert not np.array_equal(ours[t + 24 :], theirs[t + 24 :])


def test_the_first_day_has_no_past():
    load, solar = sunny_house()
    targets = planned(load, solar, PRICES["wide"], day_one=np.full((len(HOUR), 4), 7.0))
    assert (targets[:24] == 7.0).all() and not (targets[24:48] == 7.0).all()


def test_a_cap_is_kept_in_store_for():
    """An hour of 6 kW each evening under a cap of 3 kW: enough stays in store for it whatever the energy is worth."""
    load = np.where(HOUR == 20, 6.0, 1.0)
    flat = (np.full(len(HOUR), 0.2), np.zeros(len(HOUR)))
    options = {"cap_kw": np.full(len(HOUR), 3.0), "over_per_kwh": 10.0}
    targets = planned(load, np.zeros(len(HOUR)), flat, **options)[20 * 24 :]
    hour = HOUR[20 * 24 :]
    need = 3.0 / 0.92 + 0.05 * 3.0 / 5.0
    assert (targets[hour == 18, 1] >= 2.0 + need - 0.1).all() and (targets[hour == 19, 3] >= 2.0 + need - 0.1).all()


def test_negative_prices_fill_and_odd_ones_are_taken():
    load, solar = sunny_house()
    buy = np.where(HOUR == 3, -0.1, 0.2)
    targets = planned(load, solar, (buy, np.full(len(HOUR), 0.25)))
    assert (targets[(HOUR == 3) & (DAY > 0), 3] == 10.0).all() and not np.isnan(targets).any()
