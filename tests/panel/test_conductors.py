"""Conductors, raceways, feeder, voltage drop, continuous load: NEC 240.4, 310, 430, 440; panels invented."""

import pytest

from simulate.panel.checks.conductor import breaker_allowed_a, largest_standard_a, run_ampacity_a
from tests.panel.panel_bench import bench, circuit, findings, only, unit


def wired(awg, breaker, kind="receptacle", material="Cu", method="NM", length_ft=40.0, **keys):
    wire = {"awg": awg, "material": material, "method": method, "length_ft": length_ft}
    return bench([circuit("One", 0.1, "A", breaker_a=breaker, kind=kind, wire=wire, **keys)], [unit("A")])


@pytest.mark.parametrize(
    ("awg", "material", "largest"),
    [
        ("14", "Cu", 15),
        ("12", "Cu", 20),
        ("10", "Cu", 30),
        ("12", "Al", 15),
        ("10", "Al", 20),
        ("8", "Al", 30),
        ("8", "Cu", 40),
        ("6", "Cu", 60),
    ],
)
def test_small_conductors_and_aluminium_one_size_down(awg, material, largest):
    """240.4(D) for copper; aluminium one size down; 55 A of 6 AWG at 60 degC takes the next standard rating, 60 A."""
    assert breaker_allowed_a(awg, material, plugged=True) <= largest <= breaker_allowed_a(awg, material)
    one = only(wired(awg, largest, "cooking", material), "conductor")
    assert one.verdict == "pass"
    assert f"{awg} AWG {material} takes a breaker of" in one.text
    over = {15: 20, 20: 25, 30: 40, 40: 45, 60: 70}[largest]
    assert only(wired(awg, over, "cooking", material), "conductor").verdict == "fail"


def test_receptacle_circuits_get_no_next_size_up():
    """240.4(B): 55 A of 6 AWG at 60 degC with receptacles takes 50 A."""
    assert breaker_allowed_a("6", "Cu", plugged=True) == 50.0
    assert largest_standard_a(14.9) == 0.0
    assert only(wired("6", 60, "receptacle"), "conductor").verdict == "fail"


def test_terminations_at_60_degc_up_to_100_a():
    """110.14(C): 3 AWG copper is 85 A, not 100; above 100 A the 75 degC column."""
    assert run_ampacity_a("3", "Cu") == 85.0
    assert run_ampacity_a("1", "Cu") == 130.0


def test_motors_yield_to_430():
    """1 hp at 230 V: 8 A of Table 430.248, 10 A at 125 %; breaker to 250 %, 20 A: 14 AWG on 20 A is allowed."""
    motor = {"hp": 1.0, "code_letter": "H"}
    wire = {"awg": "14"}
    pump = circuit("Pump", 0.1, "AB", kind="motor", breaker_a=20, wire=wire, motor=motor)
    one = only(bench([pump]), "conductor")
    assert (one.verdict, one.value, one.limit) == ("pass", 20.0, 20.0)
    assert "125% of the table's 8 A is 10.00 A, 14 AWG Cu carries 15 A; breaker 20 A of 20 A at most" in one.text
    assert only(bench([pump | {"breaker_a": 25}]), "conductor").verdict == "fail"
    big = pump | {"motor": {"hp": 3.0}, "breaker_a": 40}
    thin = only(bench([big]), "conductor")
    assert (thin.verdict, thin.value, thin.limit) == ("fail", 21.25, 15.0)
    assert 'give circuit "Pump".motor.hp.' in only(bench([pump | {"motor": {"lra_a": 30.0}}]), "conductor").text


