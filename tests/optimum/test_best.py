"""The exact programme against linear programming, enumeration, worked examples and the walk itself."""

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import coo_array

from profiles.noun import BadInput
from simulate.optimum.best import Worth, best_cost, best_path, best_targets, worth_of_more
from simulate.optimum.programme import programme
from simulate.physics.pool import Pool, serve_terms
from simulate.physics.step import grid_step
from simulate.physics.walk import run_plan

REL = 1e-9
"""Agreement asked of two exact methods, relative."""

CENT_FREE = 1e-6
"""Tolerance of the worked examples, in money."""


def charging_limit(case):
    share, pool = case["charge_ok"], case["given"][-1]
    return np.where(share > 0, np.where(share > 0, share, 1.0) * pool.charge_kw, 0.0)


def inverting_kw(case):
    """What the pool delivers while it inverts: the switched circuits, or in parallel its limit."""
    load, reach, _, _, _, pool = case["given"]
    return np.full(len(load), pool.discharge_kw) if (reach > load).any() else np.minimum(reach, pool.discharge_kw)


def cheapest_by_linprog(case):
    """The same problem as a sparse linear programme, written without a look at the pieces; None where infeasible."""
    load, reach, solar, buy, sell, pool = case["given"]
    n, h = len(load), case["step_h"]
    limit, eta = serve_terms(load, reach, solar, pool)
    inverts = inverting_kw(case)
    if (reach > load).any() and case["export"]:
        limit = np.full(n, pool.discharge_kw)
    drawn = np.where(inverts > 0, pool.on_grid_kw / np.where(inverts > 0, inverts, 1), 0)
    charge = charging_limit(case)
    spare = np.maximum(solar - load - pool.on_grid_kw, 0)
    charge = np.where(case["utility_ok"], charge, np.minimum(charge, spare))
    i, ones = np.arange(n), np.ones(n)
    c, d, m, x, e, s = (k * n + i for k in range(6))  # charged, delivered, import, export, stored at the end, spilled
    meter = [(i, m, ones), (i, x, -ones), (i, c, -ones), (i, d, 1 + drawn)]
    cells = [(n + i, e, ones), (n + i[1:], e[:-1], -ones[1:]), (n + i, c, -pool.charge_efficiency * h * ones)]
    cells += [(n + i, d, h / eta), (n + i, s, h * ones)]
    rows, columns, values = (np.concatenate(part) for part in zip(*meter, *cells, strict=True))
    right = np.concatenate([load + pool.on_grid_kw - solar, case["dc_kw"] * h])
    right[n] += case["start_kwh"]
    low = np.concatenate([np.zeros(4 * n), case["floor_kwh"], np.zeros(n)])
    low[5 * n - 1] = max(low[5 * n - 1], case["end_kwh"])
    high = np.concatenate([charge, limit, np.full(2 * n, np.inf), np.full(n, pool.usable_kwh), case["dc_kw"]])
    price = np.concatenate([np.zeros(n), case["wear_per_kwh"] / eta, buy, -sell, np.zeros(2 * n)]) * h
    matrix = coo_array((values, (rows, columns)), shape=(2 * n, 6 * n)).tocsr()
    found = linprog(price, A_eq=matrix, b_eq=right, bounds=np.column_stack([low, high]), method="highs")
    assert found.status in (0, 2), found.message
    return found.fun if found.status == 0 else None


def walked_cost(case, targets):
    """What `grid_step` spends when it follows the targets, billed at the meter."""
    load, reach, solar, buy, sell, pool = case["given"]
    h, e, cost = case["step_h"], case["start_kwh"], 0.0
    limit, eta = serve_terms(load, reach, solar, pool)
    spare = np.maximum(solar - load - pool.on_grid_kw, 0.0)
    charge, inverts, cell = charging_limit(case), inverting_kw(case), pool.cell
    for t in range(len(load)):
        e += case["dc_kw"][t] * h
        export_to = targets[t, 0] if case["export"] and inverts[t] == pool.discharge_kw else np.inf
        e, charged, served = grid_step(
            e, (export_to, *targets[t, 1:]), spare[t], charge[t], limit[t], 1.0 / eta[t], cell, h
        )
        e = min(e, pool.usable_kwh)
        assert e >= case["floor_kwh"][t] - 1e-9
        share = served / h / inverts[t] if inverts[t] > 0 else 0.0
        net = (load[t] + pool.on_grid_kw * (1 - share) - solar[t]) * h + charged - served
        cost += buy[t] * max(net, 0.0) - sell[t] * max(-net, 0.0) + case["wear_per_kwh"] * served / eta[t]
    assert e >= case["end_kwh"] - 1e-9
    return cost


