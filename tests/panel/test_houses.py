"""Five invented houses, each figure worked by hand from the tables that the checks name (those are tested elsewhere).

The houses are site files in houses/, so that other tests can use them too.
"""

from pathlib import Path

import pytest

from simulate.house.ride import ride_through
from simulate.panel.checks.check import check_panel
from simulate.panel.sheets.sheets import sheets
from simulate.site.load_calculation import service_load
from simulate.site.site import read_site

HOUSES = Path(__file__).parent / "houses"
NAMES = ("all-electric", "well-pump", "cabin", "medical", "must-not-be-built")


def house(name):
    return read_site(HOUSES / f"{name}.toml")


def found(name):
    return {(one.check, one.subject): one for one in check_panel(house(name))}


def fails(name):
    return {(one.check, one.subject) for one in check_panel(house(name)) if one.verdict == "fail"}


def wires(name):
    made = sheets(house(name))["wiring"]
    return {row[0]: dict(zip(made["columns"], row, strict=True)) for row in made["rows"]}


@pytest.mark.parametrize("name", NAMES[:-1])
def test_nothing_fails_on_the_houses_that_may_be_built(name):
    assert fails(name) == set()


@pytest.mark.parametrize("name", NAMES)
def test_every_house_has_all_its_sheets(name):
    made = sheets(house(name), check_panel(house(name)))
    assert all(row for row in made["wiring"]["rows"])
    assert made["one-line"]["svg"].startswith("<svg")


def test_all_electric_service():
    """7,200 + 4,500 + 35,620 = 47,320 VA; 10,000 + 0.4 x 37,320 = 24,928; + 4,200 + 6,500 = 35,628 VA."""
    assert service_load(house("all-electric")).va == pytest.approx(35_628.0)
    one = found("all-electric")["service-headroom", "service"]
    assert (one.verdict, one.value, one.limit) == ("marginal", pytest.approx(148.45 + 1.25 * 2 * 23.75), 200.0)


def test_all_electric_wires():
    """6 AWG of the 75 degC column is 65 A, next size up 70; 3 x 0.0507 + 0.0211 in2 of 0.864: 20.0 %; 2 x 35 A of 125."""
    checks, runs = found("all-electric"), wires("all-electric")
    assert checks["feeder", "feeder conductor"].limit == 70.0
    assert checks["raceway", "raceway 1, fill"].value == pytest.approx(0.1732 / 0.864)
    assert checks["busbar", "sub-panel on battery, leg A"].value == 70.0
    assert checks["charging-circuit", "Garage units"].value == pytest.approx(1.25 * 23.75)
    assert (runs["feeder"]["neutral"], runs["feeder"]["ground"]) == ("1 x 6 AWG Cu", "1 x 10 AWG Cu")


def test_all_electric_spaces():
    """Numbers 1, 3, 4, 5 and 7 are freed by the circuits that move: the feeder takes 1 and 3, a charger 5 and 7."""
    rows = {row[0]: row[4] for row in sheets(house("all-electric"))["directory-main"]["rows"]}
    assert [rows[p] for p in (1, 3)] == ["Feeder of the sub-panel"] * 2
    assert [rows[p] for p in (5, 7, 33, 35)] == ["Charging, Garage units no. 1"] * 2 + [
        "Charging, Garage units no. 2"
    ] * 2
    assert rows[4] == "free"
    runs = wires("all-electric")
    assert runs["Garage units no. 1, charging"]["from breaker"] == "main panel, 30 A 2-pole, space 5/7"


def test_well_pump_bundle():
    """4 + 3 x 2 = 10 hots, 50 % of 40 A: 20 A. Leg B sends back 20 + 15 = 35 A: neutral 8 AWG; ground behind 20 A."""
    checks, runs = found("well-pump"), wires("well-pump")
    assert "10 current-carrying conductors over 36 in" in checks["raceway", "raceway 1"].text
    assert checks["raceway", "raceway 1"].limit == 20.0
    assert runs["raceway 1, neutral"]["neutral"] == "1 x 8 AWG Cu"
    assert runs["raceway 1, ground"]["ground"] == "1 x 12 AWG Cu"
    assert checks["raceway", "raceway 1, fill"].value == pytest.approx((10 * 0.0211 + 0.0366 + 0.0133) / 1.528)


