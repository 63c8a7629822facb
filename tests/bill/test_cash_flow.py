"""Cash flow, ageing and ranges by closed form. All prices here are invented."""

import numpy as np
import pytest

from profiles.noun import BadInput, read_noun
from simulate.bill.ageing import age, full_cycles, warranty_end
from simulate.bill.cash_flow import cash_flow
from simulate.bill.discount import annuity_factor, irr, npv, payback_y
from simulate.document.ranges import tornado
from simulate.site.money import Money

EXACT = 1e-9


def money(**keys):
    return read_noun(Money, keys, table="money")


# ---- ageing --------------------------------------------------------------------------------------------------------


def test_s38_two_percent_a_year():
    linear, compound = age(10, fade_frac_per_year=0.02), age(10, fade_frac_per_year=0.02, shape="compound")
    assert linear.year_one_equivalents == pytest.approx(9.1, abs=EXACT)
    assert compound.year_one_equivalents == pytest.approx(9.146360, abs=1e-6)
    assert 10 / linear.year_one_equivalents - 1 == pytest.approx(0.0989, abs=5e-5)  # what a flat assumption overstates


def test_s38_thirty_mwh_last_8_2_years():
    end = warranty_end(throughput_kwh=30e3, throughput_kwh_per_year=3650.0, fade_frac_per_year=0.0)
    assert (end.year, end.by) == (pytest.approx(8.219, abs=5e-4), "throughput")


def test_a_fading_battery_takes_longer_to_use_its_throughput():
    end = warranty_end(throughput_kwh=30e3, throughput_kwh_per_year=3650.0, fade_frac_per_year=0.02)
    # 3650 x (1 + .98 + ... + .86) = 27,156 after eight years, 3650 x .84 = 3,066 in the ninth
    assert end.year == pytest.approx(8 + (30e3 - 3650 * 7.44) / (3650 * 0.84), abs=EXACT)


@pytest.mark.parametrize(
    ("terms", "year", "by"),
    [
        ({"years": 10, "throughput_kwh": 1e6, "retention_frac": 0.7}, 10.0, "years"),
        ({"years": 20, "throughput_kwh": 1e6, "retention_frac": 0.7}, 15.0, "retention"),
        ({"years": 20, "throughput_kwh": 1000.0, "retention_frac": 0.7}, 1000 / 3650, "throughput"),
        ({}, np.inf, "none"),
    ],
)
def test_a_warranty_ends_at_its_first_term(terms, year, by):
    end = warranty_end(**terms, fade_frac_per_year=0.02, throughput_kwh_per_year=3650.0)
    assert (end.year, end.by) == (pytest.approx(year), by)


def test_use_fades_too_and_capacity_never_falls_below_nothing():
    ageing = age(40, fade_frac_per_year=0.0, throughput_kwh_per_year=1000.0, fade_frac_per_kwh=0.1 / 1000)
    assert ageing.capacity_frac[:3] == pytest.approx([1.0, 0.9, 0.81])
    assert age(100, fade_frac_per_year=0.02).capacity_frac.min() == 0.0


@pytest.mark.parametrize(
    "bad",
    [{"fade_frac_per_year": 2.0}, {"fade_frac_per_year": float("nan")}, {"fade_frac_per_year": 0.02, "shape": "cubic"}],
)
def test_bad_ageing_is_refused(bad):
    with pytest.raises(BadInput):
        age(10, **bad)


def test_full_cycles_need_a_capacity():
    assert full_cycles([4.0, 8.0], 6.0) == 2.0
    with pytest.raises(BadInput, match="usable_kwh must be above 0, not 0"):
        full_cycles([1.0], 0.0)


# ---- cash flow -----------------------------------------------------------------------------------------------------


def test_saving_fades_and_escalates_from_the_second_year():
    plan = money(years=3, discount_rate_frac=0.05, price_escalation_frac=0.10)
    flow = cash_flow(plan, saving_per_year=100.0, installed_price=250.0, capacity_frac=[1.0, 0.98, 0.96])
    assert flow.saving == pytest.approx([0.0, 100.0, 107.8, 116.16], abs=EXACT)
    assert flow.net[0] == -250.0


def test_a_series_of_savings_is_taken_as_simulated():
    flow = cash_flow(money(years=2), saving_per_year=[100.0, 70.0], installed_price=1.0, capacity_frac=[1.0, 0.5])
    assert flow.saving.tolist() == [0.0, 100.0, 70.0]


