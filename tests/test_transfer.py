"""Which whole circuits are switched: enumeration against brute force, branch and bound against enumeration."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulate import transfer
from simulate.loadcontrol import control_load
from simulate.transfer import periods_of, switched_sets


def best_energy(kw, on_pool, limit):
    best = 0.0
    for size in range(len(kw) + 1):
        for chosen in itertools.combinations(range(len(kw)), size):
            part = list(chosen)
            if (on_pool[:, part] @ kw[part] <= limit[:, None] + 1e-12).all():
                best = max(best, kw[part].sum())
    return best


@settings(max_examples=50)
@given(st.integers(1, 6), st.integers(0, 10**6), st.floats(0.5, 4.0))
def test_set_of_largest_energy(n, seed, limit_kw):
    random = np.random.default_rng(seed)
    kw = random.uniform(0.0, 2.0, (n, 3))
    on_pool = random.choice([0.0, 1.0], (2, n))
    on_pool[:, random.random(n) < 0.3] = 0.5
    limit = np.array([limit_kw, 2.0])
    sets = switched_sets(kw, on_pool, limit, np.ones(3, bool))
    chosen = sets.chosen[0]
    assert (on_pool[:, chosen] @ kw[chosen] <= limit[:, None] + 1e-9).all()
    assert kw[chosen].sum() == pytest.approx(best_energy(kw, on_pool, limit), abs=1e-9)


def test_branch_and_bound_equals_enumeration(monkeypatch):
    random = np.random.default_rng(7)
    kw = random.uniform(0.1, 1.0, (10, 4))
    on_pool, limit = np.ones((1, 10)), np.array([2.5])
    listed = switched_sets(kw, on_pool, limit, np.ones(4, bool))
    monkeypatch.setattr(transfer, "MOST_TO_ENUMERATE", 5)
    branched = switched_sets(kw, on_pool, limit, np.ones(4, bool))
    assert (listed.method, branched.method) == ("enumeration", "branch and bound")
    assert branched.reach_kw.sum() == pytest.approx(listed.reach_kw.sum(), abs=1e-9)


def test_ties_take_the_fewest_circuits_then_file_order():
    kw = np.array([[0.5], [0.5], [1.0], [1.0]])
    sets = switched_sets(kw, np.ones((1, 4)), np.array([1.0]), np.array([True]))
    assert sets.chosen[0].tolist() == [False, False, True, False]


def test_periods_are_runs_of_serve_steps():
    assert periods_of(np.zeros(4, bool)) == []
    assert periods_of(np.array([True, True, False, True])) == [(0, 2), (3, 4)]


@settings(max_examples=50)
@given(st.integers(1, 6), st.integers(0, 10**6))
def test_load_control_keeps_the_limits_or_says_that_it_trips(n, seed):
    random = np.random.default_rng(seed)
    kw, priority = random.uniform(0.0, 3.0, (n, 5)), random.integers(1, 4, n)
    share = np.vstack([side := random.choice([0.0, 0.5, 1.0], n), 1.0 - side])
    limits = (np.array([2.5, 2.5]), np.array([0, 1]))
    left = control_load(kw, priority, share, share, limits, sheds=True)
    fits = left.load_kw <= 2.5 + 1e-8
    assert np.array_equal(left.trips, ~fits)
    assert not left.dropped[priority == priority.min()].any()
    untouched = control_load(kw, priority, share, share, limits, sheds=False)
    assert not untouched.dropped.any()
