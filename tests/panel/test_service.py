"""Charging circuits, service headroom, busbars, places, spaces: worked scenarios S07, S08, S10; panels invented."""

import copy
import datetime as dt

import pytest

from simulate.panel.checks.layout import Layout, Simulated
from simulate.panel.checks.service import chargers, fitting_frac
from simulate.site.site import site_of
from tests.panel.panel_bench import bench, both_unit, circuit, findings, locked_pair, only, unit
from tests.site.small_site import BASE

LOAD = [circuit("A", 0.1)]


def charging(charge_kw, volts=120, breaker=30, **more):
    more["charging_circuit"] = {"breaker_a": breaker, "volts": volts, **more.pop("circuit", {})}
    leg = "A" if volts == 120 else "both"
    return bench(LOAD, [unit(leg, charge_kw=charge_kw, **more)])


@pytest.mark.parametrize(("volts", "charge_kw", "expected_kw"), [(240, 5.0, 5.0), (240, 9.0, 5.76), (120, 9.0, 2.88)])
def test_s07_s08_the_smallest_limit_wins(volts, charge_kw, expected_kw):
    """S07, S08: 30 A at 240 V gives 5.76 kW, at 120 V 2.88; a charger of 5.0 kW gives 5.0."""
    assert chargers(Layout(charging(charge_kw, volts))).kw == pytest.approx(expected_kw)


def test_s08_on_208_volts():
    batteries = [unit("both", charging_circuit={"breaker_a": 30, "volts": 208})]
    site = bench(LOAD, batteries, service={"system": "120/208"})
    assert chargers(Layout(site)).kw == pytest.approx(4.992)


def test_a_breaker_does_not_tell_a_charger_to_slow_down():
    """3.0 kW at 120 V is 25.0 A, 31.25 A at 125 %: a 35 A circuit."""
    one = only(charging(3.0), "charging-circuit", "Unit A")
    assert (one.verdict, one.value, one.limit) == ("fail", 31.25, 30.0)
    assert "3 kW at 120 V is 25.0 A, 125% is 31.25 A of 30 A" in one.text
    assert "It needs a 35 A circuit; a breaker does not tell a charger to slow down." in one.text
    assert "Simulated as if set to 2.88 kW." in one.text
    assert only(charging(3.0, breaker=35), "charging-circuit", "Unit A").verdict == "pass"


def test_an_adjustable_charger_states_its_setting():
    one = only(charging(3.0, charge_adjustable=True), "charging-circuit", "Unit A")
    assert (one.verdict, one.value) == ("pass", pytest.approx(30.0))
    assert "Set the charger to 2.88 kW (24.0 A) at most and record the setting." in one.text


def test_a_charger_that_is_not_stated_is_asked_for():
    one = only(charging(None), "charging-circuit", "Unit A")
    assert one.verdict == "not-assessed"
    assert 'give battery "Unit A".charge_kw' in one.text
    assert "takes the circuit's 2.88 kW" in one.text


def test_charging_volts_must_be_there():
    batteries = [unit("both", charge_kw=4.0, charging_circuit={"breaker_a": 30, "volts": 240})]
    one = only(bench(LOAD, batteries, service={"system": "120/208"}), "charging-circuit", "Unit both")
    assert (one.verdict, "a 120/208 V service has no 240 V to charge from" in one.text) == ("fail", True)


def test_the_charging_conductor_carries_its_breaker():
    name = "Unit A, conductor"
    assert only(charging(2.0, circuit={"wire": {"awg": "10"}}), "charging-circuit", name).verdict == "pass"
    one = only(charging(2.0, circuit={"wire": {"awg": "12"}}), "charging-circuit", name)
    assert (one.verdict, one.limit) == ("fail", 20.0)
    assert "12 AWG Cu takes a charging breaker of 20 A; fitted: 30 A." in one.text
    assert "charging_circuit.wire" in only(charging(2.0), "charging-circuit", name).text


def cold(simulated=None, **battery):
    battery = {"place": "garage", "heated": False, "temperature": {"min_charge_c": 0.0}} | battery
    return only(bench(LOAD, [unit("A", **battery)]), "cold-charging", simulated=simulated)


def test_cells_below_their_charging_limit():
    frost = cold(Simulated(lowest_cell_c={"Unit A": -3.0}))
    assert (frost.verdict, frost.margin) == ("fail", -3.0)
    assert "cells fall to -3.0 degC (garage, unheated), no charging below 0 degC." in frost.text
    assert "heat the place or move the units" in frost.text
    assert cold(Simulated(lowest_cell_c={"Unit A": 2.0})).verdict == "pass"
    assert cold(heated=True).value == 18.0
    assert "the simulated year. Cells in an unheated garage follow the weather." in cold().text
    assert 'min_charge_c, battery "Unit A".place' in cold(temperature=None, place=None).text


