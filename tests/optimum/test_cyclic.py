"""A year that ends as full as it begins: the best start by cutting planes, against a grid and against HiGHS."""

import numpy as np
import pytest
from scipy.optimize import linprog

from simulate.optimum.best import best_targets
from simulate.optimum.cyclic import lowest
from simulate.optimum.equations import Demand
from simulate.optimum.linear import Planner, Solver, checked_case, cyclic_bound
from simulate.physics.pool import Pool

POOL = Pool(6.0, 3.0, 3.0, 0.9, 0.93)


def series(seed, n=96):
    rng, hour = np.random.default_rng(seed), np.arange(n) % 24
    load, solar = rng.uniform(0.3, 2.5, n), np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.uniform(0.0, 5.0)
    buy = rng.uniform(0.1, 0.4, n)
    return load, solar, buy, np.full(n, 0.05), rng.uniform(0.0, 3.0, n)


@pytest.mark.parametrize("seed", range(8))
def test_the_best_start_beats_every_start_of_a_grid(seed):
    load, solar, buy, sell, floor = series(seed)
    case = checked_case(load, np.inf, solar, buy, sell, POOL)
    found = cyclic_bound(case, floor.reshape(1, -1))[0]
    given = {"floor_kwh": floor}
    grid = np.linspace(3.0, 6.0, 31)
    costs = [best_targets(load, np.inf, solar, buy, sell, POOL, start_kwh=e, end_kwh=e, **given)[1] for e in grid]
    assert found <= min(costs) + 1e-9


@pytest.mark.parametrize("seed", range(8))
def test_it_equals_the_linear_programme_with_a_free_start(seed):
    load, solar, buy, sell, floor = series(seed)
    n, out = len(load), 1.0 / POOL.discharge_efficiency
    eye, none = np.eye(n), np.zeros((n, n))
    before = np.roll(eye, -1, axis=1)  # the state before the first step is the last one
    equal = np.block(
        [[eye, -eye, -eye, eye, none], [none, none, -POOL.charge_efficiency * eye, out * eye, eye - before]]
    )
    most = np.minimum(POOL.discharge_kw, np.maximum(load - solar, 0.0))
    bounds = [(0, None)] * (2 * n) + [(0, POOL.charge_kw)] * n + [(0, one) for one in most]
    bounds += [(one, POOL.usable_kwh) for one in floor]
    prices = np.r_[buy, -sell, np.zeros(3 * n)]
    lp = linprog(prices, A_eq=equal, b_eq=np.r_[load - solar, np.zeros(n)], bounds=bounds)
    case = checked_case(load, np.inf, solar, buy, sell, POOL)
    assert cyclic_bound(case, floor.reshape(1, -1))[0] == pytest.approx(lp.fun, abs=1e-7)
    assert Solver(case, cyclic=True).best(floor.reshape(1, -1), None, None).cost == pytest.approx(lp.fun, abs=1e-7)


def test_the_path_of_the_best_circle_closes_and_costs_the_bound():
    load, solar, buy, sell, floor = series(3)
    for demands in ((), (Demand(4.0, np.zeros(len(load), int)),)):
        case = checked_case(load, np.inf, solar, buy, sell, POOL, demands=demands)
        best = Planner(case).best_circle(floor.reshape(1, -1))
        assert best.soc_kwh[0, -1] >= best.soc_kwh[0, 0] - 1e-9
        assert best.cost == pytest.approx(cyclic_bound(case, floor.reshape(1, -1))[0], abs=1e-6)


def test_merged_steps_close_as_single_ones_do():
    """Two pools that switch circuits beside a shared roof."""
    load, solar, buy, sell, floor = series(5)
    reach = np.array([np.where(np.arange(len(load)) % 24 > 15, 0.3, 0.0)] * 2)
    case = checked_case(load, reach, solar, buy, sell, (POOL, POOL))
    floors = np.array([floor, floor])
    assert cyclic_bound(case, floors)[0] == pytest.approx(
        Solver(case, cyclic=True).best(floors, None, None).cost, abs=1e-6
    )


def test_a_level_function_is_lowest_anywhere():
    assert lowest(lambda x: 2.0, 1.0, 3.0)[1] == 2.0
    assert lowest(lambda x: x, 1.0, 1.0) == (1.0, 1.0)
    assert lowest(lambda x: -x, 0.0, 2.0) == (2.0, -2.0)
