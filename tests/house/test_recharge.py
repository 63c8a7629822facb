"""Recharge: worked scenarios (closed form and a second method), shared limits, a second outage, demand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill
from simulate.house.recharge import (
    charging_leg_a,
    demand_consequence,
    recharge_of,
    recharged,
    refill_h,
    refill_of,
    service_share,
    shared_kw,
    stored_after_kwh,
)
from simulate.house.year import run_year
from simulate.physics.pool import Pool
from simulate.physics.walk import run_plan
from tests.site.small_site import circuit, small_site, unit

PRINTED = 5e-7  # half the last of six printed digits
POOL = Pool(10.0, charge_kw=5.76, charge_efficiency=0.95)


def charger(volts=240, leg="both", name=None, **more):
    battery = unit(leg, charging_circuit={"breaker_a": 30, "volts": volts}, **more)
    return battery | {"name": name or battery["name"]}


def three_chargers(**service):
    units = charger(count=3, usable_kwh=10.0, charge_efficiency=0.95, discharge_efficiency=0.95)
    return small_site([circuit("Shelf", 0.1)], [units], service={"system": "120/240", **service})


def test_s07_thirty_amperes_and_a_second_outage():
    site = small_site([circuit("Shelf", 0.1)], [charger()])
    assert site.battery[0].unit_charge_kw == pytest.approx(5.76, abs=1e-9)
    assert refill_h(POOL) == pytest.approx(1.827485, abs=PRINTED)
    assert stored_after_kwh(POOL, 1.0) == pytest.approx(5.472, abs=1e-9)
    assert stored_after_kwh(POOL, 1.0, wait_h=site.operation.after_outage_wait_min / 60.0) == pytest.approx(4.104)


def test_s08_the_smallest_limit_wins():
    for volts, charge_kw, expected in ((240, 5.0, 5.0), (120, None, 2.88), (208, None, 4.992)):
        battery = charger(volts, "A", **({"charge_kw": charge_kw} if charge_kw else {}))
        site = small_site([circuit("Shelf", 0.1)], [battery])
        assert site.battery[0].unit_charge_kw == pytest.approx(expected, abs=1e-9)


def test_s09_taper_at_any_step():
    pool = Pool(10.0, charge_kw=5.76, charge_efficiency=0.95, taper={"from_soc": 0.9, "to_frac": 0.1})
    assert refill_h(pool) == pytest.approx(2.112286, abs=PRINTED)
    assert stored_after_kwh(pool, 1.644737) == pytest.approx(9.0, abs=1e-5)
    for step_h in (1.0, 0.25, 1 / 60):
        n = round(24 / step_h)
        refill = recharged(pool, np.ones(n, bool), 0, mode="at-once", step_h=step_h)
        assert refill.full_h == pytest.approx(2.112286, abs=PRINTED)
        assert refill.charge_kw.sum() * step_h == pytest.approx(10.0 / 0.95, rel=1e-9)


def test_s10_three_chargers_on_a_small_service():
    share = service_share(three_chargers(main_breaker_a=100, calculated_load_va=7500.0))
    assert (share.charging_kw, share.charging_a) == pytest.approx((17.28, 72.0))
    assert share.headroom_kw == pytest.approx(13.2)
    assert share.unit_kw["Unit both"] == pytest.approx(4.4)
    assert share.exceeds is True
    assert "72.0 A" in share.text
    assert "stagger" in share.text
    document = recharge_of(run_year(three_chargers(main_breaker_a=100, calculated_load_va=7500.0)))
    assert document["exceeds"] is True
    assert document["service_a"] == pytest.approx(72.0 + 31.25)
    assert document["shared_from_empty_h"] == pytest.approx(2.392344, abs=PRINTED)
    assert document["from_empty_h"] == pytest.approx(1.827485, abs=PRINTED)


def test_a_service_with_room_is_no_violation_and_a_missing_load_is_not_assessed():
    roomy = service_share(three_chargers(main_breaker_a=200, calculated_load_va=7500.0))
    assert (roomy.exceeds, roomy.unit_kw["Unit both"]) == (False, pytest.approx(5.76))
    unknown = service_share(three_chargers(main_breaker_a=100))
    assert unknown.exceeds is None
    assert "service.calculated_load_va" in unknown.text


def test_units_on_one_leg_share_what_that_leg_has_left():
    pair = [charger(120, "A", count=3, name="left"), charger(120, "B", name="right")]
    site = small_site([circuit("Shelf", 0.1)], pair, service={"main_breaker_a": 100, "calculated_load_va": 12000.0})
    share = service_share(site)  # 100 A - 50 A house leave 40 A a leg at 125 %
    assert charging_leg_a(site.battery, "120/240") == {"A": pytest.approx(72.0), "B": pytest.approx(24.0)}
    assert share.unit_kw["left"] == pytest.approx(40.0 / 3 * 0.12)
    assert share.unit_kw["right"] == pytest.approx(2.88)


@given(st.lists(st.floats(0.0, 10.0), min_size=1, max_size=6), st.floats(0.0, 40.0))
def test_sharing_uses_the_headroom_and_favours_nobody(limits, headroom):
    out = shared_kw(limits, headroom)
    assert (out <= np.array(limits) + 1e-9).all()
    assert out.sum() == pytest.approx(min(headroom, sum(limits)), abs=1e-9)
    held_back = out < np.array(limits) - 1e-9
    if held_back.any():
        assert out[held_back].min() >= out.max() - 1e-9


def test_after_outage_modes():
    off_peak = np.tile(np.arange(24) < 8, 7)  # 00:00 to 08:00
    pool = Pool(10.0, charge_kw=5.0)
    run = lambda mode: recharged(pool, off_peak, 12, mode=mode, step_h=1.0, wait_h=0.25, reserve_kwh=4.0)
    assert run("at-once").full_h == pytest.approx(2.25)
    assert run("off-peak").full_h == pytest.approx(12.0 + 2.0)
    both = run("reserve-then-off-peak")
    assert both.reserve_h == pytest.approx(0.25 + 0.8)
    assert both.full_h == pytest.approx(12.0 + 1.2)
    assert both.charge_kw[12:14] == pytest.approx([3.75, 0.25])
    assert both.charge_kw[24:26] == pytest.approx([5.0, 1.0])
    assert recharged(pool, ~off_peak & off_peak, 0, mode="off-peak", step_h=1.0).full_h == np.inf
    with pytest.raises(BadInput, match="after_outage"):
        run("soon")


def test_a_pool_without_a_charger_never_refills():
    assert refill_h(Pool(10.0, charge_kw=0.0)) == np.inf
    assert stored_after_kwh(Pool(10.0, charge_kw=0.0), 5.0, from_kwh=2.0) == 2.0
    with pytest.raises(BadInput, match="after_h"):
        stored_after_kwh(POOL, float("nan"))


def demand_bill(import_kw, window_min, hours):
    rate = Rate.model_validate({"price_per_kwh": 0.0, "demand": ({"per_kw": 12.0, "window_min": window_min},)})
    january = price_bill(import_kw, np.zeros(hours.n_steps), rate, hours).by_month
    return january["2025-01"]


def test_s24_and_s25_through_the_walk_and_the_bill():
    hours = hours_of_year(2025, "America/New_York", 15)
    load = np.zeros(hours.n_steps)
    load[72:80] = 4.0  # two hours from 18:00 on 1 January
    load[74:76] = 8.0  # half an hour at 8 kW
    pool = Pool(1.0, charge_kw=5.76, discharge_kw=3.0)
    saved = {}
    for window_min, step in ((15, 6.0), (60, 5.0)):
        targets = np.full((hours.n_steps, 4), 1.0)
        targets[74:76, 1], targets[74:, 3] = 0.0, 0.0
        year = run_plan(load, np.where(load == 8.0, 2.0, 0.0), 0.0, targets, pool, soc_kwh=1.0, step_h=0.25)
        before, after = (demand_bill(kw, window_min, hours) for kw in (load, year.import_kw))
        assert before / 12.0 == pytest.approx({15: 8.0, 60: 6.0}[window_min])
        assert after / 12.0 == pytest.approx(step)
        saved[window_min] = before - after
    assert saved == {15: pytest.approx(24.0), 60: pytest.approx(12.0)}
    again = year.import_kw.copy()
    again[100:104] = 2.0 + 5.76  # S25: recharge on a 2 kW load
    assert demand_bill(load, 15, hours) - demand_bill(again, 15, hours) == pytest.approx(2.88, abs=1e-9)


def test_a_refill_can_set_the_demand_peak():
    site = small_site(
        [circuit("House", 2.0, rate_transfer=False)],
        [charger(240, "A", usable_kwh=10.0)],
        operation={"after_outage": "at-once", "after_outage_wait_min": 0.0},
        rate={"price_per_kwh": 0.10, "demand": [{"per_kw": 12.0, "window_min": 60}]},
    )
    run = run_year(site)
    found = demand_consequence(run)
    assert found["peak_kw"] == pytest.approx(7.76)
    assert found["demand_change"] == pytest.approx(12.0 * 5.76)  # that month only, no ratchet
    assert found["bill_change"] == pytest.approx(12.0 * 5.76 + 0.10 * 10.0)
    assert refill_of(run, 0).full_h == pytest.approx(10.0 / 5.76)
    flat = site.with_values({"rate": {"price_per_kwh": 0.10}})
    assert demand_consequence(run_year(flat)) is None


@pytest.mark.parametrize(
    ("system", "volts", "there"), [("120", 240, False), ("120/208", 240, False), ("120", 120, True)]
)
def test_recharge_is_null_where_the_service_lacks_the_volts(system, volts, there):
    """A 120 V service has no 240 V, two legs of a wye have 208 V between them."""
    leg = "A" if system == "120" else "both"
    site = small_site([circuit("Shelf", 0.1)], [charger(volts, leg)], service={"system": system})
    assert (recharge_of(run_year(site)) is not None) == there


def test_hours_in_which_cells_are_too_cold_to_charge():
    """An unheated shed is outdoor air and 5 degC: every hour of the weather file below -5 degC counts."""
    cold = {"place": "garage", "heated": False, "temperature": {"min_charge_c": 0.0}}
    tables = {"weather": {"source": "library:piedmont"}}
    run = run_year(small_site([circuit("Shelf", 0.1)], [charger(**cold)], **tables))
    outdoor = run.house.sources.temp_c(run.hours)
    assert recharge_of(run)["too_cold_h_per_year"] == float((outdoor < -5.0).sum()) > 0.0
    warm = run_year(small_site([circuit("Shelf", 0.1)], [charger(**(cold | {"heated": True}))], **tables))
    assert recharge_of(warm)["too_cold_h_per_year"] == 0.0
