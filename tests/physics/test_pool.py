"""The physics of one step against its slow twin, and what must hold whatever the numbers."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiles.noun import BadInput
from simulate.physics.pool import Pool
from simulate.physics.step import fill, grid_step, island_step
from tests.physics.twin import twin_fill, twin_grid_step

share = st.floats(0.0, 1.0)
efficiency = st.floats(0.6, 1.0)
kw = st.floats(0.0, 8.0)


def test_s09_taper_in_closed_form():
    """Scenario S09: 5.472 kW DC to 90 %, then falling in proportion to 10 % at full, at any cut of the time."""
    pool = Pool(10.0, charge_kw=5.76, charge_efficiency=0.95, taper={"from_soc": 0.9, "to_frac": 0.1})
    for parts in (1, 7, 60):
        e, hours = 0.0, 0.0
        while e < 10.0:
            e, t = fill(e, 10.0, 5.472, 0.0, pool.cell, 10.0 / parts)
            hours += t
        assert hours == pytest.approx(2.112286, abs=5e-7)


@given(share, st.floats(0.1, 9.0), st.floats(0.0, 0.3), st.floats(0.5, 0.95), st.floats(0.05, 0.9), st.floats(0.05, 3))
def test_taper_equals_a_fine_march(soc, in_kw, out_kw, start, end, h):
    pool = Pool(10.0, charge_kw=5.0, charge_efficiency=0.9, taper={"from_soc": start, "to_frac": end})
    e, _ = fill(10.0 * soc, 10.0, in_kw, out_kw, pool.cell, h)
    assert e == pytest.approx(twin_fill(10.0 * soc, 10.0, in_kw, out_kw, pool, h), abs=0.02)


@given(share, st.tuples(share, share, share, share), kw, kw, kw, efficiency, efficiency, st.floats(0.01, 2.0))
def test_grid_step_equals_the_twin(soc, targets, surplus, charge, reach, eta_c, eta_d, h):
    pool = Pool(10.0, charge_kw=charge, discharge_kw=5.0, charge_efficiency=eta_c, discharge_efficiency=eta_d)
    wanted = tuple(10.0 * x for x in targets)
    got = grid_step(10.0 * soc, wanted, surplus, charge, reach, 1.0 / eta_d, pool.cell, h)
    assert got == pytest.approx(twin_grid_step(10.0 * soc, wanted, surplus, charge, reach, eta_d, pool, h), abs=1e-9)
    assert got[1] * got[2] == 0.0  # charges or serves, never both
    assert -1e-12 <= got[0] <= 10.0 + 1e-12


@given(share, kw, kw, kw, efficiency, efficiency, st.floats(0.0, 0.2), st.floats(0.0, 6.0), st.floats(0.01, 2.0))
def test_an_islanded_step_closes_its_energy(soc, load, solar, dc, eta_c, eta_d, no_load, back, h):
    pool = Pool(10.0, charge_efficiency=eta_c, discharge_efficiency=eta_d, no_load_kw=no_load, takes_back_kw=back)
    start = 10.0 * soc
    end, t, charged, curtailed = island_step(start, 0.0, load, solar, dc, 1.0, pool.cell, h)
    assert 0.0 <= t <= h
    assert -1e-9 <= end <= 10.0 + 1e-9
    assert charged >= -1e-9 and curtailed >= -1e-9
    delivered = max(load - solar, 0.0) * t
    wasted_dc = curtailed - (max(solar - load, 0.0) * t - charged)
    balance = charged * eta_c + (dc * t - wasted_dc) - delivered / eta_d - no_load * t
    assert end - start == pytest.approx(balance, abs=1e-8)


@given(share, kw, kw, efficiency, st.floats(0.0, 0.1), st.integers(2, 9))
def test_cutting_a_step_changes_nothing(soc, load, solar, eta, no_load, parts):
    pool = Pool(6.0, 3.0, 9.0, eta, eta, no_load, 2.0, {"from_soc": 0.8, "to_frac": 0.2})
    whole = island_step(6.0 * soc, 0.0, load, solar, 0.0, 1.0, pool.cell, 1.0)
    e, lived = 6.0 * soc, 0.0
    for _ in range(parts):
        e, t, _, _ = island_step(e, 0.0, load, solar, 0.0, 1.0, pool.cell, 1.0 / parts)
        lived += t
        if t < 1.0 / parts - 1e-12:
            break
    assert (e, lived) == pytest.approx((whole[0], whole[1]), abs=1e-8)


def test_too_cold_to_charge_still_serves_the_load():
    """Scenario S42: at -5 degC a surplus of 2 kW stores nothing in 3 h, at +5 degC 5.7 kWh."""
    pool = Pool(20.0, charge_efficiency=0.95)
    assert island_step(5.0, 0.0, 1.0, 3.0, 0.0, 0.0, pool.cell, 3.0)[0] == pytest.approx(5.0)
    assert island_step(5.0, 0.0, 1.0, 3.0, 0.0, 1.0, pool.cell, 3.0)[0] == pytest.approx(10.7)


@pytest.mark.parametrize(
    "wrong",
    [
        {"usable_kwh": -1.0},
        {"usable_kwh": math.nan},
        {"usable_kwh": math.inf},
        {"charge_efficiency": 0.0},
        {"discharge_efficiency": 1.01},
        {"no_load_kw": math.nan},
        {"restart_kwh": 11.0},
        {"charge_kw": math.nan},
        {"taper": {"from_soc": 0.9, "to_frac": 0.0}},
    ],
)
def test_a_pool_refuses_what_cannot_be(wrong):
    with pytest.raises(BadInput, match=next(iter(wrong)).split("_")[0]):
        Pool(**({"usable_kwh": 10.0} | wrong))
