"""Which whole circuits are switched: enumeration against brute force, branch and bound against enumeration."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulate.physics.outages.load_control import control_load
from simulate.plans import subset
from simulate.plans.switched import periods_of, switched_sets


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


def random_sets(random, n):
    """Circuits on two legs; half the time some of them need both."""
    on_pool = random.choice([0.0, 1.0], n)[None, :]
    on_pool = np.vstack([on_pool, 1.0 - on_pool])
    on_pool[:, random.random(n) < random.choice([0.0, 0.3])] = 0.5
    return random.choice([0.2, 0.5, 0.7, 1.1], (n, 4)), on_pool, random.uniform(1.0, 3.0, 2)


@pytest.mark.long
def test_branch_and_bound_equals_enumeration(monkeypatch):
    random = np.random.default_rng(7)
    for _ in range(40):
        kw, on_pool, limit = random_sets(random, int(random.integers(6, 12)))
        listed, missed = subset.largest_subset(kw, on_pool, limit)
        with monkeypatch.context() as patch:
            patch.setattr(subset, "MOST_TO_ENUMERATE", 3)
            branched, also_missed = subset.largest_subset(kw, on_pool, limit)
        assert (on_pool @ (kw * branched[:, None]) <= limit[:, None] + 1e-9).all()
        assert kw[branched].sum() == pytest.approx(kw[listed].sum(), abs=1e-8)
        assert missed == also_missed == 0.0


def test_what_branch_and_bound_may_miss_is_said(monkeypatch):
    """With few sets tried, what is left open covers what a full search finds beyond."""
    random = np.random.default_rng(8)
    fell_short = 0
    for _ in range(40):
        kw, on_pool, limit = random_sets(random, 14)
        largest = kw[subset.largest_subset(kw, on_pool, limit)[0]].sum()
        with monkeypatch.context() as patch:
            patch.setattr(subset, "MOST_TO_ENUMERATE", 3)
            patch.setattr(subset, "MOST_TRIED", 12)
            chosen, missed = subset.largest_subset(kw, on_pool, limit)
        assert kw[chosen].sum() <= largest + 1e-9 <= kw[chosen].sum() + missed + 2e-9
        fell_short += kw[chosen].sum() < largest - 1e-9
    assert fell_short


def test_sixty_circuits_are_switched_and_the_method_is_said():
    """Sixty circuits of seven sizes on two legs: 30 legs' worth of equal ones end, the rest says how near it is."""
    kw = np.repeat(0.02 * (np.arange(60) % 7 + 1)[:, None], 24, axis=1)
    on_pool = np.vstack([np.arange(60) % 2 == 0, np.arange(60) % 2 == 1]).astype(float)
    sets = switched_sets(kw, on_pool, np.array([1.0, 1.3]), np.tile([False] * 3 + [True] * 5, 3))
    assert (on_pool @ (kw[:, 3] * sets.chosen[0]) <= np.array([1.0, 1.3]) + 1e-9).all()
    assert sets.method == "branch and bound"
    assert sets.reach_kw[:, 3].tolist() == pytest.approx([1.0, 1.3], abs=1e-9)


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
