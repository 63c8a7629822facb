"""Each sentence against the series that it speaks of."""

import numpy as np
import pytest

from simulate.document.answers import first_dead, hours_of, stop_of
from simulate.document.study import study
from simulate.document.timeline import who_goes_dark
from simulate.house.ride import ride_through
from simulate.panel.checks.check import check_panel
from simulate.physics.outages.spread import nine_in_ten
from tests.site.small_site import circuit, locked_pair, small_site, unit

FULL = {"outage": {"start_soc": "full"}}


def stops(site):
    ride = ride_through(site)
    return [(one["reason"], one["subject"]) for one in stop_of(site, ride.house.never_carried, check_panel(site))]


@pytest.mark.long
def test_a_leg_dies_whole_and_no_tie_is_broken():
    """All that hangs on the leg is named, the gravest first; who is named goes dark at the same instant."""
    loads = [
        circuit("Study", 0.5),
        circuit("Jet pump", 0.2, if_lost="water"),
        circuit("Boiler", 0.2, if_lost="heat"),
        circuit("Pit", 0.1, if_lost="flood"),
        circuit("Freezer", 0.1, "B", if_lost="food"),
    ]
    ride = ride_through(small_site(loads, locked_pair(), **FULL))
    leg, circuits, dropped = first_dead(ride, 1)
    assert (leg, circuits, dropped) == ("A", ["Pit", "Boiler", "Jet pump", "Study"], [])
    after = {row["circuit"]: row["hours"] for row in who_goes_dark(ride, 0)}
    assert [after[name] for name in circuits] == pytest.approx([5.0] * 4) and after["Freezer"] > 5.0
    assert ride.usually_lost == "Pit"


def test_a_medical_circuit_that_dies_at_the_same_instant_is_named_first():
    loads = [circuit("Pit", 0.5, if_lost="flood"), circuit("Oxygen", 0.5, "B", if_lost="medical")]
    ride = ride_through(small_site(loads, locked_pair(), **FULL))
    assert first_dead(ride, 1)[:2] == ("both", ["Oxygen", "Pit"])
    assert hours_of(ride, ride)["text"].endswith("Both legs go dead first: Oxygen, Pit.")


def test_a_pool_that_carries_nothing_is_not_what_is_lost():
    """The unit on leg B is empty after 100 h of its own draw, leg A's circuit after 50 h."""
    units = [unit("A"), unit("B", no_load_w=500.0)]
    ride = ride_through(small_site([circuit("One", 0.1)], units, **FULL))
    assert ride.usually_lost == "One" and ride.usual_leg == "A"
    assert ride.hours[0] == pytest.approx(50.0)


def test_what_load_control_drops_is_not_said_to_go_dead_with_the_leg():
    loads = [circuit("Keep", 1.0), circuit("Drop", 5.5, priority=2)]
    ride = ride_through(small_site(loads, [unit()], subpanel={"load_control": "automatic"}, **FULL))
    said = hours_of(ride, ride)
    assert said["circuits"] == ["Keep"]
    assert said["text"].endswith("Leg A goes dead first: Keep. Before that load control drops Drop.")


def test_hours_new_and_at_the_end_of_the_warranty():
    """10 h new; 2 % a year over ten years leave 80 %: 8 h."""
    said = study(small_site([circuit("One", 0.5)], [unit()], **FULL)).answer["hours"]
    assert (said["p10"], said["end_of_warranty_p10"]) == pytest.approx((10.0, 8.0))
    assert "at least 10 hours. At the end of the warranty: 8 h." in said["text"]


def test_the_hardest_month_is_the_one_with_the_least_hours():
    winter = {**circuit("Heat", 0.0), "load": [{"kw": 0.1}, {"kw": 0.5, "months": [2]}]}
    ride = ride_through(small_site([winter], [unit()], **FULL))
    said = hours_of(ride, ride)
    least = {month: nine_in_ten(ride.in_months((month,))) for month in range(1, 13)}
    assert said["month"] == min(least, key=least.get) and said["p10"] == min(least.values())


def test_a_motor_that_no_unit_can_start_does_not_go_dead_with_the_leg():
    """1 hp of code letter K at 230 V starts at 8.7 kVA at the least, more than the 8 kVA of this unit."""
    motor = {"hp": 1.0, "code_letter": "K", "at_volts": 230}
    pump = circuit("Pump", 0.1, "AB", kind="motor", running_w=900, motor=motor, priority=2)
    both = unit("both", surge_kva=8.0, surge_s=2.0, charging_circuit={"breaker_a": 30, "volts": 240})
    ride = ride_through(small_site([circuit("One", 0.4, running_w=400), pump], [both], **FULL))
    said = hours_of(ride, ride)
    assert said["circuits"] == ["One"] and "The units cannot start: Pump." in said["text"]


def test_nothing_goes_dead_within_the_horizon():
    ride = ride_through(small_site([circuit("One", 0.001)], [unit()], **FULL))
    said = hours_of(ride, ride)
    assert (said["leg"], said["circuits"]) == (None, [])
    assert said["text"].endswith("you have at least 336 h.")


def test_what_is_never_carried_stands_before_the_hours():
    loads = [circuit("One", 0.5), circuit("Pump", 0.5, "AB", if_lost="water"), circuit("Attic", 0.1, "B", priority=2)]
    site = small_site(loads, [unit()], **FULL)
    assert [one for one in stops(site) if one[0] == "never-carried"] == [("never-carried", "Pump")]
    text = study(site).answer["text"]
    assert text[0].startswith("Do not build this as drawn: Pump (priority 1) is never carried: it needs both legs")
    assert any(line.startswith("Of the circuits that are carried: if the power fails") for line in text)


def test_hours_of_a_lower_priority_say_so():
    ride = ride_through(small_site([circuit("One", 0.5, priority=2), circuit("Pump", 0.5, "AB")], [unit()], **FULL))
    assert "Hours are those of priority 2" in hours_of(ride, ride)["text"]


def test_a_charger_for_volts_that_the_service_does_not_have_stops_the_job():
    wrong = unit("A", charging_circuit={"breaker_a": 30, "volts": 240})
    assert ("charging-circuit", "Unit A") in stops(
        small_site([circuit("One", 0.5)], [wrong], service={"system": "120"})
    )


def test_a_site_with_nothing_to_put_right_has_an_empty_list():
    assert stops(small_site([circuit("One", 0.5)], [unit()])) == []


@pytest.mark.long
def test_money_is_the_bill_of_the_document():
    document = study().document
    bill = document["bill"]
    assert document["answer"]["money"]["change"] == pytest.approx(bill["with_battery"] - bill["today"])


def test_the_leg_named_is_first_in_most_of_the_worst_tenth():
    """The embedded demo site, each outage of the worst tenth of its hardest month followed by itself."""
    ride = ride_through(study().run)
    said = hours_of(ride, ride)
    at = ride.house.hours.month == said["month"]
    worst = np.flatnonzero(at & (ride.hours <= said["p10"]))
    named = 0
    for start in worst[::7]:
        rows = who_goes_dark(ride, int(start))
        rows = [row for row in rows if row["why"] != "motor-start"]
        dead = {row["circuit"] for row in rows if row["hours"] <= rows[0]["hours"] + 1e-9}
        named += set(said["circuits"]) == dead
    assert said["circuits"] and named > len(worst[::7]) / 2
