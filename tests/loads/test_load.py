"""Loads as people know them."""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.load import Sources, load_kw
from profiles.noun import BadInput

YEAR = hours_of_year(2025, "America/New_York")


class Weather(Sources):
    def temp_c(self, hours):
        return np.linspace(-10.0, 30.0, hours.n_steps)


def annual(load, hours=YEAR):
    return load_kw(load, hours, Weather()).sum() * hours.step_h


@pytest.mark.parametrize(
    ("load", "kwh"),
    [
        ({"kw": 0.5}, 0.5 * 8760),
        ({"kw": 1.0, "window": "22:00-06:00"}, 8 * 365),
        ({"kw": 1.0, "window": "08:00-12:00", "days": "weekday"}, 4 * 261),
        ({"kw": 1.0, "months": [2]}, 24 * 28),
        ({"watts": 90.0, "hours_per_day": 6.0}, 0.09 * 6 * 365),
        ({"watts": 90.0, "hours_per_day": 6.0, "window": "08:00-18:00", "days": "weekday"}, 0.09 * 6 * 261),
        ({"running_w": 850.0, "minutes_per_hour": 1.5}, 0.85 * 1.5 / 60 * 8760),
        ({"nameplate_a": 5.0, "duty_frac": 0.25}, 5 * 0.12 * 0.25 * 8760),
        ({"shape": "refrigerator", "annual_kwh": 620.0}, 620.0),
        ({"measured_kwh": 2.9, "over_days": 7.0, "shape": "cooking_range"}, 2.9 / 7 * 365),
        ({"measured_kwh": 2.9, "over_days": 7.0}, 2.9 / 7 * 365),
        ([{"kw": 0.1}, {"kw": 0.2}], 0.3 * 8760),
    ],
)
def test_energy_of_the_year(load, kwh):
    assert annual(load) == pytest.approx(kwh, rel=1e-9)
    quarter = hours_of_year(2025, "America/New_York", 15)
    assert annual(load, quarter) == pytest.approx(kwh, rel=1e-9)


def test_measured_energy_recurs_at_its_daily_rate_on_its_own_days():
    """Worked scenario S51: 20 kWh over 3 days in June to August are 6.667 kWh on each of 92 days, 613.3 kWh (derived)."""
    summer = {"measured_kwh": 20.0, "over_days": 3.0, "months": [6, 7, 8]}
    kw = load_kw(summer, YEAR)
    each = np.bincount(YEAR.day, weights=kw)
    assert each[each > 0] == pytest.approx(np.full(92, 20.0 / 3.0))
    assert annual(summer) == pytest.approx(613.0 + 1 / 3)
    assert annual(summer | {"shape": "ceiling_fan"}) == pytest.approx(613.0 + 1 / 3)
    assert annual(summer | {"window": "10:00-14:00"}) == pytest.approx(613.0 + 1 / 3)
    weekends = {"measured_kwh": 4.0, "over_days": 2.0, "days": "weekend"}
    assert annual(weekends) == pytest.approx(2.0 * 104)


def test_a_whole_house_by_floor_area_and_bedrooms():
    """The published equations' sum for 3 bedrooms and 2,000 ft2: 2,055 + 200 + 691 + 448 + 971 + 68 + 171 + 1,820 + 620 kWh."""
    assert annual({"shape": "whole-house", "floor_area_ft2": 2000.0, "bedrooms": 3}) == pytest.approx(7044.0)
    small = load_kw({"shape": "whole-house", "annual_kwh": 7000.0, "floor_area_ft2": 800.0, "bedrooms": 1}, YEAR)
    usual = load_kw({"shape": "whole-house", "annual_kwh": 7000.0}, YEAR)
    assert small.sum() == pytest.approx(usual.sum()) and not np.allclose(small, usual)
    for load, message in (
        ({"shape": "whole-house", "bedrooms": 3}, "annual_kwh is missing"),
        ({"shape": "freezer"}, "annual_kwh is missing"),
        ({"shape": "freezer", "annual_kwh": 9.0, "bedrooms": 3}, 'bedrooms is for shape = "whole-house"'),
    ):
        with pytest.raises(BadInput, match=message):
            load_kw(load, YEAR)


def test_a_cycling_load_shows_its_peaks_on_fine_steps_only():
    pump = {"running_w": 800.0, "minutes_per_hour": 6.0, "starts_per_hour": 2.0}
    fine = hours_of_year(2025, "America/New_York", 5)
    kw = load_kw(pump, fine)
    assert kw.max() == pytest.approx(0.8, abs=0.2) and annual(pump, fine) == pytest.approx(0.08 * 8760)
    assert np.array_equal(kw, load_kw(pump, fine)) and not np.array_equal(kw, load_kw(pump | {"seed": 1}, fine))
    assert load_kw(pump, YEAR) == pytest.approx(np.full(8760, 0.08))
    assert load_kw(pump | {"minutes_per_hour": 0.0}, fine).max() == 0.0


def test_weather_loads_follow_their_slope_and_their_limit():
    temp = Weather().temp_c(YEAR)
    heat = load_kw({"heating_kw_per_degc": 0.022, "balance_c": 16.0, "max_kw": 0.52}, YEAR, Weather())
    assert heat[0] == 0.52 and heat[-1] == 0.0
    middle = int(np.argmin(np.abs(temp - 6.0)))
    assert heat[middle] == pytest.approx(0.022 * (16.0 - temp[middle]))
    design = load_kw({"kw_at_design": 2.0, "design_f": 14.0, "balance_f": 59.0}, YEAR, Weather())
    assert design[0] == pytest.approx(2.0)  # -10 degC is 14 degF
    assert design[-1] == 0.0
    cool = load_kw({"kw_at_design": 2.0, "design_f": 86.0, "balance_f": 68.0}, YEAR, Weather())
    assert (cool[0], cool[-1]) == (0.0, pytest.approx(2.0))


def test_a_weather_load_without_weather_says_what_to_write():
    with pytest.raises(BadInput, match="library:piedmont"):
        load_kw({"heating_kw_per_degc": 0.02, "balance_c": 16.0}, YEAR)


@pytest.mark.parametrize(
    "load",
    [
        {},
        {"kww": 1.0},
        {"kw": float("nan")},
        {"kw": float("inf")},
        {"watts": 100.0, "hours_per_day": 11.0, "window": "08:00-18:00"},
        {"heating_kw_per_degc": 0.1, "cooling_kw_per_degc": 0.1, "balance_c": 10.0},
        {"kw": 1.0, "months": [13]},
        {"kw": 1.0, "months": []},
        {"kw_at_design": 1.0, "design_f": 60.0, "balance_f": 60.0},
        {"shape": "nothing", "annual_kwh": 1.0},
    ],
)
def test_what_is_not_a_load_is_refused(load):
    with pytest.raises(BadInput):
        load_kw(load, YEAR, Weather())
