"""Worked scenarios, digits as printed; each was worked by closed form and a second method (fine march, enumeration)."""

import numpy as np
import pytest

from profiles.hours import holiday_dates, hours_of_year
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill
from simulate.physics.outages.island import follow_outage, simple_island
from simulate.physics.outages.load_control import control_load
from simulate.physics.outages.outages import hours_survived
from simulate.physics.pool import Pool
from simulate.physics.walk import run_plan
from simulate.plans.switched import switched_sets

PRINTED = 5e-7  # half the last of six printed digits


def flat(kw, hours=400, step_h=1.0):
    return np.full(int(hours / step_h), kw)


@pytest.mark.parametrize("step_min", [60, 15, 5, 1])
def test_s01_constant_load_at_any_step(step_min):
    h = step_min / 60.0
    hours = hours_survived(flat(0.5, 48, h), Pool(10.0), soc_kwh=10.0, step_h=h)
    assert hours == pytest.approx(20.0, abs=1e-6)


def test_s02_losses_and_no_load_draw():
    pool = Pool(10.0, discharge_efficiency=0.95, no_load_kw=0.05)
    assert hours_survived(flat(1.0), pool, soc_kwh=10.0)[0] == pytest.approx(9.069212, abs=PRINTED)
    assert hours_survived(flat(0.0), pool, soc_kwh=10.0)[0] == pytest.approx(200.0, abs=1e-6)


def test_s03_one_way_is_not_round_trip():
    pool = Pool(10.0, charge_kw=5.0, charge_efficiency=0.95, discharge_efficiency=0.95)
    assert hours_survived(flat(1.0), pool, soc_kwh=10.0)[0] == pytest.approx(9.5, abs=1e-6)
    refill = run_plan(0.0 * flat(1, 5), 0.0, 0.0, np.full((5, 4), 10.0), pool, soc_kwh=0.0)
    assert refill.charge_kw.sum() == pytest.approx(10.526316, abs=PRINTED)
    assert 10.0 * 0.95 / refill.charge_kw.sum() == pytest.approx(0.9025, abs=1e-9)


def day_of_sun(kw):
    return np.where((np.arange(24) >= 6) & (np.arange(24) < 18), kw, 0.0)


def test_s04_solar_that_just_balances():
    lossless = Pool(12.0)
    trace = follow_outage(
        simple_island(np.ones(24), lossless, day_of_sun(2.0)), (lossless,), [12.0], 18, step_h=1.0, horizon_h=24.0
    )
    assert trace.soc_kwh[0].max() - trace.soc_kwh[0].min() == pytest.approx(12.0, abs=1e-6)
    hours = hours_survived(np.ones(24), lossless, solar_kw=day_of_sun(2.0), soc_kwh=12.0, horizon_h=2000.0)
    assert hours[18] == 2000.0  # never ends at exactly this much sun
    eta = np.sqrt(0.9)
    lossy = Pool(12.649111, charge_efficiency=eta, discharge_efficiency=eta)
    enough = hours_survived(np.ones(24), lossy, solar_kw=day_of_sun(2.111112), soc_kwh=12.649111, horizon_h=2000.0)
    short = hours_survived(
        np.ones(24), lossy, solar_kw=day_of_sun(2.111111 * 0.999), soc_kwh=12.649111, horizon_h=2000.0
    )
    assert enough[18] == 2000.0
    assert short[18] < 60.0


def sun_8_to_16(kw=3.0):
    return np.where((np.arange(24) >= 8) & (np.arange(24) < 16), kw, 0.0)


def served_in_a_day(pool, soc, sun):
    island = simple_island(np.ones(24), pool, sun)
    trace = follow_outage(island, (pool,), [soc], 18, step_h=1.0, horizon_h=24.0)
    return trace.served_kwh.sum(), trace.curtailed_kwh.sum(), trace


def test_s05_islanding_sunrise_and_restart():
    nothing = np.zeros(24)
    assert served_in_a_day(Pool(10.0), 10.0, nothing)[0] == pytest.approx(10.0, abs=1e-6)  # (a) solar on the dead side
    assert served_in_a_day(Pool(10.0), 10.0, sun_8_to_16())[0] == pytest.approx(10.0, abs=1e-6)  # (b) held off
    restarts = Pool(10.0, restart_kwh=1e-9)
    served, curtailed, trace = served_in_a_day(restarts, 10.0, sun_8_to_16())  # (c)
    assert served == pytest.approx(20.0, abs=1e-6)
    assert curtailed == pytest.approx(6.0, abs=1e-6)
    assert trace.soc_kwh[0][19] == pytest.approx(10.0, abs=1e-6)  # full again at 13:00
    assert served_in_a_day(Pool(14.001), 14.001, sun_8_to_16())[0] == pytest.approx(24.0, abs=1e-6)  # (d)


