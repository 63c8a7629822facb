"""What a proposal of legs does to the hours, before and after."""

import numpy as np
import pytest

from simulate.designs.legs import first_leg_hours, hours_of_first_leg, outcome
from simulate.house.house import house_of
from simulate.house.ride import ride_through
from simulate.physics.outages.spread import nine_in_ten
from tests.site.small_site import circuit, locked_pair, small_site

FULL = {"outage": {"start_soc": "full"}}


def test_before_and_after_are_told_with_storm_median_and_first_leg():
    """0.75 kW on leg A and nothing on B: 6.7 h; 0.5 and 0.25 kW: 10 h; the pit runs three times as much in a storm."""
    loads = [circuit("Fridge", 0.5), circuit("Pit", 0.25, if_lost="flood", outage_scale={"storm": 3.0})]
    house = house_of(small_site(loads, locked_pair(), **FULL))
    before, after = outcome(house, {}), outcome(house, {"Pit": "B"})
    assert (before["hours_p10"], after["hours_p10"]) == pytest.approx((5.0 / 0.75, 10.0))
    assert (before["hours_p50"], after["first_leg_p10"]) == pytest.approx((5.0 / 0.75, 10.0))
    assert (before["storm_p10"], after["storm_p10"]) == pytest.approx((4.0, 5.0 / 0.75))
    assert (before["first_leg"], before["first_circuits"]) == ("A", ["Pit", "Fridge"])
    assert (after["first_leg"], after["first_circuits"]) == ("A", ["Fridge"])


def test_the_leg_that_dies_first_is_not_the_smaller_of_two_figures():
    """Each leg has a bad tenth of the year of its own: nine in ten of both legs are long, of the first to die short."""
    loads = [{**circuit("One", 0.0), "load": [{"kw": 0.25}, {"kw": 2.25, "months": [1]}]}]
    loads += [{**circuit("Two", 0.0, "B"), "load": [{"kw": 0.25}, {"kw": 2.25, "months": [7]}]}]
    house = house_of(small_site(loads, locked_pair(), **FULL))
    ride = ride_through(house)
    smaller = min(nine_in_ten(hours) for hours in ride.leg_hours.values())
    first = nine_in_ten(np.minimum(ride.leg_hours["A"], ride.leg_hours["B"]))
    assert first < 3.0 < smaller
    assert hours_of_first_leg(house, {}) == first == nine_in_ten(first_leg_hours(ride))
