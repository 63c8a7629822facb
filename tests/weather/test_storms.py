"""The hardest days are days that happened, whole: cold, light and heat of one date."""

import numpy as np
import pandas as pd
import pytest

from profiles.noun import BadInput
from profiles.weather.storms import storm_days
from profiles.weather.weather import read_weather

PIEDMONT, FLORIDA = (read_weather(f"library:{name}") for name in ("piedmont", "south-florida"))


def table(weather):
    days = pd.date_range("2001-01-01", periods=8760, freq="h")
    return pd.DataFrame({"temp_c": weather.temp_c, "ghi": weather.ghi}, index=days).resample("D").mean()


def test_extremes_are_those_of_a_plain_table():
    days, daily = storm_days(PIEDMONT, count=2), table(PIEDMONT)
    for why, expected in (
        ("coldest", daily["temp_c"].nsmallest(2)),
        ("hottest", daily["temp_c"].nlargest(2)),
        ("darkest", daily["ghi"].nsmallest(2)),
    ):
        found = [day for day in days if day.why == why]
        assert [(day.month, day.day_of_month) for day in found] == [(at.month, at.day) for at in expected.index]
        assert [day.day for day in found] == [at.day_of_year - 1 for at in expected.index]


def test_cold_and_dark_are_the_darkest_of_the_coldest_tenth():
    daily = table(PIEDMONT)
    cold = daily[daily["temp_c"] <= daily["temp_c"].quantile(0.1, interpolation="lower")]
    found = [day for day in storm_days(PIEDMONT) if day.why == "cold-and-dark"]
    expected = [(at.month, at.day) for at in cold["ghi"].nsmallest(3).index]
    assert [(day.month, day.day_of_month) for day in found] == expected


def test_light_and_temperature_are_those_of_the_same_day():
    daily = table(PIEDMONT)
    for day in storm_days(PIEDMONT):
        row = daily.iloc[day.day]
        assert (day.temp_c, day.ghi_kwh_m2) == pytest.approx((row["temp_c"], row["ghi"] * 0.024))


def test_shuffling_light_against_cold_gives_another_answer():
    # The reason for drawing whole days: parted, the cold days are no darker than any other.
    daily = table(PIEDMONT)
    cold = (daily["temp_c"] <= daily["temp_c"].quantile(0.1)).to_numpy()
    shuffled = np.random.default_rng(1).permutation(daily["ghi"].to_numpy())
    assert daily["ghi"].to_numpy()[cold].mean() < 0.8 * shuffled[cold].mean()


def test_of_several_files_each_day_says_which():
    days = {day.why: day for day in storm_days(FLORIDA, PIEDMONT, count=1)}
    assert days["coldest"].weather == 1 and days["coldest"].year is None


def test_no_file_is_refused():
    with pytest.raises(BadInput, match="at least one weather file"):
        storm_days()
