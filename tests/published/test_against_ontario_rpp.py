"""Ontario's regulated residential prices.

Sources: T-05 winter prices from 1 November 2022 (off-peak 7.4 c: weekdays 19-07, weekends, holidays; mid-peak 10.2 c:
weekdays 11-17; on-peak 15.1 c: weekdays 7-11 and 17-19; tiers 8.7 c to 1,000 kWh a month, 10.3 c above), read on a
local distributor's page that quotes the Ontario Energy Board (wellingtonnorthpower.com). T-06 off-peak holidays of
2017, read on a local distributor's page (bluewaterpower.com). Bills are derived from them, not printed.
"""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import holiday_dates, hours_of_year
from profiles.rate.prices import rate_prices
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill

HOLIDAYS_2017 = (
    "2017-01-02",
    "2017-02-20",
    "2017-04-14",
    "2017-05-22",
    "2017-07-03",
    "2017-08-07",
    "2017-09-04",
    "2017-10-09",
    "2017-12-25",
    "2017-12-26",
)
EXACT = 1e-9


def winter(**keys):
    periods = (
        {"name": "on", "price_per_kwh": 0.151, "days": "weekday", "hours": "07:00-11:00, 17:00-19:00"},
        {"name": "mid", "price_per_kwh": 0.102, "days": "weekday", "hours": "11:00-17:00"},
        {"name": "off", "price_per_kwh": 0.074},
    )
    season = {"name": "winter", "months": tuple(range(1, 13)), "periods": periods}
    return Rate.model_validate({"currency": "CAD", "season": (season,), **keys})


@pytest.mark.parametrize(("zone", "off_h", "amount"), [("Etc/GMT+5", 456, 67.14), ("America/Toronto", 457, 67.214)])
def test_november_2022_of_a_flat_kilowatt(zone, off_h, amount):
    """720 hours give $67.14; on the local clock 6 November has 25 hours and the repeated one is off-peak."""
    axis = hours_of_year(2022, zone)
    bill = price_bill(np.ones(axis.n_steps), np.zeros(axis.n_steps), winter(), axis)
    hours = [line.quantity for line in bill.lines if line.month == "2022-11"]
    assert hours == pytest.approx([132, 132, off_h], abs=EXACT)
    assert bill.by_month["2022-11"] == pytest.approx(amount, abs=EXACT)


def test_winter_tiers():
    rate = Rate.model_validate({"tiers": ({"up_to": 1000.0, "price_per_kwh": 0.087}, {"price_per_kwh": 0.103})})
    axis = hours_of_year(2022, "America/Toronto")
    kw = np.where(axis.month == 12, 1200 / 744, 0.0)
    bill = price_bill(kw, np.zeros(axis.n_steps), rate, axis)
    assert [line.amount for line in bill.lines if line.month == "2022-12"] == pytest.approx([87.00, 20.60], abs=EXACT)


def test_no_on_peak_hour_falls_on_a_holiday_of_the_utilitys_list():
    axis = hours_of_year(2017, "America/Toronto")
    on_peak = [rate_prices(winter(extra_holidays=days), axis).period == 0 for days in ((), HOLIDAYS_2017)]
    dates = tuple(dt.date.fromisoformat(day) for day in HOLIDAYS_2017)
    on_these = axis.is_on(dates)
    assert int((on_peak[0] & on_these).sum()) == 10 * 6  # all ten are weekdays
    assert int((on_peak[1] & on_these).sum()) == 0
    assert np.array_equal(on_peak[0] & ~on_these, on_peak[1])


def test_cycling_pays_where_the_price_ratio_exceeds_one_over_the_round_trip():
    """Derived: 15.1 / 7.4 = 2.041 is above 1 / 0.85 = 1.176."""
    axis = hours_of_year(2022, "Etc/GMT+5")
    on, off = (rate_prices(winter(), axis).period == which for which in (0, 2))
    served, charged = (kwh * mask / mask.sum() for kwh, mask in ((1000.0, on), (1000.0 / 0.85, off)))
    bills = [price_bill(kw, np.zeros(axis.n_steps), winter(), axis).total for kw in (served, charged)]
    assert bills[0] - bills[1] == pytest.approx(151 - 74 / 0.85, abs=EXACT)
    assert bills[0] > bills[1]


def test_the_calendar_of_the_library_is_not_the_utilitys():
    """Why a rate may add and remove holidays: the province's list lacks two days that the utility counts."""
    missing = {dt.date.fromisoformat(day) for day in HOLIDAYS_2017} - set(holiday_dates("CA-ON", 2017))
    assert missing == {dt.date(2017, 7, 3), dt.date(2017, 8, 7)}
