"""What a finding says under a verdict that the tests of its figures do not read; panels invented."""

import pytest

from simulate.panel.checks.layout import Simulated
from tests.panel.panel_bench import bench, both_unit, circuit, only, unit
from tests.panel.test_conductors import bundle, fed, wired
from tests.panel.test_service import LOAD, charging, cold
from tests.panel.test_sources import generator, solar_site, transfer

COOLING = {"mca_a": 18.0, "mocp_a": 30.0}
PUMP = {"motor": {"hp": 1.0, "code_letter": "H"}}
GARAGE = bench(LOAD, [unit("A", count=3, nameplate_kwh=21.0, place="garage")])
SMALL = bench(LOAD, [unit("A", nameplate_kwh=5.6, place="garage")])
OFTEN = Simulated(switches_per_year={"Fridge": 500.0})


@pytest.mark.parametrize(
    ("finding", "verdict", "said"),
    [
        (
            only(charging(2.0, circuit={"wire": {"awg": "10"}}), "charging-circuit", "Unit A, conductor"),
            "pass",
            "10 AWG Cu takes a charging breaker of 30 A; fitted: 30 A.",
        ),
        (
            cold(Simulated(lowest_cell_c={"Unit A": 2.0})),
            "pass",
            "cells fall to 2.0 degC (garage, unheated), no charging below 0 degC.",
        ),
        (only(wired("14", 30, "hvac", **COOLING), "conductor"), "fail", "14 AWG Cu carries 15 A of 18 A at least"),
        (only(wired("14", 20, "receptacle"), "conductor"), "fail", "14 AWG Cu takes a breaker of 15 A; fitted: 20 A."),
        (
            only(wired("12", 60, "motor", **PUMP), "conductor"),
            "fail",
            "125% of the table's 16 A is 20.00 A, 12 AWG Cu carries 20 A; breaker 60 A of 40 A at most.",
        ),
        (
            only(fed(45), "feeder", "feeder load"),
            "marginal",
            "everything on 50.0 A, the largest two plus what always runs 41.7 A, continuous kinds at 125%, of 45 A.",
        ),
        (only(fed(40), "feeder", "feeder load"), "fail", "everything on 50.0 A"),
        (only(generator(5.0), "generator", "neutral of the generator"), "pass", "a floating generator keeps it one."),
        (only(GARAGE, "location", "Unit A"), "fail", "21 kWh nameplate a unit, of 20 kWh in a dwelling."),
        (only(SMALL, "location", "Unit A"), "pass", "5.6 kWh nameplate a unit, of 20 kWh in a dwelling."),
        (only(SMALL, "location", "garage"), "pass", "5.6 kWh nameplate in all, of 80 kWh. Clearances, detection"),
        (
            bundle(conductors=6),
            "pass",
            "6 current-carrying conductors over 30 in at 30 degC: 80% of the 90 degC column.",
        ),
        (
            only(solar_site(connected_at="main-panel"), "source-circuit", "solar"),
            "pass",
            "3 kW at 240 V is 12.5 A, 125% is 15.62 A, on a 20 A breaker.",
        ),
        (
            only(solar_site(connected_at="main-panel", breaker_a=15), "source-circuit", "solar"),
            "fail",
            "on a 15 A breaker. It needs 20 A.",
        ),
        (
            only(
                bench(LOAD, [both_unit(output_breaker_a=35, output_wire_awg="8")]),
                "source-circuit",
                "Unit both, conductor",
            ),
            "pass",
            "8 AWG copper takes a breaker of 40 A; fitted: 35 A.",
        ),
        (
            only(transfer(rated_operations=5000), "transfer-rating", "operations", OFTEN),
            "fail",
            "10 years to 5000 operations, 7500 in 15 years.",
        ),
        (
            only(transfer(rated_a=30, rated_hp=1.0), "transfer-rating", "poles"),
            "pass",
            "Poles of 30 A; the largest breaker is 30 A (Pump).",
        ),
    ],
)
def test_what_it_says(finding, verdict, said):
    assert finding.verdict == verdict
    assert said in finding.text


def test_a_raceway_without_a_circuit_asks_for_one():
    raceways = [{"length_in": 30.0, "conductors": 6}]
    site = bench([circuit("Behind", 0.1, on="main")], [unit("A")], subpanel={"raceways": raceways})
    assert "give circuit.wire." in only(site, "raceway").text


def test_a_short_branch_loses_little():
    short = wired("12", 20, "receptacle", length_ft=10.0, running_w=600, largest_w=600)
    one = only(short, "voltage-drop", "One")
    assert one.verdict == "pass"
    assert "over 10 ft of 12 AWG Cu loses" in one.text


def test_a_source_that_carries_the_largest_two_only_fails():
    """702.4: automatic transfer without load control must carry the full transferred load."""
    loads = [circuit(f"Plugs {k}", 0.1, kind="receptacle", running_w=100, largest_w=1000) for k in range(3)]
    one = only(bench(loads, [unit("A", continuous_kw=2.5)]), "source-capacity")
    assert one.verdict == "fail"
    assert "the full transferred load must be carried (702.4): 3.00 kW of 2.50 kW." in one.text
