"""Every outage from cumulative drain against the walk from every start."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulate.physics.outages import outages as outage
from simulate.physics.outages.island import Island, dark_hours, simple_island
from simulate.physics.outages.sums import fast_dark_hours
from simulate.physics.pool import Pool

HOURS = 1e-9
"""Agreement asked of two ways to the same moment. [h]"""


def drawn(seed: int, n_pools: int, n_steps: int = 120):
    """A random island without solar: invented numbers, chosen to meet trips, load control and two-pole circuits."""
    rng = np.random.default_rng(seed)
    four = (2, 2, n_pools, n_steps)
    single = np.round(rng.uniform(0.0, 2.0, (n_pools, n_steps)) * (rng.random((n_pools, n_steps)) < 0.8), 1)
    both = np.round(rng.uniform(0.0, 2.0, n_steps) * (rng.random(n_steps) < 0.3), 1) * (n_pools > 1)
    load = np.empty(four)
    load[:, 0], load[:, 1] = single + both / 2.0, single
    limit = rng.choice([1.5, 2.0, 9.0])
    sheds = np.broadcast_to(rng.random((2, n_pools, n_steps)) < 0.02, four).copy()
    island = Island(
        load_kw=load,
        trips=load > limit,
        sheds=sheds,
        hand=rng.random(n_steps) < 0.5,
        solar_kw=np.zeros((n_pools, n_steps)),
        dc_kw=np.zeros((n_pools, n_steps)),
        may_charge=np.ones((n_pools, n_steps)),
        latches=bool(rng.random() < 0.5),
        reconnect_h=0.1,
    )
    pools = tuple(
        Pool(
            12.0,
            discharge_efficiency=rng.choice([1.0, 0.93]),
            no_load_kw=rng.choice([0.0, 0.05]),
            restart_kwh=rng.choice([0.0, 0.5]) if n_pools == 1 else 0.0,
        )
        for _ in range(n_pools)
    )
    n_starts = n_steps if rng.random() < 0.5 else 40
    begin = None if n_starts == n_steps else rng.integers(0, 2 * n_steps, n_starts)
    soc = np.round(rng.uniform(0.0, 12.0, (n_pools, n_starts)), 1)
    soc[:, 0] = 0.0
    horizon_h, step_h = float(rng.choice([7.0, 24.0, 400.0])), float(rng.choice([1.0, 0.25]))
    return (island, pools, soc), {"step_h": step_h, "horizon_h": horizon_h, "begin": begin}


def assert_equal(found, expected, step_h=None):
    """Where the last pool goes dark on the border of two steps, the walk's rounding says which step that is."""
    np.testing.assert_allclose(found.dark_h, expected.dark_h, rtol=0.0, atol=HOURS)
    np.testing.assert_allclose(found.shed_h, expected.shed_h, rtol=0.0, atol=HOURS)
    steps = expected.dark_h.max(axis=1) / step_h if step_h else np.full(len(expected.dark_h), np.inf)
    border = np.isfinite(steps) & (np.abs(steps - np.round(np.where(np.isfinite(steps), steps, 0.0))) < 1e-6)
    np.testing.assert_allclose(found.end_h[~border], expected.end_h[~border], rtol=0.0, atol=HOURS)
    if border.any():
        assert np.abs(found.end_h - expected.end_h)[border].max() <= step_h + HOURS
    assert (found.why == expected.why).all()


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from([1, 2]), st.booleans())
def test_cumulative_drain_equals_the_walk_from_every_start(seed, n_pools, wrap):
    given_, options = drawn(seed, n_pools)
    options |= {"wrap": wrap, "begin": options["begin"] if wrap else None}
    if not wrap and given_[2].shape[1] != 120:
        given_ = (*given_[:2], np.tile(given_[2], 3))
    assert_equal(fast_dark_hours(*given_, **options), dark_hours(*given_, **options), options["step_h"])