def test_air_conditioning_yields_to_440():
    plate = {"mca_a": 18.0, "mocp_a": 30.0}
    one = only(wired("12", 30, "hvac", **plate), "conductor")
    assert one.verdict == "pass"
    assert "breaker 30 A of 30 A at most (nameplate), 12 AWG Cu carries 20 A of 18 A at least" in one.text
    assert only(wired("12", 35, "hvac", **plate), "conductor").verdict == "fail"
    thin = only(wired("14", 30, "hvac", **plate), "conductor")
    assert (thin.verdict, thin.value, thin.limit) == ("fail", 18.0, 15.0)
    assert (
        'circuit "One".mca_a, circuit "One".mocp_a. Both stand on the nameplate.'
        in only(wired("12", 30, "hvac"), "conductor").text
    )


def test_a_wire_that_is_not_given_is_named():
    assert 'give circuit "Den".wire.' in only(bench([circuit("Den", 0.1)], [unit("A")]), "conductor").text


def test_a_size_that_the_table_does_not_hold_is_bad_input():
    from profiles.noun import BadInput

    with pytest.raises(BadInput, match=r'bench.toml: circuit "One".wire.awg is not in the table for Al'):
        findings(wired("14", 15, "cooking", "Al"), "conductor")


def load(kind, running_w, breaker=20):
    return bench([circuit("One", 0.1, "A", kind=kind, running_w=running_w, breaker_a=breaker)], [unit("A")])


@pytest.mark.parametrize(
    ("running_w", "breaker", "verdict"),
    [(2160, 25, "pass"), (2160, 20, "fail"), (1920, 20, "pass"), (2880, 30, "pass"), (2881, 30, "fail")],
)
def test_s16_continuous_load(running_w, breaker, verdict):
    """S16: 18 A needs 22.5 A, so 25 A; 16 A on 20 A passes exactly; the most on 30 A is 24 A."""
    assert only(load("heat", running_w, breaker), "continuous-load").verdict == verdict


def test_continuous_goes_by_kind():
    one = only(load("lighting", 2160, 25), "continuous-load")
    assert (one.value, one.limit) == (pytest.approx(22.5), 25.0)
    assert "18.00 A running, 125% of it, continuous, asks for 22.50 A of 25 A" in one.text
    assert findings(load("receptacle", 2400), "continuous-load") == []
    over = only(load("receptacle", 2500), "continuous-load")
    assert (over.verdict, "not continuous" in over.text) == ("fail", True)
    assert findings(load("motor", 2500), "continuous-load") == []
    assert "Continuous goes by kind" in only(bench([circuit("One", 0.1)], [unit("A")]), "continuous-load").text
    dark = bench([circuit("One", 0.1, kind="lighting")], [unit("A")])
    assert 'give circuit "One".running_w.' in only(dark, "continuous-load").text


def bundle(length_in=30.0, conductors=18, awg="12", breaker=20, kind="receptacle", ambient_c=30.0, **raceway):
    wire = {} if awg is None else {"wire": {"awg": awg}}
    raceways = [{"length_in": length_in, "conductors": conductors, "ambient_c": ambient_c, **raceway}]
    one = circuit("One", 0.1, "A", breaker_a=breaker, kind=kind, **wire)
    return only(bench([one], [unit("A")], subpanel={"raceways": raceways}), "raceway", "raceway 1")


def test_a_nipple_needs_no_adjustment():
    one = bundle(24.0)
    assert (one.verdict, one.value, one.limit, one.unit) == ("pass", 24.0, 24.0, "in")
    assert "24 in is a nipple of 24 in at most: 18 conductors at 100%" in one.text


def test_the_bundle_between_the_panels():
    """18 conductors: 50 % of the 90 degC column, 15 A for 12 AWG, which does not take 20 A; six of them at 80 % do."""
    one = bundle(24.1)
    assert (one.verdict, one.value, one.limit) == ("fail", 20.0, 15.0)
    assert (
        "50% of the 90 degC column. Tightest: One, 12 AWG Cu, carries 15 A and takes a breaker of 15 A; fitted: 20"
        in one.text
    )
    assert "Too small: One." in one.text
    assert bundle(conductors=6).verdict == "pass"
    assert bundle(conductors=9).verdict == "pass"
    assert bundle(conductors=18, awg="10").verdict == "pass"
    assert bundle(conductors=21, awg="10").verdict == "fail"


