"""The cash flow of the whole change, its table and its sentence. All sites and prices are invented."""

import re

import numpy as np
import pytest

from profiles.noun import BadInput, read_noun
from simulate.bill.cash_flow import battery_flow, solar_flow, whole_flow
from simulate.bill.discount import npv
from simulate.document.cash_table import cash_cells, printed_years
from simulate.document.money_lines import money_lines, paid_text
from simulate.document.worth import worth_of
from simulate.house.bills import bills_of
from simulate.house.year import run_year
from simulate.site.money import Money
from tests.site.small_site import farmhouse

EXACT = 1e-9
SOLAR = {"installed_price": 9000.0, "fade_frac_per_year": 0.01}


def money(**keys):
    return read_noun(Money, keys, table="money")


def demo(solar=SOLAR, existing=False, **more):
    tables = {"years": 12, "solar": solar, "price_escalation_frac": 0.02, **more}
    site = farmhouse().with_values({"solar.existing": existing, "money": tables})
    run = run_year(site)
    return run, worth_of(run, bills_of(run))


@pytest.fixture(scope="module")
def priced():
    return demo()


# ---- the whole change ----------------------------------------------------------------------------------------------


def test_the_whole_is_its_parts_and_the_loan():
    _, worth = demo(loan={"amount": 5000.0, "rate_frac": 0.06, "years": 7})
    assert list(worth.parts) == ["rate", "solar", "battery"]
    parts = sum(part.npv for part in worth.parts.values())
    assert worth.flow.npv == pytest.approx(parts + npv(0.05, worth.flow.loan), abs=EXACT)
    assert worth.flow.net == pytest.approx(sum(part.net for part in worth.parts.values()) + worth.flow.loan, abs=EXACT)


def test_year_one_is_the_change_against_today(priced):
    run, worth = priced
    assert worth.flow.saving[1] == pytest.approx(-bills_of(run).change, abs=EXACT)


def test_a_later_year_is_the_bill_with_what_is_left_of_roof_and_cells(priced):
    """The last year by hand: roof and cells scaled in the site file, its bills against today's, prices risen."""
    run, worth = priced
    last, solar = worth.money.years - 1, 1.0 - 0.01 * (worth.money.years - 1)
    site = run.house.site
    # roof and inverter made smaller alike give so much less in every hour
    keys = {"solar.dc_kw": site.solar.dc_kw * solar, "solar.ac_kw": site.solar.ac_kw * solar}
    keys |= {
        f'battery["{group.name}"].usable_kwh': group.unit_kwh * worth.life.capacity_frac[last] for group in site.battery
    }
    keys |= {f'battery["{group.name}"].usable_kwh_ac': None for group in site.battery}
    aged = bills_of(run_year(site.with_values(keys)))
    assert worth.flow.saving[-1] == pytest.approx(-aged.change * 1.02**last, abs=1e-6)


def test_solar_without_a_price_is_left_out_and_said_so():
    _, worth = demo(solar=None)
    assert list(worth.parts) == ["rate", "battery"]
    assert any("leaves solar out" in note for note in worth.notes)


def test_a_roof_that_stands_already_costs_nothing_and_does_not_fade():
    _, worth = demo(existing=True)
    assert list(worth.parts) == ["rate", "battery"] and worth.solar_price is None
    assert (worth.life.solar_frac == 1.0).all()
    assert "money.solar is not counted: the roof stands already" in worth.notes


# ---- incentives, costs, renewal ------------------------------------------------------------------------------------


def test_incentives_as_a_share_of_the_price():
    credit = [{"name": "credit", "frac": 0.3, "year": 1}, {"name": "rebate", "frac": 0.5, "at_most": 400.0}]
    terms = money(years=3, discount_rate_frac=0.0, other_installed_price=1000.0, incentives=credit)
    flow = battery_flow(terms, saving_per_year=0.0, installed_price=4000.0)
    assert flow.incentive.tolist() == [400.0, 1500.0, 0.0, 0.0]
    roof = money(years=3, solar={"price_per_kw": 2000.0, "incentives": credit[:1]})
    assert roof.solar.price_of(4.5) == 9000.0
    assert solar_flow(roof, saving_per_year=0.0, installed_price=9000.0).incentive.tolist() == [0.0, 2700.0, 0.0, 0.0]


