"""Every outage of two pools with sun or hands against the walk from every start."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulate.physics.outages.island import dark_hours
from simulate.physics.outages.sums import fast_dark_hours
from simulate.physics.pool import Pool
from tests.physics.test_sums import assert_equal, drawn


def sunny_pair(seed: int, n_steps: int = 120):
    """Two pools with sun on the island, on the cells or none, load control by hand and cold cells: invented numbers."""
    rng = np.random.default_rng([seed, 5])
    (island, pools, soc), options = drawn(seed, 2, n_steps)
    hour = np.arange(n_steps) % 24
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.uniform(0.0, rng.choice([1.0, 6.0]), n_steps)
    load, usable = island.load_kw.copy(), float(rng.choice([12.0, 4.0]))
    load[1] *= 0.5
    pools = tuple(
        Pool(
            usable,
            charge_kw=2.0,
            charge_efficiency=0.95,
            discharge_efficiency=rng.choice([1.0, 0.93]),
            no_load_kw=rng.choice([0.0, 0.05]),
            takes_back_kw=rng.choice([0.0, 1.0, 5.0]),
        )
        for _ in range(2)
    )
    island = replace(
        island,
        load_kw=load,
        trips=load > rng.choice([1.9, 9.0]),
        hand=island.hand & bool(rng.random() < 0.6),
        solar_kw=np.array([sun, sun]) * rng.choice([0.0, 0.5, 0.5]),
        dc_kw=np.array([sun, 0.7 * sun]) * rng.choice([0.0, 0.0, 0.5]),
        may_charge=(rng.random((2, n_steps)) > 0.1).astype(float),
        latches=bool(rng.random() < 0.9),
        reconnect_h=float(rng.choice([0.0, 1 / 12, 1.7])),
    )
    return (island, pools, np.minimum(soc, usable)), options


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_two_pools_with_sun_equal_the_walk_from_every_start(seed):
    given_, options = sunny_pair(seed)
    found = fast_dark_hours(*given_, **options)
    if found is not None:
        assert_equal(found, dark_hours(*given_, **options))
    else:
        assert not given_[0].latches


def test_what_only_the_walk_knows_is_left_to_it():
    (island, pools, soc), options = sunny_pair(11)
    island = replace(island, latches=True)
    assert fast_dark_hours(island, pools, soc, **options) is not None
    assert fast_dark_hours(replace(island, latches=False, trips=island.load_kw > 0.0), pools, soc, **options) is None
    tapering = tuple(replace(pool, taper={"from_soc": 0.8, "to_frac": 0.2}) for pool in pools)
    assert fast_dark_hours(island, tapering, soc, **options) is None
    waiting = tuple(replace(pool, restart_kwh=0.5) for pool in pools)
    assert fast_dark_hours(island, waiting, soc, **options) is None


@pytest.mark.hours
def test_many_pairs_with_sun_equal_the_walk():
    for seed in range(20000):
        given_, options = sunny_pair(seed)
        found = fast_dark_hours(*given_, **options)
        if found is not None:
            assert_equal(found, dark_hours(*given_, **options))
