"""Round-trip efficiency and its split against published definitions.

1. NREL Annual Technology Baseline 2020: "Round-trip efficiency is the ratio of useful energy output to useful energy
   input. Cole and Frazier (2020) identified 85% as a representative round-trip efficiency". Read on the publisher's
   page, utility-scale section (seen-P). The same page: one cycle a day is a capacity factor of 16.7 % for 4 hours of
   storage and 8.3 % for 2.
2. California Energy Code, Title 24 Part 6 (2022), 140.10(b), Eq. 140.10-B: kWh_batt = kWPVdc x B / D^0.5, D the
   AC-to-AC round-trip efficiency, kWh_batt usable energy. Text of the equation read on a third party's page (seen-R);
   the factors B of Table 140.10-B are from memory; the products are derived.
3. Title 24 Part 6, Joint Appendix JA12.2.2.1: at least 70 % of nameplate after 4,000 cycles, or 10 years; JA12.2.3: "During
   discharge, the battery storage system shall be programmed to first meet the electrical load of the dwelling unit(s)".
   Read on a third party's page, edition 2019 or 2022 (seen-R); its linear fade per cycle and 0.72625 are derived.
"""

import numpy as np
import pytest

from simulate.bill.ageing import age
from simulate.physics.outages.outages import hours_survived
from simulate.physics.pool import Pool
from simulate.physics.walk import run_plan
from simulate.site.unit import Battery

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


@pytest.mark.parametrize(
    ("round_trip", "usable_kwh"), [(0.80, 115.158), (0.85, 111.719), (0.90, 108.572), (1.0, 103.0)]
)
def test_usable_energy_times_the_root_reaches_the_load(round_trip, usable_kwh):
    assert 103.0 / round_trip**0.5 == pytest.approx(usable_kwh, abs=5e-4)
    usable = 103.0 / round_trip**0.5
    pool = Pool(usable, discharge_efficiency=round_trip**0.5)
    hours = hours_survived(np.full(24, 1.0), pool, soc_kwh=usable)
    assert hours[0] * 1.0 == pytest.approx(103.0, rel=1e-9)


HALF_OF_THE_LAST_DIGIT = 0.05  # of a percentage with one decimal


@pytest.mark.parametrize(("duration_h", "percent"), [(4, 16.7), (2, 8.3)])
def test_one_cycle_a_day_is_the_printed_capacity_factor(duration_h, percent):
    rated_kw, eta = 5.0, 0.85**0.5
    pool = Pool(
        duration_h * rated_kw / eta,
        charge_kw=rated_kw,
        discharge_kw=rated_kw,
        charge_efficiency=eta,
        discharge_efficiency=eta,
    )
    full = pool.usable_kwh
    day = [[full] * 4] * 12 + [[full, 0.0, 0.0, 0.0]] * 12  # filled from the utility by noon, served after it
    year = run_plan(np.full(8760, 6.0), np.inf, 0.0, np.array(day * 365), pool, soc_kwh=0.0)
    assert 100 * year.discharge_kw.mean() / rated_kw == pytest.approx(percent, abs=HALF_OF_THE_LAST_DIGIT)
    assert year.export_kw.max() == 0.0


FRAC_PER_CYCLE = 0.30 / 4000


@pytest.mark.parametrize(("cycles", "left"), [(4000, 0.700), (3650, 0.72625)])
def test_capacity_after_cycles_of_a_linear_fade(cycles, left):
    """One kWh of capacity: a cycle is a kWh."""
    ageing = age(2, fade_frac_per_year=0.0, throughput_kwh_per_year=float(cycles), fade_frac_per_kwh=FRAC_PER_CYCLE)
    assert ageing.capacity_frac[1] == pytest.approx(left, abs=1e-12)


@pytest.mark.parametrize("discharge_kw", [1.5, 5.0])
def test_discharge_meets_the_load_before_it_is_sold(discharge_kw):
    """A plan that sells all it has: where discharge is below what solar leaves of the load, nothing is exported."""
    rng = np.random.default_rng(12)
    load_kw, solar_kw = rng.uniform(0.0, 4.0, 500), rng.uniform(0.0, 2.0, 500)
    pool = Pool(20.0, discharge_kw=discharge_kw)
    targets = np.tile([0.0, 0.0, 20.0, 20.0], (500, 1)) * (np.arange(500) % 12 < 6)[:, None]
    year = run_plan(load_kw, np.inf, solar_kw, targets, pool, soc_kwh=0.0)
    short = (year.discharge_kw > 0.0) & (year.discharge_kw < load_kw - solar_kw - 1e-9)
    assert short.any() and (year.export_kw[short] <= 1e-9).all()
    sold = (year.discharge_kw > 0.0) & (year.export_kw > 1e-9)
    assert sold.any() and (year.import_kw[sold] <= 1e-9).all()
