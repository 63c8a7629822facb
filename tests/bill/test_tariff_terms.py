"""What real tariffs hold beside prices by period: events, credits, losses, taxes on taxes, dated riders, mean peaks.

All rates here are invented; each amount is worked by hand in the test.
"""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput, read_noun
from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import MeterSums, meter_sums
from profiles.rate.prices import rate_prices, tax_on
from profiles.rate.rate import Rate
from simulate.bill.amounts import bill_amounts
from simulate.bill.bill import price_bill

EXACT = 1e-9
AXIS = hours_of_year(2025, "America/New_York")
NONE = np.zeros(AXIS.n_steps)
ONE = np.ones(AXIS.n_steps)
PEAK = {"name": "on-peak", "price_per_kwh": 0.30, "days": "weekday", "hours": "16:00-21:00"}
REST = {"name": "off-peak", "price_per_kwh": 0.10}


def rate(**keys):
    return read_noun(Rate, keys, table="rate")


def two_periods(**keys):
    return rate(season=[{"name": "year", "months": list(range(1, 13)), "periods": [PEAK, REST]}], **keys)


def day(text):
    return (dt.date.fromisoformat(text) - dt.date(2025, 1, 1)).days


def kw_on(text, kw, hours=range(24)):
    """So many kW in some hours of one day, else nothing."""
    return np.where((AXIS.day == day(text)) & np.isin(AXIS.minute // 60, list(hours)), kw, 0.0)


def lines(bill, kind, month=None):
    return {
        line.name: line.amount for line in bill.lines if line.kind == kind and (month is None or line.month == month)
    }


# ---- event days ----------------------------------------------------------------------------------------------------

EVENT = {"name": "critical", "dates": ["2025-07-14", "2025-07-16"], "hours": "17:00-19:00", "price_per_kwh": 1.00}


def test_event_days_are_dates_with_a_price():
    bill = price_bill(kw_on("2025-07-14", 1.0), NONE, two_periods(event=[EVENT]), AXIS)
    assert lines(bill, "energy", "2025-07") == pytest.approx(
        {"year on-peak": 3 * 0.30, "year on-peak, critical": 2 * 1.00, "year off-peak": 19 * 0.10}, abs=EXACT
    )
    assert sum(price_bill(kw_on("2025-07-15", 1.0), NONE, two_periods(event=[EVENT]), AXIS).by_month.values()) == (
        pytest.approx(5 * 0.30 + 19 * 0.10, abs=EXACT)
    )
    prices = rate_prices(two_periods(event=[EVENT]), AXIS)
    at = AXIS.index_of("2025-07-14T17:00")
    assert (prices.buy_per_kwh[at], prices.buy_per_kwh[at + 24]) == (1.00, 0.30)
    assert prices.period_names[prices.period[at]] == "year on-peak, critical"


def test_an_event_may_add_to_the_price_that_the_period_has_and_pay_for_exports():
    event = {"name": "peak day", "dates": ["2025-07-14"], "adder_per_kwh": 0.50, "credit_per_kwh": 0.40}
    one = two_periods(event=[event], export={"method": "net-billing", "credit_per_kwh": 0.05})
    bill = price_bill(kw_on("2025-07-14", 1.0), kw_on("2025-07-14", 2.0, [12]), one, AXIS)
    assert bill.total == pytest.approx(5 * 0.80 + 19 * 0.60 - 2 * 0.40, abs=EXACT)


def test_hours_of_an_event_fill_no_tier_and_an_adder_does():
    tiers = [{"up_to": 20.0, "price_per_kwh": 0.10}, {"price_per_kwh": 0.20}]
    kw = kw_on("2025-07-14", 1.0) + kw_on("2025-07-15", 1.0)
    own = price_bill(kw, NONE, rate(tiers=tiers, event=[EVENT]), AXIS)
    assert own.total == pytest.approx(2 * 1.00 + 20 * 0.10 + 26 * 0.20, abs=EXACT)
    added = rate(tiers=tiers, event=[{"name": "e", "dates": ["2025-07-14"], "adder_per_kwh": 0.5}])
    # 24 of 48 kWh are of the event; both share the first tier in proportion: 10 kWh each
    assert price_bill(kw, NONE, added, AXIS).total == pytest.approx(20 * 0.10 + 28 * 0.20 + 24 * 0.5, abs=EXACT)


def test_a_rebate_is_paid_for_what_is_bought_less_than_on_like_days_before():
    event = {"name": "save", "dates": ["2025-07-16"], "hours": "16:00-20:00", "rebate_per_kwh": 1.25}
    one = rate(price_per_kwh=0.20, event=[event | {"rebate_days": 3, "rebate_best": 2}])
    # Wednesday; like days are Tuesday 15, Monday 14, Friday 11: 4, 8 and 2 kWh, of which the best two are meant
    kw = kw_on("2025-07-15", 1.0, range(16, 20)) + kw_on("2025-07-14", 2.0, range(16, 20))
    kw += kw_on("2025-07-11", 0.5, range(16, 20)) + kw_on("2025-07-13", 9.0) + kw_on("2025-07-16", 0.25, range(16, 20))
    bill = price_bill(kw, NONE, one, AXIS)
    assert lines(bill, "credit") == pytest.approx({"rebate, save": -1.25 * ((4 + 8) / 2 - 1)}, abs=EXACT)
    at = AXIS.index_of("2025-07-16T16:00")
    prices = rate_prices(one, AXIS)
    assert (prices.buy_per_kwh[at], prices.buy_per_kwh[at + 4]) == pytest.approx((1.45, 0.20))


def test_more_than_on_like_days_earns_no_rebate():
    event = {"name": "save", "dates": ["2025-07-16"], "rebate_per_kwh": 1.25}
    bill = price_bill(kw_on("2025-07-16", 1.0), NONE, rate(price_per_kwh=0.2, event=[event]), AXIS)
    assert lines(bill, "credit") == {}


def test_events_on_dates_equal_a_season_of_one_day():
    """The same event as a season of its own, as one had to write it before."""
    season = [
        {
            "name": "event",
            "from": "07-14",
            "to": "07-14",
            "periods": [{"name": "critical", "price_per_kwh": 1.0, "hours": "17:00-19:00"}, PEAK, REST],
        },
        {"name": "year", "months": list(range(1, 13)), "periods": [PEAK, REST]},
    ]
    kw = np.random.default_rng(3).gamma(1.0, 1.0, AXIS.n_steps)
    by_date = two_periods(event=[EVENT | {"dates": ["2025-07-14"]}])
    assert price_bill(kw, NONE, by_date, AXIS).total == pytest.approx(
        price_bill(kw, NONE, rate(season=season), AXIS).total, abs=1e-8
    )


# ---- credits -------------------------------------------------------------------------------------------------------


def test_fixed_dated_and_percentage_credits():
    one = rate(
        price_per_kwh=0.20,
        fixed_per_month=10.0,
        tax=[{"name": "sales", "frac": 0.10}],
        credit=[
            {"name": "climate", "amount": 30.0, "dates": ["2025-04-10", "2025-10-10"]},
            {"name": "rebate", "frac": 0.25},
            {"name": "autopay", "per_month": 2.0, "months": [1, 4]},
        ],
    )
    bill = price_bill(ONE, NONE, one, AXIS)
    april = 720 * 0.20 + 10.0
    assert lines(bill, "credit", "2025-04") == pytest.approx(
        {"climate": -30.0, "rebate": -0.25 * april, "autopay": -2.0}, abs=EXACT
    )
    assert lines(bill, "tax", "2025-04")["sales"] == pytest.approx(0.10 * april, abs=EXACT)  # before the rebate
    assert set(lines(bill, "credit", "2025-05")) == {"rebate"}
    assert bill.total == pytest.approx((8760 * 0.2 + 120) * (1 + 0.10 - 0.25) - 60 - 4, abs=1e-8)


def test_a_taxed_credit_comes_off_before_the_tax():
    credit = [{"name": "off", "frac": 0.25, "taxed": True}]
    one = rate(price_per_kwh=0.20, tax=[{"name": "sales", "frac": 0.10}], credit=credit)
    assert price_bill(ONE, NONE, one, AXIS).total == pytest.approx(8760 * 0.2 * 0.75 * 1.10, abs=1e-8)
    assert rate_prices(one, AXIS).buy_per_kwh[0] == pytest.approx(0.2 * 0.75 * 1.10, abs=EXACT)


@pytest.mark.parametrize(
    ("beyond", "january", "february"), [("pay", -42.56, -33.44), ("lose", 0.0, 0.0), ("carry", 0.0, 0.0)]
)
def test_a_credit_beyond_the_bill(beyond, january, february):
    """1 kW at 0.01: 7.44 in January, 6.72 in February; 50 off January, 40.16 off February."""
    credit = [
        {"name": "a", "per_month": 50.0, "months": [1], "beyond_bill": beyond},
        {"name": "b", "per_month": 40.16, "months": [2], "beyond_bill": beyond},
    ]
    bill = price_bill(ONE, NONE, rate(price_per_kwh=0.01, credit=credit), AXIS)
    assert (bill.by_month["2025-01"], bill.by_month["2025-02"]) == pytest.approx((january, february), abs=EXACT)
    march = 7.43  # the clock takes an hour
    assert bill.by_month["2025-03"] == pytest.approx(0.0 if beyond == "carry" else march, abs=EXACT)


def test_carried_credit_that_is_left_is_said():
    credit = [{"name": "a", "per_month": 1000.0, "months": [1], "beyond_bill": "carry"}]
    bill = price_bill(ONE, NONE, rate(price_per_kwh=0.01, credit=credit), AXIS)
    assert bill.total == pytest.approx(0.0, abs=EXACT)
    assert any("912.40 USD of carried credit is unused" in note for note in bill.notes)


# ---- losses, fixed charges by use, taxes on taxes ------------------------------------------------------------------


def test_the_loss_factor_is_on_energy_and_on_the_riders_that_say_so():
    riders = [{"name": "with", "per_kwh": 0.01, "with_losses": True}, {"name": "without", "per_kwh": 0.02}]
    one = rate(price_per_kwh=0.10, loss_factor=1.05, rider=riders)
    bill = price_bill(ONE, NONE, one, AXIS)
    assert lines(bill, "energy", "2025-01") == pytest.approx({"all hours": 74.4, "line losses": 0.05 * 74.4}, abs=EXACT)
    assert lines(bill, "rider", "2025-01") == pytest.approx({"with": 744 * 0.0105, "without": 744 * 0.02}, abs=EXACT)
    assert rate_prices(one, AXIS).buy_per_kwh[0] == pytest.approx(0.105 + 0.0105 + 0.02, abs=EXACT)
    riders_only = rate(price_per_kwh=0.10, loss_factor=1.05, loss_on_energy=False, rider=riders)
    assert bill.total - price_bill(ONE, NONE, riders_only, AXIS).total == pytest.approx(0.05 * 876.0, abs=1e-8)


@pytest.mark.parametrize(("kwh", "charge"), [(100.0, 5.0), (200.0, 5.0), (200.1, 9.0), (900.0, 14.0)])
def test_a_fixed_charge_by_step_of_use(kwh, charge):
    steps = [{"up_to": 200.0, "per_month": 5.0}, {"up_to": 600.0, "per_month": 9.0}, {"per_month": 14.0}]
    bill = price_bill(
        np.where(AXIS.month == 1, kwh / 744, 0.0), NONE, rate(price_per_kwh=0.0, fixed_by_use=steps), AXIS
    )
    assert lines(bill, "fixed", "2025-01") == pytest.approx({"fixed charge by use": charge}, abs=EXACT)


def test_taxes_on_taxes_in_their_order():
    taxes = [
        {"name": "sales", "frac": 0.06, "on_taxes": ["franchise", "state"]},
        {"name": "state", "frac": 0.02, "on": ["energy"], "on_taxes": ["franchise"]},
        {"name": "franchise", "frac": 0.05, "on": ["fixed", "energy"]},
    ]
    one = rate(price_per_kwh=0.1, fixed_per_month=20.0, tax=taxes)
    bill = price_bill(ONE, NONE, one, AXIS)
    franchise = 0.05 * 94.4
    state = 0.02 * (74.4 + franchise)
    sales = 0.06 * (94.4 + franchise + state)
    assert lines(bill, "tax", "2025-01") == pytest.approx(
        {"franchise": franchise, "state": state, "sales": sales}, abs=EXACT
    )
    assert tax_on(one, "energy") == pytest.approx(0.05 + 0.02 * 1.05 + 0.06 * (1.05 + 0.021), abs=EXACT)


# ---- riders by tier, period, date ----------------------------------------------------------------------------------


def test_riders_by_tier_period_and_date():
    riders = [
        {"name": "block", "tiers": [{"up_to": 500.0, "per_kwh": 0.0}, {"per_kwh": 0.01}]},
        {"name": "peak only", "per_kwh": 0.02, "periods": ["on-peak"]},
        {"name": "spring", "per_kwh": -0.005, "from": "03-15", "to": "04-10"},
        {"name": "one quarter", "per_kwh": 0.001, "from": "2025-01-01", "to": "2025-03-31"},
    ]
    bill = price_bill(ONE, NONE, two_periods(rider=riders), AXIS)
    march = lines(bill, "rider", "2025-03")
    hours = 743  # the clock takes one
    assert march["block"] == pytest.approx(0.01 * (hours - 500), abs=EXACT)
    assert march["peak only"] == pytest.approx(0.02 * 21 * 5, abs=EXACT)  # 21 weekdays
    assert march["spring"] == pytest.approx(-0.005 * 17 * 24, abs=EXACT)
    assert march["one quarter"] == pytest.approx(0.001 * hours, abs=EXACT)
    assert lines(bill, "rider", "2025-06") == pytest.approx(
        {"block": 0.01 * 220, "peak only": 0.02 * 105, "spring": 0.0, "one quarter": 0.0}, abs=EXACT
    )
    assert lines(bill, "energy", "2025-03") == pytest.approx(
        {"year on-peak": 105 * 0.30, "year off-peak": (hours - 105) * 0.10}, abs=EXACT
    )  # cut at the dates, one line each
    prices = rate_prices(two_periods(rider=riders), AXIS)
    at = [AXIS.index_of(text) for text in ("2025-03-14T12:00", "2025-03-15T12:00", "2025-04-01T18:00")]
    assert prices.buy_per_kwh[at] == pytest.approx([0.10 + 0.001, 0.10 - 0.005 + 0.001, 0.30 + 0.02 - 0.005])


def test_twelve_values_follow_the_date_within_a_billing_cycle():
    """A cycle from 15 January to 14 February: 17 days at January's values, 13 at February's."""
    reads = ["2025-01-15", "2025-02-14", "2025-03-15"]
    rider = [{"name": "fuel", "per_kwh": [0.01, 0.03] + [0.0] * 10}]
    export = {"method": "net-billing", "credit_per_kwh": [0.04, 0.09] + [0.0] * 10}
    one = rate(price_per_kwh=0.1, rider=rider, export=export, read_dates=reads)
    bill = price_bill(ONE, ONE * 0.5, one, AXIS)
    rider_kwh = 17 * 24 * 0.01 + 13 * 24 * 0.03
    assert lines(bill, "rider", "2025-02-14") == pytest.approx({"fuel": rider_kwh}, abs=EXACT)
    credit = 0.5 * (17 * 24 * 0.04 + 13 * 24 * 0.09)
    assert lines(bill, "export", "2025-02-14") == pytest.approx({"export, all hours": -credit}, abs=EXACT)
    by_cycle = price_bill(ONE, NONE, one.model_copy(update={"season_by": "cycle"}), AXIS)
    assert lines(by_cycle, "rider", "2025-02-14") == pytest.approx({"fuel": 30 * 24 * 0.03}, abs=EXACT)


def test_kwh_that_are_banked_stay_banked_where_a_rider_cuts_the_month():
    export = {"method": "net-metering", "unused": "carry-kwh"}
    sold = np.where(AXIS.month == 1, 2.0, 0.0)
    bought = np.where(AXIS.month == 2, 1.0, 0.0)
    dated = [{"name": "half", "per_kwh": 0.01, "from": "02-10", "to": "02-19"}]
    bill = price_bill(bought, sold, rate(price_per_kwh=0.1, export=export, rider=dated), AXIS)
    assert lines(bill, "energy", "2025-02") == pytest.approx({"all hours": 0.0}, abs=EXACT)
    assert lines(bill, "rider", "2025-02") == pytest.approx({"half": 0.01 * 240}, abs=EXACT)


@pytest.mark.parametrize("export", [{"method": "net-metering"}, {"method": "net-billing", "credit_per_kwh": 0.03}])
@pytest.mark.parametrize("unused", ["carry", "pay", "lose"])
def test_a_cut_that_changes_no_price_changes_no_bill(export, unused):
    netting = {"netting": "month"} if export["method"] == "net-billing" else {}
    rng = np.random.default_rng(5)
    kw = rng.gamma(1.0, 1.0, (2, AXIS.n_steps))
    keys = {"export": {**export, **netting, "unused": unused}, "fixed_per_month": 5.0}
    keys["season"] = [{"name": "y", "months": list(range(1, 13)), "periods": [PEAK, REST]}]
    nothing = [{"name": "none", "per_kwh": 0.0, "from": "03-10", "to": "05-20"}]
    totals = [price_bill(*kw, rate(**keys, **more), AXIS).total for more in ({}, {"rider": nothing})]
    assert totals[0] == pytest.approx(totals[1], abs=1e-8)


# ---- exports by hour -----------------------------------------------------------------------------------------------


def test_exports_paid_by_hour_and_month_beside_named_periods():
    evening = [0.03] * 17 + [0.50] * 3 + [0.03] * 4
    export = {
        "method": "net-billing",
        "credit_per_kwh": 0.05,
        "by_hour": [{"months": [8, 9], "days": "weekday", "credit_per_kwh": evening}],
    }
    one = two_periods(export=export)
    sold = kw_on("2025-08-13", 1.0, [12, 17, 19, 20]) + kw_on("2025-08-16", 1.0, [17]) + kw_on("2025-10-01", 1.0, [17])
    bill = price_bill(NONE, sold, one, AXIS)
    assert bill.by_kind["export"] == pytest.approx(-(0.03 + 0.50 + 0.50 + 0.03 + 0.05 + 0.05), abs=EXACT)
    prices = rate_prices(one, AXIS)
    at = AXIS.index_of("2025-08-13T17:00")
    assert (prices.sell_per_kwh[at], prices.sell_per_kwh[at + 3]) == (0.50, 0.03)


# ---- demand as a mean ----------------------------------------------------------------------------------------------


def test_demand_as_the_mean_of_several_days_peaks():
    """Two peaks of one day count once: 8 kW, 6 kW and 4 kW of three days, mean 6 kW."""
    demand = [{"name": "capacity", "per_kw": 10.0, "days_meant": 3}]
    kw = kw_on("2025-01-07", 8.0, [17]) + kw_on("2025-01-07", 7.0, [19])
    kw += kw_on("2025-01-09", 6.0, [8]) + kw_on("2025-01-20", 4.0, [3])
    bill = price_bill(kw, NONE, rate(price_per_kwh=0.0, demand=demand), AXIS)
    assert lines(bill, "demand") == pytest.approx({"capacity": 60.0}, abs=EXACT)


# ---- bad input -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        (
            {"credit": [{"name": "big", "per_month": 1000.0}]},
            'rate.credit "big" exceeds the bill of 2025-01 and may not take it below zero, not 1000.0; say what becomes '
            'of the rest: beyond_bill = "pay", "carry" or "lose"',
        ),
        ({"event": [EVENT | {"dates": ["2024-07-14"]}]}, 'rate.event "critical".dates lies outside 2025, not'),
        ({"credit": [{"name": "c", "amount": 1.0, "dates": ["2024-04-10"]}]}, 'credit "c".dates lies outside 2025'),
        (
            {"rider": [{"name": "old", "per_kwh": 0.01, "from": "2024-01-01", "to": "2024-03-31"}]},
            'rate.rider "old".from, to never applies in 2025',
        ),
        (
            {"demand": [{"name": "d", "per_kw": 1.0, "months": [6], "days": "weekday", "hours": "00:00-00:30"}]},
            "has a bound inside a step",
        ),
    ],
)
def test_terms_that_do_not_fit_the_year_are_one_line_with_the_way_out(keys, message):
    with pytest.raises(BadInput) as error:
        one = rate(price_per_kwh=0.1, **keys)
        rate_prices(one, AXIS)
        price_bill(ONE, NONE, one, AXIS)
    assert message in str(error.value) and "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        (
            {"tax": [{"name": "a", "frac": 0.1, "on_taxes": ["b"]}, {"name": "b", "frac": 0.1, "on_taxes": ["a"]}]},
            "rate.tax.on_taxes are on each other in a loop",
        ),
        ({"tax": [{"name": "a", "frac": 0.1, "on_taxes": ["b"]}]}, 'tax "a".on_taxes is not a tax of the rate'),
        ({"rider": [{"name": "r", "per_kwh": 0.1, "periods": ["on-peek"]}]}, 'rider "r".periods is not a period'),
        ({"rider": [{"name": "r"}]}, "needs one of per_kwh and tiers"),
        ({"rider": [{"name": "r", "per_kwh": 0.1, "from": "03-01"}]}, 'needs both "from" and "to"'),
        ({"event": [{"name": "e", "dates": ["2025-07-14"]}]}, "changes nothing"),
        ({"event": [EVENT | {"dates": ["14 July"]}]}, "must be an ISO date"),
        ({"credit": [{"name": "c"}]}, 'credit "c" has no amount'),
        ({"credit": [{"name": "c", "per_month": 1.0, "frac": 0.1}]}, "has per_month and frac"),
        ({"holidays": ["new-year", "labour-day"]}, "holidays is not a holiday that is known by name, not 'labour-day'"),
        ({"loss_factor": 0.9}, "loss_factor must be at least 1"),
        (
            {"export": {"method": "net-billing", "by_hour": [{"credit_per_kwh": [0.1] * 23}]}},
            "by_hour",
        ),
        (
            {"event": [EVENT], "export": {"method": "net-metering", "unused": "carry-kwh"}},
            "has no price of its own",
        ),
    ],
)
def test_terms_that_contradict_themselves_are_refused(keys, message):
    with pytest.raises(BadInput, match=message.replace('"', '"').replace("(", r"\(")):
        rate(price_per_kwh=0.1, **keys)


