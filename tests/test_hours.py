"""The hour axis in zones that do what zones do."""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import holiday_dates, hours_of_year, window_minutes
from profiles.noun import BadInput


@pytest.mark.parametrize(
    ("year", "zone", "steps"),
    [
        (2025, "America/New_York", 8760),
        (2024, "America/New_York", 8784),
        (2025, "Asia/Kolkata", 8760),
        (2024, "Asia/Almaty", 8785),
        (2025, "America/St_Johns", 8760),
        (2011, "Pacific/Apia", 8736),
    ],
)
def test_steps_are_counted_never_assumed(year, zone, steps):
    """Almaty moved back an hour on 2024-03-01; Samoa skipped 30 December 2011: 24 h less (IANA tz database)."""
    hours = hours_of_year(year, zone)
    assert hours.n_steps == steps
    assert (np.diff(hours.utc.asi8) == 3600 * 10**9).all()
    assert hours.local_text[0].startswith(f"{year}-01-01T00:00")


def test_a_half_hour_clock_change_names_the_step_to_use():
    with pytest.raises(BadInput, match="step_min = 30"):
        hours_of_year(2025, "Australia/Lord_Howe")
    assert hours_of_year(2025, "Australia/Lord_Howe", 30).n_steps == 17520


def test_local_times_that_do_not_exist_or_occur_twice():
    hours = hours_of_year(2025, "America/New_York")
    with pytest.raises(BadInput, match="does not exist"):
        hours.index_of("2025-03-09T02:30")
    assert hours.local_text[hours.index_of("2025-11-02T01:00")].endswith("-04:00")  # the first of the two
    assert hours.local_text[hours.index_of("2025-11-02T01:00:00-05:00")].endswith("-05:00")
    for wrong in ("2024-12-31T23:00", "soon", ""):
        with pytest.raises(BadInput):
            hours.index_of(wrong)


def test_windows_over_midnight_and_bounds_inside_a_step():
    hours = hours_of_year(2025, "UTC")
    assert np.flatnonzero(hours.in_windows("22:00-02:00")[:24]).tolist() == [0, 1, 22, 23]
    with pytest.raises(BadInput, match="step_min = 15"):
        hours.in_windows("06:15-07:00")
    for wrong in ("6-7", "06:00-06:00", "25:00-26:00", "06:70-07:00", ""):
        with pytest.raises(BadInput):
            window_minutes(wrong)


def test_a_clock_change_leaves_a_day_of_23_and_one_of_25_hours():
    hours = hours_of_year(2025, "America/New_York")
    assert sorted(set(np.bincount(hours.day))) == [23, 24, 25]
    assert hours.n_days == 365


def test_holidays_added_removed_unknown():
    extra = holiday_dates("none", 2025, extra=("2025-12-26",))
    assert extra == (dt.date(2025, 12, 26),)
    less = holiday_dates("US", 2025, removed=("2025-10-13",))
    assert dt.date(2025, 10, 13) not in less and dt.date(2025, 7, 4) in less
    for wrong in (
        {"calendar": "Atlantis"},
        {"calendar": "US", "observed": "maybe"},
        {"calendar": "US", "extra": ("x",)},
    ):
        with pytest.raises(BadInput):
            holiday_dates(**{"year": 2025, **wrong})


def test_new_year_observed_in_the_old_year():
    """1 January 2022 was a Saturday: the federal day off was Friday 31 December 2021 (5 U.S.C. 6103)."""
    assert dt.date(2021, 12, 31) in holiday_dates("US", 2021)
    assert dt.date(2022, 1, 1) not in holiday_dates("US", 2022)


def test_finer_steps_lie_in_the_same_hours():
    hour, quarter = hours_of_year(2025, "Europe/London"), hours_of_year(2025, "Europe/London", 15)
    assert np.array_equal(quarter.month[::4], hour.month)
    assert np.array_equal(quarter.minute[::4], hour.minute)
