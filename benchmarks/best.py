"""The exact best possible against linear programming: equal first, then timed in turn in one run.

Run with  python benchmarks/best.py
"""

from __future__ import annotations

import statistics
import time

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from simulate.optimum.best import best_cost, best_targets
from simulate.optimum.forecast import calendar_of, forecast_targets
from simulate.optimum.programme import programme
from simulate.physics.pool import Pool

REL = 1e-9
POOL = Pool(13.5, charge_kw=5.0, discharge_kw=5.0, charge_efficiency=0.95, discharge_efficiency=0.95)
STATES = {"start_kwh": 5.0, "end_kwh": 5.0}


def house(n_days: int, step_min: int = 60):
    """Invented load, sun and prices: load [kW], solar [kW], four prices and a price for every hour [money/kWh]."""
    rng = np.random.default_rng(1)
    n_hours, per_hour = 24 * n_days, 60 // step_min
    hour = np.arange(n_hours) % 24
    load = np.repeat(rng.uniform(0.5, 2.5, n_hours), per_hour)
    clear = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0)
    sun = np.repeat(clear * np.repeat(rng.uniform(0.5, 4, n_days), 24), per_hour)
    four = np.repeat(np.select([(hour >= 16) & (hour < 21), hour < 6, hour < 9], [0.40, 0.12, 0.20], 0.25), per_hour)
    hourly = np.repeat(rng.uniform(0.05, 0.35, n_hours), per_hour)
    return load, sun, four, hourly


def sparse_model(load, solar, buy, sell, floor, export, step_h) -> dict:
    """The same problem for `linprog`: charged, delivered, bought, sold and stored in each step."""
    n, pool = len(load), POOL
    i, ones = np.arange(n), np.ones(n)
    c, d, m, x, e = (k * n + i for k in range(5))
    into, out = pool.charge_efficiency * step_h * ones, step_h / pool.discharge_efficiency * ones
    triplets = [(i, m, ones), (i, x, -ones), (i, c, -ones), (i, d, ones)]
    triplets += [(n + i, e, ones), (n + i[1:], e[:-1], -ones[1:]), (n + i, c, -into), (n + i, d, out)]
    rows, columns, values = (np.concatenate(part) for part in zip(*triplets, strict=True))
    right = np.concatenate([load - solar, np.zeros(n)])
    right[n] = STATES["start_kwh"]
    low = np.concatenate([np.zeros(4 * n), floor])
    low[-1] = max(low[-1], STATES["end_kwh"])
    most = np.full(n, pool.discharge_kw) if export else np.minimum(pool.discharge_kw, np.maximum(load - solar, 0.0))
    high = np.concatenate([np.full(n, pool.charge_kw), most, np.full(2 * n, np.inf), np.full(n, pool.usable_kwh)])
    return {
        "c": np.concatenate([np.zeros(2 * n), buy, -sell, np.zeros(n)]) * step_h,
        "A_eq": coo_array((values, (rows, columns)), shape=(2 * n, 5 * n)).tocsr(),
        "b_eq": right,
        "bounds": np.column_stack([low, high]),
        "method": "highs",
    }


def seconds(run) -> float:
    """Processor time: all of this runs on one core, and a busy machine stretches the longer runs more."""
    start = time.process_time()
    run()
    return time.process_time() - start


def against_linprog(name, load, solar, buy, sell, floor, export, repeats) -> dict:
    """One case: the costs agree, then rival and ours in turn."""
    given, options = (load, np.inf, solar, buy, sell, POOL), {"floor_kwh": floor, **STATES}
    model, made = sparse_model(load, solar, buy, sell, floor, export, 1.0), programme(*given, export=export)
    cost = best_targets(*given, export=export, **options)[1]
    for other in (linprog(**model).fun, best_cost(made, **options)):
        assert abs(other - cost) <= REL * max(abs(cost), 1.0), (name, other, cost)
    rival, ours, alone = [], [], []
    for _ in range(repeats):
        rival.append(seconds(lambda: linprog(**model)))
        ours += [seconds(lambda: best_targets(*given, export=export, **options)) for _ in range(10)]
        alone += [seconds(lambda: best_cost(made, **options)) for _ in range(10)]
    own = statistics.median(ours)
    return row(name, own, statistics.median(alone), {"linprog": statistics.median(rival) / own})


def row(name, median_s, alone_s, versus) -> dict:
    return {"case": f"best {name}", "median_ms": median_s * 1e3, "per_design_us": alone_s * 1e6, "versus": versus}


