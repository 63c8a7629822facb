"""The load calculation by its methods: an all-electric house worked by hand; rules NEC 220.82 to 220.87, from memory."""

import pytest

from simulate.site.demand import highest_window_kw
from simulate.site.load_calculation import (
    climate_va,
    existing_load,
    optional_load,
    service_load,
    standard_load,
    vehicle_va,
)
from simulate.site.wiring import Calculation, Nameplate
from tests.panel.panel_bench import bench, both_unit, circuit, only

LOAD = [circuit("A", 0.1)]
IN_PLACE = [{"name": "range, water heater, dryer and the rest (invented)", "va": 35_620.0}]
ALL_ELECTRIC = {"floor_area_ft2": 2400.0, "appliances": IN_PLACE, "heat_pump_va": 4200.0, "strip_heat_va": 10_000.0}
"""11,700 VA of lighting and small appliances and 35,620 in place: 10,000 + 0.4 x 37,320 = 24,928 VA."""


def all_electric(method="220.82", rows=ALL_ELECTRIC, **service):
    service = {"main_breaker_a": 200, "load_method": method, "calculation": rows} | service
    batteries = [both_unit(count=2, charge_kw=5.7, charging_circuit={"breaker_a": 30, "volts": 240})]
    return bench(LOAD, batteries, service=service)


def test_the_all_electric_house_by_the_optional_method():
    """Worked by hand: 24,928 + 4,200 + 0.65 x 10,000 = 35,628 VA, 148.45 A at 240 V."""
    load = service_load(all_electric())
    assert dict(load.lines)["of these, 10,000 VA at 100% and the rest at 40%"] == pytest.approx(24_928.0)
    assert load.va == pytest.approx(35_628.0)
    assert load.amps == pytest.approx(148.45)


def test_the_all_electric_house_is_no_pass_with_charging():
    """47.5 A of charging at 125 % is 59.375 A: 207.8 A on 200 A; 195.95 A at 100 %: marginal, never a pass."""
    one = only(all_electric(), "service-headroom")
    assert (one.verdict, one.value) == ("marginal", pytest.approx(148.45 + 1.25 * 47.5))
    assert "At 100% it is 195.95 A." in one.text


def test_a_service_above_its_breaker_at_100_percent_fails():
    assert only(all_electric(main_breaker_a=175), "service-headroom").verdict == "fail"


def test_strips_that_cannot_run_with_the_compressor():
    """The larger of 4,200 and 0.65 x 10,000."""
    rows = Calculation(**(ALL_ELECTRIC | {"appliances": (), "strips_with_compressor": False}))
    assert max(va for _, va in climate_va(rows, 0.65, 0.65)) == 6500.0


def test_the_largest_selection_counts():
    """Heating of fewer than four units at 65 %, of four at 40 %; continuous heating at 100 %."""
    heat = Calculation(floor_area_ft2=1500.0, heating_va=10_000.0)
    assert optional_load(heat).lines[-1][1] == 6500.0
    assert optional_load(heat.model_copy(update={"heating_units": 4})).lines[-1][1] == 4000.0
    assert optional_load(heat.model_copy(update={"continuous_heating_va": 9000.0})).lines[-1][1] == 9000.0


def test_the_standard_method_takes_a_vehicle_by_itself_and_a_quarter_of_the_largest_motor():
    """220.57 (2023): 7,200 VA or nameplate, whichever is more; 430.24: 25 % of the largest motor."""
    in_place = tuple(Nameplate(name=f"{k}", va=1000.0) for k in range(4))
    rows = Calculation(floor_area_ft2=1500.0, appliances=in_place, ev_va=5760.0, largest_motor_va=2000.0)
    assert standard_load(rows).va == pytest.approx(5100.0 + 0.75 * 4000.0 + 7200.0 + 500.0)
    assert vehicle_va(rows, 2020) == 5760.0
    assert vehicle_va(rows.model_copy(update={"ev_va": 11_520.0}), 2023) == 11_520.0


def test_an_existing_dwelling_begins_at_8_kva():
    """220.83(B): 8,000 + 0.4 x (9,000 + 3,000 - 8,000) + 5,000 of cooling."""
    rows = Calculation(floor_area_ft2=1500.0, appliances=(Nameplate(name="range", va=3000.0),), cooling_va=5000.0)
    assert existing_load(rows).va == pytest.approx(8000.0 + 0.4 * 4000.0 + 5000.0)


