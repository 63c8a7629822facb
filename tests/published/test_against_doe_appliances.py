"""U.S. Department of Energy, "Estimating appliance and home electronic energy use": typical wattages, cost examples and
the one-third rule of refrigerators. Federal maximum energy use, 10 CFR 430.32(a), from 15 September 2014.

How sure: wattages read in two reproductions that agree (Penn State EGEE 102, node 1915; a magazine of 2011 that quotes
DOE); cost examples read on copies at .gov sites; the CFR line on a page that quotes it (all seen-R). The deep-well
pump's range is from memory. Dollars are compared within 3 cents: copies print $33.50, $33.51 and rounded kWh.
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.appliances import appliance, appliances, duty_cycle_kw
from profiles.loads.load import load_kw
from profiles.loads.shapes import end_use_kwh

THREE_CENTS = 0.03
LISTED_W = {
    "coffee-maker": (900, 1200),
    "clothes-washer": (350, 500),
    "clothes-dryer": (1800, 5000),
    "dishwasher": (1200, 2400),
    "dehumidifier": (785, 785),
    "ceiling-fan": (65, 175),
    "hair-dryer": (1200, 1875),
    "portable-heater": (750, 1500),
    "microwave": (750, 1100),
    "laptop": (50, 50),
    "television": (133, 133),
    "toaster": (800, 1400),
    "water-heater": (4500, 5500),
}
FURNACE_FAN_W = 750
DEEP_WELL_PUMP_W = (250, 1100)  # from memory
REFRIGERATOR_NAMEPLATE_W = 725
YEAR = hours_of_year(2025, "UTC")


@pytest.mark.parametrize("name", LISTED_W)
def test_library_wattage_lies_in_the_published_range(name):
    assert appliance(name).listed_w == LISTED_W[name]
    assert LISTED_W[name][0] <= appliance(name).running_w <= LISTED_W[name][1]


def test_no_appliance_claims_the_list_without_being_on_it():
    assert {name for name, one in appliances().items() if one.listed_w is not None} == set(LISTED_W)


def test_furnace_fan_and_well_pump_agree_with_the_list():
    low, high = appliance("furnace-blower").running_w_range
    assert low <= FURNACE_FAN_W <= high
    assert DEEP_WELL_PUMP_W[0] <= appliance("well-pump").running_w <= DEEP_WELL_PUMP_W[1]


@pytest.mark.parametrize(
    ("watts", "days", "kwh", "dollars"),
    [
        (200.0, 120, 96.0, {0.085: 8.16, 0.11: 10.56}),  # a fan, four hours a day
        (120.0 + 150.0, 365, 394.2, {0.085: 33.51, 0.11: 43.34}),  # a computer and its monitor, four hours a day
    ],
)
def test_cost_examples(watts, days, kwh, dollars):
    used = load_kw({"watts": watts, "hours_per_day": 4.0}, YEAR)[: days * 24].sum()
    assert used == pytest.approx(kwh, abs=1e-9)
    for per_kwh, printed in dollars.items():
        assert used * per_kwh == pytest.approx(printed, abs=THREE_CENTS)


def test_a_refrigerator_by_its_nameplate_and_the_one_third_rule():
    # 725 W a third of the time: 5.8 kWh a day, an upper bound far above the 1.89 of a metered reference home.
    kw = duty_cycle_kw(REFRIGERATOR_NAMEPLATE_W, 20.0, hours_of_year(2025, "UTC", 5), seed=1)
    per_day = kw.sum() / 12 / 365
    assert per_day == pytest.approx(5.8, abs=0.005)
    assert appliance("refrigerator").kwh_per_day_range[1] < per_day
    assert end_use_kwh(2000.0, 3)["refrigerator"] / 365 == pytest.approx(1.89, abs=0.005)


def test_refrigerator_range_holds_the_federal_maximum_and_the_reference_home():
    # Class 3, top-mounted freezer, automatic defrost, 20 ft3 of adjusted volume: 8.07 AV + 233.7.
    federal_kwh = 8.07 * 20 + 233.7
    assert federal_kwh == pytest.approx(395.1, abs=1e-9)
    low, high = appliance("refrigerator").kwh_per_day_range
    assert np.all((low <= np.array([federal_kwh, 691.0]) / 365) & (np.array([federal_kwh, 691.0]) / 365 <= high))