@pytest.mark.parametrize("saving", [-26.28, 0.0, 3.0])
def test_small_and_negative_savings_are_returned_as_they_are(saving):
    flow = cash_flow(money(years=10), saving_per_year=saving, installed_price=5000.0)
    assert flow.saving[1] == saving
    assert flow.npv < -4900
    assert flow.discounted_payback_y is None
    if saving <= 0:
        assert (flow.irr, flow.simple_payback_y) == (None, None)


def test_every_part_falls_into_its_year():
    plan = money(
        years=5,
        discount_rate_frac=0.0,
        other_installed_price=200.0,
        yearly_cost=10.0,
        incentives=[{"name": "rebate", "amount": 80.0}, {"name": "credit", "amount": 50.0, "year": 1}],
        replacements=[{"name": "inverter", "year": 3, "price": 120.0}],
        loan={"amount": 300.0, "rate_frac": 0.0, "years": 3},
    )
    flow = cash_flow(plan, saving_per_year=100.0, installed_price=400.0)
    assert flow.net.tolist() == [-600 + 80 + 300, 100 - 10 + 50 - 100, 90 - 100, 90 - 100 - 120, 90, 90]
    assert flow.simple_payback_y == pytest.approx(520 / 90)
    assert flow.savings_to_investment == pytest.approx(450 / (600 - 80 - 50 + 120))
    assert flow.to_frame().loc[3, "replacement"] == -120.0


def test_a_loan_at_the_discount_rate_changes_no_present_value():
    with_loan = money(years=10, discount_rate_frac=0.06, loan={"amount": 900.0, "rate_frac": 0.06, "years": 7})
    flows = [
        cash_flow(plan, saving_per_year=100.0, installed_price=1000.0)
        for plan in (with_loan, money(years=10, discount_rate_frac=0.06))
    ]
    assert flows[0].npv == pytest.approx(flows[1].npv, abs=EXACT)
    assert flows[0].discounted_payback_y == flows[1].discounted_payback_y


def test_a_replaced_battery_is_as_new_in_the_year_after():
    plan = money(years=4, replacements=[{"name": "cells", "year": 2, "price": 10.0, "renews_capacity": True}])
    flow = cash_flow(plan, saving_per_year=100.0, installed_price=1.0, capacity_frac=[1.0, 0.9, 0.8, 0.7])
    assert flow.capacity_frac.tolist() == [1.0, 1.0, 0.9, 1.0, 0.9]


def test_cost_of_a_kwh_shifted_and_of_one_backed_up():
    plan = money(years=10, discount_rate_frac=0.05)
    flow = cash_flow(
        plan, saving_per_year=0.0, installed_price=1000.0, shifted_kwh_per_year=500.0, backed_up_kwh_per_year=4.0
    )
    assert flow.cost_per_kwh_shifted == pytest.approx(1000 / (500 * annuity_factor(0.05, 10)), abs=EXACT)
    assert flow.cost_per_kwh_backed_up == pytest.approx(125 * flow.cost_per_kwh_shifted, abs=EXACT)
    none = cash_flow(plan, saving_per_year=0.0, installed_price=1000.0)
    assert (none.cost_per_kwh_shifted, none.cost_per_kwh_backed_up) == (None, None)


def test_the_worth_of_unserved_energy_stands_apart():
    flows = [
        cash_flow(
            money(years=5, unserved_worth_per_kwh=worth),
            saving_per_year=10.0,
            installed_price=100.0,
            backed_up_kwh_per_year=4.0,
        )
        for worth in (0.0, 25.0)
    ]
    assert flows[0].npv == flows[1].npv
    assert np.array_equal(flows[0].net, flows[1].net)
    assert flows[1].unserved_worth.tolist() == [0.0, *[100.0] * 5]


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"yeers": 3}, "money.yeers is not a known key, not 3; did you mean years?"),
        ({"years": 0}, "money.years must be at least 1, not 0"),
        (
            {"years": 5, "incentives": [{"name": "late", "amount": 1.0, "year": 6}]},
            'incentives "late".year lies beyond',
        ),
        ({"years": 5, "loan": {"amount": 1.0, "rate_frac": 0.1, "years": 6}}, "loan.years lies beyond years = 5"),
        (
            {"incentives": [{"name": "rebate", "amount": 1.0, "last_date": "soon"}]},
            "last_date must be an ISO date, not 'soon'",
        ),
        ({"discount_rate_frac": float("nan")}, "money.discount_rate_frac should be a finite number"),
    ],
)
def test_wrong_money_is_refused(keys, message):
    with pytest.raises(BadInput, match=message):
        money(**keys)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"saving_per_year": [1.0, 2.0]}, "saving_per_year must be one finite number, or one for each of 15 years"),
        ({"saving_per_year": float("nan")}, "saving_per_year must be one finite number"),
        ({"saving_per_year": 1.0, "installed_price": float("nan")}, "installed_price must not be negative, not nan"),
    ],
)
def test_wrong_flows_are_refused(keys, message):
    with pytest.raises(BadInput, match=message):
        cash_flow(money(), **{"installed_price": 1.0, **keys})


