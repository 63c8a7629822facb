"""Against NEC Informative Annex D, examples D1(a) and D2(a): the load of a one-family dwelling.

Edition: as reproduced at flylib.com, an edition that lights a dwelling at 3 VA/ft2 (2023 and before). How sure: read in
that reproduction; amperes are derived, the printed lines are images there. A municipal code's older copy (Centerville
IN, sec. 4255, read on the publisher's own page) prints the same chain at 115 V.
"""

import pytest

from simulate.panel.checks.tables import next_standard_breaker_a
from simulate.site.load_calculation import lighting_demand_va, optional_load, standard_load
from simulate.site.wiring import Calculation, Nameplate

RANGE = Nameplate(name="range", va=12_000.0, kind="range")

D1A = Calculation(floor_area_ft2=1_500.0, appliances=(RANGE, Nameplate(name="dryer", va=5_500.0, kind="dryer")))
D2A = Calculation(
    floor_area_ft2=1_500.0,
    heating_va=9_000.0,
    heating_units=5,
    cooling_va=6.0 * 230.0,
    appliances=(
        RANGE,
        Nameplate(name="water heater", va=2_500.0),
        Nameplate(name="dishwasher", va=1_200.0, volts=120),
        Nameplate(name="dryer", va=5_000.0, kind="dryer"),
    ),
)


def test_d1a_standard_method():
    """4,500 + 3,000 + 1,500 = 9,000; 5,100 of it, range 8,000, dryer 5,500: 18,600 VA."""
    load = standard_load(D1A)
    lines = dict(load.lines)
    assert [va for _, va in load.lines][:3] == [4_500.0, 3_000.0, 1_500.0]
    assert lines["of these, 3,000 VA at 100% and the rest at 35%"] == 5_100.0
    assert lines["ranges, Table 220.55"] == 8_000.0
    assert load.va == 18_600.0


def test_d1a_neutral():
    """5,100 + 8,000 x 0.7 + 5,500 x 0.7 = 14,550 VA."""
    assert standard_load(D1A).neutral_va == 14_550.0


def test_d1a_amperes():
    """Derived: 77.5 A (78) and 60.6 A (61) at 240 V; lighting 4,500 VA at 120 V is 37.5 A; service 100 A by 230.79."""
    load = standard_load(D1A)
    assert load.va / 240 == 77.5
    assert load.neutral_va / 240 == pytest.approx(60.6, abs=0.05)
    assert 4_500 / 120 == 37.5
    assert next_standard_breaker_a(load.va / 240) <= 100


def test_d1a_in_an_older_municipal_code():
    """1,500 ft2: 4,500 VA, 39.1 A at 115 V; 9,000; 5,100; with a range of 8,000: 13,100."""
    assert 4_500 / 115 == pytest.approx(39.1, abs=0.05)
    assert lighting_demand_va(9_000.0) == 5_100.0
    assert standard_load(Calculation(floor_area_ft2=1_500.0, appliances=(RANGE,))).va == 13_100.0


def test_d2a_optional_method():
    """29,700 connected; 10,000 + 7,880; heat 9 kW at 40 %, 3,600, above the 1,380 of air conditioning: 21,480 VA."""
    load = optional_load(D2A)
    assert sum(va for _, va in load.lines[:-2]) == 29_700.0
    assert load.lines[-2][1] == 17_880.0
    assert load.lines[-1][1] == 3_600.0
    assert load.va == 21_480.0


def test_d2a_amperes():
    """Derived: 89.5 A at 240 V, on a service of 100 A."""
    assert optional_load(D2A).va / 240 == 89.5
    assert next_standard_breaker_a(optional_load(D2A).va / 240) <= 100


def test_d2a_neutral():
    """5,100 + 5,600 + 3,500 + 1,200 = 15,400 VA."""
    assert optional_load(D2A).neutral_va == 15_400.0


def test_2026_lights_at_two_and_starts_at_eight():
    """NEC 2026 by trade-press notes, not by the Code: 2 VA/ft2 and a first tier of 8 kVA in the optional method."""
    bare = Calculation(floor_area_ft2=1_500.0)
    assert standard_load(bare, 2026).va == lighting_demand_va(7_500.0)
    assert optional_load(bare, 2026).va == 7_500.0
    assert optional_load(Calculation(floor_area_ft2=3_000.0), 2026).va == 8_000.0 + 0.4 * 2_500.0
