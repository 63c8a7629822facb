"""An outage from every step of a year, against a NumPy loop that keeps only the outages that are still alive.

All on one core. The load, the sun and the state of charge are invented.
"""

from __future__ import annotations

import statistics
import time

import numpy as np

from simulate.physics.outages.island import Island, simple_island
from simulate.physics.outages.load_control import control_load
from simulate.physics.outages.sums import fast_dark_hours
from simulate.physics.pool import Pool

HOURS = 1e-9
"""Agreement asked of the hours survived. [h]"""
HORIZON_H = 336.0


def bench(usable_kwh: float, n_steps: int, sunny: bool = False):
    """A pool, the load it meets, its sun, and the state of charge that a year left: (island, pools, soc)."""
    rng = np.random.default_rng(3)
    hour = np.arange(n_steps) % 24
    load = rng.uniform(0.15, 0.65, n_steps) + 0.3 * ((hour >= 17) & (hour < 22))
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.uniform(0.2, 1.2, n_steps) * sunny
    pool = Pool(usable_kwh, charge_kw=3.0, charge_efficiency=0.95, discharge_efficiency=0.95, no_load_kw=0.05)
    soc = usable_kwh * np.where((hour >= 17) | (hour < 2), rng.uniform(0.3, 1.0, n_steps), 1.0)
    return simple_island(load, pool, sun), (pool,), soc.reshape(1, -1)


def numpy_hours(island: Island, pools, soc, horizon_h: float = HORIZON_H) -> np.ndarray:
    """All outages one step at a time, side by side; those that have ended are taken out of the arrays."""
    pool = pools[0]
    load, sun = island.load_kw[0, 0, 0], island.solar_kw[0]
    n = load.shape[0]
    out_kw = np.maximum(load - sun, 0.0) / pool.discharge_efficiency + pool.no_load_kw
    spare_kw = np.minimum(np.maximum(sun - load, 0.0), pool.takes_back_kw) * pool.charge_efficiency
    net_kw = np.tile(out_kw - spare_kw, 2)
    step, e, who = np.arange(n), soc[0].copy(), np.arange(n)
    hours = np.full(n, horizon_h)
    for k in range(int(horizon_h)):
        draw = net_kw[step]
        left = e - draw
        ends = left < 0.0
        if ends.any():
            hours[who[ends]] = k + e[ends] / draw[ends]
            alive = ~ends
            step, left, who = step[alive], left[alive], who[alive]
            if not len(who):
                break
        e = np.minimum(left, pool.usable_kwh)
        step = (step + 1) % n
    return hours


def _hours(dark) -> np.ndarray:
    return np.minimum(dark.dark_h[:, 0], dark.end_h)


def _seconds(run) -> float:
    """Processor time: all of this runs on one core, and a busy machine stretches the longer runs more."""
    start = time.process_time()
    run()
    return time.process_time() - start


def _case(name: str, usable_kwh: float, n_steps: int, repeats: int, route, sunny: bool = False) -> dict:
    given = bench(usable_kwh, n_steps, sunny)
    ours = lambda: route(*given, step_h=1.0, horizon_h=HORIZON_H)
    walk = lambda: dark_hours_by_walk(*given)
    found = _hours(ours())
    np.testing.assert_allclose(found, numpy_hours(*given), rtol=0.0, atol=HOURS)
    np.testing.assert_allclose(found, _hours(walk()), rtol=0.0, atol=HOURS)
    times = {"ours": [], "numpy": [], "walk": []}
    for _ in range(repeats):
        times["numpy"].append(_seconds(lambda: numpy_hours(*given)))
        times["walk"].append(_seconds(walk))
        times["ours"] += [_seconds(ours) for _ in range(5)]
    each = {key: statistics.median(values) for key, values in times.items()}
    own = each.pop("ours")
    label = f"outage, {name} (middle {np.median(found):.0f} h, {np.mean(found >= HORIZON_H):.0%} outlive the horizon)"
    return {
        "case": label,
        "median_ms": own * 1e3,
        "per_design_us": own * 1e6,
        "versus": {key: value / own for key, value in each.items()},
    }