def test_s06_surplus_solar_is_curtailed():
    pool = Pool(10.0, charge_efficiency=0.95)
    island = simple_island(np.ones(2), pool, np.full(2, 4.0))
    trace = follow_outage(island, (pool,), [9.0], 0, step_h=1.0, horizon_h=2.0)
    assert trace.curtailed_kwh.sum() == pytest.approx(4.947368, abs=PRINTED)
    assert trace.charge_kwh.sum() / 3.0 == pytest.approx(0.350877, abs=PRINTED)  # hours at 3 kW to full
    assert trace.soc_kwh.max() <= 10.0


def test_s11_overload_drops_everything_or_the_last_priority():
    kw = np.array([[0.7], [0.8], [1.5], [1.6], [3.0]])
    priority, ones = np.array([1, 1, 2, 3, 4]), np.ones((1, 5))
    limits = (np.array([6.0]), np.array([0]))
    uncontrolled = control_load(kw, priority, ones, ones, limits, sheds=False)
    assert bool(uncontrolled.trips[0, 0])
    controlled = control_load(kw, priority, ones, ones, limits, sheds=True)
    assert controlled.load_kw[0, 0] == pytest.approx(4.6, abs=1e-9)
    assert controlled.dropped[:, 0].tolist() == [False] * 4 + [True]
    assert hours_survived(flat(7.6), Pool(10.0, discharge_kw=6.0), soc_kwh=10.0)[0] == 0.0


def peak_day():
    hour = np.arange(24)
    peak = (hour >= 16) & (hour < 21)
    return np.where(peak, 2.0, 1.0), peak


def saving(load, peak, pool, high=0.30, low=0.10, reach=None, floor=0.0, solar=0.0, serves=True):
    """Saving of the second of two days, so that the first one's start does not count."""
    targets = np.full((24, 4), pool.usable_kwh)
    targets[peak, 1] = floor if serves else pool.usable_kwh
    targets[peak, 3] = floor
    price = np.where(peak, high, low)
    reach = load if reach is None else reach
    first = run_plan(load, reach, solar, targets, pool, soc_kwh=pool.usable_kwh)
    year = run_plan(load, reach, solar, targets, pool, soc_kwh=float(first.pool_kwh[0, -1]))
    return float(((load - year.import_kw) * price).sum())


S18 = Pool(10.0, charge_kw=5.76, discharge_kw=5.0, charge_efficiency=0.9, discharge_efficiency=0.9)


def test_s18_time_of_use_pays():
    load, peak = peak_day()
    assert saving(load, peak, S18) == pytest.approx(1.588889, abs=PRINTED)


def test_s19_below_the_break_even_nothing_cycles():
    from simulate.plans.calendar_plans import price_cycles

    load, peak = peak_day()
    assert not price_cycles(np.where(np.tile(peak, 3), 0.12, 0.10), 0.81).serve.any()
    assert price_cycles(np.where(np.tile(peak, 3), 0.1236, 0.10), 0.81).serve.any()
    assert saving(load, peak, S18, high=0.12) == pytest.approx(-0.031111, abs=PRINTED)  # forced cycling


def test_s21_reserve_is_paid_for_and_usable_in_an_outage():
    load, peak = peak_day()
    for reserve, expected in ((0.0, 1.588889), (0.4, 0.953333), (1.0, 0.0)):
        assert saving(load, peak, S18, floor=10.0 * reserve) == pytest.approx(expected, abs=PRINTED)
    for reserve, hours in ((0.4, 7.2), (1.0, 18.0)):
        assert hours_survived(flat(0.5, 48), S18, soc_kwh=10.0 * reserve)[0] == pytest.approx(hours, abs=1e-6)


def test_s22_what_the_battery_reaches():
    load, peak = peak_day()
    reach = np.where(peak, 1.2, 0.0)
    assert saving(load, peak, S18, reach=reach) == pytest.approx(1.059259, abs=PRINTED)
    alone = np.where(peak, 1.0, 1.0)  # 5 kWh in the peak, in parallel
    assert saving(alone, peak, S18, reach=np.inf) == pytest.approx(0.882716, abs=PRINTED)