def growing(name, load, buy, step_h, first: tuple[dict, int] | None, repeats) -> dict:
    """One row of growth: time, and its ratio to the first row beside the ratio of steps."""
    given, options = (load, np.inf, 0.0, buy, 0.0, POOL), {"floor_kwh": 0.0, **STATES}
    made = programme(*given, step_h=step_h)
    cost = best_targets(*given, step_h=step_h, **options)[1]
    assert abs(best_cost(made, **options) - cost) <= REL * abs(cost)
    own = statistics.median(seconds(lambda: best_targets(*given, step_h=step_h, **options)) for _ in range(repeats))
    alone = statistics.median(seconds(lambda: best_cost(made, **options)) for _ in range(repeats))
    made_row = row(name, own, alone, {})
    if first is not None:
        steps, slower = len(load) / first[1], own * 1e3 / first[0]["median_ms"]
        made_row["versus"] = {"first row": slower, "steps": steps, "exponent": float(np.log(slower) / np.log(steps))}
    return made_row


def growth(n_days: int, repeats: int) -> list[dict]:
    """Longer and finer: 1, 4 and 16 years, then steps of 60, 15, 5 and 1 minutes, with few and with many prices."""
    out = []
    for kind, prices in (("four prices", 2), ("a price per hour", 3)):
        longer = [(f"{times} x", *_load_and_price(n_days * times, 60, prices), 1.0) for times in (1, 4, 16)]
        finer = [(f"{m} min", *_load_and_price(n_days, m, prices), m / 60) for m in (60, 15, 5, 1)]
        out += _rows(kind, longer, repeats) + _rows(kind, finer, repeats)
    rng = np.random.default_rng(2)
    finer = []
    for m in (60, 15, 5, 1):  # the hardest: load and price new in every step, hundreds of slopes
        n_steps = n_days * 24 * 60 // m
        finer.append((f"{m} min", rng.uniform(0.5, 2.5, n_steps), rng.uniform(0.05, 0.35, n_steps), m / 60))
    return out + _rows("a price per step", finer, max(repeats // 2, 1))


def _load_and_price(n_days: int, step_min: int, prices: int):
    series = house(n_days, step_min)
    return series[0], series[prices]


def _rows(kind: str, cases, repeats: int) -> list[dict]:
    out, n_steps = [], len(cases[0][1])
    for name, load, buy, step_h in cases:
        out.append(growing(f"{kind}, {name}", load, buy, step_h, (out[0], n_steps) if out else None, repeats))
    return out


def rolling(n_days: int, repeats: int) -> dict:
    """A year of hourly re-solves of 36 h beside one optimum of the year; the walk of neither is timed."""
    load, solar, buy, _ = house(n_days)
    day, slot = np.repeat(np.arange(n_days), 24), np.tile(np.arange(24), n_days)
    calendar = calendar_of(day, slot, np.arange(n_days) % 7 >= 5)
    given = (load, np.inf, solar, buy, 0.05, POOL)
    ask, one = {"calendar": calendar, "floor_kwh": 0.0}, {"floor_kwh": 0.0, **STATES}
    first = forecast_targets(*given, **ask)
    assert first.shape == (len(load), 4)
    assert (first >= 0.0).all()
    assert (first <= POOL.usable_kwh).all()
    ours, single = [], []
    for _ in range(repeats):
        ours.append(seconds(lambda: forecast_targets(*given, **ask)))
        single.append(seconds(lambda: best_targets(*given, **one)))
    own = statistics.median(ours)
    return row("forecast, 36 h rolling", own, own, {"one optimum": statistics.median(single) / own})


def case_best(n_days: int = 365, repeats: int = 5) -> list[dict]:
    """All cases; `versus` holds the time of the rival over ours, in the rows of growth their own ratios."""
    load, solar, four, hourly = house(n_days)
    empty, reserve = np.zeros(len(load)), np.where(np.arange(len(load)) % 500 < 24, 13.5, 2.7)
    reserve[:24] = 2.7
    none, credit = np.zeros(len(load)), np.full(len(load), 0.05)
    return [
        against_linprog("four prices", load, none, four, none, empty, False, repeats),
        against_linprog("a price per hour", load, none, hourly, none, empty, False, repeats),
        against_linprog("export, solar, reserve", load, solar, four, credit, reserve, True, repeats),
        rolling(n_days, repeats),
        *growth(n_days, repeats),
    ]


if __name__ == "__main__":
    for one in case_best():
        versus = ", ".join(f"{name} {value:.3g}" for name, value in one["versus"].items())
        print(f"{one['case']:40s} {one['median_ms']:10.3f} ms {one['per_design_us']:10.1f} us   {versus}")