def service(units, calculated=7500, main=100, **keys):
    batteries = [both_unit(count=units, charge_kw=5.76)]
    tables = {"service": {"main_breaker_a": main, "calculated_load_va": calculated, **keys}}
    return bench(LOAD, batteries, **tables)


def test_s10_three_chargers_on_one_service():
    """S10: 72 A unmanaged; 13.2 kW shared, 4.4 kW each, beside 6 kW x 1.25 on 100 A."""
    one = only(service(3), "service-headroom")
    assert (one.verdict, one.value, one.limit) == ("fail", pytest.approx(31.25 + 1.25 * 72), 100.0)
    assert "125% of 72.0 A charging" in one.text
    assert "Shared limit that fits: 13.2 kW, 4.40 kW a unit" in one.text
    assert "staggered: 2 of 3 on leg A at full rate at once" in one.text
    assert "At 100% it is 103.25 A" in one.text
    assert "125% used as a sizing margin; many authorities accept 100% in the calculation" in one.text


def test_headroom_that_fits_and_headroom_that_is_none():
    assert only(service(2), "service-headroom").verdict == "pass"
    none = only(service(1, calculated=24000), "service-headroom")
    assert "Shared limit that fits: 0.0 kW, 0.00 kW a unit" in none.text
    assert "none of 1 on leg A" in none.text


def test_headroom_counts_single_pole_chargers_on_their_own_leg():
    pair = locked_pair(charge_kw=2.4)
    site = bench(LOAD, pair, service={"main_breaker_a": 100, "calculated_load_va": 12000})
    assert only(site, "service-headroom").value == pytest.approx(50 + 1.25 * 20)
    pair[1]["charging_circuit"]["leg"] = "A"
    site = bench(LOAD, pair, service={"main_breaker_a": 100, "calculated_load_va": 12000})
    assert only(site, "service-headroom").value == pytest.approx(50 + 1.25 * 40)


def test_what_fits_of_no_charging_at_all():
    assert fitting_frac(100.0, 50.0, 0.0) == 1.0
    assert fitting_frac(100.0, 120.0, 24.0) == 0.0


def test_a_simulated_peak_stands_beside_and_is_no_verdict():
    site = service(1, calculated=None)
    one = only(site, "service-headroom", simulated=Simulated(house_peak_kw=7.25))
    assert one.verdict == "not-assessed"
    assert "give service.calculated_load_va." in one.text
    assert "All units together draw 24.0 A" in one.text
    assert "Simulated peak of the house 7.25 kW, beside it and not the verdict." in one.text
    assert "Simulated peak" in only(service(1), "service-headroom", simulated=Simulated(house_peak_kw=7.25)).text


def measured(plan="time-of-use", **keys):
    """A house of 7,500 VA by measured demand beside a battery."""
    keys = {"main_breaker_a": 200, "load_method": "220.87", "calculated_load_va": 7500} | keys
    return only(bench(LOAD, [both_unit()], operation={"plan": plan}, service=keys), "service-headroom")


def test_a_30_day_record_does_not_stand_beside_a_cycling_battery():
    """220.87, from memory: the 30-day record of its exception is not for services with renewables or peak shaving."""
    assert "how long the record is" in measured().text
    one = measured(demand_record="30-day")
    assert (one.verdict, "a 30-day record does not stand beside solar" in one.text) == ("not-assessed", True)
    assert measured("keep-full", demand_record="30-day").verdict == "pass"
    assert measured("keep-full").verdict == "pass"


def test_a_years_record_beside_a_battery_is_read_in_two_ways():
    """220.87: some authorities read the exception for the whole method, so it is met at one end only."""
    one = measured(demand_record="year")
    assert (one.verdict, one.value) == ("marginal", pytest.approx(7500 / 240 + 30))
    assert "Some authorities read the exception of 220.87" in one.text


def test_a_highest_demand_counts_at_125_percent():
    """220.87(1): 9.6 kW on record is 12,000 VA, 50 A at 240 V."""
    one = measured("keep-full", calculated_load_va=None, highest_demand_kw=9.6)
    assert one.value == pytest.approx(50 + 30)