def dark_hours_by_walk(island: Island, pools, soc):
    """The walk from every start, one after the other, whatever the route that `dark_hours` takes."""
    from simulate.physics.outages.island import dark_hours

    return dark_hours(island, pools, soc, step_h=1.0, horizon_h=HORIZON_H)


def case_outage(n_steps: int = 8760, repeats: int = 5) -> list[dict]:
    """Half of the outages end within about 30 h; half outlive two weeks; the same with sun on the island."""
    return [
        _case("short lives", 16.5, n_steps, repeats, fast_dark_hours),
        _case("long lives", 210.0, n_steps, repeats, fast_dark_hours),
        _case("with sun", 20.0, n_steps, repeats, fast_dark_hours, sunny=True),
        _case("with sun, long lives", 60.0, n_steps, repeats, fast_dark_hours, sunny=True),
    ]


def two_legs(n_steps: int, controlled: bool):
    """Two legs of four circuits with a two-pole pump; load control drops the last priorities at the output's limit."""
    rng = np.random.default_rng(5)
    hour = np.arange(n_steps) % 24
    kw = rng.uniform(0.05, 0.35, (9, n_steps)) + 0.4 * ((hour >= 17) & (hour < 22))
    share = np.array([[1, 1, 1, 1, 0, 0, 0, 0, 0.5], [0, 0, 0, 0, 1, 1, 1, 1, 0.5]])
    priority, limits = np.array([1, 2, 3, 4, 1, 2, 3, 4, 2]), (np.array([2.4, 2.4]), np.array([0, 1]))
    four = (2, 2, 2, n_steps)
    load, trips, sheds = np.zeros(four), np.zeros(four, bool), np.zeros(four, bool)
    given = {"priority": priority, "share": share, "limits_kw": limits, "sheds": controlled}
    both = control_load(kw, on_leg=share, **given)
    load[:, 0], trips[:, 0] = both.load_kw, both.trips
    for p in range(2):
        mine = share[p] == 1.0
        alone = control_load(kw * mine[:, None], on_leg=share * mine, **given)
        load[:, 1, p], trips[:, 1, p] = alone.load_kw[p], alone.trips[p]
        sheds[:, 0, p], sheds[:, 1, p] = both.dropped[mine].any(axis=0), alone.dropped[mine].any(axis=0)
    none, warm = np.zeros((2, n_steps)), np.ones((2, n_steps))
    island = Island(load, trips & controlled, sheds, np.zeros(n_steps, bool), none, none, warm, True, 0.0)
    pool = Pool(25.0, discharge_kw=2.4, discharge_efficiency=0.95, no_load_kw=0.05)
    soc = 25.0 * np.array([np.ones(n_steps), np.where(hour >= 17, 0.6, 1.0)])
    return island, (pool, pool), soc


def case_two_legs(n_steps: int = 8760, repeats: int = 5) -> dict:
    """Two legs with load control; `without` is the same without load control and without limits."""
    given, free = two_legs(n_steps, True), two_legs(n_steps, False)
    ours = lambda one=given: fast_dark_hours(*one, step_h=1.0, horizon_h=HORIZON_H)
    found, walked = ours(), dark_hours_by_walk(*given)
    assert given[0].sheds.any()
    for name in ("dark_h", "shed_h", "end_h"):
        np.testing.assert_allclose(getattr(found, name), getattr(walked, name), rtol=0.0, atol=HOURS)
    times = {"ours": [], "walk": [], "without": []}
    for _ in range(repeats):
        times["walk"].append(_seconds(lambda: dark_hours_by_walk(*given)))
        times["ours"] += [_seconds(ours) for _ in range(5)]
        times["without"] += [_seconds(lambda: ours(free)) for _ in range(5)]
    each = {key: statistics.median(values) for key, values in times.items()}
    own = each.pop("ours")
    middle = np.median(np.minimum(found.dark_h.min(axis=1), found.end_h))
    return {
        "case": f"outage, two legs with load control (middle {middle:.0f} h)",
        "median_ms": own * 1e3,
        "per_design_us": own * 1e6,
        "versus": {key: value / own for key, value in each.items()},
    }


if __name__ == "__main__":
    print(*case_outage(), case_two_legs(), sep="\n")
