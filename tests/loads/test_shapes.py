"""Shapes keep the annual energy, follow the local wall clock, and say what is wrong with a name."""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.shapes import end_use_kwh, hourly_shape_kw, published_shapes, shape_names
from profiles.noun import BadInput

NEW_YORK = "America/New_York"
AXES = [
    (2025, NEW_YORK, 60),
    (2024, NEW_YORK, 15),
    (2024, "Asia/Almaty", 60),
    (2025, "Australia/Lord_Howe", 30),
    (2025, "UTC", 5),
]


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("name", ["well_pump", "pool_pump", "whole-house", "ceiling_fan"])
def test_annual_energy_is_exact_on_any_axis(axis, name):
    hours = hours_of_year(*axis)
    kw = hourly_shape_kw(name, 1234.5, hours)
    assert kw.shape == (hours.n_steps,)
    assert kw.sum() * hours.step_h == pytest.approx(1234.5, rel=1e-12)


def test_four_quarter_hours_equal_one_hour():
    hour = hourly_shape_kw("dishwasher", 171.0, hours_of_year(2025, NEW_YORK))
    quarter = hourly_shape_kw("dishwasher", 171.0, hours_of_year(2025, NEW_YORK, 15))
    np.testing.assert_allclose(quarter.reshape(-1, 4).mean(axis=1), hour, rtol=1e-12)


def test_every_shape_gives_power_of_at_least_zero():
    hours = hours_of_year(2025, NEW_YORK)
    for name in shape_names():
        kw = hourly_shape_kw(name, 100.0, hours)
        assert kw.min() >= 0.0 and kw.max() > 100.0 / 8760


def test_lighting_peaks_at_eight_on_the_wall_clock_in_summer_and_winter():
    hours = hours_of_year(2025, NEW_YORK)
    kw = hourly_shape_kw("lighting_interior", 500.0, hours)
    for date in ("2025-01-15", "2025-07-15"):
        start = hours.index_of(f"{date}T00:00")
        assert int(kw[start : start + 24].argmax()) == 20


def test_a_day_of_23_hours_drops_the_skipped_hour_and_one_of_25_repeats_it():
    hours = hours_of_year(2025, NEW_YORK)
    kw = hourly_shape_kw("plug_loads_tv", 500.0, hours)
    spring, autumn = (kw[hours.day == hours.day[hours.index_of(f"2025-{date}T00:00")]] for date in ("03-09", "11-02"))
    usual = kw[:24]
    np.testing.assert_allclose(spring, np.delete(usual, 2), rtol=1e-12)
    np.testing.assert_allclose(autumn, np.insert(usual, 1, usual[1]), rtol=1e-12)


def test_whole_house_is_the_sum_of_its_end_uses():
    hours = hours_of_year(2025, NEW_YORK)
    kwh = end_use_kwh(1500.0, 2)
    total = sum(hourly_shape_kw(name, each, hours) for name, each in kwh.items())
    whole = hourly_shape_kw("whole-house", sum(kwh.values()), hours, floor_area_ft2=1500.0, bedrooms=2)
    np.testing.assert_allclose(whole, total, rtol=1e-12)


def test_weekend_rows_are_honoured(monkeypatch):
    # Published weekday and weekend rows are equal, so an invented pair shows which row is read.
    shape = published_shapes()["refrigerator"]
    night, noon = np.zeros(24), np.zeros(24)
    night[2] = noon[12] = 1.0
    invented = type(shape)("invented", night, noon, np.ones(12), "invented")
    monkeypatch.setitem(published_shapes(), "invented", invented)
    hours = hours_of_year(2025, "UTC")
    kw = hourly_shape_kw("invented", 365.0, hours)
    weekend = hours.weekday >= 5
    assert set(np.flatnonzero(kw[weekend]) % 24) == {12}
    assert set(hours.minute[~weekend][kw[~weekend] > 0] // 60) == {2}


@pytest.mark.parametrize(
    ("name", "nearest"), [("refridgerator", "refrigerator"), ("whole_house", "whole-house"), ("Well pump", "well_pump")]
)
def test_unknown_name_hands_over_the_nearest(name, nearest):
    with pytest.raises(BadInput, match=f"did you mean {nearest}.*keeplit library"):
        hourly_shape_kw(name, 100.0, hours_of_year(2025, "UTC"))


def test_name_like_nothing_known_still_says_where_the_list_is():
    with pytest.raises(BadInput, match="not 'zzz'; keeplit library lists them all"):
        hourly_shape_kw("zzz", 100.0, hours_of_year(2025, "UTC"))


@pytest.mark.parametrize("kwh", [-1.0, float("nan"), float("inf"), True])
def test_energy_that_is_no_amount_is_refused(kwh):
    with pytest.raises(BadInput, match="annual_kwh"):
        hourly_shape_kw("freezer", kwh, hours_of_year(2025, "UTC"))


@pytest.mark.parametrize("bad", [{"floor_area_ft2": float("nan")}, {"floor_area_ft2": 0.0}, {"bedrooms": -1}])
def test_house_that_is_no_house_is_refused(bad):
    with pytest.raises(BadInput, match=next(iter(bad))):
        hourly_shape_kw("whole-house", 100.0, hours_of_year(2025, "UTC"), **bad)
