"""Terms of tariffs that utilities print, with their arithmetic.

- Off-peak holidays of Ontario's time-of-use prices in 2017: read on a local distributor's page (bluewaterpower.com).
- A peak-time rebate of $1.25 for each kWh below the baseline (Baltimore Gas and Electric, Energy Savings Days): from
  memory, its baseline rule is not known to us; ours is stated in the test.
- Ontario bills: energy times a loss factor of 1.0295 (Toronto Hydro, total loss factor of a secondary customer below
  5,000 kW), 13 % sales tax on the bill before the province's rebate, and the rebate (13.1 % from November 2024) on the
  bill before tax: all from memory. The sum is ours.
- A capacity charge on the mean of the three highest hours of a month, each of another day, 81.25 SEK a kW (Ellevio,
  Stockholm, 2025): from memory.
"""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import read_noun
from profiles.rate.prices import rate_prices
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill
from tests.published.test_against_ontario_rpp import HOLIDAYS_2017, winter

EXACT = 1e-9


def test_the_list_of_ontario_is_the_utilitys():
    axis = hours_of_year(2017, "America/Toronto")
    assert [day.isoformat() for day in rate_prices(winter(holidays="CA-ON"), axis).holidays] == list(HOLIDAYS_2017)


def test_the_civic_holiday_is_in_the_list_of_every_year():
    """The first Monday of August."""
    for year in range(2020, 2030):
        axis = hours_of_year(year, "America/Toronto")
        own = [day for day in rate_prices(winter(holidays="CA-ON"), axis).holidays if day.month == 8]
        assert own == [dt.date(year, 8, 1) + dt.timedelta(days=(-dt.date(year, 8, 1).weekday()) % 7)]


def test_a_peak_time_rebate():
    axis = hours_of_year(2025, "America/New_York")
    event = {"name": "savings day", "dates": ["2025-07-16"], "hours": "12:00-18:00", "rebate_per_kwh": 1.25}
    rate = read_noun(Rate, {"price_per_kwh": 0.15, "event": [event]}, table="rate")
    on = axis.day == (dt.date(2025, 7, 16) - dt.date(2025, 1, 1)).days
    kw = np.where(on, 0.5, 1.5)  # six hours, a kilowatt less than on the ten weekdays before
    bill = price_bill(kw, np.zeros(axis.n_steps), rate, axis)
    assert bill.by_kind["credit"] == pytest.approx(-1.25 * 6, abs=EXACT)


def test_an_ontario_bill_with_losses_tax_and_rebate():
    axis = hours_of_year(2022, "Etc/GMT+5")
    keys = {
        "loss_factor": 1.0295,
        "tax": ({"name": "HST", "frac": 0.13},),
        "credit": ({"name": "Ontario Electricity Rebate", "frac": 0.131},),
    }
    bill = price_bill(np.ones(axis.n_steps), np.zeros(axis.n_steps), winter(**keys), axis)
    assert bill.by_month["2022-11"] == pytest.approx(67.14 * 1.0295 * (1 + 0.13 - 0.131), abs=EXACT)


def test_a_capacity_charge_on_the_mean_of_three_days():
    axis = hours_of_year(2025, "Europe/Stockholm")
    demand = ({"name": "effekt", "per_kw": 81.25, "days_meant": 3},)
    rate = Rate.model_validate({"currency": "SEK", "price_per_kwh": 0.0, "demand": demand})
    kw = np.zeros(axis.n_steps)
    for text, peak in (("2025-01-08T18:00", 7.2), ("2025-01-08T19:00", 7.1), ("2025-01-15T07:00", 6.0)):
        kw[axis.index_of(text)] = peak
    kw[axis.index_of("2025-01-22T20:00")] = 4.8
    bill = price_bill(kw, np.zeros(axis.n_steps), rate, axis)
    assert bill.by_month["2025-01"] == pytest.approx(81.25 * (7.2 + 6.0 + 4.8) / 3, abs=EXACT)
