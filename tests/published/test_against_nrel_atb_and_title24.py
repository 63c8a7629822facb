"""Round-trip efficiency and its split against published definitions.

1. NREL Annual Technology Baseline 2020: "Round-trip efficiency is the ratio of useful energy output to useful energy
   input. Cole and Frazier (2020) identified 85% as a representative round-trip efficiency". Read on the publisher's
   page, utility-scale section (seen-P).
2. California Energy Code, Title 24 Part 6 (2022), 140.10(b), Eq. 140.10-B: kWh_batt = kWPVdc x B / D^0.5, D the
   AC-to-AC round-trip efficiency, kWh_batt usable energy. Text of the equation read on a third party's page (seen-R);
   the factors B of Table 140.10-B are from memory; the products are derived.
"""

import numpy as np
import pytest

from simulate.battery import Pool
from simulate.outage import hours_survived
from simulate.unit import Battery
from simulate.walk import run_plan

UNIT = {"continuous_kw": 5.0, "usable_kwh": 12.5, "charging_circuit": {"breaker_a": 30, "volts": 240}}


def test_default_round_trip_is_85_percent_split_as_its_root():
    unit = Battery(**UNIT)
    assert unit.eta_charge == unit.eta_discharge == pytest.approx(0.921954, abs=5e-7)
    assert unit.eta_charge * unit.eta_discharge == pytest.approx(0.85, abs=1e-12)


def test_one_kwh_in_gives_085_kwh_out():
    eta = 0.85**0.5
    pool = Pool(12.5, charge_kw=1.0, discharge_kw=5.0, charge_efficiency=eta, discharge_efficiency=eta)
    targets = np.array([[12.5, 12.5, 12.5, 12.5], [12.5, 0.0, 0.0, 0.0]])
    year = run_plan([0.0, 5.0], [0.0, 5.0], 0.0, targets, pool, soc_kwh=0.0)
    assert (year.charge_kw[0], year.discharge_kw[1]) == pytest.approx((1.0, 0.85), abs=1e-12)


@pytest.mark.parametrize(("round_trip", "usable_kwh"), [(0.80, 115.158), (0.85, 111.719), (0.90, 108.572), (1.0, 103.0)])
def test_usable_energy_times_the_root_reaches_the_load(round_trip, usable_kwh):
    assert 103.0 / round_trip**0.5 == pytest.approx(usable_kwh, abs=5e-4)
    usable = 103.0 / round_trip**0.5
    pool = Pool(usable, discharge_efficiency=round_trip**0.5)
    hours = hours_survived(np.full(24, 1.0), pool, soc_kwh=usable)
    assert hours[0] * 1.0 == pytest.approx(103.0, rel=1e-9)
