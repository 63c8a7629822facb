"""Sources, neutrals, solar, generator, transfer: worked scenarios S14, S17 and rules of the NEC; panels invented."""

import pytest

from simulate.panel.checks.layout import Simulated
from simulate.panel.checks.neutral import bonds
from tests.panel.panel_bench import bench, both_unit, circuit, findings, locked_pair, only, unit


def test_s17_the_next_standard_breaker():
    """6 kW at 240 V is 25 A, 31.25 A at 125 %: a 35 A breaker."""
    site = bench([circuit("A", 0.1)], [both_unit(output_breaker_a=35, output_wire_awg="8")])
    one = only(site, "source-circuit", "Unit both")
    assert (one.verdict, one.value, one.margin) == ("pass", 31.25, 3.75)
    assert "6 kW at 240 V is 25.0 A, 125% is 31.25 A" in one.text
    small = only(bench([circuit("A", 0.1)], [both_unit(output_breaker_a=30)]), "source-circuit", "Unit both")
    assert small.verdict == "fail"
    assert "It needs 35 A; as it is, the output is taken as 5.76 kW." in small.text


def test_the_output_conductor_carries_its_breaker():
    wired = lambda awg: bench([circuit("A", 0.1)], [both_unit(output_breaker_a=35, output_wire_awg=awg)])
    assert only(wired("8"), "source-circuit", "Unit both, conductor").verdict == "pass"
    one = only(wired("10"), "source-circuit", "Unit both, conductor")
    assert (one.verdict, one.limit) == ("fail", 30.0)
    assert "10 AWG copper takes a breaker of 30 A; fitted: 35 A." in one.text
    missing = only(wired(None), "source-circuit", "Unit both, conductor")
    assert 'give battery "Unit both".output_wire_awg' in missing.text
    assert "output_breaker_a" in only(bench([circuit("A", 0.1)], [both_unit()]), "source-circuit").text


def test_an_unknown_wire_size_is_bad_input():
    from profiles.noun import BadInput

    with pytest.raises(BadInput, match=r'bench.toml: battery "Unit both".output_wire_awg should be .* not .7.'):
        bench([circuit("A", 0.1)], [both_unit(output_breaker_a=35, output_wire_awg="7")])


SOLAR = {"dc_kw": 3.6, "ac_kw": 3.0, "tilt_deg": 25.0, "azimuth_deg": 180.0, "breaker_a": 20, "opposite_end": True}


def solar_site(batteries=None, subpanel=None, **solar):
    return bench([circuit("A", 0.1)], batteries, solar=SOLAR | solar, subpanel=subpanel or {})


def test_the_solar_breaker_is_a_source_circuit():
    assert only(solar_site(connected_at="main-panel"), "source-circuit", "solar").value == 15.625
    assert only(solar_site(connected_at="main-panel", breaker_a=15), "source-circuit", "solar").verdict == "fail"
    text = only(solar_site(connected_at="main-panel", ac_kw=None, breaker_a=None), "source-circuit", "solar").text
    assert "give solar.ac_kw, solar.breaker_a." in text


PUMP = circuit("Pump", 0.1, "AB", running_w=1000)


def test_two_pole_circuits_need_a_locked_pair():
    assert only(bench([PUMP]), "two-pole-source").verdict == "pass"
    assert "if one unit stops, both poles must open" in only(bench([PUMP]), "two-pole-source").text
    unlocked = only(bench([PUMP], [unit("A"), unit("B")]), "two-pole-source")
    assert (unlocked.verdict, unlocked.value) == ("fail", None)
    assert "Pump is never carried: the units on A and B are not stated to be phase-locked" in unlocked.text
    single = only(bench([PUMP], [unit("A")]), "two-pole-source")
    assert (single.verdict, single.value, single.limit, single.margin) == ("fail", 0.0, 240.0, -240.0)
    assert "one 120 V source gives 0 V between its hots" in single.text


def test_a_locked_pair_gives_240_volts_on_a_208_volt_service():
    one = only(bench([PUMP], service={"system": "120/208"}), "two-pole-source")
    assert (one.verdict, one.value, one.limit) == ("marginal", 240.0, 208.0)
    assert "On battery it sees 240 V, on the utility 208 V" in one.text


def pair(on="sub-panel", legs=("A", "B"), batteries=None, breaker=15):
    west = circuit("West", 0.1, legs[0], breaker_a=breaker, multiwire_with="East")
    east = circuit("East", 0.1, legs[1], breaker_a=breaker, on=on)
    return bench([west, east], batteries)