def test_an_ampacity_below_the_smallest_breaker_is_the_limit_of_receptacles():
    """22 conductors: 45 % of 30 A are 13.5 A (310.15(C)(1)). 240.4(B) gives circuits of receptacles no next size up,
    so no standard breaker (240.6(A), from 15 A) protects them."""
    for breaker in (15, 20):
        one = bundle(36.0, conductors=22, breaker=breaker)
        assert (one.verdict, one.value, one.limit, one.margin) == ("fail", breaker, 13.5, 13.5 - breaker)
        assert "22 current-carrying conductors over 36 in at 30 degC: 45% of the 90 degC column" in one.text
        assert "12 AWG Cu, carries 13.5 A: with receptacles on it no next size up is allowed (240.4(B))" in one.text
        assert f"no standard breaker is that small; fitted: {breaker} A. Too small: One." in one.text
        assert "breaker of 0 A" not in one.text


def test_an_ampacity_between_breakers_takes_the_next_size_up_without_receptacles():
    """The same 13.5 A of a circuit without receptacles: 15 A, the next standard rating (240.4(B))."""
    one = bundle(36.0, conductors=22, breaker=15, kind="lighting")
    assert (one.verdict, one.value, one.limit) == ("pass", 15.0, 15.0)
    assert "carries 13.5 A and takes a breaker of 15 A, the next standard size up (240.4(B)); fitted: 15 A" in one.text
    over = bundle(36.0, conductors=22, breaker=20, kind="lighting")
    assert (over.verdict, over.limit) == ("fail", 15.0)


def test_a_hot_nipple_is_still_corrected():
    """12 AWG at 46-50 degC: 30 x 0.82 = 24.6 A of the 90 degC column holds 20 A; 14 AWG at 60: 17.75 A holds 15 A."""
    assert bundle(20.0, ambient_c=50.0).verdict == "pass"
    assert bundle(30.0, conductors=6, ambient_c=50.0).verdict == "fail"


def test_raceways_and_their_wire_are_asked_for():
    site = bench([circuit("One", 0.1)], [unit("A")])
    assert "give subpanel.raceways." in only(site, "raceway").text
    assert 'give subpanel.raceways[1].awg, circuit "One".wire.' in bundle(awg=None).text


def test_a_raceway_may_state_its_own_wire():
    raceways = [{"length_in": 30.0, "conductors": 18, "awg": "10"}]
    site = bench([circuit("One", 0.1, "A", kind="receptacle")], [unit("A")], subpanel={"raceways": raceways})
    assert only(site, "raceway", "raceway 1").verdict == "pass"


def fed(breaker=60, awg="6", running_w=1000, bus_a=125, **feeder):
    loads = [
        circuit(
            f"Plugs {k}",
            0.1,
            "A",
            kind="receptacle",
            running_w=running_w,
            largest_w=1500,
            wire={"awg": "12", "length_ft": 40.0},
        )
        for k in range(4)
    ]
    panel = {"build": "fed", "bus_a": bus_a, "feeder": {"breaker_a": breaker, "awg": awg, **feeder}}
    return bench(loads, [unit("A")], subpanel=panel)


def test_the_feeder_carries_its_leg():
    one = only(fed(), "feeder", "feeder load")
    assert (one.verdict, one.value) == ("pass", 50.0)
    assert "everything on 50.0 A, the largest two plus what always runs 41.7 A, continuous kinds at" in one.text
    assert only(fed(45), "feeder", "feeder load").verdict == "marginal"
    assert only(fed(40), "feeder", "feeder load").verdict == "fail"
    site = bench([circuit("One", 0.1)], subpanel={"build": "fed", "feeder": {"breaker_a": 60, "awg": "6"}})
    assert "running_w" in only(site, "feeder", "feeder load").text