def billed_year(case, targets):
    """What the year's own walk spends when it follows the targets."""
    load, reach, solar, buy, sell, pool = case["given"]
    year = run_plan(load, reach, solar, targets, pool, soc_kwh=case["start_kwh"], step_h=case["step_h"])
    eta = serve_terms(load, reach, solar, pool)[1]
    money = buy * year.import_kw - sell * year.export_kw + case["wear_per_kwh"] * year.discharge_kw / eta
    return money.sum() * case["step_h"]


def solved(case):
    return best_targets(*case["given"], **{k: v for k, v in case.items() if k != "given"})


def drawn_case(rng, n, *, style):
    """One random case: invented numbers, chosen to meet every branch."""
    hour = np.arange(n) % 24
    load = rng.uniform(0.2, 3.0, n)
    dear = np.select([(hour >= 16) & (hour < 21), hour < 6], [0.40, 0.12], 0.25)
    buy = dear if rng.random() < 0.6 else rng.uniform(0.03, 0.5, n)
    sell = buy * rng.uniform(0, 1) if rng.random() < 0.5 else np.minimum(rng.uniform(0, 0.2), buy)
    if rng.random() < 0.2:
        sell = buy.copy()
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0) * rng.uniform(0, 6, n)
    solar = sun if rng.random() < 0.7 else np.zeros(n)
    reach = np.full(n, np.inf) if style == "parallel" else load * rng.uniform(0, 1, n) * (rng.random(n) < 0.8)
    usable = rng.uniform(2, 30)
    no_load = rng.choice([0.0, 0.05])
    pool = Pool(
        usable,
        charge_kw=rng.choice([rng.uniform(0.5, 8), np.inf]),
        discharge_kw=rng.choice([rng.uniform(0.5, 6), np.inf]),
        charge_efficiency=rng.uniform(0.85, 1.0),
        discharge_efficiency=rng.uniform(0.85, 1.0),
        no_load_kw=no_load,
        on_grid_kw=rng.choice([0.0, 0.02]) if no_load else 0.0,
    )
    floor = np.zeros(n)
    kind = rng.integers(4)
    if kind == 1:
        floor[:] = 0.2 * usable
    elif kind == 2:
        floor[:] = rng.uniform(0, 0.3) * usable
        floor[n // 2 : n // 2 + 3] = usable
    elif kind == 3:
        floor = rng.uniform(0, 0.5, n) * usable
    share = rng.choice([0.0, 0.5, 1.0], n, p=[0.1, 0.1, 0.8]) if rng.random() < 0.4 else np.ones(n)
    return {
        "given": (load, reach, solar, buy, sell, pool),
        "floor_kwh": floor,
        "start_kwh": rng.uniform(0, 1) * usable,
        "end_kwh": rng.uniform(0, 1) * usable * (rng.random() < 0.7),
        "wear_per_kwh": rng.choice([0.0, 0.0, 0.04]),
        "export": bool(rng.random() < 0.5),
        "step_h": rng.choice([1.0, 0.25]),
        "charge_ok": share,
        "utility_ok": np.ones(n, bool) if rng.random() < 0.7 else rng.random(n) < 0.5,
        "dc_kw": np.zeros(n) if rng.random() < 0.8 else rng.uniform(0, 3, n) * (sun > 0),
    }


def check_case(case):
    """Whether a case was feasible; both methods must agree, and the walk with them."""
    wanted = cheapest_by_linprog(case)
    if wanted is None:
        with pytest.raises(BadInput, match="cannot be met"):
            solved(case)
        return False
    targets, cost = solved(case)
    scale = max(abs(wanted), 1.0)
    assert cost == pytest.approx(wanted, abs=REL * scale)
    assert walked_cost(case, targets) == pytest.approx(cost, abs=REL * scale)
    if (case["charge_ok"] == 1.0).all() and not case["dc_kw"].any():
        assert billed_year(case, targets) == pytest.approx(cost, abs=REL * scale)
    return True


@pytest.mark.parametrize("style", ["parallel", "transfer"])
def test_fortnights_equal_linprog_and_the_walk(style):
    rng = np.random.default_rng({"parallel": 11, "transfer": 12}[style])
    feasible = [check_case(drawn_case(rng, 96, style=style)) for _ in range(60)]
    assert 10 < sum(feasible) < 60  # both kinds were met


def cheapest_by_enumeration(load, reach, solar, buy, sell, pool, *, floor, start, end, export):
    """Plain dynamic programme over whole kWh: lossless, whole kW, so that the optimum lies on the grid."""
    n, full = len(load), int(pool.usable_kwh)
    parallel = any(reach[t] > load[t] for t in range(n))
    after = {e: 0.0 for e in range(full + 1) if e >= max(end, floor[-1])}
    for t in reversed(range(n)):
        before = {}
        for e in range(full + 1):
            options = []
            for more, rest in after.items():
                charged, served = max(more - e, 0), max(e - more, 0)
                need = max(load[t] - solar[t], 0)
                most = pool.discharge_kw if parallel and export else min(need, reach[t]) if parallel else reach[t]
                if charged <= pool.charge_kw and served <= min(most, pool.discharge_kw):
                    net = load[t] - solar[t] + charged - served
                    options.append((buy[t] if net > 0 else sell[t]) * net + rest)
            if options and (t == 0 or e >= floor[t - 1]):
                before[e] = min(options)
        after = before
    return after.get(start)


def test_tiny_cases_equal_enumeration():
    rng = np.random.default_rng(5)
    met = 0
    for _ in range(150):
        n, full = int(rng.integers(2, 9)), int(rng.integers(1, 7))
        load, solar = rng.integers(0, 5, n), rng.integers(0, 5, n) * int(rng.integers(0, 2))
        reach = np.full(n, 99) if rng.random() < 0.5 else np.minimum(load, rng.integers(0, 4, n))
        buy = rng.integers(1, 9, n) / 16.0
        sell = np.floor(buy * 16.0 * rng.random(n)) / 16.0
        pool = Pool(float(full), charge_kw=float(rng.integers(1, 4)), discharge_kw=float(rng.integers(1, 5)))
        floor, start, end = rng.integers(0, full + 1, n) * (rng.random(n) < 0.3), int(rng.integers(full + 1)), 0
        export = bool(rng.random() < 0.5)
        wanted = cheapest_by_enumeration(
            load, reach, solar, buy, sell, pool, floor=floor, start=start, end=end, export=export
        )
        ask = {"floor_kwh": floor, "start_kwh": start, "end_kwh": end, "export": export}
        if wanted is None:
            with pytest.raises(BadInput, match="cannot be met"):
                best_targets(load, reach, solar, buy, sell, pool, **ask)
            continue
        met += 1
        assert best_targets(load, reach, solar, buy, sell, pool, **ask)[1] == pytest.approx(wanted, abs=1e-12)
    assert 50 < met < 150


# The worked scenarios: a day of 24 h, peak 16-21 at .30, else .10; each worked out by closed form and by a second
# method outside this project (checks of the specification, S18 to S40).
PEAK = (np.arange(24) >= 16) & (np.arange(24) < 21)
TOU = np.where(PEAK, 0.30, 0.10)
UNIT = Pool(10.0, charge_efficiency=0.9, discharge_efficiency=0.9)
EMPTY = {"floor_kwh": 0.0, "start_kwh": 0.0, "end_kwh": 0.0}


def day_saving(load, pool=UNIT, *, reach=np.inf, solar=0.0, buy=TOU, sell=0.0, **options):
    cost = best_targets(load, reach, solar, buy, sell, pool, **{**EMPTY, **options})[1]
    net = np.asarray(load) - solar
    return float((np.where(net > 0, buy, sell) * net).sum()) - cost


TWO_IN_PEAK = np.where(PEAK, 2.0, 1.0)


def test_arbitrage_pays_what_losses_leave():
    assert day_saving(TWO_IN_PEAK) == pytest.approx(1.588889, abs=CENT_FREE)  # S18
    even = 0.10 / 0.81
    assert day_saving(TWO_IN_PEAK, buy=np.where(PEAK, even * (1 + 1e-6), 0.10)) > 0
    assert day_saving(TWO_IN_PEAK, buy=np.where(PEAK, even * (1 - 1e-6), 0.10)) == pytest.approx(0, abs=1e-12)


def test_no_cycling_where_it_does_not_pay():
    targets, _ = best_targets(TWO_IN_PEAK, np.inf, 0, np.where(PEAK, 0.12, 0.10), 0, UNIT, **EMPTY)  # S19
    year = run_plan(TWO_IN_PEAK, np.full(24, np.inf), 0.0, targets, UNIT, soc_kwh=0.0)
    assert year.charge_kw.sum() == 0.0
    assert day_saving(TWO_IN_PEAK, buy=np.where(PEAK, 0.12, 0.10)) == pytest.approx(0, abs=1e-12)


def test_wear_counts_per_dc_energy_discharged():
    assert day_saving(TWO_IN_PEAK, wear_per_kwh=0.05) == pytest.approx(1.088889, abs=CENT_FREE)  # S20


@pytest.mark.parametrize(("reserve", "saving"), [(0.0, 1.588889), (0.4, 0.953333), (1.0, 0.0)])
def test_reserve_costs_its_share_of_the_saving(reserve, saving):
    kept = 10.0 * reserve
    got = day_saving(TWO_IN_PEAK, floor_kwh=kept, start_kwh=kept, end_kwh=kept)  # S21
    assert got == pytest.approx(saving, abs=CENT_FREE)


def test_only_what_is_switched_over_can_be_served():
    reach = np.where(PEAK, 1.2, 0.0)
    assert day_saving(np.where(PEAK, 2.0, 1.2), reach=reach) == pytest.approx(1.059259, abs=CENT_FREE)  # S22
    parallel = day_saving(np.where(PEAK, 1.0, 0.0), sell=0.05, export=True)
    assert parallel == pytest.approx(0.882716, abs=CENT_FREE)
    targets, _ = best_targets(np.where(PEAK, 1.0, 0.0), np.inf, 0, TOU, 0.05, UNIT, export=True, **EMPTY)
    year = run_plan(np.where(PEAK, 1.0, 0.0), np.full(24, np.inf), 0.0, targets, UNIT, soc_kwh=0.0)
    assert year.export_kw.sum() == pytest.approx(0, abs=1e-12)


def test_the_output_limits_what_is_saved():
    weak = replace(UNIT, discharge_kw=1.5)
    assert day_saving(np.where(PEAK, 3.0, 1.0), weak) == pytest.approx(1.324074, abs=CENT_FREE)  # S23


def test_energy_left_at_the_end_is_not_a_gift():
    hour = np.arange(48) % 24
    peak = (hour >= 16) & (hour < 21)
    load = np.where(peak, np.where(np.arange(48) < 24, 9.0, 3.0) / 5, 0.0)
    buy = np.where(peak, 0.30, 0.10)
    assert day_saving(load, Pool(9.0), buy=buy) == pytest.approx(2.40, abs=CENT_FREE)  # S39
    given_away = day_saving(load, Pool(9.0), buy=buy, start_kwh=9.0)
    assert given_away == pytest.approx(3.30, abs=CENT_FREE)  # the one to reject: full at first, empty at the end


def test_stored_solar_costs_its_lost_export_credit():
    hour = np.arange(24)
    solar, load = np.where((hour >= 10) & (hour < 14), 1.0, 0.0), np.where(PEAK, 1.0, 0.0)
    ask = {"solar": solar, "sell": 0.05}
    assert day_saving(load, utility_ok=np.zeros(24, bool), **ask) == pytest.approx(0.772, abs=CENT_FREE)  # S40
    assert day_saving(load, **ask) == pytest.approx(1.082716, abs=CENT_FREE)


def test_the_cost_alone_equals_the_cost_of_the_path():
    rng = np.random.default_rng(21)
    for _ in range(40):
        case = drawn_case(rng, 200, style="transfer" if rng.random() < 0.5 else "parallel")
        states = {k: case.pop(k) for k in ("floor_kwh", "start_kwh", "end_kwh")}
        made = programme(*case.pop("given"), **case)
        try:
            targets, path, cost = best_path(made, **states)
        except BadInput:
            continue
        assert best_cost(made, **states) == pytest.approx(cost, rel=1e-11, abs=1e-11)
        assert (path[1:] >= states["floor_kwh"] - 1e-9).all()
        again = best_path(made, **states)  # nothing is left over from the first solve
        assert (again[0] == targets).all()
        assert again[2] == cost


def test_more_is_worth_less_and_less_but_never_nothing_lost():
    rng = np.random.default_rng(3)
    load = rng.uniform(0.3, 3.0, 24 * 14)
    buy = np.tile(TOU, 14)
    worth = [
        worth_of_more(load, np.inf, 0.0, buy, 0.0, Pool(size, 2.0, 2.0, 0.95, 0.95), **EMPTY)
        for size in (2.0, 4.0, 8.0, 16.0)
    ]
    assert isinstance(worth[0], Worth)
    per_kwh = [one.per_kwh for one in worth]
    assert per_kwh == sorted(per_kwh, reverse=True)
    assert all(one.per_kwh >= -1e-9 and one.per_kw >= -1e-9 for one in worth)
    assert per_kwh[0] > 10 * max(per_kwh[-1], 1e-9)


def test_an_infeasible_floor_names_the_first_step():
    given = ([1.0] * 4, 1, 0, 0.1, 0, Pool(9.0, charge_kw=1.0))
    with pytest.raises(BadInput, match=r"floor_kwh\[2\].*reaches 3 kWh at the end of step 2.*start at 2 kWh or above"):
        best_targets(*given, floor_kwh=[0.0, 0.0, 5.0, 0.0], start_kwh=0.0, end_kwh=0.0)
    with pytest.raises(BadInput, match=r"end_kwh cannot be met"):
        best_targets(*given, floor_kwh=0.0, start_kwh=0.0, end_kwh=5.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"load_kw": [1.0, np.nan]}, r"load_kw\[1\] must be a finite number"),
        ({"load_kw": [[1.0, 2.0]]}, r"load_kw must have shape"),
        ({"solar_kw": [0.0, -1.0]}, r"solar_kw\[1\] must be a finite number at least 0"),
        ({"solar_kw": [0.0] * 3}, r"solar_kw must have shape \(2,\), not \(3,\)"),
        ({"reach_kw": [np.nan, 1.0]}, r"reach_kw\[0\]"),
        ({"buy_per_kwh": [0.1, np.inf]}, r"buy_per_kwh\[1\] must be a finite number"),
        (
            {"buy_per_kwh": [0.1, 0.01]},
            r"buy_per_kwh\[1\] must be at least the sell price 0.05, not 0.01.*best_possible",
        ),
        ({"sell_per_kwh": -0.05}, r"sell_per_kwh\[0\] must be 0 or above, not -0.05.*best_possible"),
        ({"floor_kwh": 11.0}, r"floor_kwh\[0\] must be a finite number at least 0 at most 10"),
        ({"start_kwh": np.nan}, r"start_kwh must be finite"),
        ({"end_kwh": 10.5}, r"end_kwh must be finite, at least 0 and at most 10"),
        ({"wear_per_kwh": -1.0}, r"wear_per_kwh must be finite, at least 0"),
        ({"step_h": 0.0}, r"step_h must be finite"),
        ({"charge_ok": [1.0, 1.5]}, r"charge_ok\[1\]"),
        ({"utility_ok": [1.0, 0.5]}, r"utility_ok must hold only true and false, not 0.5"),
        ({"pool": Pool(10.0, on_grid_kw=0.02)}, r"Pool.on_grid_kw saves more .*step 0.*best_possible"),
    ],
)
def test_bad_input_is_refused_at_the_mouth(change, message):
    given = {
        "load_kw": [1.0, 2.0],
        "reach_kw": 0.5,
        "solar_kw": 0.0,
        "buy_per_kwh": 0.2,
        "sell_per_kwh": 0.05,
        "pool": Pool(10.0),
        "floor_kwh": 0.0,
        "start_kwh": 5.0,
        "end_kwh": 0.0,
    }
    given.update(change)
    positional = [given.pop(k) for k in ("load_kw", "reach_kw", "solar_kw", "buy_per_kwh", "sell_per_kwh", "pool")]
    with pytest.raises(BadInput, match=message):
        best_targets(*positional, **given)


