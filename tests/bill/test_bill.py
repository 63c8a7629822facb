"""Bills by closed form. All rates here are invented; the worked numbers are arithmetic that stands beside them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.hours import hours_of_year
from profiles.noun import BadInput, read_noun
from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import MeterSums, meter_sums
from profiles.rate.rate import Rate
from simulate.bill.amounts import bill_amounts
from simulate.bill.bill import Bill, Line, bill_of, price_bill, rounded_to_add
from simulate.bill.four_bills import four_bills

AXIS = hours_of_year(2025, "America/New_York")
NONE = np.zeros(8760)
EXACT = 1e-9
S_DIGITS = 1e-6  # the scenarios print six digits


def rate(**keys):
    return read_noun(Rate, keys, table="rate")


def two_prices(low, high, hours="16:00-21:00", **keys):
    periods = [{"name": "peak", "price_per_kwh": high, "hours": hours}, {"name": "rest", "price_per_kwh": low}]
    return rate(season=[{"name": "year", "months": list(range(1, 13)), "periods": periods}], **keys)


def clock(start, end, axis=AXIS):
    return (axis.minute >= start * 60) & (axis.minute < end * 60)


def total(bought, sold, one, axis=AXIS):
    return price_bill(bought, sold, one, axis).total


def in_january(*kwh, sold=False, axis=AXIS):
    """So many kWh in the first hours of the year, shape (n_steps,) in kW."""
    kw = np.zeros(axis.n_steps)
    kw[: len(kwh)] = np.array(kwh) / axis.step_h
    return kw


# ---- time of use: the saving of a battery as the bill sees it ------------------------------------------------------

LOAD = np.where(clock(16, 21), 2.0, 1.0)
CHARGE = np.where(clock(0, 1), 10 / 0.9, 0.0)  # 11.1111 kWh in an hour that every day of the year has once
SERVED = np.where(clock(16, 21), 9.0 / 5, 0.0)


@pytest.mark.parametrize(("frac", "a_day"), [(1.0, 1.588889), (0.6, 0.953333), (0.0, 0.0)])
def test_s18_s21_saving_of_a_cycled_battery_and_of_a_reserve(frac, a_day):
    one = two_prices(0.10, 0.30)
    saving = total(LOAD, NONE, one) - total(LOAD + frac * (CHARGE - SERVED), NONE, one)
    assert saving / 365 == pytest.approx(a_day, abs=S_DIGITS)


def test_s19_forced_cycling_on_a_small_spread_loses_money():
    one = two_prices(0.10, 0.12)
    saving = total(LOAD, NONE, one) - total(LOAD + CHARGE - SERVED, NONE, one)
    assert saving / 365 == pytest.approx(-0.031111, abs=S_DIGITS)


def test_a_price_ratio_of_1_15_does_not_pay_for_the_round_trip():
    one = two_prices(0.10, 0.115)
    served, charged = np.where(clock(16, 21), 0.2, 0.0), np.where(clock(0, 1), 1 / 0.85, 0.0)
    assert total(served, NONE, one) < total(charged, NONE, one)


def test_s22_six_reachable_kwh_and_the_loss_of_exporting_the_rest():
    one = two_prices(0.10, 0.30, export={"method": "net-billing", "credit_per_kwh": 0.05})
    part = 6.0 / 9.0
    saving = total(LOAD, NONE, one) - total(LOAD + part * (CHARGE - SERVED), NONE, one)
    assert saving / 365 == pytest.approx(1.059259, abs=S_DIGITS)
    peak = np.where(clock(16, 21), 1.0, 0.0)
    offset = total(peak, NONE, one) - total(CHARGE * 5 / 9, NONE, one)
    assert offset / 365 == pytest.approx(0.882716, abs=S_DIGITS)
    with_export = total(CHARGE * 5 / 9, NONE, one) - total(CHARGE, np.where(clock(16, 21), 4.0 / 5, 0.0), one)
    assert with_export / 365 == pytest.approx(-0.293827, abs=S_DIGITS)


def test_s23_what_a_power_limit_leaves():
    one, part = two_prices(0.10, 0.30), 7.5 / 9.0
    load = np.where(clock(16, 21), 3.0, 0.0)
    saving = total(load, NONE, one) - total(load + part * (CHARGE - SERVED), NONE, one)
    assert saving / 365 == pytest.approx(1.324074, abs=S_DIGITS)


def test_s26_a_negative_price_pays_for_what_is_bought_only(tmp_path):
    (tmp_path / "p.csv").write_text("start,price_per_kwh\n" + "\n".join(f"{t},-0.05" for t in AXIS.local_text))
    one = rate(hourly_prices={"csv": str(tmp_path / "p.csv")})
    assert total(NONE, NONE, one) == 0.0
    assert total(in_january(1.0), NONE, one) == pytest.approx(-0.05, abs=EXACT)


def test_an_hourly_price_on_quarter_hours(tmp_path):
    (tmp_path / "p.csv").write_text(
        "start,price_per_kwh,credit\n" + "\n".join(f"{t},0.2,0.05" for t in AXIS.local_text)
    )
    one = rate(
        hourly_prices={"csv": str(tmp_path / "p.csv"), "credit_column": "credit"}, export={"method": "net-billing"}
    )
    bill = price_bill(quarters(4.0, 4.0), quarters(0.0, 0.0, 8.0), one, QUARTERS)
    assert bill.by_kind == pytest.approx({"energy": 0.4, "export": -0.1}, abs=EXACT)


def test_s40_stored_solar_costs_its_lost_export_credit():
    one = two_prices(0.10, 0.30, export={"method": "net-billing", "credit_per_kwh": 0.05})
    load, surplus = np.where(clock(16, 21), 1.0, 0.0), np.where(clock(12, 14), 2.0, 0.0)
    before = total(load, surplus, one)
    solar_only = before - total(np.where(clock(16, 21), 1.0 - 4 * 0.81 / 5, 0.0), NONE, one)
    assert solar_only / 365 == pytest.approx(0.772, abs=S_DIGITS)
    grid_too = before - total(np.where(clock(0, 1), 5 / 0.81 - 4, 0.0), NONE, one)
    assert grid_too / 365 == pytest.approx(1.082716, abs=S_DIGITS)


def test_s44_on_grid_draw_costs_money_all_year():
    one = rate(price_per_kwh=0.20)
    assert total(np.full(8760, 0.060), NONE, one) == pytest.approx(105.12, abs=EXACT)
    assert 365 * 1.588889 - 105.12 == pytest.approx(474.82, abs=0.005)


def test_s46_an_hour_belongs_to_the_price_of_its_start():
    one = two_prices(0.10, 0.30)
    kw = np.zeros(8760)
    kw[AXIS.index_of("2025-01-14T20:00")] = 3.0  # a file that stamps the hour's end calls it 21
    assert total(kw, NONE, one) == pytest.approx(0.90, abs=EXACT)


def test_s47_four_bills_keep_the_change_of_rate_apart():
    with_battery = (LOAD + CHARGE - SERVED, NONE)
    three = four_bills(rate(price_per_kwh=0.16), two_prices(0.10, 0.30), (LOAD, NONE), with_battery, AXIS)
    bills = [bill.total / 365 for bill in (three.today, three.without_battery, three.with_battery)]
    assert bills == pytest.approx([4.64, 4.90, 3.311111], abs=S_DIGITS)
    effects = (three.tariff_effect / 365, three.saving / 365, three.total_effect / 365)
    assert effects == pytest.approx((-0.26, 1.588889, 1.328889), abs=S_DIGITS)
    assert sum(row["with_battery"] for row in three.by_month()) == pytest.approx(three.with_battery.total, abs=EXACT)
    assert [row["kind"] for row in three.by_kind()] == ["energy"]


def test_each_step_changes_the_bill_by_what_it_alone_adds():
    solar = np.where((AXIS.minute >= 720) & (AXIS.minute < 780), 3.0, 0.0)
    net = LOAD - solar
    with_solar = (np.maximum(net, 0.0), np.maximum(-net, 0.0))
    four = four_bills(
        rate(price_per_kwh=0.16),
        rate(price_per_kwh=0.20, fixed_per_month=5.0),
        with_solar,
        (with_solar[0], NONE),
        AXIS,
        without_solar_kw=(LOAD, NONE),
    )
    assert [one.name for one in four.steps] == ["today", "rate", "solar", "battery"]
    # 29 kWh a day; the clocks take an hour of a 1 kW night in March and give it back in November
    assert four.today.total == pytest.approx(365 * 29 * 0.16, abs=EXACT)
    assert four.steps[1].change == pytest.approx(365 * 29 * 0.04 + 60.0, abs=EXACT)
    assert four.steps[2].change == pytest.approx(-365 * 1.0 * 0.20, abs=EXACT)  # 1 of 3 kWh is used, 2 earn nothing
    assert four.steps[3].change == 0.0
    assert four.change == pytest.approx(sum(one.change for one in four.steps), abs=EXACT)


def test_a_roof_that_stands_already_earns_what_each_rate_pays():
    sold = np.where(AXIS.minute == 720, 2.0, 0.0)
    pays = {"export": {"method": "net-billing", "credit_per_kwh": 0.05}}
    four = four_bills(rate(price_per_kwh=0.2, **pays), rate(price_per_kwh=0.2), (LOAD, sold), (LOAD, NONE), AXIS)
    assert [(one.name, round(one.change, 9)) for one in four.steps] == [
        ("today", 0.0),
        ("rate", round(365 * 2 * 0.05, 9)),
        ("battery", 0.0),
    ]


def test_nothing_new_is_one_bill_and_no_change():
    four = four_bills(None, rate(price_per_kwh=0.2), (LOAD, NONE), (LOAD, NONE), AXIS, adds_battery=False)
    assert ([one.name for one in four.steps], four.change) == (["today"], None)
    assert set(four.apart) == {"without_battery", "with_battery"}


def test_two_currencies_are_refused():
    with pytest.raises(BadInput, match="rate_today.currency must be the currency of the new rate, not 'CAD'"):
        four_bills(rate(price_per_kwh=0.1, currency="CAD"), rate(price_per_kwh=0.1), (NONE, NONE), (NONE, NONE), AXIS)


# ---- demand --------------------------------------------------------------------------------------------------------

QUARTERS = hours_of_year(2025, "America/New_York", 15)


def quarters(*kw, at="2025-01-14T18:00"):
    series = np.zeros(QUARTERS.n_steps)
    first = QUARTERS.index_of(at)
    series[first : first + len(kw)] = kw
    return series


def demand_saving(window_min, before, after, block="fixed"):
    one = rate(price_per_kwh=0.0, demand=[{"per_kw": 12.0, "window_min": window_min, "block": block}])
    none = np.zeros(QUARTERS.n_steps)
    return total(before, none, one, QUARTERS) - total(after, none, one, QUARTERS)


def test_s24_the_same_battery_saves_twice_as_much_on_a_quarter_hour_window():
    before, after = quarters(8, 8, 4, 4, 4, 4, 4, 4), quarters(6, 6, 4, 4, 4, 4, 4, 4)
    assert demand_saving(15, before, after) == pytest.approx(24.0, abs=EXACT)
    assert demand_saving(60, before, after) == pytest.approx(12.0, abs=EXACT)


def test_s25_recharging_makes_the_new_peak():
    before = quarters(8, 8, 4, 4, 4, 4, 4, 4)
    after = quarters(6, 6, 4, 4, 4, 4, 4, 4) + quarters(7.76, at="2025-01-14T22:00")
    assert demand_saving(15, before, after) == pytest.approx(2.88, abs=EXACT)


def test_a_rolling_block_sees_a_peak_across_the_hour():
    kw = quarters(4, 4, at="2025-01-14T18:30") + quarters(4, 4, at="2025-01-14T19:00")
    none = np.zeros(QUARTERS.n_steps)
    assert demand_saving(60, kw, none, "fixed") == pytest.approx(24.0, abs=EXACT)
    assert demand_saving(60, kw, none, "rolling") == pytest.approx(48.0, abs=EXACT)


def test_a_rolling_block_counts_only_wholly_inside_its_window():
    demand = {"per_kw": 1.0, "window_min": 60, "block": "rolling", "hours": "16:00-21:00"}
    kw = quarters(10, 10, 10, 10, at="2025-01-14T20:30")  # half an hour of it after 21:00
    assert total(kw, np.zeros(QUARTERS.n_steps), rate(price_per_kwh=0.0, demand=[demand]), QUARTERS) == 5.0


def test_a_rolling_block_lies_in_one_billing_month():
    one = rate(price_per_kwh=0.0, demand=[{"per_kw": 1.0, "window_min": 60, "block": "rolling"}])
    kw = quarters(8, 8, 8, 8, at="2025-01-31T23:30")
    by_month = price_bill(kw, np.zeros(QUARTERS.n_steps), one, QUARTERS).by_month
    assert (by_month["2025-01"], by_month["2025-02"]) == (4.0, 4.0)


def test_a_clock_change_of_half_an_hour_cuts_a_block():
    axis = hours_of_year(2025, "Australia/Lord_Howe", 30)
    kw, one = np.zeros(axis.n_steps), rate(price_per_kwh=0.0, demand=[{"per_kw": 1.0}])
    first = axis.index_of("2025-04-06T01:30")  # at 02:00 the clock goes back to 01:30
    kw[first + 1] = 6.0  # the repeated half-hour is a block of its own
    assert total(kw, np.zeros(axis.n_steps), one, axis) == 6.0


def test_a_demand_window_inside_a_step_names_the_step():
    with pytest.raises(BadInput, match='rate.demand "demand".window_min .*set site.step_min = 15'):
        total(NONE, NONE, rate(price_per_kwh=0.1, demand=[{"per_kw": 1.0, "window_min": 15}]))


def test_several_windows_share_one_highest_kw():
    kw = NONE.copy()
    kw[AXIS.index_of("2025-01-14T18:00")], kw[AXIS.index_of("2025-01-18T10:00")] = 3.0, 5.0
    windows = {"days": "weekday", "hours": "16:00-21:00", "also": [{"days": "weekend", "hours": "09:00-12:00"}]}
    assert total(kw, NONE, rate(price_per_kwh=0.0, demand=[{"per_kw": 1.0, **windows}])) == 5.0


def test_periods_of_one_name_fill_their_tiers_together():
    tiers = [{"up_to": 10, "price_per_kwh": 0.1}, {"price_per_kwh": 0.2}]
    periods = [
        {"name": "day", "tiers": tiers, "days": "weekday", "hours": "06:00-22:00"},
        {"name": "day", "tiers": tiers, "days": "weekend", "hours": "08:00-20:00"},
        {"name": "night", "tiers": tiers},
    ]
    one = rate(season=[{"name": "s", "months": list(range(1, 13)), "periods": periods}])
    kw = NONE.copy()
    kw[AXIS.index_of("2025-01-14T18:00")], kw[AXIS.index_of("2025-01-18T10:00")] = 8.0, 6.0
    assert total(kw, NONE, one) == pytest.approx(10 * 0.1 + 4 * 0.2, abs=EXACT)


def test_a_demand_bound_inside_a_block_is_refused():
    demand = {"per_kw": 1.0, "window_min": 60, "hours": "16:30-21:00"}
    none = np.zeros(QUARTERS.n_steps)
    with pytest.raises(BadInput, match="has a bound inside a block of 60 min"):
        total(none, none, rate(price_per_kwh=0.1, demand=[demand]), QUARTERS)


def test_a_summer_peak_ratchets_the_winter():
    kw = NONE.copy()
    kw[AXIS.index_of("2025-07-14T18:00")] = 10.0
    one = rate(price_per_kwh=0.0, demand=[{"per_kw": 1.0, "ratchet_frac": 0.8, "ratchet_months": [6, 7, 8]}])
    by_month = price_bill(kw, NONE, one, AXIS).by_month
    assert by_month["2025-07"] == 10.0
    assert {by_month[f"2025-{m:02d}"] for m in (1, 2, 3, 12)} == {8.0}  # the year stands before itself


def test_twelve_ratchet_shares_by_month():
    kw = NONE.copy()
    kw[AXIS.index_of("2025-07-14T18:00")] = 10.0
    shares = [0.5, *[0.0] * 11]
    bill = price_bill(kw, NONE, rate(price_per_kwh=0.0, demand=[{"per_kw": 1.0, "ratchet_frac": shares}]), AXIS)
    assert [line.amount for line in bill.lines if line.kind == "demand"] == [5.0, 10.0]


def test_a_repeated_hour_is_two_blocks():
    kw = np.zeros(8760)
    first = AXIS.index_of("2025-11-02T01:00")
    kw[first : first + 2] = (3.0, 5.0)
    demand = {"per_kw": 1.0, "hours": "01:00-02:00"}
    assert total(kw, NONE, rate(price_per_kwh=0.0, demand=[demand])) == 5.0


# ---- tiers, minimum, tax, riders -----------------------------------------------------------------------------------


def test_tiers_of_a_month_start_anew():
    one = rate(tiers=[{"up_to": 600, "price_per_kwh": 0.1}, {"price_per_kwh": 0.2}])
    bill = price_bill(np.ones(8760), NONE, one, AXIS)
    assert bill.by_month["2025-01"] == pytest.approx(600 * 0.1 + 144 * 0.2, abs=EXACT)
    assert bill.by_month["2025-02"] == pytest.approx(600 * 0.1 + 72 * 0.2, abs=EXACT)
    assert [line.name for line in bill.lines[:2]] == ["all hours, tier 1", "all hours, tier 2"]


def test_tiers_per_day_and_per_kw():
    tiers = [{"up_to": 10, "price_per_kwh": 0.1}, {"price_per_kwh": 0.2}]
    a_day = price_bill(np.ones(8760), NONE, rate(tiers=tiers, tier_unit="kwh_per_day"), AXIS)
    assert a_day.by_month["2025-02"] == pytest.approx(280 * 0.1 + 392 * 0.2, abs=EXACT)
    demand = [{"per_kw": 0.0}]
    per_kw = price_bill(np.full(8760, 2.0), NONE, rate(tiers=tiers, tier_unit="kwh_per_kw", demand=demand), AXIS)
    assert per_kw.by_month["2025-01"] == pytest.approx(20 * 0.1 + 1468 * 0.2, abs=EXACT)


def test_a_season_that_changes_in_a_month_shares_its_tiers_by_days():
    tiers = [{"up_to": 300, "price_per_kwh": 0.1}, {"price_per_kwh": 0.2}]
    season = [
        {"name": "s", "from": "06-11", "to": "09-10", "periods": [{"name": "a", "tiers": tiers}]},
        {"name": "w", "from": "09-11", "to": "06-10", "periods": [{"name": "a", "tiers": tiers}]},
    ]
    june = price_bill(np.ones(8760), NONE, rate(season=season), AXIS).by_month["2025-06"]
    assert june == pytest.approx((100 + 200) * 0.1 + (140 + 280) * 0.2, abs=EXACT)


def test_the_minimum_is_on_the_months_total_with_fixed_charges_and_before_tax():
    one = rate(price_per_kwh=0.1, fixed_per_month=8.0, minimum_per_month=14.0, tax=[{"name": "t", "frac": 0.1}])
    bill = price_bill(in_january(20.0), NONE, one, AXIS)
    january = {line.kind: line.amount for line in bill.lines if line.month == "2025-01"}
    assert january == pytest.approx({"fixed": 8.0, "energy": 2.0, "minimum": 4.0, "tax": 1.4}, abs=EXACT)


def test_a_tax_on_some_lines_and_never_below_zero():
    keys = {"price_per_kwh": 0.1, "fixed_per_month": 8.0, "export": {"method": "net-billing", "credit_per_kwh": 0.5}}
    tax = [{"name": "t", "frac": 0.1, "on": ["energy"]}]
    on_energy = price_bill(in_january(20.0), NONE, rate(**keys, tax=tax), AXIS)
    assert on_energy.by_kind["tax"] == pytest.approx(0.2, abs=EXACT)
    paid_out = price_bill(NONE, in_january(0.0, 100.0), rate(**keys, tax=[{"name": "t", "frac": 0.1}]), AXIS)
    assert paid_out.by_month["2025-01"] == pytest.approx(8.0 - 50.0, abs=EXACT)


def test_riders_follow_the_month():
    riders = [{"name": "fuel", "per_kwh": [0.01 * k for k in range(12)]}]
    bill = price_bill(np.ones(8760), NONE, rate(price_per_kwh=0.0, rider=riders), AXIS)
    assert bill.by_month["2025-03"] == pytest.approx(743 * 0.02, abs=EXACT)  # March has lost an hour


def test_a_daily_charge_counts_local_days():
    bill = price_bill(NONE, NONE, rate(price_per_kwh=0.1, fixed_per_day=0.5), AXIS)
    assert (bill.total, bill.by_month["2025-03"]) == (182.5, 15.5)


# ---- export --------------------------------------------------------------------------------------------------------

HALVES = hours_of_year(2025, "America/New_York", 30)


@pytest.mark.parametrize(("netting", "amount"), [("step", 0.25), ("hour", 0.0), ("day", 0.0), ("month", 0.0)])
def test_s36_the_netting_interval_decides(netting, amount):
    one = rate(price_per_kwh=0.30, export={"method": "net-billing", "credit_per_kwh": 0.05, "netting": netting})
    bought, sold = in_january(1.0, 0.0, axis=HALVES), in_january(0.0, 1.0, axis=HALVES)
    assert total(bought, sold, one, HALVES) == pytest.approx(amount, abs=EXACT)


def test_default_netting_is_the_meters_own_step():
    one = rate(price_per_kwh=0.30, export={"method": "net-billing", "credit_per_kwh": 0.05})
    assert total(in_january(1.0, axis=HALVES), in_january(0.0, 1.0, axis=HALVES), one, HALVES) == pytest.approx(0.25)


def test_hourly_and_monthly_netting_differ_when_import_and_export_fall_into_different_hours():
    bought, sold = in_january(1.0, 0.0), in_january(0.0, 1.0)
    found = [
        total(
            bought,
            sold,
            rate(price_per_kwh=0.3, export={"method": "net-billing", "credit_per_kwh": 0.05, "netting": n}),
        )
        for n in ("hour", "month")
    ]
    assert found == pytest.approx([0.25, 0.0], abs=EXACT)


def monthly(kwh_by_month, sign):
    """A year with so many kWh net in the first hour of each month; the sign picks import (+) or export (-)."""
    kw = np.zeros(8760)
    for month, kwh in enumerate(kwh_by_month, start=1):
        kw[AXIS.index_of(f"2025-{month:02d}-02T00:00")] = max(sign * kwh, 0.0)
    return kw


NET = [100, -50, 30, 80, -200, 20, 20, 20, 20, 20, 20, 10]


def netted(**export):
    one = rate(price_per_kwh=0.2, fixed_per_month=5.0, export={"method": "net-metering", **export})
    return price_bill(monthly(NET, 1), monthly(NET, -1), one, AXIS)


@pytest.mark.parametrize("unused", ["carry", "carry-kwh"])
def test_net_metering_carries_credit_to_later_months(unused):
    bill = netted(unused=unused)
    energy = [bill.by_month[f"2025-{m:02d}"] - 5.0 for m in range(1, 13)]
    # 50 kWh of February: 30 in March, 20 of April's 80; 200 of May: all the rest needs 130
    assert energy == pytest.approx([20, 0, 0, 12, 0, 0, 0, 0, 0, 0, 0, 0], abs=EXACT)
    assert any("unused at the year's end" in note for note in bill.notes)


def test_credit_that_is_lost_or_paid():
    assert netted(unused="lose").total == pytest.approx(60 + 0.2 * (100 + 30 + 80 + 130), abs=EXACT)
    assert netted(unused="pay").total == pytest.approx(60 + 0.2 * sum(NET), abs=EXACT)


@pytest.mark.parametrize(("unused", "settled_kwh"), [("carry", 40.0), ("carry-kwh", 140.0)])
def test_true_up_settles_the_surplus(unused, settled_kwh):
    # as money, the net of the months so far counts: 100 - 50 + 30 + 80 - 200 = -40 in May;
    # as kWh, the bank itself: 50 - 30 - 20 + 200 - 20 x 3 = 140 in August
    month = {"carry": 5, "carry-kwh": 8}[unused]
    bill = netted(unused=unused, true_up_month=month, true_up_per_kwh=0.03)
    line = next(line for line in bill.lines if line.kind == "true-up")
    assert (line.month, line.quantity) == (f"2025-{month:02d}", pytest.approx(settled_kwh, abs=EXACT))
    assert line.amount == pytest.approx(-0.03 * settled_kwh, abs=EXACT)
    assert bill.by_month[f"2025-{month + 1:02d}"] == pytest.approx(5.0 + 0.2 * 20, abs=EXACT)  # nothing is left to use


def test_what_cannot_be_bypassed_is_paid_on_every_bought_kwh():
    export = {"method": "net-metering", "nonbypassable_per_kwh": 0.03, "unused": "pay"}
    bill = price_bill(in_january(100.0), in_january(0.0, 60.0), rate(price_per_kwh=0.2, export=export), AXIS)
    assert bill.total == pytest.approx(100 * 0.2 - 60 * 0.17, abs=EXACT)


def test_unpaid_export_is_said():
    bill = price_bill(NONE, in_january(0.0, 60.0), rate(price_per_kwh=0.2), AXIS)
    assert bill.total == 0.0
    assert bill.notes == ("60.0 kWh were exported and earn nothing under this rate.",)


# ---- billing cycles ------------------------------------------------------------------------------------------------


def test_cycles_end_at_their_read_dates():
    one = rate(price_per_kwh=0.1, fixed_per_month=30.4375, read_dates=["2025-01-14", "2025-02-15"])
    bill = price_bill(np.ones(8760), NONE, one, AXIS)
    fixed = {line.month: line.amount for line in bill.lines if line.kind == "fixed"}
    assert fixed == pytest.approx({"2025-01-14": 13.0, "2025-02-15": 30.4375, "2026-01-01": 320.0}, abs=EXACT)
    energy = {line.month: line.quantity for line in bill.lines if line.kind == "energy"}
    assert energy == pytest.approx({"2025-01-14": 13 * 24, "2025-02-15": 32 * 24, "2026-01-01": 320 * 24})


def test_tiers_of_a_long_cycle_are_prorated():
    tiers = [{"up_to": 600, "price_per_kwh": 0.1}, {"price_per_kwh": 0.2}]
    one = rate(tiers=tiers, prorate_days=30, read_dates=["2025-01-14", "2025-02-15"])
    assert price_bill(np.ones(8760), NONE, one, AXIS).by_month["2025-02-15"] == pytest.approx(640 * 0.1 + 128 * 0.2)


def test_two_cycles_that_end_in_one_month_are_settled_once():
    one = rate(
        price_per_kwh=0.2,
        read_dates=["2025-03-02", "2025-03-30", "2025-04-30"],
        export={"method": "net-metering", "true_up_month": 3, "true_up_per_kwh": 0.03},
    )
    bill = price_bill(NONE, monthly([10, 10, 10] + [0] * 9, 1), one, AXIS)
    settled = [(line.month, line.quantity) for line in bill.lines if line.kind == "true-up"]
    # 1 March is still in the first cycle: its last day is in March, as that of the second is
    assert settled == [("2025-03-30", pytest.approx(30.0))]


def test_a_32_day_bill_is_prorated_where_the_rate_says_so():
    one = rate(
        price_per_kwh=0.0,
        fixed_per_month=15.0,
        prorate_days=30,
        read_dates=["2025-01-14", "2025-02-15"],
        demand=[{"per_kw": 3.0}],
    )
    lines = [line for line in price_bill(np.ones(8760), NONE, one, AXIS).lines if line.month == "2025-02-15"]
    assert [(line.kind, line.amount) for line in lines if line.amount] == [("fixed", 16.0), ("demand", 3.2)]


# ---- rounding, shape, properties -----------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=30))
def test_rounded_amounts_add_to_the_rounded_total_and_move_less_than_a_cent(amounts):
    rounded = rounded_to_add(amounts)
    assert round(sum(rounded) * 100) == round(sum(amounts) * 100) or abs(sum(amounts) * 100 % 1 - 0.5) < 1e-6
    assert max(abs(a - b) for a, b in zip(amounts, rounded, strict=True)) < 0.01 + 1e-8


def test_a_given_total_is_met_from_either_side():
    assert rounded_to_add([1.0, 1.0], total=1.99) == [1.0, 0.99]
    assert rounded_to_add([1.0, 1.0], total=2.01) == [1.01, 1.0]


def test_printed_lines_add_to_printed_months_and_months_to_the_total():
    kw = np.random.default_rng(3).gamma(1.0, 1.0, 8760)
    one = two_prices(0.1111, 0.3333, fixed_per_month=7.77, tax=[{"name": "t", "frac": 0.07}])
    bill = price_bill(kw, NONE, one, AXIS)
    printed = bill.printed()
    cents = [round(line.amount * 100) for line in printed.lines]
    assert cents == pytest.approx([line.amount * 100 for line in printed.lines], abs=1e-9)
    assert sum(cents) == round(bill.total * 100)
    for month, amount in bill.by_month.items():
        assert abs(printed.by_month[month] - amount) < 0.01


def test_a_bill_adds_up():
    lines = (Line("2025-01", "energy", "a", 1, "kWh", 0.1, 0.1), Line("2025-01", "tax", "b", 1, "", 1, 0.2))
    bill = Bill("USD", lines)
    assert (bill.total, bill.by_month, bill.by_kind) == (0.1 + 0.2, {"2025-01": 0.1 + 0.2}, {"energy": 0.1, "tax": 0.2})


@pytest.mark.parametrize(
    ("series", "message"),
    [
        (np.ones(8759), "import_kw must have one value for each step"),
        (np.where(np.arange(8760) == 7, np.nan, 1.0), "import_kw must be finite and not negative at step 7, not nan"),
        (np.where(np.arange(8760) == 9, -0.1, 1.0), "import_kw must be finite and not negative at step 9, not -0.1"),
        (np.where(np.arange(8760) == 9, np.inf, 1.0), "import_kw must be finite and not negative at step 9, not inf"),
    ],
)
def test_a_bad_series_is_refused(series, message):
    with pytest.raises(BadInput, match=message):
        price_bill(series, NONE, rate(price_per_kwh=0.1), AXIS)


def test_sums_of_another_rate_are_refused():
    one, other = rate(price_per_kwh=0.1), two_prices(0.1, 0.2)
    sums = meter_sums(NONE, NONE, one, rate_calendar(one, AXIS))
    with pytest.raises(BadInput, match="sums.bought_kwh must end in"):
        bill_of(sums, other, rate_calendar(other, AXIS))


def test_sums_can_be_made_elsewhere_and_hold_many_designs():
    one = two_prices(
        0.1,
        0.3,
        fixed_per_month=9.0,
        minimum_per_month=40.0,
        demand=[{"per_kw": 2.0, "ratchet_frac": 0.5}],
        export={"method": "net-billing", "credit_per_kwh": 0.07, "unused": "carry"},
    )
    calendar, rng = rate_calendar(one, AXIS), np.random.default_rng(5)
    flows = [(rng.gamma(1, 1, 8760), rng.gamma(1, 1, 8760) * (rng.random(8760) < 0.3)) for _ in range(5)]
    bought, sold, peak = np.zeros((24, 5)), np.zeros((24, 5)), np.zeros((12, 5))
    for step, bucket in enumerate(calendar.bucket):  # what a compiled walk of many lanes would add up
        kw_in, kw_out = (np.array([pair[k][step] for pair in flows]) for k in (0, 1))
        bought[bucket] += kw_in
        sold[bucket] += kw_out
        block = calendar.demand[0].of_step[step]
        month = calendar.demand[0].month[block]
        peak[month] = np.maximum(peak[month], kw_in)
    sums = MeterSums(bought.T.reshape(5, 12, 2), sold.T.reshape(5, 12, 2), peak.T[:, None, :])
    totals = bill_amounts(sums, one, calendar).total
    assert totals == pytest.approx([price_bill(*pair, one, AXIS).total for pair in flows], abs=1e-8)


def test_four_quarter_hours_equal_one_hour():
    kw = np.random.default_rng(7).gamma(1.0, 1.0, 8760)
    one = two_prices(0.1, 0.3, demand=[{"per_kw": 4.0, "hours": "16:00-21:00"}])
    fine = total(np.repeat(kw, 4), np.zeros(QUARTERS.n_steps), one, QUARTERS)
    assert fine == pytest.approx(total(kw, NONE, one), abs=1e-8)


@pytest.mark.parametrize(("year", "zone", "n_steps"), [(2024, "America/New_York", 8784), (2024, "Asia/Almaty", 8785)])
def test_years_of_other_length_are_billed_whole(year, zone, n_steps):
    axis = hours_of_year(year, zone)
    whole = total(np.ones(n_steps), np.zeros(n_steps), rate(price_per_kwh=1.0), axis)
    assert whole == pytest.approx(n_steps, abs=EXACT)


def test_doubling_load_and_halving_the_price_changes_nothing():
    kw = np.random.default_rng(9).gamma(1.0, 1.0, 8760)
    doubled = total(2 * kw, NONE, two_prices(0.05, 0.15))
    assert doubled == pytest.approx(total(kw, NONE, two_prices(0.1, 0.3)), abs=1e-8)


# ---- windows of one name, and seasons that change with the billing cycle --------------------------------------------


def two_windows(**keys):
    windows = [
        {"name": "peak", "price_per_kwh": 0.40, "hours": "06:00-09:00"},
        {"name": "peak", "price_per_kwh": 0.40, "hours": "17:00-20:00"},
        {"name": "rest", "price_per_kwh": 0.10},
    ]
    return rate(season=[{"name": "year", "months": list(range(1, 13)), "periods": windows}], **keys)


def test_two_windows_of_one_name_are_one_line_and_one_period():
    """5 kWh bought in the morning peak and 5 kWh sold in the evening peak of 1 January cancel within the day."""
    bought, sold = NONE.copy(), NONE.copy()
    bought[6], sold[17] = 5.0, 5.0
    export = {"method": "net-billing", "credit_per_kwh": 0.05}
    assert total(bought, sold, two_windows(export=export | {"netting": "day"})) == pytest.approx(0.0, abs=EXACT)
    assert total(bought, sold, two_windows(export=export)) == pytest.approx(5 * 0.40 - 5 * 0.05, abs=EXACT)
    lines = price_bill(bought, sold, two_windows(), AXIS).lines
    assert [line.name for line in lines if line.month == "2025-01"] == ["year peak", "year rest"]


def test_two_windows_of_one_name_earn_one_credit():
    two = two_windows().model_dump(exclude_unset=True)
    two["season"][0]["periods"][0]["credit_per_kwh"] = 0.02
    two["export"] = {"method": "net-billing", "credit_per_kwh": 0.05}
    with pytest.raises(BadInput, match='season "year".periods "peak" has two credits'):
        read_noun(Rate, two, table="rate")


def test_a_season_by_dates_changes_with_the_cycle_that_ends_in_it():
    """Summer begins on 15 June; the cycle read on 1 July is wholly summer by its cycle, half of it by date."""
    prices = [{"name": "all", "price_per_kwh": price} for price in (0.50, 0.10)]
    season = [
        {"name": "summer", "from": "06-15", "to": "09-14", "periods": [prices[0]]},
        {"name": "rest of the year", "from": "09-15", "to": "06-14", "periods": [prices[1]]},
    ]
    keys = {"season": season, "read_dates": ["2025-06-01", "2025-07-01"]}
    kw = np.where(AXIS.month == 6, 1.0, 0.0)  # 30 days of 24 kWh
    by_date, by_cycle = (total(kw, NONE, rate(**keys, season_by=by)) for by in ("date", "cycle"))
    assert by_date == pytest.approx(24 * (14 * 0.10 + 16 * 0.50), abs=EXACT)
    assert by_cycle == pytest.approx(24 * 30 * 0.50, abs=EXACT)