def test_a_mate_left_on_the_main_panel_is_the_loudest_fail():
    one = only(pair("main"), "shared-neutral")
    assert (one.verdict, one.value, one.limit) == ("fail", 30.0, 15.0)
    assert one.text.startswith("DO NOT ENERGISE UNTIL CORRECTED.")
    assert "left behind on the main panel" in one.text
    assert "15 + 15 = 30 A" in one.text
    assert one.basis.startswith("NEC 210.4, 300.3(B)")
    assert "left behind a candidate" in only(pair("candidate"), "shared-neutral").text


def test_the_loudest_fail_stands_first():
    from simulate.panel.checks.check import check_panel

    good = [circuit("One", 0.1, "A", multiwire_with="Two"), circuit("Two", 0.1, "B")]
    bad = [circuit("West", 0.1, "A", multiwire_with="East"), circuit("East", 0.1, "B", on="main")]
    assert check_panel(bench([*good, *bad]))[0].subject == "West / East"


def test_one_source_on_both_legs_carries_the_sum():
    """S14: from one 120 V source the shared neutral carries the sum."""
    one = only(pair(batteries=[unit("A")]), "shared-neutral")
    assert (one.verdict, one.value) == ("fail", 30.0)
    assert "One 120 V source feeds both hots" in one.text


def test_unlocked_units_may_drift_into_phase():
    one = only(pair(batteries=[unit("A"), unit("B")]), "shared-neutral")
    assert (one.verdict, one.value) == ("fail", 30.0)
    assert "not stated to be phase-locked" in one.text


def test_mates_on_one_leg_fail_and_on_opposite_legs_pass():
    assert "Both hots of West / East are on leg A" in only(pair(legs=("A", "A")), "shared-neutral").text
    one = only(pair(), "shared-neutral")
    assert (one.verdict, one.value) == ("pass", 15.0)
    assert "opposite legs of locked units" in one.text


def test_mates_without_a_leg_are_asked_for_it():
    west = {k: v for k, v in circuit("West", 0.1, "A", multiwire_with="East").items() if k != "leg"}
    one = only(bench([west, circuit("East", 0.1, "B")]), "shared-neutral")
    assert (one.verdict, 'circuit "West".leg' in one.text) == ("not-assessed", True)


def test_pairs_that_stay_behind_yield_no_finding():
    west = circuit("West", 0.1, "A", multiwire_with="East", on="main")
    assert findings(bench([west, circuit("East", 0.1, "B", on="main")]), "shared-neutral") == []


@pytest.mark.parametrize(
    ("neutral", "bond", "expected", "words"),
    [
        ("solid", "floating", (1, 1), "1 on the utility, 1 on battery"),
        ("solid", "bonded", (2, 2), "Two bonds"),
        ("solid", "switches", (1, 2), "Two bonds"),
        ("switched", "floating", (1, 0), "No bond"),
        ("switched", "bonded", (1, 1), "with a switched neutral"),
        ("switched", "switches", (1, 1), "with a switched neutral"),
    ],
)
def test_exactly_one_bond_each_way(neutral, bond, expected, words):
    """NEC 250.24(A)(5), 250.30 (from memory): one bond per system; a switched neutral makes the units their own."""
    assert bonds(neutral, [bond]) == expected
    site = bench([circuit("A", 0.1)], [unit("A", neutral_bond=bond)], subpanel={"neutral": neutral})
    one = only(site, "neutral-bond")
    assert one.verdict == ("pass" if expected == (1, 1) else "fail")
    assert words in one.text


def test_unknown_bonds_are_named():
    text = only(bench([circuit("A", 0.1)], [unit("A")]), "neutral-bond").text
    assert 'give subpanel.neutral, battery "Unit A".neutral_bond.' in text


def island(takes_back_kw, batteries=None, **solar):
    batteries = batteries or locked_pair(takes_back_kw=takes_back_kw)
    return only(solar_site(batteries, connected_at="sub-panel", **solar), "solar-on-island")


def test_outputs_that_take_nothing_back_keep_solar_off():
    one = island(0.0)
    assert (one.verdict, one.value, one.limit) == ("fail", 3.0, 0.0)
    assert "The outputs take no power back" in one.text


def test_surplus_is_met_with_one_unit_out():
    assert (island(3.0).verdict, island(2.0).verdict, island(1.4).verdict) == ("pass", "marginal", "fail")
    assert "At full units it curtails by frequency." in island(3.0).text
    assert "It holds only while every unit is up." in island(2.0).text
    assert "A surplus trips the units." in island(1.4).text
    assert "with one unit out and the load at its lowest (0.00 kW)" in island(3.0).text


