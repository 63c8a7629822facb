"""Clocks that change by other than an hour: the step that a refusal proposes is one that works."""

import re

import numpy as np
import pytest

from profiles import hours_of_year
from profiles.noun import BadInput
from profiles.rate.rate import Rate
from simulate import price_bill

ODD_CLOCKS = [
    ("Pacific/Chatham", 2025, 15),  # 12:45 and 13:45 east; its change comes at 02:45 local
    ("Australia/Lord_Howe", 2025, 30),  # half an hour of summer time
    ("America/Caracas", 2007, 30),
    ("America/Caracas", 2016, 30),
    ("Asia/Pyongyang", 2015, 30),
    ("America/St_Johns", 2007, 1),  # its clocks changed at one minute past midnight
]
"""IANA time zone database: zone, year, and the longest of our steps that suits its changes."""


@pytest.mark.parametrize(("zone", "year", "suits"), ODD_CLOCKS)
@pytest.mark.parametrize("step_min", [60, 30, 15, 5])
def test_the_step_that_is_proposed_works_at_once(zone, year, suits, step_min):
    """A zone of three quarters of an hour at 60 minutes says 15, not 30 and then 15."""
    if step_min <= suits:
        assert hours_of_year(year, zone, step_min).n_steps > 0
        return
    with pytest.raises(BadInput, match=r"site.timezone has a clock change .* set site.step_min = \d+$") as caught:
        hours_of_year(year, zone, step_min)
    proposed = int(re.search(r"\d+$", str(caught.value))[0])
    assert proposed == suits
    assert hours_of_year(year, zone, proposed).n_steps > 0


def test_a_year_that_no_step_suits_says_so():
    """Liberia's clocks went on by 44 minutes and 30 seconds in January 1972."""
    with pytest.raises(BadInput, match="no step suits that year: choose another"):
        hours_of_year(1972, "Africa/Monrovia", 60)


@pytest.mark.parametrize("hours", ["00:00-24:00", "01:00-03:00", "02:00-03:00", "15:00-20:00"])
def test_a_demand_window_meets_a_half_hour_change(hours):
    """The half-hour that the clock skips makes one block shorter; its mean is over what is there."""
    axis = hours_of_year(2025, "Australia/Lord_Howe", 30)
    demand = {"name": "evening", "per_kw": 2.0, "window_min": 60, "hours": hours}
    bill = price_bill(np.ones(axis.n_steps), np.zeros(axis.n_steps), Rate(price_per_kwh=0.1, demand=(demand,)), axis)
    assert bill.by_kind["demand"] == pytest.approx(24.0)


def test_a_bound_inside_a_demand_block_is_said_in_the_words_of_the_rate():
    axis = hours_of_year(2025, "Australia/Lord_Howe", 30)
    demand = {"name": "evening", "per_kw": 2.0, "window_min": 60, "hours": "01:30-02:30"}
    with pytest.raises(BadInput, match='demand "evening".hours has a bound inside a block of 60 min; choose bounds'):
        price_bill(np.ones(axis.n_steps), np.zeros(axis.n_steps), Rate(price_per_kwh=0.1, demand=(demand,)), axis)
