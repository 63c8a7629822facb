"""Outages of whole sites: legs, locks, priorities, trips, manual transfer, solar by where it is connected."""

import numpy as np
import pytest

from simulate.document.timeline import trace_of, who_goes_dark
from simulate.house.ride import ride_through
from tests.site.small_site import circuit, locked_pair, small_site, unit

ENDS = {"outage": {"start_soc": "full"}}


def test_s13_legs_do_not_share_energy():
    """Scenario S13: two locked 5 kWh units, A 1.0 kW, B 0.25 kW."""
    loads = [circuit("One", 1.0, "A"), circuit("Two", 0.25, "B")]
    ride = ride_through(small_site(loads, locked_pair(), **ENDS))
    assert ride.leg_hours["A"][0] == pytest.approx(5.0, abs=1e-6)
    assert ride.leg_hours["B"][0] == pytest.approx(20.0, abs=1e-6)
    assert ride.hours[0] == pytest.approx(5.0, abs=1e-6)  # not the pooled 8 h
    left = trace_of(ride, 0, 6.0).soc_kwh[1]
    assert left[5] == pytest.approx(3.75, abs=1e-6)


def test_s13_a_two_pole_load_goes_with_the_first_leg():
    loads = [circuit("One", 1.0, "A"), circuit("Two", 0.25, "B"), circuit("Pump", 0.5, "AB")]
    ride = ride_through(small_site(loads, locked_pair(), **ENDS))
    dark = {row["circuit"]: row["hours"] for row in who_goes_dark(ride, 0)}
    assert dark == pytest.approx({"One": 4.0, "Pump": 4.0, "Two": 16.0}, abs=1e-6)


def test_two_pole_circuits_of_unlocked_units_are_never_carried():
    loads = [circuit("One", 0.5, "A"), circuit("Pump", 0.5, "AB")]
    unlocked = [unit("A"), unit("B")]
    ride = ride_through(small_site(loads, unlocked, **ENDS))
    assert ride.house.never_carried == ("Pump",)
    assert ride.hours[0] == pytest.approx(10.0, abs=1e-6)
    row = who_goes_dark(ride, 0)[0]
    assert (row["circuit"], row["hours"], row["why"]) == ("Pump", 0.0, "never-carried")


def test_a_unit_on_both_legs_pools_its_energy_with_a_limit_per_leg():
    both = [unit("both", usable_kwh=10.0, charging_circuit={"breaker_a": 30, "volts": 240})]
    loads = [circuit("One", 1.0, "A"), circuit("Two", 0.25, "B")]
    assert ride_through(small_site(loads, both, **ENDS)).hours[0] == pytest.approx(8.0, abs=1e-6)
    heavy = [circuit("One", 3.5, "A"), circuit("Two", 0.25, "B")]
    ride = ride_through(small_site(heavy, both, **ENDS))
    assert (ride.hours[0], ride.why[0]) == (0.0, "overload")  # half of 6 kW on a leg


def test_priorities_shed_only_with_load_control():
    loads = [circuit("Keep", 1.0, priority=1), circuit("Drop", 5.5, priority=2)]
    tables = {"none": 0.0, "automatic": 5.0}
    for control, hours in tables.items():
        ride = ride_through(small_site(loads, [unit()], subpanel={"load_control": control}, **ENDS))
        assert ride.hours[0] == pytest.approx(hours, abs=1e-6), control
    rows = {row["circuit"]: (row["hours"], row["why"]) for row in who_goes_dark(ride, 0)}
    assert rows == {"Drop": (0.0, "overload"), "Keep": (pytest.approx(5.0), "empty")}
    assert ride.name_of(int(ride.first_lost[0])) == "Drop"
    assert ride.leg_hours["A"][0] == 0.0


def test_shedding_by_hand_needs_daylight_and_half_an_hour():
    """Practice of the trade, no source: 07:00-22:00 and after 30 minutes."""
    evening = {"kw": 5.5, "window": "18:00-19:00"}
    loads = [circuit("Keep", 0.1), {**circuit("Drop", 0.0, priority=2), "load": evening}]
    site = small_site(loads, [unit(usable_kwh=20.0)], subpanel={"load_control": "by-hand"}, **ENDS)
    limited = site.with_values({"battery.continuous_kw": 3.0})
    ride = ride_through(limited)
    assert (ride.hours[17], ride.why[17]) == (pytest.approx(200.0), "empty")  # an hour's notice: switched off in time
    assert (ride.hours[18], ride.why[18]) == (0.0, "overload")  # no notice