def test_well_pump_starts():
    """44.9 A x 120 V + 0.26 kVA on leg B of 7 kVA; 32.0 V on the branch and 0.67 V between the panels of 240 V."""
    checks = found("well-pump")
    assert checks["motor-start", "Well pump"].value == pytest.approx(44.9 * 0.12 + 0.26)
    volts = 44.9 * (2 * 0.180 * 1.98 + 2 * 2 * 0.003 * 1.24)
    one = checks["motor-start", "Well pump, volts at start"]
    assert (one.verdict, one.value) == ("marginal", pytest.approx(volts / 240.0))


def test_well_pump_service():
    """60 A and 20 A x 1.25 on 100 A."""
    assert found("well-pump")["service-headroom", "service"].value == pytest.approx(85.0)


def test_cabin_figures():
    """A 120 V unit: four hots and the neutral that counts; 24 + 1.25 x 10 A of 50; 150 + 80 W at one time of 1.8 kW."""
    checks = found("cabin")
    assert "5 conductors at 100%" in checks["raceway", "raceway 1"].text
    assert checks["service-headroom", "service"].value == pytest.approx(36.5)
    assert checks["source-capacity", "battery units"].value == pytest.approx(0.23)


def test_cabin_hours():
    """3.0 kWh without losses over 0.05 + 0.06 kW: 27.27 h from every start, were the transfer automatic."""
    ride = ride_through(house("cabin").with_values({"subpanel.transfer.kind": "automatic"}))
    assert ride.hours.min() == pytest.approx(3.0 / 0.11)
    assert ride.hours.max() == pytest.approx(3.0 / 0.11)


def test_medical_pair_and_hours():
    """The shared neutral carries 20 A at most; 7.0 kWh over 0.41 / sqrt(0.85) + 0.05 kW: 14.15 h at end of warranty."""
    one = found("medical")["shared-neutral", "Counter left / Counter right"]
    assert (one.verdict, one.value) == ("pass", 20.0)
    assert ("one-heater", "Bedroom, concentrator") in found("medical")
    site = house("medical").with_values({"battery.usable_kwh": 7.0})
    assert ride_through(site).hours.min() == pytest.approx(7.0 / (0.41 / 0.85**0.5 + 0.05), rel=1e-6)


def test_what_is_wrong_with_the_house_that_must_not_be_built():
    assert fails("must-not-be-built") == {
        ("shared-neutral", "Counter left / Counter right"),
        ("neutral-bond", "battery units"),
        ("source-circuit", "Cheap unit"),
        ("source-circuit", "Cheap unit, conductor"),
        ("two-pole-source", "Well pump"),
        ("space", "two-pole spaces"),
        ("space", "main panel"),
        ("raceway", "raceway 1"),
        ("raceway", "raceway 1, count"),
        ("charging-circuit", "Cheap unit"),
        ("charging-circuit", "Cheap unit, conductor"),
        ("service-headroom", "service"),
        ("busbar", "sub-panel on battery, leg A"),
        ("busbar", "units in parallel, leg A"),
        ("transfer-rating", "poles"),
        ("fault-clearing", "main panel, on the utility"),
        ("protection-kept", "Counter left"),
        ("protection-kept", "Bedroom"),
        ("location", "Cheap unit"),
        ("location", "utility-closet"),
    }


def test_its_raceway_holds_nine_and_not_two():
    """Two hots for each of two circuits and four for the pump, and the neutral of a bank on one leg."""
    one = found("must-not-be-built")["raceway", "raceway 1, count"]
    assert (one.value, one.limit) == (9.0, 2.0)