def test_the_rating_of_the_solar_inverter_is_asked_for():
    site = solar_site(locked_pair(takes_back_kw=2.5), connected_at="sub-panel", ac_kw=None)
    one = only(site, "solar-on-island", simulated=Simulated(solar_max_kw=2.75))
    assert (one.verdict, one.text) == (
        "not-assessed",
        "Not assessed: give solar.ac_kw. The most in a simulated step is 2.75 kW.",
    )
    assert "give solar.ac_kw." in only(site, "busbar", "main panel").text


def test_how_the_solar_inverter_curtails_decides():
    assert island(3.0, curtails="no").verdict == "fail"
    assert "does not curtail" in island(3.0, curtails="no").text
    assert island(3.0, curtails="steps").verdict == "marginal"
    assert "on and off in steps" in island(3.0, curtails="steps").text


def test_solar_needs_both_legs():
    one = island(5.0, [unit("A", takes_back_kw=5.0)])
    assert one.verdict == "fail"
    assert "needs both legs of a locked pair" in one.text


def test_lowest_load_takes_its_part():
    site = solar_site(locked_pair(takes_back_kw=2.5), connected_at="sub-panel")
    assert only(site, "solar-on-island", simulated=Simulated(lowest_load_kw=0.5)).verdict == "pass"


def test_main_panel_and_battery_solar_yield_no_island_finding():
    for where in ("main-panel", "battery"):
        assert findings(solar_site(connected_at=where), "solar-on-island") == []


def transfer(**keys):
    motor = circuit("Pump", 0.1, "AB", breaker_a=30, motor={"hp": 1.0, "lra_a": 60.0})
    fridge = circuit("Fridge", 0.1, "A", motor={"lra_a": 11.0, "at_volts": 115})
    return bench([motor, fridge], subpanel={"transfer": keys})


def test_poles_are_rated_for_breaker_and_motor():
    site = transfer(rated_a=20, rated_hp=0.5)
    one = only(site, "transfer-rating", "poles")
    assert (one.verdict, one.value, one.limit) == ("fail", 30.0, 20.0)
    assert "Over the rating: Pump." in one.text
    pump = only(site, "transfer-rating", "Pump")
    assert (pump.verdict, pump.unit) == ("fail", "hp")
    assert "1 hp on poles of 0.5 hp" in pump.text
    fridge = only(site, "transfer-rating", "Fridge")
    assert (fridge.verdict, fridge.limit) == ("pass", pytest.approx(6 * 9.8))
    assert "made for about 59 A at 115 V" in fridge.text
    assert only(transfer(rated_a=30, rated_hp=1.0), "transfer-rating", "poles").verdict == "pass"
    assert "rated_a" in only(transfer(), "transfer-rating", "poles").text
    assert "rated_hp" in only(transfer(), "transfer-rating", "Pump").text


def test_years_to_the_rated_operations():
    often = Simulated(switches_per_year={"Fridge": 500.0, "Pump": 0.0})
    one = only(transfer(rated_operations=50000), "transfer-rating", "operations", often)
    assert (one.verdict, one.value) == ("pass", 7500.0)
    assert "Fridge is switched 500 times a year for the rate: 100 years to 50000 operations" in one.text
    assert only(transfer(rated_operations=5000), "transfer-rating", "operations", often).verdict == "fail"
    assert "rated_operations" in only(transfer(), "transfer-rating", "operations", often).text


def kept(build="pass-through", length_in=20.0, edition="NEC 2023", kind="receptacle", **keys):
    panel = {"build": build, "raceways": [{"length_in": length_in, "conductors": 3}]}
    site = bench([circuit("Den", 0.1, "A", kind=kind, **keys)], subpanel=panel, edition=edition)
    return only(site, "protection-kept")


NONE = {"gfci": "none", "afci": "none"}


def test_a_moved_circuit_keeps_its_protection():
    assert kept(gfci="device", afci="breaker").verdict == "pass"
    assert "keeps GFCI at the device and AFCI at the breaker" in kept(gfci="device", afci="breaker").text
    assert "has no GFCI or AFCI to keep" in kept(room="other", **NONE).text
    moved = kept("fed", gfci="none", afci="breaker", room="bedroom")
    assert moved.verdict == "marginal"
    assert "The AFCI breaker of Den stays behind: fit the same in the sub-panel" in moved.text
    assert 'give circuit "Den".gfci, circuit "Den".afci.' in kept().text


def test_an_unknown_room_is_not_assessed():
    """210.8(A) and 210.12(A) go by room: what has neither is asked where it is."""
    assert (kept(**NONE).verdict, 'give circuit "Den".room' in kept(**NONE).text) == ("not-assessed", True)
    assert kept(kind="hvac", **NONE).verdict == "pass"


