"""What cells give in the cold is taken off the hours, where the unit states it."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.designs.draft import Draft
from simulate.house.house import cell_c
from simulate.house.ride import ride_through
from tests.site.small_site import circuit, small_site, unit

FULL = {"outage": {"start_soc": "full"}}
PIEDMONT = {"weather": {"source": "library:piedmont"}}


def half_a_kw(place="garage", heated=True, capacity=((0, 0.8), (20, 1.0)), **tables):
    cold = unit(temperature={"capacity": [list(pair) for pair in capacity]}, place=place, heated=heated)
    return small_site([circuit("One", 0.5)], [cold], **{**FULL, **tables})


def test_heated_cells_at_18_degrees_give_their_share_by_interpolation():
    """0.8 at 0 degC and 1.0 at 20 degC: 0.98 at 18 degC, so 9.8 h of 5 kWh."""
    ride = ride_through(half_a_kw())
    assert ride.hours.min() == ride.hours.max() == pytest.approx(9.8)


def test_cells_outdoors_follow_the_weather_of_the_step_in_which_the_outage_begins():
    site = half_a_kw("outdoor-wall", False, ((-20, 0.4), (20, 1.0)), **PIEDMONT)
    ride = ride_through(site)
    frac = np.interp(cell_c(site.battery[0], ride.house.hours, ride.house.sources), [-20.0, 20.0], [0.4, 1.0])
    assert ride.hours == pytest.approx(10.0 * frac)
    assert ride.hours.min() < 8.0


def test_what_is_kept_back_stands_below_what_is_stored():
    """Half full and a fifth kept back of 5 kWh: 1.5 kWh are there, 3 h."""
    site = half_a_kw(capacity=((0, 0.8), (50, 0.8)), outage={"start_soc": 0.5})
    assert ride_through(site).hours.max() == pytest.approx(3.0)


def test_a_unit_that_states_nothing_and_one_without_a_place_are_left_alone():
    nowhere = unit(temperature={"capacity": [[0, 0.5]]})
    ride = ride_through(small_site([circuit("One", 0.5)], [nowhere], **FULL))
    assert ride.hours.max() == pytest.approx(10.0)
    assert any("no energy is taken off for cold cells" in text for text in ride.house.cautions)


def test_more_units_keep_back_more():
    ride = Draft(half_a_kw()).changed(units={"A": 2}).ride
    assert ride.hours.max() == pytest.approx(19.6)
    assert any(note.startswith("temperature.capacity: an outage begins") for note in ride.house.notes)


@pytest.mark.parametrize("capacity", [(), ((0, 0.0),), ((10, 1.0), (0, 0.8)), ((0, 1.2),)])
def test_shares_that_are_none_are_refused(capacity):
    with pytest.raises(BadInput, match="pairs of a temperature and a share"):
        half_a_kw(capacity=capacity)
