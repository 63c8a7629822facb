"""The owner's list against outages that are simulated one by one, and against figures that can be done in the head."""

import pytest

from simulate.document.switch_off import switch_off_of
from simulate.house.ride import ride_through
from simulate.physics.outages.spread import SEASONS, nine_in_ten
from tests.site.small_site import circuit, locked_pair, small_site, unit

FULL = {"outage": {"start_soc": "full"}}
LOADS = [
    circuit("Boiler", 0.1, priority=2, if_lost="heat"),
    circuit("Pit", 0.1, priority=3, if_lost="flood"),
    circuit("Fridge", 0.05, if_lost="food"),
    circuit("Router", 0.05, priority=2),
    circuit("Study", 0.2, priority=2),
    circuit("Far", 0.3, "B", priority=4),
]


def listed(loads, batteries=None, **tables):
    return switch_off_of(ride_through(small_site(loads, batteries or locked_pair(), **FULL, **tables)))


def test_what_regains_most_on_the_leg_that_dies_first_comes_first():
    """5 kWh: 0.5 kW for 10 h, 0.3 kW for 16.667 h, 0.25 kW for 20 h; leg B lasts 16.667 h and is not asked about."""
    found = listed(LOADS)
    assert found.leg == "A"
    assert [step.circuit for step in found.steps] == ["Study", "Router"]
    after = [(step.before_h["winter"], step.after_h["winter"]) for step in found.steps]
    assert after == [pytest.approx((10.0, 5.0 / 0.3)), pytest.approx((5.0 / 0.3, 20.0))]
    assert found.text[0] == "Study off: 10 h -> 16 h in winter, 10 h -> 16 h in summer"


def test_medical_flood_heat_and_the_first_priority_are_never_on_the_list():
    names = {step.circuit for step in listed([*LOADS, circuit("Oxygen", 0.1, if_lost="medical")]).steps}
    assert not names & {"Boiler", "Pit", "Fridge", "Oxygen"}


def test_it_says_so_where_no_circuit_has_a_lower_priority():
    found = listed([circuit("One", 0.5), circuit("Two", 0.5)], [unit()])
    assert found.steps == () and "Every backed-up circuit has priority 1" in found.note


def test_it_says_so_where_what_may_go_off_gains_nothing():
    found = listed([circuit("One", 0.5), circuit("Two", 0.0, priority=2)], [unit()])
    assert found.steps == () and "gains no hours" in found.note


def test_each_step_is_a_simulation_of_its_own():
    """Winter and summer loads differ; the printed hours are those of outages with the circuits off."""
    heat = {**circuit("Fan", 0.0, priority=2), "load": {"kw": 0.4, "months": [1, 2, 12]}}
    loads = [circuit("Fridge", 0.1), heat, circuit("Study", 0.2, priority=2)]
    site = small_site(loads, [unit()], **FULL)
    ride, found = ride_through(site), listed(loads, [unit()])
    off = tuple(step.circuit for step in found.steps)
    assert off == ("Study", "Fan")
    last = ride_through(ride.run, without=off)
    for season, months in SEASONS.items():
        if season in ("winter", "summer"):
            assert found.steps[-1].after_h[season] == pytest.approx(nine_in_ten(last.in_months(months)))
