"""Beyond one exact programme: against it where both hold, against enumeration, worked examples and the walk."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.optimum.best import best_targets
from simulate.optimum.equations import Demand
from simulate.optimum.linear import (
    LINEAR,
    MIXED,
    RELAXED,
    Solver,
    as_one,
    best_bound,
    best_possible,
    checked_case,
    checked_states,
)
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, walk_year

REL = 1e-9
WALK = 1e-6
"""Agreement of the walk with a path that HiGHS solved to its own tolerance of 1e-7, relative."""


def by_highs(*given, floor_kwh, start_kwh, end_kwh, **options):
    case = checked_case(*given, **options)
    return Solver(case).best(*checked_states(case, floor_kwh, start_kwh, end_kwh))


def house(rng, n):
    hour = np.arange(n) % 24
    load = rng.uniform(0.3, 3.0, n)
    solar = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0) * rng.uniform(0, 6, n)
    buy = np.select([(hour >= 16) & (hour < 21), hour < 6], [0.40, 0.12], 0.25)
    return load, solar, buy, buy * rng.uniform(0, 0.9)


def pool(rng, **more):
    return Pool(
        rng.uniform(3, 12),
        charge_kw=rng.uniform(1, 5),
        discharge_kw=rng.uniform(1, 5),
        charge_efficiency=0.93,
        discharge_efficiency=0.94,
        no_load_kw=0.05,
        on_grid_kw=0.015,
        **more,
    )


def walked_cost(case, best, start):
    """What the year's own walk spends when it follows the targets of all pools."""
    n_pools, n = case.reach_kw.shape
    limits = np.array([[one.discharge_kw] for one in case.pools])
    wish = Wish(
        reach_kw=np.minimum(case.reach_kw, limits),
        two_pole_kw=case.two_pole_kw,
        targets_kwh=best.targets_kwh,
        stay_kwh=np.full((n_pools, n), -1.0),
        charge_kw=case.charge_kw,
        dc_kw=case.dc_kw,
        inside_kw=np.zeros((n_pools, n)),
        parallel=case.parallel,
        export=case.parallel and case.export,
    )
    year = walk_year(case.load_kw, case.solar_kw, wish, case.pools, start, case.step_h)
    assert np.abs(year.pool_kwh - best.soc_kwh).max() < 1e-5
    return float((case.buy_per_kwh * year.import_kw - case.sell_per_kwh * year.export_kw).sum()) * case.step_h


@pytest.mark.parametrize("style", ["parallel", "transfer"])
def test_one_pool_equals_the_exact_programme(style):
    rng = np.random.default_rng(41)
    for k in range(25):
        load, solar, buy, sell = house(rng, 72)
        reach = np.full(72, np.inf) if style == "parallel" else load * rng.uniform(0, 1, 72)
        given = (load, reach, solar, buy, sell, pool(rng))
        ask = {
            "floor_kwh": 1.0,
            "start_kwh": 2.0,
            "end_kwh": 2.0,
            "export": bool(k % 2),
            "step_h": 0.5,
            "wear_per_kwh": 0.02 * (k % 3),
            "utility_ok": rng.random(72) < 0.8,
            "charge_ok": rng.random(72) < 0.9,
            "dc_kw": 0.3 * (k % 4 == 0),
        }
        exact = best_targets(*given, **ask)[1]
        highs = by_highs(*given, **ask)
        assert highs.method == LINEAR
        assert highs.cost == pytest.approx(exact, rel=REL)
        chosen = best_possible(*given, **ask)
        assert chosen.method == "exact convex programme"
        assert chosen.cost == pytest.approx(exact, rel=1e-12)


def test_two_pools_that_share_solar_are_walked_at_the_cost_found():
    rng = np.random.default_rng(42)
    for export in (False, True):
        for _ in range(6):
            load, solar, buy, sell = house(rng, 72)
            pools = (pool(rng), pool(rng))
            case = checked_case(load, np.inf, solar, buy, sell, pools, export=export)
            best = Solver(case).best(*checked_states(case, 0.5, 1.0, 1.0))
            assert walked_cost(case, best, [1.0, 1.0]) == pytest.approx(best.cost, rel=WALK)