def test_the_feeder_takes_continuous_kinds_at_125_percent():
    """215.3: 40 A of fixed heat ask for 50 A of the feeder breaker; the voltage drop stays that of 40 A."""
    heat = circuit("Heat", 0.1, "A", kind="heat", running_w=4800, wire={"awg": "6", "length_ft": 1.0})
    feeder = {"breaker_a": 50, "awg": "6", "length_ft": 100.0}
    site = bench([heat], [unit("A")], subpanel={"build": "fed", "feeder": feeder})
    one = only(site, "feeder", "feeder load")
    assert (one.verdict, one.value) == ("pass", 50.0)
    drop = only(site, "voltage-drop", "feeder and branch").value
    assert drop == pytest.approx(0.2 * 0.491 * 40 / 240 + 0.002 * 0.491 * 40 / 120)


def test_the_feeder_conductor_and_the_bus_carry_its_breaker():
    assert only(fed(), "feeder", "feeder conductor").verdict == "pass"
    thin = only(fed(awg="8"), "feeder", "feeder conductor")
    assert (thin.verdict, "8 AWG Cu takes a breaker of 40 A; fitted: 60 A." in thin.text) == ("fail", True)
    assert only(fed(bus_a=50), "feeder", "sub-panel bus").verdict == "fail"
    assert "protects a bus of 125 A" in only(fed(), "feeder", "sub-panel bus").text
    assert "subpanel.bus_a" in only(fed(bus_a=None), "feeder", "sub-panel bus").text
    assert "subpanel.feeder" in only(bench([circuit("One", 0.1)], subpanel={"build": "fed"}), "feeder", "feeder").text


def test_pass_through_has_no_feeder():
    assert findings(bench([circuit("One", 0.1)]), "feeder") == []


def test_voltage_drop_is_informational():
    """20 A over 100 ft of 12 AWG: 7.92 V by Table 8, 6.6 % of 120 V."""
    one = only(wired("12", 20, running_w=2400, largest_w=2400, length_ft=100.0), "voltage-drop", "One")
    assert (one.verdict, round(one.value, 3)) == ("marginal", 0.066)
    assert "20.0 A over 100 ft of 12 AWG Cu loses 6.6%; 3% is informational, not a rule." in one.text
    assert only(wired("12", 20, running_w=500, largest_w=500, length_ft=50.0), "voltage-drop", "One").verdict == "pass"
    bare = wired("12", 20, length_ft=None)
    assert 'circuit "One".wire.length_ft, circuit "One".running_w' in only(bare, "voltage-drop", "One").text


def test_feeder_and_branch_together():
    one = only(fed(length_ft=100.0, running_w=100), "voltage-drop", "feeder and branch")
    assert "5% is informational" in one.text
    assert one.value == pytest.approx(0.2 * 0.491 * 50 / 240 + 0.08 * 1.98 * 12.5 / 120)
    assert "subpanel.feeder.length_ft" in only(fed(), "voltage-drop", "feeder and branch").text


def test_voltage_drop_of_a_charging_circuit():
    """24 A over 50 ft of 10 AWG stranded copper: 2.976 V, 1.24 % of 240 V, 71 W."""
    wire = {"awg": "10", "method": "conduit", "length_ft": 50.0}
    units = [unit("both", charging_circuit={"breaker_a": 30, "volts": 240, "wire": wire})]
    one = only(bench([circuit("One", 0.1)], units), "voltage-drop", "Unit both, charging circuit")
    assert round(one.value, 4) == 0.0124
    assert "24.0 A over 50 ft loses 2.98 V, 1.2%; 3% is informational. 71 W are lost in the wire." in one.text
    text = only(bench([circuit("One", 0.1)], [unit("A")]), "voltage-drop", "Unit A, charging circuit").text
    assert 'battery "Unit A".charging_circuit.wire' in text