# ---- rates of return -----------------------------------------------------------------------------------------------


def test_of_several_returns_the_one_nearest_to_zero_is_given():
    flows = np.convolve(np.convolve([-1.0, 1.1], [1.0, -1.5]), [1.0])  # roots at 10 % and 50 %
    assert irr(flows) == pytest.approx(0.10, abs=1e-10)


def test_no_return_where_the_sign_never_changes_or_no_rate_fits():
    assert irr([1.0, 2.0]) is None
    assert irr([0.0, 0.0]) is None
    assert irr([1.0, -2.0, 1.01]) is None  # a parabola that never touches zero


def test_returns_equal_numpy_financial_on_random_flows():
    library = pytest.importorskip("numpy_financial")
    rng = np.random.default_rng(11)
    for _ in range(50):
        flows = np.concatenate(([-rng.uniform(50, 200)], rng.uniform(1, 40, 12)))
        assert irr(flows) == pytest.approx(library.irr(flows), abs=1e-9)
        assert npv(0.07, flows) == pytest.approx(library.npv(0.07, flows), abs=1e-9)


def test_whole_cash_flows_equal_numpy_financial():
    """Loan payments, dated incentives and replacements, put together with the library's own functions."""
    library = pytest.importorskip("numpy_financial")
    rng = np.random.default_rng(12)
    for _ in range(40):
        years, rate, rise = int(rng.integers(5, 25)), rng.uniform(0.01, 0.12), rng.uniform(-0.02, 0.06)
        borrowed, term, price = rng.uniform(0, 6000), int(rng.integers(1, years + 1)), rng.uniform(4000, 12000)
        rebate, again, upkeep, saving = (
            rng.uniform(0, 2000),
            rng.uniform(0, 3000),
            rng.uniform(0, 60),
            rng.uniform(300, 2000),
        )
        paid, bought = int(rng.integers(0, years + 1)), int(rng.integers(1, years + 1))
        plan = money(
            years=years,
            discount_rate_frac=rate,
            price_escalation_frac=rise,
            yearly_cost=upkeep,
            incentives=[{"name": "i", "amount": rebate, "year": paid}],
            replacements=[{"name": "r", "price": again, "year": bought}],
            loan={"amount": borrowed, "rate_frac": rate / 2, "years": term},
        )
        flow = cash_flow(plan, saving_per_year=saving, installed_price=price)
        by_hand = np.zeros(years + 1)
        by_hand[0] = borrowed - price
        by_hand[1:] = [library.fv(rise, k, 0, -saving) - upkeep for k in range(years)]
        by_hand[1 : term + 1] += library.pmt(rate / 2, term, borrowed)
        by_hand[paid] += rebate
        by_hand[bought] -= again
        assert flow.net == pytest.approx(by_hand, abs=1e-8)
        assert flow.npv == pytest.approx(library.npv(rate, by_hand), abs=1e-8)
        if (np.diff(np.sign(by_hand)) != 0).sum() == 1:  # one change of sign, one return
            assert flow.irr == pytest.approx(library.irr(by_hand), abs=1e-8)


def test_payback_lies_inside_the_year():
    assert payback_y([-90.0, 60.0, 60.0]) == 1.5
    assert payback_y([0.0, 1.0]) == 0.0
    assert payback_y([-90.0, 10.0]) is None


# ---- ranges --------------------------------------------------------------------------------------------------------


def test_a_tornado_varies_one_input_at_a_time_widest_first():
    rows = tornado(
        lambda price, load, fade: price * load - 100 * fade,
        {"fade": (0.0, 0.02, 0.04), "price": (0.1, 0.2, 0.4), "load": (90.0, 100.0, 110.0)},
    )
    assert [row.name for row in rows] == ["price", "fade", "load"]
    assert rows[0].at_high == pytest.approx(38.0)
    assert rows[0].swing == pytest.approx(30.0)


def test_a_tornado_sees_a_result_that_bends_back():
    assert tornado(lambda x: -x * x, {"x": (-1.0, 0.0, 1.0)})[0].swing == 1.0


def test_an_input_out_of_order_is_refused():
    with pytest.raises(BadInput, match="inputs.x must be low, mid, high in order"):
        tornado(lambda x: x, {"x": (2.0, 1.0, 3.0)})
