"""A year for many designs side by side: equal to a plain loop first, then timed against loops and against the limit.

Ours and the limit use every core; the row loop and the list loop one, since the interpreter has one. Every time is
that of one design-year. The house, its prices and the units are invented.
"""

from __future__ import annotations

import os
import statistics
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd

from benchmarks import limit
from simulate.physics.lanes.lanes import CODE_POOL, Lanes, LaneYears, Track, every_step, run_lanes
from simulate.plans.calendar_plans import price_cycles, time_of_use

KWH = 1e-9
"""Agreement asked of a sum over a year, relative."""
N_PERIODS = 2


def house(n_years: int = 1, step_min: int = 60) -> Track:
    """Load, sun and two prices of a year of 8,760 hours: import, export and cost by month and price, peaks by month."""
    rng = np.random.default_rng(1)
    per_hour, n_hours = 60 // step_min, 8760 * n_years
    hour = np.arange(n_hours) % 24
    load = rng.uniform(0.2, 3.0, n_hours)
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * np.repeat(rng.uniform(0.5, 4.0, n_hours // 24), 24)
    dear = (hour >= 16) & (hour < 21)
    price = np.where(dear, 0.36, 0.12)
    month = np.minimum(np.arange(n_hours) % 8760 // 730, 11)
    spread = lambda series: np.repeat(series, per_hour)
    codes = time_of_use(CODE_POOL, np.ones(n_hours * per_hour), price_cycles(spread(price), 0.85)).astype(int)
    return Track(
        spread(load),
        spread(sun),
        codes,
        step_h=1.0 / per_hour,
        bucket=spread(month * N_PERIODS + dear),
        buy_per_kwh=spread(price),
        sell_per_kwh=0.04,
        demand=(every_step(spread(month)),),
    )


def units(n_designs: int) -> Lanes:
    """Designs that differ in every number."""
    rng = np.random.default_rng(2)
    take = lambda low, high: rng.uniform(low, high, n_designs)
    return Lanes(
        usable_kwh=take(3, 20),
        charge_kw=take(1, 5),
        discharge_kw=take(1, 5),
        charge_efficiency=take(0.9, 0.98),
        discharge_efficiency=take(0.9, 0.98),
        no_load_kw=take(0.01, 0.08),
        on_grid_kw=take(0.0, 0.02),
        reserve_frac=take(0.0, 0.8),
    )


class Tally:
    """What a plain loop adds up for one design."""

    def __init__(self, track: Track, lanes: Lanes, k: int):
        own = {name: float(v[k]) for name, v in vars(lanes).items() if isinstance(v, np.ndarray)}
        self.full, self.charge_kw, self.out_kw = own["usable_kwh"], own["charge_kw"], own["discharge_kw"]
        self.into, self.grid_kw = own["charge_efficiency"], own["on_grid_kw"]
        self.per_ac = 1.0 / own["discharge_efficiency"] + own["no_load_kw"] / self.out_kw
        self.floor, self.h = own["reserve_frac"] * self.full, track.step_h
        n_buckets = int(track.bucket.max()) + 1
        self.e, self.charged, self.served, self.reserve_h = self.full, 0.0, 0.0, 0.0
        self.bought, self.sold, self.cost = [0.0] * n_buckets, [0.0] * n_buckets, [0.0] * n_buckets
        self.peak = [0.0] * (n_buckets // N_PERIODS)

    def step(self, load, sun, code, bucket, buy, sell):
        """One hour in the plainest words."""
        h, e = self.h, self.e
        net = (load + self.grid_kw - sun) * h
        serve_to = self.floor if code[1] == 1 else self.full
        grid_to = self.floor if code[3] == 1 else self.full
        gain = served = 0.0
        if e < grid_to or (net < 0.0 and e < self.full):
            most = self.charge_kw * self.into * h
            gain = max(min(grid_to - e, most), 0.0)
            from_sun = min(max(-net, 0.0), self.charge_kw * h) * self.into * (1.0 - gain / most)
            gain += max(min(self.full - e - gain, from_sun), 0.0)
        elif e > serve_to and net > 0.0:
            served = min((e - serve_to) / self.per_ac, self.out_kw * h, net / (1.0 + self.grid_kw / self.out_kw))
        self.e = e + gain - served * self.per_ac
        net += gain / self.into - served * (1.0 + self.grid_kw / self.out_kw)
        self.charged += gain / self.into
        self.served += served
        if net > 0.0:
            self.bought[bucket] += net
            self.cost[bucket] += net * buy
            month = bucket // N_PERIODS
            self.peak[month] = max(self.peak[month], net / h)
        else:
            self.sold[bucket] -= net
            self.cost[bucket] += net * sell
        if self.e <= self.floor + 1e-9:
            self.reserve_h += h


def list_loop(track: Track, lanes: Lanes, k: int) -> Tally:
    """One design through lists, its step written out in the loop: as fast as the interpreter gets."""
    own = Tally(track, lanes, k)
    h, full, floor, charge_kw, into, out_kw = own.h, own.full, own.floor, own.charge_kw, own.into, own.out_kw
    grid_kw, per_ac, freed = own.grid_kw, own.per_ac, 1.0 + own.grid_kw / own.out_kw
    most, most_ac, most_out, low = charge_kw * into * h, charge_kw * h, out_kw * h, floor + 1e-9
    e, charged, served_kwh, reserve_h = own.e, 0.0, 0.0, 0.0
    bought, sold, cost, peak = own.bought, own.sold, own.cost, own.peak
    sells = np.broadcast_to(track.sell_per_kwh, track.n_steps).tolist()
    codes = np.asarray(track.codes)
    columns = track.load_kw, track.solar_kw, codes[:, 1] == 1, codes[:, 3] == 1, track.bucket, track.buy_per_kwh
    rows = zip(*(column.tolist() for column in columns), sells, strict=True)
    for load, sun, serves, holds, bucket, buy, sell in rows:
        net = (load + grid_kw - sun) * h
        grid_to = floor if holds else full
        serve_to = floor if serves else full
        if e < grid_to or (net < 0.0 and e < full):
            gain = grid_to - e
            gain = 0.0 if gain < 0.0 else most if gain > most else gain
            if net < 0.0:
                sun_in = (-net if -net < most_ac else most_ac) * into * (1.0 - gain / most)
                room = full - e - gain
                gain += room if room < sun_in else sun_in
            e += gain
            charged += gain / into
            net += gain / into
        elif e > serve_to and net > 0.0:
            served = (e - serve_to) / per_ac
            if served > most_out:
                served = most_out
            if served > net / freed:
                served = net / freed
            e -= served * per_ac
            served_kwh += served
            net -= served * freed
        if net > 0.0:
            bought[bucket] += net
            cost[bucket] += net * buy
            if net > peak[bucket // N_PERIODS]:
                peak[bucket // N_PERIODS] = net
        else:
            sold[bucket] -= net
            cost[bucket] += net * sell
        if e <= low:
            reserve_h += h
    own.e, own.charged, own.served, own.reserve_h = e, charged, served_kwh, reserve_h
    own.peak = [kwh / h for kwh in peak]
    return own


def row_loop(track: Track, lanes: Lanes, k: int, frame: pd.DataFrame) -> Tally:
    """One design over the rows of a table."""
    own = Tally(track, lanes, k)
    for _, row in frame.iterrows():
        code = (2, row["serve"], 2, row["fill"])
        own.step(row["load"], row["sun"], code, int(row["bucket"]), row["buy"], row["sell"])
    return own


def frame_of(track: Track) -> pd.DataFrame:
    codes = np.asarray(track.codes)
    return pd.DataFrame(
        {
            "load": track.load_kw,
            "sun": track.solar_kw,
            "serve": codes[:, 1],
            "fill": codes[:, 3],
            "bucket": track.bucket,
            "buy": track.buy_per_kwh,
            "sell": np.broadcast_to(track.sell_per_kwh, track.n_steps),
        }
    )


def assert_equal(years: LaneYears, k: int, own: Tally) -> None:
    """Every number of a lane is that of the plain loop."""
    pairs = [
        (years.import_kwh[k], own.bought),
        (years.export_kwh[k], own.sold),
        (years.cost[k], own.cost),
        (years.peak_kw[k, 0], own.peak),
        (years.charge_kwh[k], own.charged),
        (years.discharge_kwh[k], own.served),
        (years.end_kwh[k], own.e),
        (years.reserve_h[k], own.reserve_h),
    ]
    for found, expected in pairs:
        np.testing.assert_allclose(found, expected, rtol=KWH, atol=KWH)


def seconds(run) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def limit_run(track: Track, n_designs: int) -> None:
    """The same series over as many lanes with as many operations, on every core."""
    dear = (np.asarray(track.codes)[:, 1] == 1).astype(np.int64)
    n_blocks, workers = -(-n_designs // limit.WIDTH), os.cpu_count() or 1
    shares = [n_blocks // workers + (k < n_blocks % workers) for k in range(workers)]
    with ThreadPoolExecutor(workers) as pool:
        parts = [pool.submit(limit.stream, track.load_kw, track.solar_kw, dear, share) for share in shares]
        for part in parts:
            assert np.isfinite(part.result())


def case_lanes(n_designs: int = 96 * 64, repeats: int = 7, n_years: int = 1) -> list[dict]:
    """A design-year with all accumulators, against a pandas row loop, a plain list loop and the limit."""
    track, lanes = house(n_years), units(n_designs)
    frame = frame_of(track)
    years = run_lanes(track, lanes)
    for k in {0, n_designs // 2, n_designs - 1}:
        assert_equal(years, k, list_loop(track, lanes, k))
    assert_equal(years, 0, row_loop(track, lanes, 0, frame))
    limit_run(track, 2 * limit.WIDTH)
    times = {"ours": [], "iterrows": [], "list": [], "limit": []}
    for _ in range(repeats):
        times["ours"].append(seconds(lambda: run_lanes(track, lanes)) / n_designs)
        times["limit"].append(seconds(lambda: limit_run(track, n_designs)) / n_designs)
        times["list"].append(seconds(lambda: list_loop(track, lanes, 0)))
        if len(times["iterrows"]) < 3:
            times["iterrows"].append(seconds(lambda: row_loop(track, lanes, 0, frame)))
    bare = Track(track.load_kw, track.solar_kw, track.codes, step_h=track.step_h)
    plain = [seconds(lambda: run_lanes(bare, lanes)) / n_designs for _ in range(repeats)]
    each = {name: statistics.median(values) for name, values in times.items()}
    own = each.pop("ours")
    one = statistics.median(plain)
    return [
        _row("lanes, all accumulators", own, n_designs, {name: other / own for name, other in each.items()}),
        _row("lanes, year sums only", one, n_designs, {"list": each["list"] / one}),
    ]


def _row(name: str, each_s: float, n_designs: int, versus: dict) -> dict:
    return {"case": name, "median_ms": each_s * n_designs * 1e3, "per_design_us": each_s * 1e6, "versus": versus}


def case_growth(n_designs: int = 96 * 16, repeats: int = 5) -> list[dict]:
    """Designs 1x, 4x, 16x; years 1, 4, 16; steps of 60, 15, 5 and 1 minute: processor time against the first."""
    rows = []
    plain = (house(), n_designs)
    kinds = {
        "designs": [(f"{k}x designs", *(plain[0], n_designs * k), k) for k in (1, 4, 16)],
        "years": [(f"{k}x years", house(n_years=k), n_designs // 8, k) for k in (1, 4, 16)],
        "steps": [(f"{m} min steps", house(step_min=m), n_designs // 8, 60 // m) for m in (60, 15, 5, 1)],
    }
    for cases in kinds.values():
        rows += _grow(cases, repeats)
    return rows


def _grow(cases, repeats: int) -> list[dict]:
    ready = [(name, track, units(n), work) for name, track, n, work in cases]
    times = {name: [] for name, *_ in ready}
    for _ in range(repeats):
        for name, track, lanes, _ in ready:
            start = time.process_time()
            run_lanes(track, lanes)
            times[name].append(time.process_time() - start)
    first = statistics.median(times[ready[0][0]])
    rows = []
    for name, _, lanes, work in ready:
        own = statistics.median(times[name])
        exponent = {} if work == 1 else {"exponent": float(np.log(own / first) / np.log(work))}
        rows.append(_row(f"lanes growth, {name}", own / lanes.n_designs, lanes.n_designs, exponent))
    return rows


if __name__ == "__main__":
    print(*case_lanes(), *case_growth(), sep="\n")
