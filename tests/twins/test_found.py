"""What the twin found wrong in the product, each on the smallest site that shows it."""

import numpy as np

from profiles import hours_of_year
from profiles.loads.load import load_kw
from simulate import Pool, ride_through, run_plan
from simulate.physics.step import island_step
from tests.site.small_site import circuit, locked_pair, small_site, unit

ONE_SECOND = 1 / 3600  # h


def test_a_leg_that_outlives_the_horizon_is_not_ended_by_the_other():
    """Leg A without a first priority dies after an hour; leg B, which has one, outlives the horizon of six."""
    site = small_site(
        [circuit("Heater", 5.0, "A", priority=2), circuit("Network", 0.1, "B")],
        locked_pair(),
        operation={"plan": "keep-full"},
        outage={"horizon_h": 6.0},
    )
    ride = ride_through(site)
    assert (ride.hours == 6.0).all()
    assert ride.censored.all()
    assert np.allclose(ride.leg_hours["A"], 1.0, atol=ONE_SECOND)


def test_the_gravest_of_those_that_go_at_once_is_lost_first():
    """Consequence comes before kW: medical, flood, heat, water, food, comfort, not stated."""
    site = small_site(
        [circuit("Oven", 2.0, if_lost="comfort"), circuit("Sump", 0.2, if_lost="flood"), circuit("Shed", 3.0)],
        [unit()],
        operation={"plan": "keep-full"},
    )
    ride = ride_through(site)
    assert {ride.name_of(k) for k in ride.first_lost} == {"Sump"}


def test_a_unit_that_carries_nothing_is_never_what_is_lost():
    """Leg A carries nothing and is empty after a day of no-load draw; leg B's circuit is lost later, and named."""
    a, b = locked_pair(no_load_w=250.0)
    site = small_site([circuit("Network", 0.05, "B")], [a, {**b, "usable_kwh": 10.0}], operation={"plan": "keep-full"})
    ride = ride_through(site)
    assert {ride.name_of(k) for k in ride.first_lost} == {"Network"}


def test_measured_energy_recurs_on_its_own_days_only():
    """Seven kWh in seven days, in June only: thirty kWh a year, not a year's energy in one month."""
    kw = load_kw({"measured_kwh": 7.0, "over_days": 7, "months": [6]}, hours_of_year(2025, "UTC"))
    assert abs(kw.sum() - 30.0) < 1e-9


def test_sun_on_the_cells_is_not_held_back_by_the_taper_of_the_charger():
    """The taper limits what is charged over the AC side; sun on the cells fills them and is curtailed at full."""
    pool = Pool(10.0, charge_kw=1.0, taper={"from_soc": 0.5, "to_frac": 0.1})
    end, served_h, charged, curtailed = island_step(6.0, 0.0, 0.0, 0.0, 3.0, 1.0, pool.cell, 1.0)
    assert (end, served_h, charged, curtailed) == (9.0, 1.0, 0.0, 0.0)
    end, _, _, curtailed = island_step(9.0, 0.0, 0.0, 0.0, 3.0, 1.0, pool.cell, 1.0)
    assert (end, curtailed) == (10.0, 2.0)


def test_what_is_switched_over_never_exports():
    """Transfer: a unit that nothing is switched to delivers nothing, whatever its targets say."""
    year = run_plan([1.0] * 4, [0.0] * 4, 0.0, [[0.0, 0.0, 0.0, 0.0]] * 4, Pool(5.0, discharge_kw=2.0), soc_kwh=5.0)
    assert year.export_kw.sum() == year.discharge_kw.sum() == 0.0


def test_a_circuit_switched_off_by_hand_while_solar_waits_is_counted():
    """After half an hour somebody drops the third priority; solar waits an hour and a half on the new island."""
    site = small_site(
        [circuit("Network", 0.3, "A"), circuit("Den", 0.4, "A", priority=3, load={"kw": 0.4, "window": "08:00-09:00"})],
        locked_pair(continuous_kw=0.5),
        subpanel={"load_control": "by-hand"},
        operation={"plan": "keep-full"},
        outage={"horizon_h": 6.0, "reconnect_s": 5400},
        solar={"connected_at": "sub-panel", "dc_kw": 1.0, "tilt_deg": 20.0, "azimuth_deg": 180.0},
        weather={"source": "library:piedmont"},
    )
    assert ride_through(site).leg_hours["A"][7] == 1.0