def test_a_demand_charge_that_never_applies_is_refused():
    demand = [{"name": "winter nights", "per_kw": 1.0, "months": [1], "days": "sat", "hours": "00:00-01:00"}]
    rate_prices(rate(price_per_kwh=0.1, demand=demand), AXIS)  # it does
    one = rate(price_per_kwh=0.1, demand=demand, read_dates=["2025-03-01", "2025-04-01"])
    with pytest.raises(BadInput, match='rate.demand "winter nights" never applies in 2025'):
        rate_prices(one, AXIS)


# ---- many designs at once ------------------------------------------------------------------------------------------


def test_designs_side_by_side_are_billed_as_one_by_one():
    rng = np.random.default_rng(11)
    one = two_periods(
        event=[EVENT, {"name": "save", "dates": ["2025-08-01"], "rebate_per_kwh": 0.5}],
        credit=[
            {"name": "r", "frac": 0.1},
            {"name": "a", "amount": 900.0, "dates": ["2025-05-05"], "beyond_bill": "carry"},
        ],
        rider=[{"name": "b", "tiers": [{"up_to": 300.0, "per_kwh": 0.01}, {"per_kwh": 0.02}]}],
        fixed_by_use=[{"up_to": 700.0, "per_month": 3.0}, {"per_month": 8.0}],
        tax=[{"name": "s", "frac": 0.05, "on_taxes": ["f"]}, {"name": "f", "frac": 0.03, "on": ["energy"]}],
        demand=[{"name": "d", "per_kw": 2.0, "days_meant": 3}],
        loss_factor=1.04,
    )
    calendar = rate_calendar(one, AXIS)
    sums = [meter_sums(kw, NONE, one, calendar) for kw in rng.gamma(1.0, 1.0, (3, AXIS.n_steps))]
    names = ("bought_kwh", "sold_kwh", "peak_kw", "saved_kwh")
    many = MeterSums(**{name: np.stack([getattr(own, name) for own in sums]) for name in names})
    singly = [float(bill_amounts(own, one, calendar).total) for own in sums]
    assert bill_amounts(many, one, calendar).total == pytest.approx(singly, abs=1e-8)