def test_a_trip_latches_or_comes_back():
    loads = [circuit("Keep", 1.0), {**circuit("Kettle", 0.0, priority=2), "load": {"kw": 5.5, "window": "00:00-01:00"}}]
    latched = ride_through(small_site(loads, [unit()], **ENDS))
    retried = ride_through(small_site(loads, [unit(after_trip="retries")], **ENDS))
    assert latched.hours[0] == retried.hours[0] == 0.0
    assert trace_of(latched, 0, 5.0).served_kwh.sum() == 0.0
    assert trace_of(retried, 0, 5.0).served_kwh.sum() == pytest.approx(4.0, abs=1e-9)


@pytest.mark.long
def test_why_names_the_other_leg():
    loads = [circuit("Pump", 0.5, "AB"), circuit("Heater", 1.0, "A", priority=2)]
    ride = ride_through(small_site(loads, locked_pair(), **ENDS))
    assert (ride.hours[0], ride.why[0]) == (pytest.approx(4.0), "other-leg")


def test_manual_transfer_counts_from_the_throw():
    at_home = {"transfer": {"kind": "manual", "at_home": ["17:00-08:00"]}}
    day = {"kw": 1.0, "window": "17:00-08:00"}
    loads = [{**circuit("One", 0.0), "load": day}]
    ride = ride_through(small_site(loads, [unit()], subpanel=at_home, **ENDS))
    noon = ride.house.hours.index_of("2025-03-03T12:00")
    assert ride.begin[noon] == noon + 5
    assert ride.hours[noon] == pytest.approx(5.0, abs=1e-6)


def test_outage_scale_belongs_to_the_load_case():
    loads = [circuit("Pit", 0.5, outage_scale={"usual": 1.0, "frugal": 0.5, "storm": 2.0})]
    site = small_site(loads, [unit()], **ENDS)
    hours = [ride_through(site, load_case=case).hours[0] for case in ("usual", "frugal", "storm")]
    assert hours == pytest.approx([10.0, 20.0, 5.0], abs=1e-6)


def log_of_sun(tmp_path, kw):
    """An inverter's log of an invented sunny year: so many kW from 08:00 to 16:00 UTC."""
    import pandas as pd

    stamps = pd.date_range("2025-01-01", "2026-01-01", freq="h", inclusive="left", tz="UTC")
    sun = np.where((stamps.hour >= 8) & (stamps.hour < 16), kw, 0.0)
    path = tmp_path / "log.csv"
    pd.DataFrame({"time": stamps.strftime("%Y-%m-%dT%H:%M:%S+00:00"), "kw": sun}).to_csv(path, index=False)
    return {"series": {"csv": str(path), "column": "kw"}, "ac_kw": 6.0}


UTC = {"site": {"timezone": "UTC"}}


@pytest.mark.parametrize(
    ("connected_at", "takes_back_kw", "hours"),
    [("main-panel", 5.0, 10.0), ("sub-panel", 0.0, 10.0), ("sub-panel", 5.0, 14.0 + 336)],
)
def test_solar_by_where_it_is_connected(tmp_path, connected_at, takes_back_kw, hours):
    """From 18:00 a 10 kWh unit carries 1 kW to 04:00; 16.5 kWh reach the sun."""
    usable = 10.0 if hours == 10.0 else 16.5
    solar = {**log_of_sun(tmp_path, 3.0), "connected_at": connected_at}
    units = [unit(usable_kwh=usable, takes_back_kw=takes_back_kw)]
    outage = {"start_soc": "full", "reconnect_s": 0.0}
    ride = ride_through(small_site([circuit("One", 1.0)], units, solar=solar, outage=outage, **UTC))
    assert ride.hours[18] == pytest.approx(min(hours, 336.0), abs=1e-6)


def test_solar_waits_on_a_new_island(tmp_path):
    """IEEE 1547: five minutes of a good grid before solar returns; 0.05 kWh do not last so long at 1 kW."""
    solar = {**log_of_sun(tmp_path, 3.0), "connected_at": "sub-panel"}
    outage = {"start_soc": 0.01, "reconnect_s": 300.0}
    site = small_site([circuit("One", 1.0)], [unit(takes_back_kw=5.0)], solar=solar, outage=outage, **UTC)
    ride = ride_through(site)
    assert (ride.hours[9], ride.why[9]) == (pytest.approx(0.05, abs=1e-9), "held-off")
    at_once = ride_through(site.with_values({"outage.reconnect_s": 0.0}))
    assert at_once.hours[9] > 7.0


