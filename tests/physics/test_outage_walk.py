"""Every outage of random small sites against the slow twin, circuit by circuit."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulate.document.timeline import who_goes_dark
from simulate.house.ride import ride_through
from simulate.physics.outages.outages import hours_survived
from simulate.physics.pool import Pool
from tests.physics.twin import TwinCircuit, twin_outage
from tests.site.small_site import circuit, locked_pair, small_site, unit

WINDOWS = ("00:00-24:00", "06:00-18:00", "17:00-22:00", "22:00-03:00")


@st.composite
def benches(draw):
    """Circuits, kind of pools, load control, stored energy."""
    n = draw(st.integers(1, 5))
    circuits = []
    for k in range(n):
        kw = draw(st.floats(0.05, 2.5))
        leg = draw(st.sampled_from(["A", "B", "AB"]))
        one = circuit(f"Circuit {k}", 0.0, leg, priority=draw(st.integers(1, 3)))
        one["load"] = [{"kw": kw, "window": draw(st.sampled_from(WINDOWS))}, {"kw": 0.01}]
        circuits.append(one)
    return circuits, draw(st.sampled_from(["pair", "both"])), draw(st.booleans()), draw(st.floats(0.05, 1.0))


@settings(max_examples=20)
@given(benches(), st.floats(0.8, 1.0), st.sampled_from([0.0, 0.03, 0.08]), st.integers(0, 8700))
def test_every_outage_equals_the_twin(bench, eta, no_load_kw, start):
    circuits, kind, control, soc = bench
    losses = {"discharge_efficiency": eta, "no_load_w": no_load_kw * 1000.0, "continuous_kw": 3.0}
    units = (
        locked_pair(**losses)
        if kind == "pair"
        else [unit("both", **losses, charging_circuit={"breaker_a": 30, "volts": 240})]
    )
    tables = {"outage": {"start_soc": soc, "horizon_h": 60.0}}
    if control:
        tables["subpanel"] = {"load_control": "automatic"}
    ride = ride_through(small_site(circuits, units, **tables))
    pool = Pool(5.0, discharge_efficiency=eta, no_load_kw=no_load_kw)
    pools = {"A": pool, "B": pool} if kind == "pair" else {"AB": pool}
    limits = {"A": 3.0, "B": 3.0} if kind == "pair" else {"A": 1.5, "B": 1.5, "AB": 3.0}
    twins = [
        TwinCircuit(c.name, ride.house.circuit_kw[k], "AB" if c.poles == 2 else c.leg, c.priority)
        for k, c in enumerate(ride.house.site.circuit)
    ]
    expected = twin_outage(
        twins, pools, limits, dict.fromkeys(pools, 5.0 * soc), start, horizon_h=60.0, control=control
    )
    got = {row["circuit"]: math.inf if row["hours"] is None else row["hours"] for row in who_goes_dark(ride, start)}
    assert got == pytest.approx(expected, abs=1e-6)
    first = min(c.priority for c in twins)
    least = min(expected[c.name] for c in twins if c.priority == first)
    assert ride.hours[start] == pytest.approx(min(least, 60.0), abs=1e-6)


@settings(max_examples=30)
@given(st.lists(st.floats(0.0, 3.0), min_size=24, max_size=24), st.floats(0.1, 20.0), st.floats(0.0, 0.2))
def test_four_quarters_equal_one_hour(loads, usable, no_load):
    pool = Pool(usable, discharge_efficiency=0.9, no_load_kw=no_load)
    hour = hours_survived(loads, pool, soc_kwh=usable, horizon_h=100.0)
    quarter = hours_survived(np.repeat(loads, 4), pool, soc_kwh=usable, step_h=0.25, horizon_h=100.0)
    assert quarter[::4] == pytest.approx(hour, abs=1e-7)


@settings(max_examples=30)
@given(st.lists(st.floats(0.0, 3.0), min_size=24, max_size=24), st.floats(0.5, 20.0), st.floats(0.0, 5.0))
def test_more_stored_energy_is_never_shorter_and_more_load_never_longer(loads, usable, more):
    """Under the conditions that this holds: the same units, no load control, no overload, no solar."""
    pool = Pool(usable + more, discharge_efficiency=0.9, no_load_kw=0.03)
    less = hours_survived(loads, pool, soc_kwh=usable)
    assert (hours_survived(loads, pool, soc_kwh=usable + more) >= less - 1e-9).all()
    assert (hours_survived(np.array(loads) + 0.1, pool, soc_kwh=usable) <= less + 1e-9).all()


def test_a_small_extra_unit_can_shorten_the_hours():
    """Its no-load draw costs more than it brings, so nothing may be pruned by counting units."""
    one = Pool(10.0, no_load_kw=0.05)
    two = Pool(10.5, no_load_kw=0.10)
    light = np.full(400, 0.02)
    assert hours_survived(light, two, soc_kwh=10.5)[0] < hours_survived(light, one, soc_kwh=10.0)[0] - 25.0