def test_a_yearly_cost_that_rises():
    terms = money(years=3, yearly_cost=100.0, yearly_cost_escalation_frac=0.1)
    flow = battery_flow(terms, saving_per_year=0.0, installed_price=0.0)
    assert flow.yearly_cost == pytest.approx([0.0, -100.0, -110.0, -121.0], abs=EXACT)


def test_renewal_is_seen_by_saving_by_year():
    again = [{"name": "cells", "year": 6, "price": 3000.0, "renews_capacity": True}]
    _, worth = demo(replacements=again)
    saving = worth.document()["saving_by_year"]
    assert saving[6:] == saving[:6]
    assert worth.document()["by_year"][7]["capacity_frac"] == 1.0


@pytest.mark.parametrize(
    ("incentive", "message"),
    [
        ({"name": "a"}, "needs one of amount and frac"),
        ({"name": "a", "amount": 1.0, "frac": 0.3}, "needs one of amount and frac"),
        ({"name": "a", "amount": 1.0, "at_most": 3.0}, "at_most limits a share"),
    ],
)
def test_an_incentive_is_an_amount_or_a_share(incentive, message):
    with pytest.raises(BadInput, match=message):
        farmhouse().with_values({"money": {"incentives": [incentive]}})


def test_a_roof_has_one_price():
    with pytest.raises(BadInput, match="needs one of installed_price and price_per_kw"):
        farmhouse().with_values({"money": {"solar": {"fade_frac_per_year": 0.01}}})


# ---- what is printed -----------------------------------------------------------------------------------------------


def test_every_number_of_the_sentence_is_a_number_of_the_table(priced):
    for _, worth in (priced, demo(years=30), demo(solar=SOLAR | {"installed_price": 900.0}, years=25)):
        table = f"money over {worth.money.years} years " + " ".join(
            text for line in money_lines(worth, worth.document()) for text in line
        )
        numbers = lambda text: re.findall(r"[+-]?\d(?:[\d,]*\d)?(?:\.\d+)?", text)
        assert set(numbers(paid_text(worth))) <= set(numbers(table))


def test_it_is_said_where_the_change_pays_and_the_battery_does_not():
    _, worth = demo(solar=SOLAR | {"installed_price": 100.0}, years=25)
    assert worth.flow.npv > 0.0 > worth.parts["battery"].npv
    assert f"The battery in it is worth {worth.parts['battery'].npv:+,.2f} USD: bought for outages." in paid_text(worth)
    _, dear = demo()
    assert paid_text(dear).startswith("Bought for outages: over 12 years, at a discount rate of 5.0%")


def test_paid_back_is_the_year_from_which_the_discounted_sum_stays_above_zero():
    dips = [{"name": "inverter", "year": 4, "price": 250.0}]
    terms = money(years=8, discount_rate_frac=0.0, replacements=dips)
    flow = whole_flow(terms, {"battery": battery_flow(terms, saving_per_year=100.0, installed_price=200.0)})
    # -200 -100 0 100 -50 50: paid, lost again, paid for good in year 5
    assert flow.paid_back_year == 5
    assert battery_flow(terms, saving_per_year=40.0, installed_price=200.0).paid_back_year is None


def test_equal_payments_are_printed_equal_and_rows_add_up():
    _, worth = demo(loan={"amount": 5000.0, "rate_frac": 0.061, "years": 9})
    by_year = worth.document()["by_year"]
    columns, rows = printed_years(by_year)
    assert len({row["loan"] for row in rows[1:10]}) == 1
    so_far = 0.0
    for row in rows:
        assert row["net"] == pytest.approx(sum(row[name] for name in columns), abs=EXACT)
        so_far += row["net"]
        assert row["so_far"] == pytest.approx(so_far, abs=1e-6)
    exact = np.array([row["cumulative"] for row in by_year])
    assert np.abs([row["so_far"] for row in rows] - exact).max() <= 0.005 * len(columns) * len(rows)
    header, cells = cash_cells(by_year)
    assert len(header) == len(cells[0]) and "loan" in header