def quarter_hours(tmp_path, minutes=15, days=31):
    """A meter file of a flat kW with one quarter of an hour at 8 kW."""
    start, n = dt.datetime(2025, 1, 1), days * 24 * 60 // minutes
    stamps = [start + dt.timedelta(minutes=minutes * k) for k in range(n)]
    kwh = [2.0 if k == 777 else 0.25 for k in range(n)]
    rows = [f"{at:%Y-%m-%d %H:%M},{one * minutes / 15}" for at, one in zip(stamps, kwh, strict=True)]
    (tmp_path / "usage.csv").write_text("start,kwh\n" + "\n".join(rows) + "\n")
    return measured_site(tmp_path)


def measured_site(folder):
    data = copy.deepcopy(BASE) | {"circuit": LOAD, "battery": [both_unit()], "operation": {"plan": "keep-full"}}
    meter = {"meter": "usage.csv"}
    data["service"] = {"main_breaker_a": 200, "load_method": "220.87", "whole_house": meter}
    data["site"] = data["site"] | {"code_edition": "NEC 2023", "timezone": "Etc/GMT+5"}
    return site_of(data, file="bench.toml", folder=folder)


def test_the_demand_of_a_meter_file_is_its_highest_quarter_of_an_hour(tmp_path):
    """2 kWh in 15 minutes is 8 kW; 125 % of it 10,000 VA, 41.67 A."""
    one = only(quarter_hours(tmp_path), "service-headroom")
    assert one.value == pytest.approx(10_000 / 240 + 30)
    assert "highest 15 minutes of usage.csv (30-day)" in one.text


def test_hourly_readings_show_no_demand(tmp_path):
    one = only(quarter_hours(tmp_path, minutes=60), "service-headroom")
    assert (one.verdict, "usage.csv has readings of 60 minutes" in one.text) == ("not-assessed", True)


def test_headroom_from_calculation_rows():
    rows = {"floor_area_ft2": 1500.0}
    site = service(1, calculated=None, calculation=rows, load_method="220.82")
    assert only(site, "service-headroom").value == pytest.approx(9000 / 240 + 30)
    assert "(optional method, 220.82; legs alike)" in only(site, "service-headroom").text
    unnamed = only(service(1, calculated=None, calculation=rows), "service-headroom").text
    assert "(standard method, Article 220, no method named; legs alike)" in unnamed
    tables = {"service": {"main_breaker_a": 100, "calculation": rows}}
    nameless = bench(LOAD, [both_unit()], edition=None, **tables)
    assert "give site.code_edition." in only(nameless, "service-headroom").text


SOLAR = {"dc_kw": 9.0, "ac_kw": 7.68, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "main-panel"}


def bus(opposite_end=True, batteries=None, main=200, main_bus=200, solar=SOLAR, **panel):
    tables = {"solar": solar | {"opposite_end": opposite_end}} if solar else {}
    return bench(LOAD, batteries, service={"main_breaker_a": main, "bus_a": main_bus}, subpanel=panel, **tables)


def test_busbar_120_percent_at_opposite_ends():
    """705.12(B): 200 A main and 32 A x 1.25 on 200 A: exactly 120 %."""
    one = only(bus(), "busbar", "main panel")
    assert (one.verdict, one.value, one.limit) == ("pass", pytest.approx(240.0), pytest.approx(240.0))
    assert "200 A and 125% of 32.0 A of sources is 240.0 A of 120% of 200 A" in one.text
    near = only(bus(False), "busbar", "main panel")
    assert (near.verdict, near.limit) == ("fail", 200.0)
    assert "A smaller main breaker, a larger bus, or a listed power control system." in near.text
    held = only(bus(False, power_control=True), "busbar", "main panel")
    assert (held.verdict, "Held by a listed power control system (705.13)" in held.text) == ("pass", True)
    assert held.basis.startswith("NEC 705.12(B), 705.13; NEC 2023")


def test_busbar_inputs_are_named():
    bare = only(bus(None, main=None, main_bus=None), "busbar", "main panel")
    assert "service.main_breaker_a, service.bus_a, solar.opposite_end" in bare.text


def test_batteries_count_in_interactive_mode_only():
    on_battery = findings(bus(solar=None), "busbar")
    assert {one.subject.split(",")[0] for one in on_battery} == {"sub-panel on battery"}
    one = only(bus(solar=None, mode="interactive", batteries=[both_unit(count=2)]), "busbar", "main panel")
    assert one.value == pytest.approx(200 + 1.25 * 50)
    panel = {"mode": "interactive", "bus_a": 125, "feeder": {"breaker_a": 60, "awg": "6"}, "build": "fed"}
    one = only(bus(solar=None, batteries=[both_unit(count=2)], **panel), "busbar", "sub-panel")
    assert (one.verdict, one.value, one.limit) == ("pass", pytest.approx(122.5), 150.0)
    assert "subpanel.bus_a, subpanel.feeder" in only(bus(solar=None, mode="interactive"), "busbar", "sub-panel").text