@pytest.mark.parametrize("n_pools", [1, 2])
def test_constant_loads_that_end_on_a_border_are_not_walked(monkeypatch, n_pools):
    """10 kWh carry 0.3 kW for 400 steps of five minutes from every start; nothing is left to the walk."""
    pools = (Pool(10.0), Pool(9.0))[:n_pools]
    kw = np.full((n_pools, 2000), 0.3)
    four = np.broadcast_to(kw, (2, 2, n_pools, 2000)).copy()
    none = np.zeros((n_pools, 2000))
    island = Island(
        load_kw=four,
        trips=four > 1.0,
        sheds=four > 1.0,
        hand=np.zeros(2000, bool),
        solar_kw=none,
        dc_kw=none,
        may_charge=none + 1.0,
        latches=True,
        reconnect_h=0.1,
    )
    soc = np.tile([[10.0], [9.0]][:n_pools], (1, 2000))
    options = {"step_h": 1.0 / 12.0, "horizon_h": 60.0}
    expected = dark_hours(island, pools, soc, **options)
    monkeypatch.setattr(outage, "dark_hours", None)
    assert_equal(fast_dark_hours(island, pools, soc, **options), expected, 1.0 / 12.0)


def test_a_year_of_starts_loses_no_digits():
    rng = np.random.default_rng(1)
    n = 8760 * 4
    load, pool = rng.uniform(0.0, 0.4, n), Pool(30.0, discharge_kw=0.3999, discharge_efficiency=0.9, no_load_kw=0.02)
    island = simple_island(load, pool)
    begin = np.sort(rng.integers(0, n, 2000))
    soc = rng.uniform(0.0, 30.0, (1, 2000))
    options = {"step_h": 0.25, "horizon_h": 336.0, "begin": begin}
    assert_equal(fast_dark_hours(island, (pool,), soc, **options), dark_hours(island, (pool,), soc, **options))


def test_a_pool_that_outlives_the_horizon_is_censored():
    pool = Pool(10.0)
    island = simple_island(np.full(48, 0.1), pool)
    dark = fast_dark_hours(island, (pool,), np.full((1, 48), 10.0), step_h=1.0, horizon_h=99.5)
    assert np.isinf(dark.dark_h).all() and (dark.end_h == 99.5).all() and not dark.why.any()


def sunny(seed: int, n_steps: int = 120):
    """One pool with sun on the island, on the cells or none, load control by hand, cold, taper and a restart."""
    rng = np.random.default_rng(seed)
    (island, pools, soc), options = drawn(seed, 1, n_steps)
    hour = np.arange(n_steps) % 24
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.uniform(0.0, rng.choice([1.0, 6.0]), n_steps)
    load = island.load_kw.copy()
    load[1] *= 0.5
    usable = float(rng.choice([12.0, 4.0]))
    taper = {"from_soc": 0.8, "to_frac": 0.3} if rng.random() < 0.3 else None
    pool = Pool(
        usable,
        charge_kw=2.0,
        charge_efficiency=0.95,
        discharge_efficiency=0.93,
        no_load_kw=rng.choice([0.0, 0.05]),
        takes_back_kw=rng.choice([0.0, 1.0, 5.0]),
        taper=taper,
        restart_kwh=rng.choice([0.0, 0.5]),
    )
    island = Island(
        load_kw=load,
        trips=load > rng.choice([1.9, 9.0]),
        sheds=island.sheds,
        hand=island.hand,
        solar_kw=(sun * rng.choice([0.0, 1.0])).reshape(1, -1),
        dc_kw=(sun * rng.choice([0.0, 0.5])).reshape(1, -1),
        may_charge=(rng.random((1, n_steps)) > 0.2).astype(float),
        latches=island.latches,
        reconnect_h=float(rng.choice([0.0, 1 / 12, 1.7])),
    )
    return (island, (pool,), np.minimum(soc, usable)), options


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.booleans())
def test_known_ends_from_full_equal_the_walk_from_every_start(seed, wrap):
    given_, options = sunny(seed)
    options |= {"wrap": wrap, "begin": options["begin"] if wrap else None}
    if not wrap and given_[2].shape[1] != 120:
        given_ = (*given_[:2], np.tile(given_[2], 3))
    assert_equal(fast_dark_hours(*given_, **options), dark_hours(*given_, **options))