@pytest.mark.parametrize("factor", [0.5, 3.0])
def test_money_scales_with_every_amount_of_the_rate(factor):
    """All amounts of a rate times a factor: the bill times the factor, line by line."""

    def terms(k):
        return two_periods_at(
            k,
            event=[EVENT | {"price_per_kwh": k}, {"name": "save", "dates": ["2025-08-01"], "rebate_per_kwh": 0.5 * k}],
            credit=[{"name": "r", "frac": 0.1}, {"name": "a", "amount": 40.0 * k, "dates": ["2025-05-05"]}],
            rider=[{"name": "d", "per_kwh": 0.01 * k, "from": "02-10", "to": "06-20"}],
            fixed_by_use=[{"up_to": 700.0, "per_month": 3.0 * k}, {"per_month": 8.0 * k}],
            tax=[{"name": "s", "frac": 0.05, "on_taxes": ["f"]}, {"name": "f", "frac": 0.03, "on": ["energy"]}],
            demand=[{"name": "d", "per_kw": 2.0 * k, "days_meant": 3}],
            loss_factor=1.04,
        )

    kw = np.random.default_rng(4).gamma(1.0, 1.0, AXIS.n_steps)
    one, scaled = (price_bill(kw, NONE, terms(k), AXIS) for k in (1.0, factor))
    assert [line.amount for line in scaled.lines] == pytest.approx([factor * line.amount for line in one.lines])