def test_solars_wait_is_over_before_sunrise(tmp_path):
    """The wait begins with the island, not with the sun: 14.001 kWh reach 08:00, are full again at 16:00, end at 06:00."""
    solar = {**log_of_sun(tmp_path, 3.0), "connected_at": "sub-panel"}
    units = [unit(usable_kwh=14.001, takes_back_kw=6.0)]
    site = small_site([circuit("One", 1.0)], units, solar=solar, outage={"start_soc": "full"}, **UTC)
    assert ride_through(site).hours[18] == pytest.approx(14.0 + 8.0 + 14.001, abs=1e-6)


def test_restart_is_ignored_with_a_caution_where_solar_cannot_return():
    loads = [circuit("One", 1.0)]
    site = small_site(loads, [unit()], outage={"start_soc": "full", "restart_soc": 0.2})
    ride = ride_through(site)
    assert ride.hours[0] == pytest.approx(5.0, abs=1e-6)
    assert any("restart_soc is ignored" in text for text in ride.house.cautions)


def test_permuting_circuits_and_units_changes_nothing():
    loads = [circuit("One", 0.4, "A"), circuit("Two", 0.3, "B", priority=2), circuit("Pump", 0.2, "AB", priority=3)]
    one = ride_through(small_site(loads, locked_pair(), **ENDS))
    other = ride_through(small_site(loads[::-1], locked_pair()[::-1], **ENDS))
    assert np.array_equal(one.hours, other.hours)


def test_shortest_hours_stay_within_the_horizon():
    ride = ride_through(
        small_site([circuit("Small", 0.001)], [unit()], outage={"start_soc": "full", "horizon_h": 48.0})
    )
    assert (ride.hours == 48.0).all()
    assert ride.censored.all()
    assert ride.document()["lasting_frac"]["72"] is None


@pytest.mark.parametrize("control", ["none", "by-hand"])
def test_a_horizon_inside_a_step_is_followed_to_its_end(control):
    """5 kWh carry 0.35 kW for 14.286 h, on the quick route and on the walk."""
    tables = {"outage": {"start_soc": "full", "horizon_h": 14.5}, "subpanel": {"load_control": control}}
    ride = ride_through(small_site([circuit("One", 0.35)], [unit()], **tables))
    assert ride.hours == pytest.approx(5.0 / 0.35, abs=1e-9)


BOTH = {"usable_kwh": 10.0, "charging_circuit": {"breaker_a": 30, "volts": 240}}
AUTOMATIC = {"subpanel": {"load_control": "automatic"}}


@pytest.mark.long
def test_both_legs_at_once_are_empty_and_not_each_others_victim():
    """Model 7: equal halves of a two-pole circuit empty two equal units in the same moment."""
    ride = ride_through(small_site([circuit("Pump", 1.0, "AB")], locked_pair(), **ENDS))
    assert (ride.hours[0], ride.why[0]) == (pytest.approx(10.0, abs=1e-9), "empty")
    assert {leg: hours[0] for leg, hours in ride.leg_hours.items()} == pytest.approx({"A": 10.0, "B": 10.0}, abs=1e-9)
    assert who_goes_dark(ride, 0)[0]["why"] == "empty"


def test_a_two_pole_circuit_is_lost_to_the_other_leg():
    """Scenario S13 with the 0.5 kW two-pole load of first priority alone: leg A ends at 4 h and takes it along."""
    loads = [circuit("One", 1.0, "A", priority=2), circuit("Two", 0.25, "B", priority=2), circuit("Pump", 0.5, "AB")]
    ride = ride_through(small_site(loads, locked_pair(), **ENDS))
    rows = {row["circuit"]: (round(row["hours"], 9), row["why"]) for row in who_goes_dark(ride, 0)}
    assert rows == {"One": (4.0, "empty"), "Pump": (4.0, "other-leg"), "Two": (16.0, "empty")}
    assert ride.why[0] == "other-leg"


def test_a_legs_hours_count_its_own_single_pole_circuits():
    """Model 7: what is shed on leg A of a 120/240 V unit, or on two poles, is no loss of leg B."""
    loads = [circuit("One", 0.5, "A"), circuit("Two", 0.5, "B")]
    on_a = [*loads, circuit("Big", 3.0, "A", priority=2)]
    ride = ride_through(small_site(on_a, [unit("both", **BOTH)], **AUTOMATIC, **ENDS))
    assert {leg: hours[0] for leg, hours in ride.leg_hours.items()} == pytest.approx({"A": 0.0, "B": 10.0}, abs=1e-9)
    two_pole = [*loads, circuit("Big", 6.0, "AB", priority=2)]
    ride = ride_through(small_site(two_pole, [unit("both", **BOTH)], **AUTOMATIC, **ENDS))
    assert {leg: hours[0] for leg, hours in ride.leg_hours.items()} == pytest.approx({"A": 10.0, "B": 10.0}, abs=1e-9)
    assert ride.usually_lost == "Big"


