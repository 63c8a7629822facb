"""A generator between two states of charge: the worked scenario, what it cannot hold, and what it says."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiles.noun import BadInput
from simulate.house.refuel import refuel, refuel_of
from simulate.house.ride import ride_through
from simulate.physics.pool import Pool
from simulate.physics.walk import run_plan
from simulate.show.terminal.listing import generator_lines
from tests.site.small_site import circuit, small_site, unit

POOL = Pool(10.0, charge_kw=5.76, charge_efficiency=0.95, discharge_efficiency=0.95)


def cycle(pool=POOL, **more):
    given_ = {"generator_kw": 4.0, "load_kw": 1.0, "between_kwh": (2.0, 9.0), "fuel_per_h": 0.5} | more
    return refuel(pool, **given_)


def test_s31_duty_and_fuel():
    run = cycle()
    assert run.on_h == pytest.approx(2.456140, abs=5e-7)
    assert run.off_h == pytest.approx(6.65, abs=1e-9)
    assert run.duty_frac == pytest.approx(0.269724, abs=5e-7)
    assert run.fuel_per_day == pytest.approx(3.2367, abs=5e-5)
    assert run.holds
    assert run.charge_kw == pytest.approx(3.0)


def test_s31_against_a_march_in_small_steps():
    step_h, e, on, on_h = 1 / 360, 2.0, True, 0.0
    n = round(240 / step_h)
    for _ in range(n):
        e += (3.0 * 0.95 if on else -1.0 / 0.95) * step_h
        on_h += on * step_h
        on = e < 9.0 if on else e <= 2.0
    assert on_h / 240 == pytest.approx(cycle().duty_frac, abs=0.01)


def test_the_walk_charges_at_the_same_pace():
    year = run_plan(0.0, 0.0, 0.0, [[10, 10, 9, 9]] * 4, Pool(10.0, charge_kw=3.0, charge_efficiency=0.95), soc_kwh=2.0)
    assert year.charge_kw.sum() / 3.0 == pytest.approx(cycle().on_h, abs=1e-9)


def test_a_charge_rate_that_cannot_be_set_stalls_a_small_generator():
    run = cycle(adjustable=False)
    assert not run.holds
    assert run.fuel_per_day is None
    assert math.isnan(run.duty_frac)
    assert "settable" in run.text
    assert cycle(adjustable=False, generator_kw=7.0).holds


def test_a_load_as_large_as_the_generator_leaves_nothing():
    run = cycle(load_kw=4.0)
    assert (run.holds, run.most_load_kw) == (False, 4.0)
    assert cycle(load_kw=3.999).holds


@given(st.floats(0.05, 3.0), st.floats(0.0, 0.2))
def test_over_a_cycle_the_generator_makes_all_that_is_used_and_lost(load_kw, no_load_kw):
    pool = Pool(10.0, charge_kw=2.5, charge_efficiency=0.9, discharge_efficiency=0.93, no_load_kw=no_load_kw)
    run = cycle(pool, load_kw=load_kw)
    made = (load_kw + run.charge_kw) * run.on_h
    used = load_kw * (run.on_h + run.off_h)
    lost = 7.0 / 0.9 * 0.1 + (load_kw / 0.93 - load_kw + no_load_kw) * run.off_h
    assert made == pytest.approx(used + lost, rel=1e-9)


def test_bad_input_names_the_key():
    with pytest.raises(BadInput, match="generator.kw"):
        cycle(generator_kw=0.0)
    with pytest.raises(BadInput, match="between_kwh"):
        cycle(between_kwh=(2.0, 11.0))
    with pytest.raises(BadInput, match="load_kw"):
        cycle(load_kw=float("nan"))


def test_a_site_with_a_generator_by_season():
    heating = {"kw": 0.6, "months": [12, 1, 2]}
    adjustable = unit("A", charge_kw=2.0, charge_adjustable=True, no_load_w=30.0)
    generator = {"kw": 2.0, "connection": "interlocked-inlet", "fuel_per_h": 0.4}
    site = small_site([circuit("Shelf", 0.1) | {"load": [{"kw": 0.1}, heating]}], [adjustable], generator=generator)
    found = refuel_of(ride_through(site))
    assert found["verdict"] == "pass"
    assert found["by_season"]["winter"]["load_kw"] == pytest.approx(0.7)
    assert found["by_season"]["winter"]["fuel_per_day"] > found["by_season"]["summer"]["fuel_per_day"] > 0.0
    fixed = small_site([circuit("Shelf", 0.1)], [unit("A", charge_kw=2.0)], generator=generator)
    stuck = refuel_of(ride_through(fixed))
    assert stuck["verdict"] == "fail"
    assert stuck["by_season"]["winter"]["duty_frac"] is None
    assert refuel_of(ride_through(small_site([circuit("Shelf", 0.1)], [unit("A")]))) is None


def test_the_terminal_says_duty_and_fuel_by_season():
    generator = {"kw": 4.0, "connection": "interlocked-inlet", "fuel_per_h": 0.5}
    site = small_site(
        [circuit("House", 0.5)], [unit("A", usable_kwh=10.0, charge_adjustable=True)], generator=generator
    )
    found = refuel_of(ride_through(site))
    lines = generator_lines(found)
    assert lines[0].startswith("Generator of 4 kW in winter: It runs ")
    assert lines[0].endswith(f"Fuel: {found['by_season']['winter']['fuel_per_day']:.1f} a day.")
    assert "takes from its power" in lines[-1]