def test_the_buffer_of_slopes_grows():
    """A price for every minute, a large pool and a trickle: far more slopes than the buffer holds at first."""
    rng = np.random.default_rng(8)
    n = 1500
    case = {
        "given": (
            rng.uniform(0.2, 0.4, n),
            np.full(n, np.inf),
            np.zeros(n),
            rng.uniform(0.05, 0.5, n),
            np.zeros(n),
            Pool(4.0, 0.3, 0.3, 0.95, 0.95),
        ),
        "floor_kwh": np.zeros(n),
        "start_kwh": 2.0,
        "end_kwh": 2.0,
        "wear_per_kwh": 0.0,
        "export": False,
        "step_h": 1 / 60,
        "charge_ok": np.ones(n),
        "utility_ok": np.ones(n, bool),
        "dc_kw": np.zeros(n),
    }
    assert check_case(case)


@pytest.mark.parametrize("style", ["parallel", "transfer"])
def test_no_plan_of_the_walk_undercuts_the_bound(style):
    """Any targets at all, a taper too: with the plan's own state as its floor the bound is met and never beaten."""
    rng = np.random.default_rng(17)
    for _ in range(40):
        case = drawn_case(rng, 96, style=style)
        *series, pool = case["given"]
        pool = replace(pool, taper={"from_soc": 0.8, "to_frac": 0.3} if rng.random() < 0.5 else None)
        targets = np.sort(rng.uniform(0, pool.usable_kwh, (96, 4)), axis=1)[:, ::-1].copy()
        if style == "transfer" or not case["export"]:
            targets[:, 0] = pool.usable_kwh
        everywhere = {"charge_ok": np.ones(96), "utility_ok": np.ones(96, bool), "dc_kw": np.zeros(96)}
        case = {**case, **everywhere, "given": (*series, pool)}
        spent = billed_year(case, targets)
        own = run_plan(*series[:3], targets, pool, soc_kwh=case["start_kwh"], step_h=case["step_h"]).pool_kwh[0, 1:]
        for floor in (own, np.minimum(case["floor_kwh"], own)):
            bound = solved({**case, "floor_kwh": floor, "end_kwh": min(case["start_kwh"], own[-1])})[1]
            assert bound <= spent + 1e-9 * max(abs(spent), 1.0)


def test_the_benchmark_asserts_what_it_times():
    path = Path(__file__).parents[2] / "benchmarks" / "best.py"
    rows = runpy.run_path(str(path))["case_best"](n_days=35, repeats=1)
    assert rows[0]["case"] == "best four prices"
    assert all(row["median_ms"] > 0 and row["per_design_us"] > 0 for row in rows)
    assert {"linprog"} == set(rows[0]["versus"])


@pytest.mark.hours
@pytest.mark.parametrize("style", ["parallel", "transfer"])
def test_years_equal_linprog_and_the_walk(style):
    rng = np.random.default_rng({"parallel": 31, "transfer": 32}[style])
    feasible = [check_case(drawn_case(rng, 8760, style=style)) for _ in range(12)]
    assert any(feasible)


@pytest.mark.hours
def test_many_fortnights_equal_linprog_and_the_walk():
    rng = np.random.default_rng(99)
    feasible = [check_case(drawn_case(rng, 336, style=style)) for style in ("parallel", "transfer") for _ in range(300)]
    assert 100 < sum(feasible) < 600