def two_periods_at(k, **keys):
    periods = [PEAK | {"price_per_kwh": 0.30 * k}, REST | {"price_per_kwh": 0.10 * k}]
    return rate(season=[{"name": "year", "months": list(range(1, 13)), "periods": periods}], **keys)


def test_four_quarter_hours_are_one_hour():
    """Events, riders by date, rebates and means of daily peaks on a finer axis of the same kW."""
    one = two_periods(
        event=[EVENT, {"name": "save", "dates": ["2025-08-01"], "hours": "16:00-20:00", "rebate_per_kwh": 0.5}],
        rider=[{"name": "d", "per_kwh": 0.01, "from": "02-10", "to": "06-20"}],
        demand=[{"name": "d", "per_kw": 2.0, "days_meant": 3}],
        export={"method": "net-billing", "by_hour": [{"credit_per_kwh": [0.01 * k for k in range(24)]}]},
    )
    kw = np.random.default_rng(6).gamma(1.0, 1.0, (2, AXIS.n_steps))
    quarters = hours_of_year(2025, "America/New_York", 15)
    coarse, fine = price_bill(*kw, one, AXIS), price_bill(*kw.repeat(4, axis=1), one, quarters)
    assert [line.amount for line in fine.lines] == pytest.approx([line.amount for line in coarse.lines], abs=1e-9)


def test_twelve_fixed_charges_follow_the_date_within_a_cycle():
    """A cycle from 15 January to 14 February: 17 days of January at 31 a month, 13 of February at 14."""
    reads = ["2025-01-15", "2025-02-14", "2025-03-15"]
    one = rate(price_per_kwh=0.0, fixed_per_month=[31.0, 14.0] + [5.0] * 10, read_dates=reads)
    bill = price_bill(ONE, NONE, one, AXIS)
    assert bill.by_month["2025-02-14"] == pytest.approx((17 * 31 + 13 * 14) / 30, abs=EXACT)
    by_cycle = price_bill(ONE, NONE, one.model_copy(update={"season_by": "cycle"}), AXIS)
    assert by_cycle.by_month["2025-02-14"] == pytest.approx(14.0, abs=EXACT)
    months = price_bill(ONE, NONE, one.model_copy(update={"read_dates": None}), AXIS)
    assert (months.by_month["2025-01"], months.by_month["2025-12"]) == pytest.approx((31.0, 5.0))
