"""Holidays of a rate by name. Dates are those of public calendars; where from memory it says so."""

import datetime as dt

import pytest

from profiles.hours import holiday_dates
from profiles.rate.holidays import NAMES, named_day, rate_holidays

SIX = ("new-year", "memorial", "independence", "labor", "thanksgiving", "christmas")


@pytest.mark.parametrize("year", range(2015, 2031))
def test_federal_names_are_the_days_of_the_library(year):
    """The eleven federal holidays of 5 U.S.C. 6103 as the `holidays` library has them."""
    names = (
        *SIX,
        "martin-luther-king",
        "presidents",
        "columbus",
        "veterans",
        *(["juneteenth"] if year >= 2021 else []),
    )
    theirs = set(holiday_dates("US", year, observed="actual"))
    assert {named_day(name, year) for name in names} == theirs


@pytest.mark.parametrize("year", range(2015, 2031))
def test_names_of_ontario_hold_the_days_of_the_library(year):
    names = ("new-year", "family", "good-friday", "victoria", "canada", "labour", "thanksgiving-canada", "christmas")
    theirs = set(holiday_dates("CA-ON", year, observed="actual"))
    assert {named_day(name, year) for name in (*names, "boxing")} == theirs


def test_six_holidays_stay_six_in_every_year():
    for year in range(2020, 2040):
        own = rate_holidays(SIX, year, "actual", (), ())
        assert len(own) == 6 and {day.year for day in own} == {year}


@pytest.mark.parametrize(
    ("rule", "days"),
    [
        ("actual", ["2021-07-04", "2021-12-25"]),
        ("observed", ["2021-07-05", "2021-12-24"]),
        ("sunday-only", ["2021-07-05", "2021-12-25"]),
        ("next-weekday", ["2021-07-05", "2021-12-27"]),
    ],
)
def test_holidays_on_a_weekend_are_kept_by_the_rule(rule, days):
    """In 2021 the fourth of July is a Sunday and Christmas a Saturday."""
    assert [str(day) for day in rate_holidays(("independence", "christmas"), 2021, rule, (), ())] == days


def test_new_year_of_the_next_year_may_be_kept_in_this_one():
    """1 January 2022 is a Saturday: Friday 31 December 2021."""
    assert dt.date(2021, 12, 31) in rate_holidays(("new-year",), 2021, "observed", (), ())
    assert rate_holidays(("new-year",), 2022, "observed", (), ()) == ()


def test_dates_are_added_and_taken_away():
    own = rate_holidays(SIX, 2025, "observed", ("2025-12-24",), ("2025-05-26",))
    assert dt.date(2025, 12, 24) in own and dt.date(2025, 5, 26) not in own and len(own) == 6


def test_every_name_is_a_day():
    assert all(named_day(name, 2026).year == 2026 for name in NAMES)
    assert named_day("day-after-thanksgiving", 2025) == dt.date(2025, 11, 28)
    assert named_day("easter-monday", 2024) == dt.date(2024, 4, 1)
