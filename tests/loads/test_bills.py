"""A house by its bills: exact by cycle, heating and cooling told apart by weather. The bills are invented."""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.bills import bills_kw, cycles_of_bills, cycles_of_months, latest_billed_year
from profiles.loads.load import Sources, load_kw
from profiles.noun import BadInput
from profiles.rate.printed import PrintedBill

HOURS = hours_of_year(2025, "America/New_York")
MONTHS = [900.0, 800.0, 700.0, 500.0, 450.0, 600.0, 800.0, 820.0, 560.0, 480.0, 600.0, 850.0]
EXACT_KWH = 1e-9


def temp_c(hours=HOURS):
    return 12.0 - 14.0 * np.cos(2 * np.pi * hours.day / 365) + 5.0 * np.sin(2 * np.pi * (hours.minute / 1440 - 0.4))


class Weather(Sources):
    def __init__(self):
        self.said = []

    def temp_c(self, hours):
        return temp_c(hours)

    def note(self, text):
        self.said.append(text)


def bill(begin, end, kwh):
    return PrintedBill.model_validate({"from": begin.isoformat(), "to": end.isoformat(), "kwh": kwh, "amount": 100.0})


def cycles(first, kwh, days=30):
    return [
        bill(first + dt.timedelta(days * k), first + dt.timedelta(days * (k + 1)), one) for k, one in enumerate(kwh)
    ]


@pytest.mark.parametrize("keys", [{}, {"shape": "refrigerator"}, {"degree_days": True}, {"floor_area_ft2": 900.0}])
@pytest.mark.parametrize("step_min", [60, 15])
def test_every_month_keeps_its_energy(keys, step_min):
    hours = hours_of_year(2025, "America/New_York", step_min)
    kw = load_kw({"monthly_kwh": MONTHS} | keys, hours, Weather())
    by_month = np.bincount(hours.month - 1, weights=kw) * hours.step_h
    assert np.abs(by_month - MONTHS).max() < EXACT_KWH * 1000
    assert (kw >= 0).all()


def test_a_cycle_of_the_year_keeps_its_energy_and_begins_on_its_day():
    bills = cycles(dt.date(2024, 12, 17), np.linspace(400, 900, 13))
    found = cycles_of_bills(bills, HOURS)
    kw, _ = bills_kw(found, HOURS, np.ones(HOURS.n_steps))
    for k, one in enumerate(bills[1:12], 1):
        first = (dt.date.fromisoformat(one.from_) - dt.date(2025, 1, 1)).days
        mine = (HOURS.day >= first) & (HOURS.day < first + 30)
        assert kw[mine].sum() == pytest.approx(one.kwh) and found.of_day[first] == k
    assert kw[HOURS.day < 15].sum() == pytest.approx(400.0 / 2)  # 15 of the 30 days before 16 January


def test_twelve_bills_over_two_years_are_laid_on_the_same_dates():
    """July 2024 to July 2025 on 2025: every bill's energy comes once, the sum to within a day."""
    bills = cycles(dt.date(2024, 7, 1), np.linspace(300, 900, 12), 30) + [
        bill(dt.date(2025, 6, 26), dt.date(2025, 7, 1), 80.0)
    ]
    found = cycles_of_bills(bills, HOURS)
    kw, _ = bills_kw(found, HOURS, np.ones(HOURS.n_steps))
    assert kw.sum() == pytest.approx(sum(one.kwh for one in bills), abs=30.0)
    assert "184 days by the bills of other years" in found.text
    assert latest_billed_year(bills) == 2024
    march = HOURS.month == 3
    assert kw[march].sum() == pytest.approx(31 / 30 * 763.6, rel=0.05)


def test_base_heating_and_cooling_are_found_again():
    """12 kWh a day + 1.5 per heating and 2.5 per cooling degree day, by the hours of the temperature (derived)."""
    heating, cooling = np.maximum(18.0 - temp_c(), 0.0), np.maximum(temp_c() - 18.0, 0.0)
    kw = (12.0 + 1.5 * heating + 2.5 * cooling) / 24.0
    months = np.bincount(HOURS.month - 1, weights=kw)
    back, text = bills_kw(cycles_of_months(months, HOURS), HOURS, np.ones(HOURS.n_steps), temp_c())
    assert np.abs(back - kw).max() < 1e-6
    assert "12.00 kWh a day + 1.500 per heating and 2.500 per cooling degree day to 18 degC" in text
    assert "fitted to 12 cycles (R2 1.00)" in text and "heating" in text.split("): ")[1]


def test_what_the_fit_says_is_kept_with_the_load():
    weather = Weather()
    load_kw({"monthly_kwh": MONTHS, "degree_days": True}, HOURS, weather)
    assert weather.said[0].startswith("from bills: twelve months, 8,060.0 kWh; ") and "(R2 0." in weather.said[0]


@pytest.mark.parametrize(
    ("load", "message"),
    [
        ({"monthly_kwh": MONTHS[:11]}, "monthly_kwh must hold twelve numbers, January first, not '11 of them'"),
        ({"monthly_kwh": [*MONTHS[:11], -1.0]}, "must be at least 0"),
        ({"monthly_kwh": MONTHS, "bills": "b.toml"}, "either monthly_kwh or bills"),
        ({"monthly_kwh": MONTHS, "shape": "nothing"}, "shape must be a shape of the library"),
        ({"bills": "not-there.toml"}, "cannot be read"),
    ],
)
def test_bills_that_are_none_are_refused(load, message):
    with pytest.raises(BadInput, match=message):
        load_kw(load, HOURS)


def test_degree_days_need_weather_and_bills_a_whole_year():
    with pytest.raises(BadInput, match="weather.source is missing"):
        load_kw({"monthly_kwh": MONTHS, "degree_days": True}, HOURS)
    with pytest.raises(
        BadInput, match="covers 300 of the 365 dates of the year, the first that no bill covers is 28 October"
    ):
        cycles_of_bills(cycles(dt.date(2025, 1, 1), [500.0] * 10), HOURS)
    dry = PrintedBill.model_validate({"from": "2025-01-01", "to": "2026-01-01", "amount": 9.0})
    with pytest.raises(BadInput, match="bill of 2025-01-01: kwh is missing: the energy of the cycle"):
        cycles_of_bills([dry], HOURS)