def test_two_pole_circuits_are_walked_at_the_cost_found():
    rng = np.random.default_rng(43)
    for _ in range(8):
        load, solar, buy, sell = house(rng, 72)
        dear = buy > 0.3
        reach = np.array([0.3 * load, 0.2 * load]) * dear
        pools = (pool(rng), pool(rng))
        two = np.minimum(0.4 * load, 0.5) * dear
        case = checked_case(load, reach, solar * 0.3, buy, sell, pools, two_pole_kw=two)
        best = Solver(case).best(*checked_states(case, 0.5, 1.0, 1.0))
        assert walked_cost(case, best, [1.0, 1.0]) == pytest.approx(best.cost, rel=WALK)


def test_a_pair_stops_with_the_first_and_the_other_leg_goes_on():
    """Derived by hand: 0.5 kWh on leg A carry half of a 1 kW circuit for an hour; leg B has its own kW to spare."""
    pools = (Pool(0.5, charge_kw=0.0), Pool(5.0))
    ask = {"floor_kwh": 0.0, "start_kwh": [0.5, 5.0], "end_kwh": 0.0}
    best = best_possible([3.0] * 3, [[0.0] * 3, [1.0] * 3], 0.0, 0.2, 0.0, pools, two_pole_kw=1.0, **ask)
    assert best.cost == pytest.approx(0.2 * (9.0 - 1.0 - 3.0))  # one hour of the pair, three of the single-pole kW


def test_one_of_a_pair_is_not_refilled_while_it_serves():
    """Derived by hand: with 0.5 kWh on leg A the pair serves in two of three hours and is refilled between them."""
    ask = {"floor_kwh": 0.0, "start_kwh": [0.5, 5.0], "end_kwh": 0.0}
    given = ([3.0] * 3, [[0.0] * 3, [1.0] * 3], 0.0, 0.2, 0.0, (Pool(0.5), Pool(5.0)))
    best = best_possible(*given, two_pole_kw=1.0, **ask)
    assert best.method == MIXED
    assert best.cost == pytest.approx(0.2 * (9.0 - 2.0 - 3.0 + 0.5))


def test_separate_legs_are_one_exact_programme_each():
    rng = np.random.default_rng(44)
    load, _, buy, _ = house(rng, 96)
    reach = np.array([0.5 * load, 0.3 * load])
    given = (load, reach, 0.0, buy, 0.0, (pool(rng), pool(rng)))
    ask = {"floor_kwh": [[0.5] * 96, [1.0] * 96], "start_kwh": [1.0, 2.0], "end_kwh": [1.0, 2.0]}
    exact, highs = best_possible(*given, **ask), by_highs(*given, **ask)
    assert (exact.method, highs.method) == ("exact convex programme", LINEAR)
    assert exact.cost == pytest.approx(highs.cost, rel=REL)


def test_two_equal_halves_equal_the_whole():
    rng = np.random.default_rng(45)
    load, solar, buy, sell = house(rng, 96)
    half, whole = Pool(5.0, 2.0, 1.5, 0.9, 0.9, 0.03), Pool(10.0, 4.0, 3.0, 0.9, 0.9, 0.06)
    two = best_possible(load, np.inf, solar, buy, sell, (half, half), floor_kwh=1.0, start_kwh=2.0, end_kwh=2.0)
    one = best_possible(load, np.inf, solar, buy, sell, whole, floor_kwh=2.0, start_kwh=4.0, end_kwh=4.0)
    assert two.cost == pytest.approx(one.cost, rel=REL)


def test_warm_solves_equal_cold_ones():
    rng = np.random.default_rng(46)
    load, solar, buy, sell = house(rng, 96)
    given = (load, np.inf, solar, buy, sell, (pool(rng), pool(rng)))
    solver = Solver(checked_case(*given))
    for floor in (0.0, 1.0, 2.0, 0.5):
        states = {"floor_kwh": floor, "start_kwh": 2.0, "end_kwh": 2.0}
        warm = solver.best(*checked_states(solver.case, *states.values()))
        assert warm.cost == pytest.approx(by_highs(*given, **states).cost, rel=REL)