def test_location_sums_nameplate_energy_by_place():
    """NFPA 855 ch. 15 / IRC R328, limits from excerpts: 20 kWh a unit, 40 in a closet, 80 in a garage."""
    closet = bench(LOAD, [unit("A", count=3, nameplate_kwh=14.0, place="utility-closet")])
    assert only(closet, "location", "Unit A").verdict == "pass"
    one = only(closet, "location", "utility-closet")
    assert (one.verdict, one.value, one.limit) == ("fail", 42.0, 40.0)
    assert "42 kWh nameplate in all, of 40 kWh" in one.text
    assert one.basis.endswith("site adopts NEC 2023; confirm in the adopted edition")
    garage = bench(LOAD, [unit("A", count=3, nameplate_kwh=21.0, place="garage")])
    assert only(garage, "location", "Unit A").verdict == "fail"
    assert only(garage, "location", "garage").verdict == "pass"
    bare = bench(LOAD, [unit("A", place="garage")])
    assert 'give battery "Unit A".nameplate_kwh' in only(bare, "location", "garage").text
    assert (
        'battery "Unit A".place, battery "Unit A".nameplate_kwh'
        in only(bench(LOAD, [unit("A")]), "location", "Unit A").text
    )


def spaces(*spaces, circuits=None, **panel):
    circuits = circuits or [
        circuit("One", 0.1, "A"),
        circuit("Two", 0.1, "B"),
        circuit("Pump", 0.1, "AB", breaker_a=30),
    ]
    return bench(circuits, subpanel={"spaces": list(spaces), **panel}, service={"free_spaces": 2})


TWO_30 = {"poles": 2, "max_breaker_a": 30}


def test_spaces_by_poles_and_rating():
    site = spaces({"poles": 1, "max_breaker_a": 20, "count": 2}, TWO_30)
    assert [one.verdict for one in findings(site, "space")] == ["pass", "pass", "pass"]
    assert only(site, "space", "single-pole spaces").text == "2 single-pole spaces needed, 2 there."
    short = only(spaces({"poles": 1, "max_breaker_a": 20}, TWO_30), "space", "single-pole spaces")
    assert (short.verdict, short.value, short.limit) == ("fail", 2.0, 1.0)
    assert "no space for Two (20 A): too few, too small or on the other leg." in short.text
    small = only(spaces({"poles": 2, "max_breaker_a": 20}), "space", "two-pole spaces")
    assert (small.verdict, "Pump (30 A)" in small.text) == ("fail", True)


def test_a_multiwire_pair_takes_one_two_pole_space():
    pair = [circuit("West", 0.1, "A", multiwire_with="East"), circuit("East", 0.1, "B")]
    one = only(spaces(TWO_30, circuits=pair), "space", "two-pole spaces")
    assert (one.verdict, one.value) == ("pass", 1.0)
    assert findings(spaces(TWO_30, circuits=pair), "space")[0].subject == "two-pole spaces"


def test_single_pole_spaces_may_sit_on_a_leg():
    on_a = {"poles": 1, "max_breaker_a": 20, "count": 2, "leg": "A"}
    one = only(spaces(on_a, TWO_30), "space", "single-pole spaces")
    assert (one.verdict, "Two (20 A)" in one.text) == ("fail", True)


def test_spaces_of_the_main_panel():
    site = spaces({"poles": 1, "max_breaker_a": 20, "count": 2}, TWO_30)
    assert only(site, "space", "main panel").text.startswith("The charging circuits take 2 spaces of the main panel")
    many = bench(LOAD, [both_unit(count=2)], service={"free_spaces": 3})
    assert (only(many, "space", "main panel").verdict, only(many, "space", "main panel").value) == ("fail", 4.0)
    fed = bench(LOAD, [unit("A")], service={"free_spaces": 1}, subpanel={"build": "fed"})
    one = only(fed, "space", "main panel")
    assert (one.value, one.limit) == (3.0, 2.0)
    assert "and the feeder take 3 spaces of the main panel, the circuits that move free 1; free: 1." in one.text
    assert "service.free_spaces" in only(bench(LOAD), "space", "main panel").text
    assert "subpanel.spaces" in only(bench(LOAD), "space", "sub-panel").text


def test_a_two_pole_space_has_no_leg():
    from profiles.noun import BadInput

    with pytest.raises(BadInput, match="leg must be left out: a two-pole space has both legs"):
        spaces({"poles": 2, "max_breaker_a": 20, "leg": "A"})
