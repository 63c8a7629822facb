"""Windows of service against every choice that there is; the largest load against the search over a whole period."""

import itertools

import numpy as np
import pytest

from simulate.plans.largest import largest_load
from simulate.plans.subset import largest_subset
from simulate.plans.windows import best_windows


def dearest(kw, burden, room, worth) -> float:
    """The most that any choice of windows saves."""
    n, n_steps = kw.shape
    windows = [(0, 0)] + [(a, b) for a in range(n_steps) for b in range(a + 1, n_steps + 1)]
    best = 0.0
    for chosen in itertools.product(windows, repeat=n):
        used, gain = np.zeros(burden.shape[1:]), 0.0
        for j, (a, b) in enumerate(chosen):
            used[:, a:b] += burden[j][:, a:b]
            gain += float((kw[j, a:b] * worth[a:b]).sum())
        if (used <= np.asarray(room)[:, None] + 1e-9).all():
            best = max(best, gain)
    return best


def legs(rng, n) -> np.ndarray:
    """Circuits on two legs, some of them on both, shape (2, n)."""
    on = rng.choice([0.0, 1.0], n)
    on = np.vstack([on, 1.0 - on])
    on[:, rng.random(n) < 0.3] = 0.5
    return on


@pytest.mark.long
@pytest.mark.parametrize("seed", range(40))
def test_no_other_choice_of_windows_saves_more(seed):
    rng = np.random.default_rng(seed)
    n, n_steps = rng.integers(1, 4), rng.integers(2, 5)
    kw, on = rng.choice([0.0, 0.5, 1.0, 1.5, 2.0], (n, n_steps)), legs(rng, n)
    burden, worth, room = on.T[:, :, None] * kw[:, None, :], rng.uniform(-0.2, 0.5, n_steps), rng.uniform(0.5, 3.0, 2)
    found = best_windows(kw, burden, room, worth)
    assert found.missed == 0.0
    assert found.gain == pytest.approx(dearest(kw, burden, room, worth), abs=1e-8)
    over = (np.arange(n_steps) >= found.begin[:, None]) & (np.arange(n_steps) < found.end[:, None])
    assert ((burden * over[:, None]).sum(axis=0) <= room[:, None] + 1e-9).all()


@pytest.mark.long
def test_of_equal_savings_fewest_go_over():
    kw = np.array([[0.5], [0.5], [1.0]])
    found = best_windows(kw, kw[:, None], [1.0], [0.3])
    assert found.end.tolist() == [0, 0, 1]


def test_a_search_that_ends_early_says_what_it_may_miss(monkeypatch):
    rng = np.random.default_rng(2)
    kw, worth = rng.uniform(0.2, 1.0, (10, 8)), rng.uniform(0.1, 0.4, 8)
    monkeypatch.setattr("simulate.plans.windows.MOST_TRIED", 50)
    short = best_windows(kw, kw[:, None], [1.0], worth)
    monkeypatch.setattr("simulate.plans.windows.MOST_TRIED", 500_000)
    long = best_windows(kw, kw[:, None], [1.0], worth)
    assert short.missed > 0.0
    assert short.gain - 1e-9 <= long.gain <= short.gain + short.missed + 1e-9


@pytest.mark.parametrize("seed", range(40))
def test_the_largest_load_is_that_of_the_best_set_of_one_step(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 9))
    kw, on, room = rng.choice([0.0, 0.3, 0.5, 1.0, 1.5, 2.0], (n, 3)), legs(rng, n), rng.uniform(0.5, 3.0, 2)
    found = largest_load(kw, on.T[:, :, None] * kw[:, None, :], room)
    for t in range(3):
        chosen, _ = largest_subset(kw[:, t : t + 1], on, room)
        assert found[t] == pytest.approx(kw[chosen, t].sum(), abs=1e-8)


def test_a_hard_step_takes_no_less_than_any_set(monkeypatch):
    rng = np.random.default_rng(4)
    kw = rng.uniform(0.1, 1.0, (18, 2))
    true = largest_load(kw, kw[:, None], [3.0])
    monkeypatch.setattr("simulate.plans.largest.MOST_TRIED", 3)
    assert (largest_load(kw, kw[:, None], [3.0]) >= true - 1e-9).all()