def test_s23_power_limit_and_whole_circuits():
    hour = np.arange(24)
    peak = (hour >= 16) & (hour < 21)
    pool = Pool(10.0, 5.76, 1.5, 0.9, 0.9)
    assert saving(np.where(peak, 3.0, 1.0), peak, pool, reach=np.inf) == pytest.approx(1.324074, abs=PRINTED)
    sets = switched_sets(np.array([[2.0], [1.5], [0.8]]), np.ones((1, 3)), np.array([3.0]), np.array([True]))
    assert sets.reach_kw[0, 0] == pytest.approx(2.8, abs=1e-9)


def test_s27_the_charge_at_the_start_is_what_the_rate_left():
    n = 24 * 60
    minute = np.arange(n)
    targets = np.tile([10.0, 10.0, 10.0, 1.0], (n, 1))
    targets[minute < 120, 3] = 10.0
    serving = (minute >= 16 * 60) & (minute < 21 * 60)
    targets[serving, 1] = 1.0
    pool = Pool(10.0, charge_kw=4.5, discharge_kw=1.8)
    year = run_plan(2.0, np.where(serving, 1.8, 0.0), 0.0, targets, pool, soc_kwh=1.0, step_h=1 / 60)
    hours = hours_survived(np.full(n, 0.5), Pool(10.0), soc_kwh=year.soc_kwh, step_h=1 / 60)
    assert hours[21 * 60] == pytest.approx(2.0, abs=1e-6)
    assert hours[18 * 60 + 30] == pytest.approx(11.0, abs=1e-6)
    assert hours[12 * 60] == pytest.approx(20.0, abs=1e-6)
    middle = (year.pool_kwh[0, 1:] + year.pool_kwh[0, :-1]) / 2.0
    assert middle.mean() == pytest.approx(7.5625, abs=1e-6)
    assert 2.0 * middle.mean() == pytest.approx(15.125, abs=1e-6)


def test_s28_the_year_wraps():
    load = np.full(8760, 0.5)
    wrapped = hours_survived(load, Pool(10.0), soc_kwh=10.0)
    assert wrapped.mean() == pytest.approx(20.0, abs=1e-9)
    assert (wrapped >= 20.0 - 1e-9).mean() == 1.0
    cut = hours_survived(load, Pool(10.0), soc_kwh=10.0, wrap=False)
    assert cut.mean() == pytest.approx(19.978311, abs=PRINTED)
    assert (cut >= 20.0 - 1e-9).sum() == 8741


@pytest.mark.parametrize("step_min", [60, 30, 5])
def test_s29_the_hour_of_the_start_matters(step_min):
    h = step_min / 60.0
    hour = np.arange(0.0, 24.0 * 10, h) % 24
    load = np.where((hour >= 6) & (hour < 18), 1.0, 0.2)
    hours = hours_survived(load, Pool(10.0), soc_kwh=10.0, step_h=h)
    at = lambda clock: hours[round(clock / h)]
    assert [at(6), at(18), at(12)] == pytest.approx([10.0, 19.6, 19.6], abs=1e-6)


def test_s30_hours_do_not_grow_in_step_with_units():
    for n, printed in ((1, 17.351598), (2, 31.932773), (3, 44.357977)):
        pool = Pool(10.0 * n, discharge_efficiency=0.95, no_load_kw=0.05 * n)
        assert hours_survived(flat(0.5), pool, soc_kwh=10.0 * n)[0] == pytest.approx(printed, abs=PRINTED)


def test_s32_clock_changes():
    hours = hours_of_year(2025, "America/New_York")
    night, peak = hours.in_windows("00:00-06:00"), hours.in_windows("16:00-21:00")
    march, november = hours.index_of("2025-03-09T12:00"), hours.index_of("2025-11-02T12:00")
    spring, fall = hours.day == hours.day[march], hours.day == hours.day[november]
    assert (spring.sum(), (spring & night).sum(), (spring & peak).sum()) == (23, 5, 5)
    assert (fall.sum(), (fall & night).sum(), (fall & peak).sum()) == (25, 7, 5)
    for step_min, counts in ((15, {92, 96, 100}),):
        quarter = hours_of_year(2025, "America/New_York", step_min)
        assert set(np.bincount(quarter.day)) == counts
    twice = [k for k in range(hours.n_steps) if hours.local_text[k].startswith("2025-11-02T01:00")]
    assert [hours.utc[k].isoformat() for k in twice] == ["2025-11-02T05:00:00+00:00", "2025-11-02T06:00:00+00:00"]