@pytest.mark.parametrize("room", ["bath", "kitchen", "garage", "basement", "outdoor", "laundry"])
def test_rooms_that_ask_for_gfci(room):
    """210.8(A), from memory."""
    one = kept(room=room, gfci="none", afci="breaker")
    assert (one.verdict, "has no GFCI" in one.text) == ("marginal", True)
    assert kept(room=room, gfci="device", afci="breaker").verdict == "pass"


@pytest.mark.parametrize("room", ["kitchen", "bedroom", "living", "laundry"])
def test_rooms_that_ask_for_afci_once_extended_by_more_than_6_ft(room):
    """210.12(A); an extension of at most 6 ft outside enclosures without new outlets is exempt."""
    long = kept(room=room, length_in=80.0, gfci="device", afci="none")
    assert (long.verdict, long.margin) == ("fail", -8.0)
    assert "extended by 80 in, over 6 ft" in long.text
    assert kept(room=room, length_in=72.0, gfci="device", afci="none").verdict == "pass"


@pytest.mark.parametrize(
    ("edition", "number"),
    [("NEC 2014", "210.12(B)"), ("NEC 2017", "210.12(D)"), ("NEC 2020", "210.12(D)"), ("NEC 2023", "210.12(E)")],
)
def test_extended_circuits_by_edition(edition, number):
    """210.12(B) in 2014, (D) in 2017 and 2020, (E) in 2023: excerpts of each were seen."""
    one = kept(room="bedroom", length_in=80.0, edition=edition, **NONE)
    assert number in one.text
    assert number in one.basis


def test_kitchens_asked_for_afci_from_2014_on():
    assert kept(room="kitchen", length_in=80.0, edition="NEC 2011", gfci="device", afci="none").verdict == "pass"


def test_faults_on_battery_are_always_a_caution():
    site = bench([circuit("Den", 0.1, "A")], [unit("A", continuous_kw=2.4)])
    one = only(site, "fault-clearing", "leg A")
    assert (one.verdict, one.limit) == ("marginal", pytest.approx(40.0))
    assert "gives 20-40 A into a fault" in one.text
    assert "find the fault before you reset" in one.text
    strong = bench([circuit("Den", 0.1, "A")], [unit("A", continuous_kw=60.0)])
    assert only(strong, "fault-clearing", "leg A").verdict == "marginal"


def generator(kw, bonded=False, connection="interlocked-inlet", **battery):
    tables = {"generator": {"kw": kw, "connection": connection, "neutral_bonded": bonded}}
    return bench([circuit("A", 0.1)], [both_unit(charge_kw=5.0, **battery)], **tables)


def test_a_generator_must_not_be_stalled_by_the_chargers():
    assert only(generator(5.0), "generator", "charge rate").verdict == "pass"
    one = only(generator(4.0), "generator", "charge rate")
    assert (one.verdict, one.margin) == ("fail", -1.0)
    assert "The charge rate cannot be set below it: it stalls." in one.text
    assert "never through a receptacle or branch circuit" in one.text
    adjusted = only(generator(4.0, charge_adjustable=True), "generator", "charge rate")
    assert (adjusted.verdict, "Set them below it" in adjusted.text) == ("pass", True)


def test_a_generator_behind_an_interlock_floats():
    name = "neutral of the generator"
    assert only(generator(5.0), "generator", name).verdict == "pass"
    bonded = only(generator(5.0, bonded=True), "generator", name)
    assert (bonded.verdict, bonded.value) == ("fail", 2.0)
    assert "a bonded generator makes two. Float its neutral." in bonded.text
    assert "neutral_bonded" in only(generator(5.0, bonded=None), "generator", name).text
    assert len(findings(generator(5.0, connection="unit-inlet"), "generator")) == 1


def test_fault_current_against_interrupting_ratings():
    """110.9: available fault current, not assessed without it."""
    site = lambda **keys: bench([circuit("Den", 0.1, "A")], [unit("A")], service=keys)
    name = ("fault-clearing", "main panel, on the utility")
    assert "service.fault_current_ka, service.interrupting_ka" in only(site(), *name).text
    assert only(site(fault_current_ka=10.0, interrupting_ka=10.0), *name).verdict == "pass"
    assert only(site(fault_current_ka=14.0, interrupting_ka=10.0), *name).verdict == "fail"