def months_of(n, rng):
    """An invented demand charge of two billing periods that looks at some hours of the day."""
    period = np.repeat([0, 1], n // 2)
    return Demand(rng.uniform(1, 9), np.where((np.arange(n) % 24 >= 14) & (np.arange(n) % 24 < 20), period, -1), 2)


@pytest.mark.parametrize("n_pools", [1, 2, 3])
def test_one_step_for_each_run_costs_the_same_as_every_step(n_pools):
    rng = np.random.default_rng(47 + n_pools)
    for k in range(20):
        n = 96
        load, solar, buy, sell = house(rng, n)
        pools = tuple(pool(rng) for _ in range(n_pools))
        switched = (np.arange(n) % 24 >= 16) & (np.arange(n) % 24 < 21) | (k % 4 == 1) & (rng.random(n) < 0.2)
        reach = rng.uniform(0, 0.9 / n_pools, (n_pools, n)) * load * switched
        floor = np.repeat(rng.choice([0.3, 0.6, 1.0], (n_pools, n // 12)), 12, axis=1)
        ask = {
            "floor_kwh": floor,
            "start_kwh": 2.0,
            "end_kwh": 1.5,
            "step_h": 0.5,
            "wear_per_kwh": 0.02 * (k % 3),
            "utility_ok": rng.random(n) < (0.6 if k % 3 == 2 else 1.0),
            "charge_ok": rng.random(n) < 0.9,
            "dc_kw": 0.3 * (k % 5 == 0),
            "demands": [months_of(n, rng)] if k % 2 else [],
        }
        given = (load, reach, solar, buy, sell, pools)
        cost, method = best_bound(*given, **ask)
        assert cost == pytest.approx(by_highs(*given, **ask).cost, rel=REL)
        assert method == (LINEAR if n_pools > 1 or k % 2 else "exact convex programme")


def test_pools_in_proportion_are_one_pool():
    rng = np.random.default_rng(51)
    load, solar, buy, sell = house(rng, 96)
    pools = tuple(Pool(5.0 * k, 2.0 * k, 1.5 * k, 0.9, 0.92, 0.03 * k, on_grid_kw=0.01 * k) for k in (1, 2))
    given = (load, np.inf, solar, buy, sell, pools)
    floor = np.array([[1.0], [2.0]]) * rng.uniform(0.2, 1.0, 96)
    ask = {"floor_kwh": floor, "start_kwh": [2.0, 4.0], "end_kwh": [1.0, 2.0], "wear_per_kwh": 0.01}
    cost, method = best_bound(*given, **ask)
    best, highs = best_possible(*given, **ask), by_highs(*given, **ask)
    assert method == best.method == "exact convex programme"
    assert cost == pytest.approx(highs.cost, rel=REL) == pytest.approx(best.cost, rel=REL)
    case = checked_case(*given, wear_per_kwh=0.01)
    worn = 0.01 * np.maximum(-np.diff(best.soc_kwh, axis=1), 0.0).sum()
    assert walked_cost(case, best, [2.0, 4.0]) + worn == pytest.approx(cost, rel=WALK)
    uneven = ask | {"end_kwh": [2.0, 2.0]}
    assert as_one(case, *checked_states(case, floor, [2.0, 4.0], [2.0, 2.0])) is None
    assert best_bound(*given, **uneven)[0] == pytest.approx(by_highs(*given, **uneven).cost, rel=REL)


@pytest.mark.parametrize("two_pole", [False, True])
def test_a_long_case_is_relaxed_and_stays_a_bound(two_pole, monkeypatch):
    """An on-grid draw beyond the losses, or a pair: with binaries, and with charging and serving sharing a step."""
    rng = np.random.default_rng(52)
    for _ in range(4):
        load, solar, buy, sell = house(rng, 48)
        dear = buy > 0.3
        pools = tuple(Pool(rng.uniform(2, 6), 2.0, 3.0, 0.97, 0.98, 0.01, on_grid_kw=0.03) for _ in range(2))
        given = (load, np.array([0.1 * load, 0.2 * load]) * dear, solar, buy, sell, pools)
        ask = {"floor_kwh": 0.3, "start_kwh": 1.0, "end_kwh": 1.0, "two_pole_kw": 0.3 * load * dear * two_pole}
        true = best_bound(*given, **ask)
        monkeypatch.setattr("simulate.optimum.linear.MOST_STEPS", 40)
        relaxed = best_bound(*given, **ask)
        path = best_possible(*given, **ask)
        monkeypatch.undo()
        assert (true[1], relaxed[1], path.method) == (MIXED, RELAXED, RELAXED)
        assert true[0] - 0.05 * abs(true[0]) <= relaxed[0] <= true[0] + 1e-9
        assert path.cost <= true[0] + 1e-9


# S24, S25 and S26 of the worked scenarios: closed form and a second method outside this project.


@pytest.mark.parametrize(("window_steps", "after"), [(1, 6.0), (4, 5.0)])
def test_a_demand_charge_by_its_window(window_steps, after):
    load = np.array([4.0, 8.0, 8.0, 4.0, 4.0, 4.0, 4.0, 4.0])  # 2 h at 4 kW with 30 min at 8 kW
    demand = Demand(12.0, np.zeros(8, int), window_steps)
    best = best_possible(
        load,
        np.inf,
        0.0,
        0.0,
        0.0,
        Pool(1.0, discharge_kw=3.0, charge_kw=0.0),
        floor_kwh=0.0,
        start_kwh=1.0,
        end_kwh=0.0,
        step_h=0.25,
        demands=[demand],
    )
    assert best.peak_kw[0][0] == pytest.approx(after, abs=1e-9)
    assert best.cost == pytest.approx(12.0 * after, abs=1e-7)


def test_a_recharge_is_held_below_the_peak_it_would_make():
    load = np.array([4.0, 8.0, 8.0, 4.0] + [2.0] * 12)
    best = best_possible(
        load,
        np.inf,
        0.0,
        0.0,
        0.0,
        Pool(1.0, 5.76, 3.0),
        floor_kwh=0.0,
        start_kwh=1.0,
        end_kwh=1.0,
        step_h=0.25,
        demands=[Demand(12.0, np.zeros(16, int))],
    )
    assert best.peak_kw[0][0] == pytest.approx(6.0, abs=1e-9)  # flat out it would be 7.76


def test_a_negative_price_earns_nothing_by_burning_energy():
    unit = Pool(10.0, 5.0, 5.0, 0.9, 0.9)
    ask = {"floor_kwh": 0.0, "start_kwh": 10.0, "end_kwh": 0.0, "export": True}
    best = best_possible([0.0], np.inf, 0.0, -0.05, -0.05, unit, **ask)
    assert best.method == MIXED
    assert best.cost == pytest.approx(0.0, abs=1e-9)  # S26: charging and serving at once would earn 0.0475


def cheapest_by_enumeration(load, solar, buy, sell, full, power):
    """Plain dynamic programme over whole kWh, lossless, parallel with export: any price."""
    after = dict.fromkeys(range(full + 1), 0.0)
    for t in reversed(range(len(load))):
        before = {}
        for e in range(full + 1):
            nets = {more: load[t] - solar[t] + more - e for more in after if abs(more - e) <= power}
            before[e] = min((buy[t] if net > 0 else sell[t]) * net + after[more] for more, net in nets.items())
        after = before
    return after


def test_odd_prices_equal_enumeration():
    rng = np.random.default_rng(47)
    mixed = 0
    for _ in range(40):
        n, full, power = int(rng.integers(2, 9)), int(rng.integers(1, 6)), int(rng.integers(1, 4))
        load, solar = rng.integers(0, 4, n), rng.integers(0, 4, n)
        buy, sell = rng.integers(-3, 9, n) / 16.0, rng.integers(-3, 9, n) / 16.0
        start = int(rng.integers(full + 1))
        best = best_possible(
            load,
            np.inf,
            solar,
            buy,
            sell,
            Pool(float(full), power, power),
            floor_kwh=0.0,
            start_kwh=start,
            end_kwh=0.0,
            export=True,
        )
        wanted = cheapest_by_enumeration(load, solar, buy, sell, full, power)[start]
        assert best.cost == pytest.approx(wanted, abs=1e-7)
        assert best.bound <= best.cost
        mixed += best.method == MIXED
    assert mixed > 10


def test_a_draw_beyond_the_losses_needs_binaries_and_is_walked_at_its_cost():
    rng = np.random.default_rng(48)
    load, _, buy, _ = house(rng, 48)
    reach, unit = 0.4 * load, Pool(6.0, 3.0, 3.0, 1.0, 1.0, on_grid_kw=0.05)
    case = checked_case(load, reach, 0.0, buy, 0.0, unit)
    best = best_possible(load, reach, 0.0, buy, 0.0, unit, floor_kwh=0.0, start_kwh=0.0, end_kwh=0.0)
    assert best.method == MIXED
    assert walked_cost(case, best, [0.0]) == pytest.approx(best.cost, rel=WALK)


def test_nothing_is_printed(capfd):
    best_possible([1.0], np.inf, 0, 0.1, 0.2, Pool(1.0), floor_kwh=0.0, start_kwh=0.0, end_kwh=0.0)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"floor_kwh": 11.0}, r"floor_kwh\[0\]\[0\] must be"),
        ({"floor_kwh": np.zeros((3, 2))}, r"floor_kwh must have one row a pool"),
        ({"start_kwh": np.nan}, r"start_kwh\[0\] must be finite"),
        ({"start_kwh": 0.0, "floor_kwh": 9.0}, r"floor_kwh cannot be met"),
        ({"two_pole_kw": 1.0}, r"two_pole_kw needs two pools in transfer mode"),
        ({"demands": [Demand(1.0, np.zeros(3, int))]}, r"Demand.period must name"),
        ({"demands": [Demand(1.0, np.array([0, 1]), 2)]}, r"Demand.window_steps must divide"),
        ({"demands": [Demand(np.nan, np.zeros(2, int))]}, r"Demand.per_kw must be finite"),
        ({"buy_per_kwh": [np.nan, 1.0]}, r"buy_per_kwh\[0\] must be a finite number"),
    ],
)
def test_bad_input_is_refused_at_the_mouth(change, message):
    given = {
        "load_kw": [1.0, 2.0],
        "reach_kw": np.inf,
        "solar_kw": 0.0,
        "buy_per_kwh": 0.2,
        "sell_per_kwh": 0.25,
        "pools": Pool(10.0, 1.0),
        "floor_kwh": 0.0,
        "start_kwh": 5.0,
        "end_kwh": 0.0,
    }
    given.update(change)
    positional = [given.pop(k) for k in ("load_kw", "reach_kw", "solar_kw", "buy_per_kwh", "sell_per_kwh", "pools")]
    with pytest.raises(BadInput, match=message):
        best_possible(*positional, **given)


@pytest.mark.long
def test_a_year_of_two_pools_with_solar_and_demand():
    rng = np.random.default_rng(49)
    load, solar, buy, sell = house(rng, 8760)
    month = np.repeat(np.arange(12), 730)
    case = checked_case(load, np.inf, solar, buy, sell, (pool(rng), pool(rng)), demands=[Demand(9.0, month)])
    solver = Solver(case)
    first = solver.best(*checked_states(case, 0.5, 1.0, 1.0))
    walked = walked_cost(case, first, [1.0, 1.0]) + 9.0 * first.peak_kw[0].sum()
    assert walked == pytest.approx(first.cost, rel=WALK)
    assert solver.best(*checked_states(case, 0.2, 1.0, 1.0)).cost <= first.cost + 1e-6
