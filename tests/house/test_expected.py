"""The least-cost plan of a house: tiers as the month points at them, caps on import, settings that are said."""

from dataclasses import replace

import numpy as np
import pytest

from simulate.house.bills import bills_of
from simulate.house.bound import bound_of
from simulate.house.house import house_of
from simulate.house.marginal import tiered_ahead
from simulate.house.year import run_year
from tests.house.test_year import peaks
from tests.site.small_site import circuit, small_site, unit

NET_BILLING = {"method": "net-billing", "credit_per_kwh": 0.04}
TIERS = [{"up_to": 300.0, "price_per_kwh": 0.10}, {"price_per_kwh": 0.30}]


def house_on(rate, plan="least-cost", solar_kw=0.0, **tables):
    """2 kW in the evening and 0.4 kW all day, 10 kWh in parallel, and sun that differs from day to day."""
    loads = [circuit("Base", 0.4), circuit("Evening", 0.0) | {"load": {"kw": 2.0, "window": "18:00-22:00"}}]
    given = {"subpanel": {"mode": "interactive"}, "operation": {"plan": plan, "reserve": 0.1}, **tables}
    house = house_of(small_site(loads, [unit(usable_kwh=10.0)], rate=rate, **given))
    if not solar_kw:
        return house
    sun = {"connected_at": "main-panel", "export": True, "series": {"csv": "unread.csv", "column": "kw"}}
    lit = small_site(loads, [unit()], solar=sun).solar
    rng, hour = np.random.default_rng(5), house.hours.minute // 60
    day = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.uniform(0.1, 1.0, 365)[house.hours.day]
    return replace(house, site=house.site.model_copy(update={"solar": lit}), solar_kw=solar_kw * day)


def saving(house) -> float:
    return bills_of(run_year(house)).saving


def test_surplus_is_not_kept_out_by_a_refill_at_night():
    """Refilling at 0.33 saves next to nothing; room for the sun saves up to 0.42 less 0.04."""
    rate = peaks(high=0.42, low=0.33, export=NET_BILLING)
    run = run_year(house_on(rate, solar_kw=6.0))
    bound = bound_of(run, bills_of(run))
    assert bound.captured_frac >= 0.9
    assert bills_of(run).saving >= saving(house_on(rate, "self-consumption", 6.0)) - 0.01 * bound.saving
    assert bills_of(run).saving >= 3 * saving(house_on(rate, "time-of-use", 6.0))


def test_a_tiered_rate_with_sun_is_worth_at_least_what_storing_the_sun_is():
    rate = {"tiers": TIERS, "export": NET_BILLING}
    ours, stored = (saving(house_on(rate, plan, 4.0)) for plan in ("least-cost", "self-consumption"))
    assert ours >= stored - max(0.01 * stored, 1.0) and ours > 0.0


def test_the_price_of_a_month_is_that_of_the_tier_it_ends_in():
    """720 kWh a month at 1 kW: beyond 300 from the second day on; before there is a past, the first tier."""
    house = house_on({"tiers": TIERS})
    n, day = house.hours.n_steps, house.hours.day
    seen = tiered_ahead(house, np.array([np.full(n, 0.10), np.zeros(n)]), np.ones(n), np.zeros(n)).at_noon
    assert seen[0, 0, day == 0] == pytest.approx(0.10)
    assert seen[0, 0, day > 0] == pytest.approx(0.30)
    assert not seen[1].any()


def test_nothing_later_changes_the_tier_that_is_pointed_at():
    house = house_on({"tiers": TIERS})
    n, t = house.hours.n_steps, 100 * 24
    rng = np.random.default_rng(1)
    kw = rng.uniform(0.2, 0.7, n)
    other = np.where(np.arange(n) >= t, 3.0, kw)
    prices = np.array([np.full(n, 0.10), np.zeros(n)])
    one, two = (tiered_ahead(house, prices, x, np.zeros(n)).at_noon for x in (kw, other))
    assert np.array_equal(one[:, :, : t + 24], two[:, :, : t + 24])
    assert not np.array_equal(one, two)


def test_a_demand_charge_is_capped_and_the_caps_are_said():
    rate = peaks(high=0.2, low=0.15, demand=[{"per_kw": 12.0}], export=NET_BILLING)
    run = run_year(house_on(rate, solar_kw=3.0))
    bound = bound_of(run, bills_of(run))
    others = [saving(house_on(rate, plan, 3.0)) for plan in ("demand-limit", "time-of-use", "self-consumption")]
    assert bills_of(run).saving >= max(others) - 0.01 * bound.saving
    assert any("cap" in line or "demand-limit" in line for line in run.notes)


def test_where_nothing_is_gained_the_units_are_kept_full_and_it_is_said():
    run = run_year(house_on({"price_per_kwh": 0.2}))
    assert run.year.pool_kwh.min() == 10.0
    assert any(line.startswith('least-cost runs as "keep-full" here') for line in run.notes)


def test_the_reserve_is_met_when_a_month_raises_it():
    reserve = [0.2] * 8 + [0.9] * 4
    run = run_year(house_on(peaks(), operation={"plan": "least-cost", "reserve": reserve}))
    assert run.short_steps == 0


def test_solar_only_charging_never_draws_what_is_held_below_the_reserve():
    reserve = [0.2] * 8 + [0.9] * 4
    for plan in ("least-cost", "best-possible", "self-consumption", "time-of-use"):
        operation = {"plan": plan, "reserve": reserve, "charge_from": "solar"}
        run = run_year(house_on(peaks(), solar_kw=0.5, operation=operation))
        stored, floor = run.year.pool_kwh[0], run.asked.floor_kwh[0]
        falls = np.diff(stored) < -1e-9
        assert (stored[1:][falls] >= floor[falls] - 1e-9).all(), plan