def test_the_bus_that_units_feed_on_battery():
    """Output breakers on a leg against the bus; several units in parallel need a listing for it."""
    site = lambda n, **panel: bench(
        [circuit("Den", 0.1, "A")], [unit("A", count=n, output_breaker_a=60)], subpanel=panel
    )
    name = ("busbar", "sub-panel on battery, leg A")
    assert only(site(2, bus_a=125), *name).verdict == "pass"
    over = only(site(3, bus_a=125), *name)
    assert (over.verdict, over.value) == ("fail", 180.0)
    assert "give subpanel.bus_a" in only(site(1), *name).text
    parallel = ("busbar", "units in parallel, leg A")
    assert "give subpanel.parallel_units" in only(site(2, bus_a=125), *parallel).text
    assert only(site(2, parallel_units=True), *parallel).verdict == "pass"
    assert only(site(2, parallel_units=False), *parallel).verdict == "fail"


def test_solar_feeds_the_same_bus_on_battery():
    """60 A of output and a 20 A solar breaker onto a bus of 60 A."""
    solar = {"dc_kw": 3.6, "ac_kw": 3.0, "breaker_a": 20, "tilt_deg": 25.0, "azimuth_deg": 180.0}
    units = [both_unit(output_breaker_a=60, takes_back_kw=4.0)]
    site = bench([circuit("Den", 0.1)], units, subpanel={"bus_a": 60}, solar=solar | {"connected_at": "sub-panel"})
    one = only(site, "busbar", "sub-panel on battery, leg A")
    assert (one.verdict, one.value) == ("fail", 80.0)
    behind = bench([circuit("Den", 0.1)], units, subpanel={"bus_a": 60}, solar=solar | {"connected_at": "main-panel"})
    assert only(behind, "busbar", "sub-panel on battery, leg A").value == 60.0


def test_a_feeder_tells_how_far_circuits_are_extended():
    """Without a raceway the feeder's length stands for the extension."""
    feeder = {"breaker_a": 60, "awg": "6", "length_ft": 8.0}
    one = circuit("Den", 0.1, "A", kind="receptacle", room="bedroom", gfci="none", afci="none")
    found = only(bench([one], subpanel={"build": "fed", "feeder": feeder}), "protection-kept")
    assert (found.verdict, found.value) == ("fail", 96.0)
    unknown = only(bench([one], subpanel={"build": "fed"}), "protection-kept")
    assert "subpanel.raceways" in unknown.text


def test_surge_protection_of_a_new_feeder():
    """215.18 from 2023 on, from memory; not asked for before."""
    site = lambda edition, **panel: bench(
        [circuit("Den", 0.1, "A")], subpanel={"build": "fed", **panel}, edition=edition
    )
    name = ("feeder", "surge protection")
    assert "subpanel.surge_protection" in only(site("NEC 2023"), *name).text
    assert only(site("NEC 2023", surge_protection=True), *name).verdict == "pass"
    missing = only(site("NEC 2023", surge_protection=False), *name)
    assert (missing.verdict, missing.basis.startswith("NEC 215.18")) == ("fail", True)
    assert [one.subject for one in findings(site("NEC 2020"), "feeder")] == ["feeder"]


def test_disconnects_are_asked_for():
    """230.85 from 2020 on and 706.15 (706.7 in 2017), from memory."""
    site = lambda edition="NEC 2023", outdoors=None, **keys: bench(
        [circuit("Den", 0.1, "A")], [unit("A", **keys)], edition=edition, service={"emergency_disconnect": outdoors}
    )
    emergency, own = ("location", "emergency disconnect"), ("location", "Unit A, disconnect")
    assert "service.emergency_disconnect" in only(site(), *emergency).text
    assert only(site(outdoors=True), *emergency).verdict == "pass"
    assert only(site(outdoors=False), *emergency).verdict == "marginal"
    assert only(site(disconnect_in_sight=True), *own).basis.startswith("NEC 706.15")
    assert only(site("NEC 2017", disconnect_in_sight=False), *own).basis.startswith("NEC 706.7")
    assert not [one for one in findings(site("NEC 2014"), "location") if "disconnect" in one.subject]


def test_both_mates_are_switched_for_the_rate_or_neither():
    """A shared neutral ties two sources together where one hot is on battery and the other is not (300.3(B))."""
    pair = lambda one, two: bench(
        [
            circuit("West", 0.1, "A", multiwire_with="East", rate_transfer=one),
            circuit("East", 0.1, "B", rate_transfer=two),
        ]
    )
    assert (
        only(pair(True, True), "shared-neutral").verdict == only(pair(False, False), "shared-neutral").verdict == "pass"
    )
    one = only(pair(True, False), "shared-neutral")
    assert (one.verdict, "West is switched to battery for the rate and East is not" in one.text) == ("fail", True)