def test_s33_holidays_are_the_rates():
    hours = hours_of_year(2026, "America/New_York")
    july = hours.month == 7
    peak = hours.in_windows("16:00-21:00") & july
    for observed, steps in (("sunday-only", 115), ("actual", 115), ("observed", 110)):
        holidays = holiday_dates("US", 2026, observed=observed)
        assert (peak & hours.on_days("weekday", holidays)).sum() == steps, observed
    moved = [day for day in holiday_dates("US", 2027, observed="sunday-only") if day.month == 7]
    assert [str(day) for day in moved] == ["2027-07-05"]


def test_s37_a_metered_house_counts_its_circuits_once():
    meter, circuits = 1.0, 0.375
    assert (meter - circuits) * 24 == pytest.approx(15.0)
    hours = hours_of_year(2025, "UTC")
    bill = price_bill(np.full(hours.n_steps, meter), np.zeros(hours.n_steps), Rate(price_per_kwh=1.0), hours)
    assert bill.total / 365 == pytest.approx(24.0)  # the bill is on 24, not on 33


@pytest.mark.parametrize(
    ("connected_at", "kw", "hours"), [("sub-panel", 10 * 0.96, 8.664), ("battery", 10 * 0.98, 9.31)]
)
def test_s41_solar_through_an_inverter_or_on_the_cells(tmp_path, connected_at, kw, hours):
    """10 kWh of a roof in one hour, an empty unit of 0.95 each way, then 1 kW: what comes out again."""
    import pandas as pd

    from simulate.house.ride import ride_through
    from tests.site.small_site import circuit, small_site, unit

    stamps = pd.date_range("2025-01-01", "2026-01-01", freq="h", inclusive="left", tz="UTC")
    rows = [f"{stamp:%Y-%m-%dT%H:%M}+00:00,{kw if stamp.hour == 12 else 0.0}" for stamp in stamps]
    (tmp_path / "log.csv").write_text("time,kw\n" + "\n".join(rows) + "\n")
    solar = {"connected_at": connected_at, "series": {"csv": str(tmp_path / "log.csv"), "column": "kw"}, "ac_kw": 20.0}
    load = {**circuit("Lights", 0.0), "load": {"kw": 1.0, "window": "13:00-12:00"}}
    pool = {"usable_kwh": 20.0, "charge_efficiency": 0.95, "discharge_efficiency": 0.95, "takes_back_kw": 20.0}
    units = [unit(**pool)]
    outage = {"start_soc": 0.0, "reconnect_s": 0.0}
    ride = ride_through(small_site([load], units, solar=solar, outage=outage, site={"timezone": "UTC"}))
    assert ride.hours[12] == pytest.approx(1.0 + hours, abs=1e-6)


def test_s45_an_hourly_mean_hides_the_overload():
    quarters = np.tile([6.5, 0.5, 0.5, 0.5], 24)
    unit = Pool(10.0, discharge_kw=5.0)
    assert hours_survived(np.full(24, quarters.mean()), unit, soc_kwh=10.0)[0] == pytest.approx(5.0, abs=1e-6)
    fine = hours_survived(quarters, unit, soc_kwh=10.0, step_h=0.25)
    assert (fine[0], fine[1]) == (0.0, pytest.approx(0.75, abs=1e-9))  # trips at the first, then at the next peak
    serve = np.tile([10.0, 0.0, 10.0, 0.0], (96, 1))
    beside = run_plan(quarters, np.inf, 0.0, serve, unit, soc_kwh=10.0, step_h=0.25)
    assert beside.import_kw[:4].sum() * 0.25 == pytest.approx(0.375, abs=1e-9)  # in parallel the grid gives the rest


def test_s47_three_bills():
    load, peak = peak_day()
    flat_bill, rate_bill = load.sum() * 0.16, (load * np.where(peak, 0.30, 0.10)).sum()
    battery = saving(load, peak, S18)
    assert (flat_bill, rate_bill) == pytest.approx((4.64, 4.90), abs=1e-9)
    assert rate_bill - battery == pytest.approx(3.311111, abs=PRINTED)
    assert (flat_bill - rate_bill) + battery == pytest.approx(1.328889, abs=PRINTED)
