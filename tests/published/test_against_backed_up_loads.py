"""Backed-up loads as others have added them up: a clinic's day, a battery chain, four circuits of a dwelling, start watts.

1. A clinic's day, R. Blanchard, answer 5572 of a public engineering forum, read there (seen-P): 10 x 10 W x 4 h = 400;
   3 x 15 W x 4 h = 180; 65 W x 6 h = 390; a refrigerator of 1 kW a third of the time = 8,000; 2.7 kW x 5 min x 4,
   printed as 1 kWh; total 9.97 kWh a day. Without that rounding 9.87, with a third taken as 0.333 9.862 (derived).
2. A worksheet chain, a blog's "simplified" method, low grade (seen-R): 1,000 Wh a day, 2.5 days, half of the capacity
   used, 1.30 at 40 degF: 6,500 Wh at 12 V, 541.67 Ah (last digits derived).
3. California Energy Code, Title 24 Part 6 (2022), 150.0(s), read in a guide and two city documents (seen-R); amendment
   15.30.040 of one city, read on its page (seen-P): a load centre of 125 A at 120/240 V on a feeder of 60 A; a kitchen
   counter of 20 A, the refrigerator, the lighting of the way out, a bedroom receptacle. 60 A x 240 V = 14,400 VA (derived).
4. Running and starting watts, a newspaper, 13 October 2012, low grade (seen-R): refrigerator 1,000 and 2,000; sump pump
   of half a horsepower 1,050 and 2,200; stove 2,000 and water heater 4,000 without extra. Inputs of a start test only.
   Its refrigerator is a nameplate's; ours stands at the compressor's and does not follow it.
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.appliances import appliance
from profiles.loads.load import load_kw
from simulate.physics.outages.outages import hours_survived
from simulate.physics.pool import Pool
from tests.panel.panel_bench import bench, circuit, findings, only, unit

YEAR = hours_of_year(2025, "UTC")
HALF_A_WATT_HOUR = 0.0005
LAST_ROW_ROUNDED_UP_KWH = 0.1  # 0.9 printed as 1
CLINIC = [  # load, kWh a day as printed
    ({"watts": 10.0 * 10, "hours_per_day": 4.0}, 0.400),
    ({"watts": 3.0 * 15, "hours_per_day": 4.0}, 0.180),
    ({"watts": 65.0, "hours_per_day": 6.0}, 0.390),
    ({"running_w": 1000.0, "minutes_per_hour": 20.0}, 8.000),
    ({"watts": 2700.0, "hours_per_day": 4 * 5 / 60}, 0.900),
]


@pytest.mark.parametrize(("load", "kwh"), CLINIC)
def test_each_row_of_the_clinic(load, kwh):
    assert load_kw(load, YEAR).sum() / 365 == pytest.approx(kwh, abs=HALF_A_WATT_HOUR)


def test_the_clinics_day():
    day_kwh = load_kw([load for load, _ in CLINIC], YEAR).sum() / 365
    assert 9.862 - HALF_A_WATT_HOUR <= day_kwh <= 9.87 + HALF_A_WATT_HOUR
    assert day_kwh + LAST_ROW_ROUNDED_UP_KWH == pytest.approx(9.97, abs=0.005)


def test_a_refrigerator_that_runs_a_third_of_the_time():
    minutes = hours_of_year(2025, "UTC", 5)
    kw = load_kw({"running_w": 1000.0, "minutes_per_hour": 20.0, "starts_per_hour": 2.0}, minutes)
    assert kw.sum() / 12 / 365 == pytest.approx(8.0, abs=HALF_A_WATT_HOUR)
    assert kw.max() == pytest.approx(1.0)
    assert (kw > 0.5).mean() == pytest.approx(1 / 3, abs=0.02)  # steps that a run cuts count as all or nothing


HUNDREDTH_AH = 0.01


def test_the_bank_of_a_worksheet_lasts_its_days():
    """The chain walked backwards: half of 541.67 Ah at 12 V, over 1.30, carries 1,000 Wh a day for 2.5 days."""
    per_ah_kwh = 12.0 * 0.5 / 1.30 / 1000
    usable_kwh = 541.67 * per_ah_kwh
    hours = hours_survived(np.full(96, 1.0 / 24), Pool(usable_kwh), soc_kwh=usable_kwh)[0]
    assert hours == pytest.approx(2.5 * 24, abs=HUNDREDTH_AH * per_ah_kwh * 24)


FEEDER_VA = 14_400.0
KITCHEN, BEDROOM, LIGHTS_W = 2400, 1800, 1440  # breakers of 20, 15, and 15 A at 125 % for lighting, all in full use
FOUR = [
    circuit("Kitchen counter", 0.1, "A", kind="small-appliance", running_w=KITCHEN, largest_w=KITCHEN),
    circuit("Bedroom receptacle", 0.1, "A", kind="receptacle", breaker_a=15, running_w=BEDROOM, largest_w=BEDROOM),
    circuit("Refrigerator", 0.1, "B", kind="receptacle", running_w=2400, largest_w=2400),
    circuit("Lights of the way out", 0.1, "B", kind="lighting", breaker_a=15, running_w=LIGHTS_W),
]


def load_centre(more=(), breaker_a=60):
    panel = {"build": "fed", "bus_a": 125, "feeder": {"breaker_a": breaker_a, "awg": "6"}}
    return bench([*FOUR, *more], subpanel=panel)


def range_of(watts):
    return [circuit("Range", 0.1, "AB", kind="cooking", breaker_a=50, running_w=watts, largest_w=watts)]


def test_four_circuits_in_full_use_on_the_feeder():
    found = {one.subject: one for one in findings(load_centre(), "feeder")}
    assert {name: one.verdict for name, one in found.items() if one.verdict != "not-assessed"} == {
        "feeder load": "pass",
        "feeder conductor": "pass",
        "sub-panel bus": "pass",
    }
    assert (found["feeder load"].value, found["feeder load"].limit) == (pytest.approx(35.0), 60.0)
    assert found["sub-panel bus"].limit == 125.0


def test_the_feeder_holds_14_400_va_and_no_more():
    """Four circuits take 8,400 VA with lighting at 125 %; a two-pole load fills the feeder to the watt."""
    left = FEEDER_VA - (KITCHEN + BEDROOM + 2400 + 1.25 * LIGHTS_W)
    full = only(load_centre(range_of(left)), "feeder", "feeder load")
    assert (full.verdict, full.value, full.margin) == ("pass", pytest.approx(60.0), pytest.approx(0.0, abs=1e-9))
    over = only(load_centre(range_of(left + 1)), "feeder", "feeder load")
    assert over.verdict == "fail"
    assert only(load_centre(range_of(left), breaker_a=50), "feeder", "feeder load").verdict == "fail"


def starting(surge_kva):
    """Refrigerator and sump pump on one leg by their printed watts, at 120 V."""
    loads = [
        circuit("Refrigerator", 0.1, kind="motor", running_w=1000, motor={"inrush_a": 2000 / 120}),
        circuit("Sump pump", 0.1, kind="motor", running_w=1050, motor={"inrush_a": 2200 / 120}),
        circuit("Stove", 0.1, "B", kind="cooking", running_w=2000),
        circuit("Water heater", 0.1, "B", kind="water-heater", running_w=4000),
    ]
    units = [unit("A", continuous_kw=2.1, surge_kva=surge_kva, surge_s=5.0), unit("B")]
    return {one.subject: one for one in findings(bench(loads, units), "motor-start")}


@pytest.mark.parametrize(
    ("surge_kva", "refrigerator", "pump", "together"),
    [
        (4.20, "pass", "pass", "pass"),
        (4.19, "pass", "pass", "marginal"),
        (3.20, "pass", "pass", "marginal"),
        (3.19, "pass", "fail", "marginal"),
        (3.04, "fail", "fail", "marginal"),
    ],
)
def test_starting_watts_beside_what_runs(surge_kva, refrigerator, pump, together):
    """2,000 + 1,050 = 3,050; 2,200 + 1,000 = 3,200; both at once 4,200. Elements have no start."""
    found = starting(surge_kva)
    assert {name: one.verdict for name, one in found.items() if one.verdict != "not-assessed"} == {
        "Refrigerator": refrigerator,
        "Sump pump": pump,
        "all motors of leg A": together,
    }
    assert [found[name].value for name in ("Refrigerator", "Sump pump", "all motors of leg A")] == pytest.approx(
        [3.05, 3.2, 4.2]
    )


def test_the_librarys_sump_pump_holds_the_printed_watts():
    one = appliance("sump-pump")
    assert one.running_w_range[0] <= 1050 <= one.running_w_range[1]
    assert one.start_va_range[0] <= 2200 <= one.start_va_range[1]
