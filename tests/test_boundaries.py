"""Values that lie exactly on a boundary: where a sign too many or too few in a comparison changes a verdict."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.bill.discount import npv, payback_y
from simulate.panel.checks.conductor import run_ampacity_a
from simulate.physics.outages.load_control import control_load
from simulate.physics.outages.spread import lasting_frac


def test_terminations_of_exactly_100_a_stay_in_the_60_degc_column():
    """110.14(C): 60 degC up to and with 100 A. Aluminium 1/0 has 100 A there and 120 A at 75 degC (Table 310.16)."""
    assert run_ampacity_a("1/0", "Al") == 100.0
    assert run_ampacity_a("2/0", "Al") == 135.0  # 115 A at 60 degC: above, so the 75 degC column


@pytest.mark.parametrize(("hours", "lasts"), [(24.0, 1.0), (24.0 - 1e-10, 1.0), (24.0 - 1e-6, 0.0), (23.0, 0.0)])
def test_an_outage_of_exactly_24_hours_lasts_24_hours(hours, lasts):
    """ "Lasts 24 h" means 24 h or more, to rounding."""
    assert lasting_frac(np.array([hours]), 336.0)["24"] == lasts


def test_a_horizon_of_exactly_a_mark_still_tells_its_share():
    assert lasting_frac(np.array([24.0]), 24.0)["24"] == 1.0
    assert lasting_frac(np.array([24.0]), 23.9)["24"] is None


@pytest.mark.parametrize(("load_kw", "trips"), [(3.0, False), (3.0 + 1e-6, True), (3.0 - 1e-6, False)])
def test_a_load_of_exactly_the_output_does_not_trip(load_kw, trips):
    """A unit of 3 kW carries 3 kW; what is above trips, and load control drops nothing at equality."""
    one, limits = np.ones((1, 2)), (np.array([3.0]), np.array([0]))
    kw = np.array([[load_kw / 2], [load_kw / 2]])
    plain = control_load(kw, np.array([1, 2]), one, one, limits, sheds=False)
    assert bool(plain.trips[0, 0]) is trips
    controlled = control_load(kw, np.array([1, 2]), one, one, limits, sheds=True)
    assert controlled.dropped[:, 0].tolist() == [False, trips]


def test_a_discount_rate_of_exactly_minus_one_is_refused():
    """At -1 every later flow is divided by nothing; a little above it is a rate."""
    with pytest.raises(BadInput, match="must be above -1"):
        npv(-1.0, [1.0, 1.0])
    assert npv(-0.5, [1.0, 1.0]) == 3.0


def test_what_costs_nothing_at_first_is_paid_back_at_once():
    assert payback_y([0.0, 1.0]) == payback_y([0.5, 1.0]) == 0.0