def test_the_first_lost_may_be_a_two_pole_circuit_that_load_control_drops():
    """Model 7: 7 kW over two locked 3 kW units; the two-pole circuit of priority 2 goes first, at once."""
    loads = [circuit("One", 0.5, "A"), circuit("Two", 0.5, "B"), circuit("Big", 6.0, "AB", priority=2)]
    ride = ride_through(small_site(loads, locked_pair(continuous_kw=3.0), **AUTOMATIC, **ENDS))
    assert (ride.hours[0], ride.name_of(int(ride.first_lost[0]))) == (pytest.approx(10.0, abs=1e-9), "Big")


def test_what_is_shed_by_hand_is_lost_when_hands_shed_it():
    """Practice of the trade, no source: nobody sheds at night, or before half an hour has passed."""
    evening = {"kw": 5.5, "window": "18:00-19:00"}
    loads = [circuit("Keep", 0.1), {**circuit("Drop", 0.0, priority=2), "load": evening}]
    site = small_site(loads, [unit(usable_kwh=20.0, continuous_kw=3.0)], subpanel={"load_control": "by-hand"}, **ENDS)
    ride = ride_through(site)
    assert (ride.name_of(int(ride.first_lost[17])), ride.leg_hours["A"][17]) == ("Drop", 1.0)
    assert (ride.name_of(int(ride.first_lost[19])), ride.leg_hours["A"][19]) == ("Drop", 23.0)


def test_a_motor_that_cannot_start_is_dark_from_the_first():
    """Model 7: 1 hp of code letter K starts at 36-41 A, 8.7 kVA at the least: more than 8, less than 40."""
    pump = circuit(
        "Pump", 0.1, "AB", kind="motor", running_w=900, motor={"hp": 1.0, "code_letter": "K", "at_volts": 230}
    )
    for surge, row in ((8.0, (0.0, "motor-start")), (40.0, (pytest.approx(100.0), "empty"))):
        units = [unit("both", surge_kva=surge, surge_s=2.0, **BOTH)]
        ride = ride_through(small_site([pump], units, **ENDS))
        assert [(one["hours"], one["why"]) for one in who_goes_dark(ride, 0)] == [row]
        assert ride.hours[0] == pytest.approx(100.0)


def test_circuits_are_dark_until_a_manual_transfer_is_thrown():
    at_home = {"transfer": {"kind": "manual", "at_home": ["17:00-08:00"]}}
    ride = ride_through(small_site([circuit("One", 0.5)], [unit()], subpanel=at_home, **ENDS))
    noon = ride.house.hours.index_of("2025-03-03T12:00")
    rows = [(row["hours"], row["why"]) for row in who_goes_dark(ride, noon)]
    assert rows == [(0.0, "not-thrown"), (pytest.approx(10.0), "empty")]
    assert [row["why"] for row in who_goes_dark(ride, noon + 5)] == ["empty"]


def test_where_nothing_can_be_carried_the_units_are_not_to_blame():
    ride = ride_through(small_site([circuit("Pump", 0.5, "AB")], [unit("A"), unit("B")], **ENDS))
    assert (ride.hours.max(), ride.why_frac) == (0.0, {"never-carried": 1.0})


@pytest.mark.parametrize("control", ["none", "automatic"])
def test_hours_of_the_first_priority_are_those_of_its_circuit_that_is_lost_first(control):
    circuits = [circuit("Pump", 0.5), circuit("Fans", 0.4, "B"), circuit("Oven", 0.7, "AB", priority=2)]
    circuits[2]["load"] = {"kw": 0.7, "window": "18:00-20:00"}
    site = small_site(circuits, locked_pair(continuous_kw=0.8), subpanel={"load_control": control})
    ride = ride_through(site)
    np.testing.assert_array_equal(ride.circuit_hours[:2].min(axis=0), ride.hours)
    lost_at_noon = ride.circuit_hours[2, 12]
    assert lost_at_noon == pytest.approx(6.0 if control == "automatic" else ride.hours[12])
