"""Rates side by side. All rates and houses here are invented."""

import io
import json
from dataclasses import replace

import pytest
from rich.console import Console

from profiles.noun import BadInput
from profiles.rate.rate import Rate
from simulate import rates_beside
from simulate.document.rates import rate_cells
from simulate.document.study import study
from simulate.house.bills import bills_of
from simulate.house.targets import causal_plans
from simulate.house.year import run_year
from simulate.show.plot.plates import plates_of
from simulate.show.report.tables import tables_of
from simulate.show.terminal.money import show_rates
from tests.site.small_site import circuit, small_site, unit

PEAK = {"name": "on", "price_per_kwh": 0.40, "hours": "16:00-21:00"}
OFF = {"name": "off", "price_per_kwh": 0.10}
TWO = {"season": [{"name": "all", "months": list(range(1, 13)), "periods": [PEAK, OFF]}]}


def house(**tables):
    """1 kW all day, 10 kWh in parallel."""
    units = [unit("both", usable_kwh=10.0, charging_circuit={"breaker_a": 30, "volts": 240})]
    keys = {
        "rate": {"price_per_kwh": 0.16, "name": "flat here"},
        "subpanel": {"mode": "interactive"},
        "service": {"other_load": {"kw": 1.0}},
        **tables,
    }
    return small_site([circuit("Lights", 0.0)], units, **keys)


def file_of(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text)
    return str(path)


def test_each_rate_without_and_with_the_battery_against_today(tmp_path):
    path = file_of(
        tmp_path,
        "two.toml",
        'name = "two prices"\n[[season]]\nname = "all"\nmonths = [1,2,3,4,5,6,7,8,9,10,11,12]\n'
        'periods = [{ name = "on", price_per_kwh = 0.40, hours = "16:00-21:00" }, { name = "off", price_per_kwh = 0.10 }]\n',
    )
    beside = rates_beside(house(), [path])
    today, two = beside.rows
    assert (today.rate, today.is_today, beside.today) == ("flat here", True, pytest.approx(8760 * 0.16))
    assert two.without_battery == pytest.approx(365 * (5 * 0.40 + 19 * 0.10), abs=1e-6)
    assert two.change_without == pytest.approx(two.without_battery - beside.today, abs=1e-9)
    assert two.saving > 100.0 and two.plan in ("time-of-use", "least-cost")
    assert today.saving <= 0.0 and today.plan == "keep-full"  # one price: the units only draw
    assert beside.text.startswith("Without the battery one stays with flat here (as much as today")
    assert json.loads(json.dumps(beside.document()))["cheapest_with"] in ("two prices", "flat here")


def test_the_plan_is_the_best_of_those_that_know_no_future():
    site = house(rate=TWO)
    row = rates_beside(site, ["rate"]).rows[0]
    bills = {}
    for plan in causal_plans(run_year(site).house, run_year(site).asked.prices):
        bills[plan] = bills_of(run_year(site.with_values({"operation.plan": plan}))).with_battery.total
    assert row.with_battery == pytest.approx(min(bills.values()), abs=1e-6)
    assert "best-possible" not in bills


def test_today_stands_first_and_is_not_repeated():
    site = house(rate_today={"price_per_kwh": 0.20, "name": "old"}, rate=TWO | {"name": "new"})
    beside = rates_beside(site, ["rate", "rate_today", "flat"])
    assert [row.rate for row in beside.rows] == ["old", "new", "Flat (invented)"]
    assert beside.rows[1].with_battery == pytest.approx(
        rates_beside(site, [Rate.model_validate(site.rate)]).rows[1].with_battery
    )


def test_rates_of_one_name_are_told_apart():
    site = house(rate={"price_per_kwh": 0.30, "name": "Flat (invented)"})
    names = [row.rate for row in rates_beside(site, ["flat"]).rows]
    assert names == ["Flat (invented), rate", "Flat (invented), library:flat"]


def test_printed_changes_are_differences_of_printed_bills():
    for row in rate_cells(rates_beside(house(rate=TWO), ["flat", "tiered"])):
        number = lambda text: round(float(text.replace(",", "")) * 100)
        paid = number(rate_cells(rates_beside(house(rate=TWO), ["flat"]))[0][1])
        assert number(row[2]) == number(row[1]) - paid and number(row[4]) == number(row[3]) - paid


@pytest.mark.parametrize(
    ("rates", "message"),
    [
        ([], "--rates names no rate"),
        (["flatt"], "--rates .*not 'flatt'; a file, or of the library: .*flat"),
        ([Rate(price_per_kwh=0.1, currency="CAD")], "must be the currency of the new rate"),
    ],
)
def test_wrong_rates_are_refused(rates, message):
    with pytest.raises(BadInput, match=message):
        rates_beside(house(), rates)


@pytest.mark.parametrize("rate", [{"source": "library:two_period"}, {"price_per_kwh": 0.2}, TWO])
def test_another_source_is_another_rate_whatever_the_site_had(rate):
    site = house(rate=rate)
    for name in ("flat", "tiered", "two_period", "demand"):
        alone = house(rate={"source": f"library:{name}"})
        assert site.with_values({"rate.source": f"library:{name}"}).rate == alone.rate


def test_the_report_and_the_terminal_have_it_where_it_is_given():
    site = house(rate=TWO)
    beside = rates_beside(site, ["flat"])
    result = replace(study(site), beside=beside)
    assert tables_of(result)["rates"].rows == tuple(rate_cells(beside))
    assert "rates" not in tables_of(study(site))
    plate = next(one for one in plates_of(result) if one.name == "rates")
    assert plate.text == beside.text and [row[0] for row in plate.rows] == [row.rate for row in beside.rows]
    console = Console(width=160, record=True, file=io.StringIO())
    show_rates(beside, console)
    text = " ".join(console.export_text().split())
    assert beside.text in text and all(cell in text for cells in rate_cells(beside) for cell in cells)