@pytest.mark.parametrize(
    ("method", "va"), [("220.82", 35_628.0), ("220.83", 8000.0 + 0.4 * 39_320.0 + 14_200.0), (None, None)]
)
def test_the_method_that_is_named_is_the_method_that_is_calculated(method, va):
    load = service_load(all_electric(method))
    assert load.va == pytest.approx(standard_load(Calculation(**_tuples(ALL_ELECTRIC))).va if va is None else va)
    assert ("no method named" in load.how) == (method is None)


def _tuples(rows):
    return rows | {"appliances": tuple(Nameplate(**one) for one in rows["appliances"])}


def test_a_method_that_is_not_calculated_here_asks_for_the_number():
    assert "service.calculated_load_va" in service_load(all_electric("other")).missing[0]


def test_the_optional_method_is_for_services_of_100_a_or_more():
    """220.82(A), from memory."""
    one = only(all_electric(main_breaker_a=60), "service-headroom")
    assert (one.verdict, "3-wire services of 100 A or more" in one.text) == ("not-assessed", True)


@pytest.mark.parametrize(
    ("name", "kind", "key"),
    [("Car", "ev", "ev_va"), ("Heat pump", "hvac", "heat_pump_va"), ("Baseboard", "heat", "heating_va")],
)
def test_a_row_that_a_circuit_suggests_is_named(name, kind, key):
    """A calculation without the vehicle, the heat pump or the heat of the listed circuits is no pass."""
    loads = [*LOAD, circuit(name, 0.1, "AB", kind=kind, on="main")]
    service = {"main_breaker_a": 200, "load_method": "220.82", "calculation": {"floor_area_ft2": 1500.0}}
    one = only(bench(loads, [both_unit()], service=service), "service-headroom")
    assert (one.verdict, f"service.calculation.{key} ({name})" in one.text) == ("not-assessed", True)


def test_a_heat_pump_water_heater_is_an_appliance_in_place():
    loads = [*LOAD, circuit("Heat pump water heater", 0.1, "AB", kind="water-heater", on="main")]
    rows = {"floor_area_ft2": 1500.0, "appliances": [{"name": "water heater", "va": 4500.0}]}
    service = {"main_breaker_a": 200, "load_method": "220.82", "calculation": rows}
    assert only(bench(loads, [both_unit()], service=service), "service-headroom").verdict == "pass"


def test_the_standard_method_names_the_motor_that_is_not_in_its_rows():
    """430.24: 25 % of the largest motor."""
    loads = [*LOAD, circuit("Well pump", 0.1, "AB", kind="motor")]
    service = {"main_breaker_a": 200, "load_method": "standard", "calculation": {"floor_area_ft2": 1500.0}}
    site = bench(loads, [both_unit()], service=service)
    assert "motors are on Well pump." in only(site, "service-headroom").text
    rows = service["calculation"] | {"largest_motor_va": 2000.0}
    with_it = bench(loads, [both_unit()], service=service | {"calculation": rows})
    assert "largest motor (430.24) is not" not in only(with_it, "service-headroom").text


def test_a_number_that_differs_from_the_rows_is_said():
    one = only(all_electric(calculated_load_va=24_000.0), "service-headroom")
    assert one.value == pytest.approx(100 + 1.25 * 47.5)
    assert "The rows of [service.calculation] come to 35,628 VA" in one.text


def test_every_verb_has_one_number():
    """Recharge, check and sheet count on the same calculated load."""
    from simulate.house.recharge import service_share
    from simulate.panel.sheets.sheets import sheets

    site = all_electric()
    assert "calculated load of 148.4 A" in service_share(site).text
    rows = {row[0]: row[1:] for row in sheets(site)["load-calculation"]["rows"]}
    assert rows["calculated load, optional method, 220.82"] == [35_628.0, 148.45]
    assert rows["with charging at 125%, leg A"][1] == pytest.approx(207.82, abs=0.01)


def test_a_quarter_that_is_half_read_is_no_demand():
    """Three readings of five minutes make a quarter; two do not."""
    kw, at = highest_window_kw([0, 300, 600, 900, 1200], [300] * 5, [0.1, 0.1, 0.1, 0.9, 0.9])
    assert (kw, at) == (pytest.approx(1.2), 0)
