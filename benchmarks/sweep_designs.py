"""Sweeps as they are run: a row a design against the bare lanes, executors against each other, memory of a million.

Each case asserts its answer first. What runs on one core is timed in seconds of that core, so that neighbours on the
machine do not count; speed-ups are of wall time and want two idle cores. The house is the embedded, invented one.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import numpy as np

from simulate.bill.amounts import bill_amounts
from simulate.designs.lane_rows import lane_key, road_of
from simulate.designs.row import Houses, Wanted, run_design, site_with
from simulate.designs.sweep import sweep
from simulate.designs.varied import designs_of, uniform
from simulate.house.asked import prices_of
from simulate.house.walked import MOST_LAPS
from simulate.physics.lanes.lanes import Lanes, run_lanes
from tests.site.small_site import farmhouse

ROW = 1e-9
VARY = {
    "battery.usable_kwh": uniform(1.0, 5.0),
    "battery.charge_kw": uniform(0.5, 3.0),
    "operation.reserve": uniform(0.0, 1.0),
}


def sites() -> dict:
    """The farmhouse of the tests with one reserve for all months, and the same house with one unit."""
    two = farmhouse().with_values({"operation.reserve": 0.3})
    one = two.with_values(
        {'battery["Right unit"].count': 0, "circuit.poles": 1, 'battery["Left unit"].locked_with': None}
    )
    return {"one unit": one, "two units": two}


def case_bills(n_designs: int = 100_000, repeats: int = 3) -> list[dict]:
    """Rows with the year and all bills, against the lanes and their bill without site, check, hash and table."""
    return [
        _bills(name, site, n_designs if name == "one unit" else n_designs // 10, repeats)
        for name, site in sites().items()
    ]


def _bills(name: str, site, n_designs: int, repeats: int) -> dict:
    designs = designs_of(VARY, n=n_designs)
    ours = lambda: _one_thread(site, designs, outages=False)
    bare = _bare(site, designs)
    table = ours()
    np.testing.assert_allclose(table["out_with_battery"], bare(), rtol=ROW, atol=ROW)
    _assert_rows(site, designs, table, outages=False)
    mine, theirs = [], []
    for _ in range(repeats):
        mine.append(_core_s(ours))
        theirs.append(_core_s(bare))
    own = statistics.median(mine)
    bare_s = statistics.median(theirs)
    return _row(f"sweep, {name}: year and bills", own, n_designs, {"bare lanes and bill": bare_s / own})


def _bare(site, designs):
    """The same years and bills from numbers alone."""
    kept = Houses()
    first = kept.house(site_with(site, designs.keys, designs.rows(0, 1)[0]))
    prices = prices_of(first)
    road = road_of(first, prices, kept, lane_key(first, prices))
    usable, charge, reserve = (np.asarray(designs.columns[key], float) for key in designs.keys)
    units = np.array([own.n_units for own in first.pools], dtype=float).reshape(-1, 1)
    circuit_kw = np.array([own.groups[0].charging_circuit.continuous_kw for own in first.pools]).reshape(-1, 1)
    base = Lanes.of_pools([tuple(own.pool for own in first.pools)])
    same = {name: getattr(base, name) for name in vars(base) if name in type(base).__dataclass_fields__}
    varied = {"usable_kwh": units * usable, "charge_kw": units * np.minimum(circuit_kw, charge)}
    varied["reserve_frac"] = np.broadcast_to(reserve, varied["usable_kwh"].shape)
    scale = {"load_scale": 1.0, "solar_scale": 1.0}
    lanes = Lanes(**(same | scale | varied))

    def run():
        years = run_lanes(road.track, lanes, laps=MOST_LAPS, workers=1)
        sums = years.meter_sums(road.calendar.n_months, road.calendar.n_periods)
        return bill_amounts(sums, site.rate, road.calendar).total

    return run


def _assert_rows(site, designs, table, *, outages: bool) -> None:
    """Some rows are those of the design by itself."""
    wanted, kept = Wanted(outages), Houses()
    for k in (0, len(designs) // 2, len(designs) - 1):
        alone = run_design(site_with(site, designs.keys, designs.rows(k, k + 1)[0]), kept, wanted)
        for column, value in alone.items():
            if isinstance(value, float):
                np.testing.assert_allclose(table[column].iloc[k], value, rtol=ROW, atol=ROW)


def case_bound(n_designs: int = 12) -> list[dict]:
    """Rows with the best possible saving too, against the same rows without."""
    rows = []
    for name, site in sites().items():
        designs = designs_of(VARY, n=n_designs)
        table = _one_thread(site, designs, outages=False, bound=True)
        assert (table["out_saving"] <= table["out_bound"] + 1e-6).all()
        own = _core_s(lambda site=site, designs=designs: _one_thread(site, designs, outages=False, bound=True))
        plain = _core_s(lambda site=site, designs=designs: _one_thread(site, designs, outages=False))
        rows.append(_row(f"sweep, {name}: year, bills and bound", own, n_designs, {"without the bound": plain / own}))
    return rows


def case_outages(n_designs: int = 2000) -> list[dict]:
    """Rows with an outage from every step of the year, against the same rows with bills only."""
    rows = []
    for name, site in sites().items():
        designs = designs_of(VARY, n=n_designs)
        table = _one_thread(site, designs, outages=True)
        _assert_rows(site, designs, table, outages=True)
        own = _core_s(lambda site=site, designs=designs: _one_thread(site, designs, outages=True))
        plain = _core_s(lambda site=site, designs=designs: _one_thread(site, designs, outages=False))
        rows.append(_row(f"sweep, {name}: every outage", own, n_designs, {"bills only": plain / own}))
    return rows


def case_executors(n_designs: int = 4000, repeats: int = 3) -> list[dict]:
    """One worker process, two, and two of dask, all warm, with every outage; and this thread."""
    site, designs = sites()["one unit"], designs_of(VARY, n=n_designs)
    times: dict[str, list[float]] = {}
    tables = {}
    with _executors() as executors:
        for name, executor in executors.items():
            run = lambda executor=executor: sweep(site, designs, executor=executor)
            tables[name] = run()
            times[name] = []
        for _ in range(repeats):
            for name, executor in executors.items():
                times[name].append(_wall_s(lambda executor=executor: sweep(site, designs, executor=executor)))
    for table in tables.values():
        np.testing.assert_array_equal(table["out_hours_p10"], tables["this thread"]["out_hours_p10"])
        np.testing.assert_allclose(table["out_saving"], tables["this thread"]["out_saving"], rtol=ROW, atol=ROW)
    best = {name: min(values) for name, values in times.items()}
    two = best["two processes"]
    over_ms = (best["one process"] - best["this thread"]) / n_designs * 1e6
    row = _row("sweep, two processes: every outage", two, n_designs, {name: one / two for name, one in best.items()})
    more = {
        "case": "one process more than this thread, a thousand designs",
        "median_ms": abs(over_ms),
        "per_design_us": abs(over_ms),
        "versus": {"sign": 1.0 if over_ms > 0.0 else -1.0},
    }
    return [row, more]


@contextmanager
def _executors():
    """Ways to run, by name."""
    fresh = multiprocessing.get_context("spawn")
    with ExitStack() as stack:
        ways = {"this thread": stack.enter_context(ThreadPoolExecutor(1))}
        for name, n_workers in (("one process", 1), ("two processes", 2)):
            ways[name] = stack.enter_context(ProcessPoolExecutor(n_workers, mp_context=fresh))
        with suppress(ImportError):
            from distributed import Client, LocalCluster

            folder = stack.enter_context(tempfile.TemporaryDirectory())
            options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None, "local_directory": folder}
            client = stack.enter_context(Client(stack.enter_context(LocalCluster(**options)), set_as_default=False))
            ways["two of dask"] = client.get_executor(pure=False)
        yield ways


STREAMED = """
import json, resource, sys, time
from benchmarks.sweep_designs import sites
from simulate.show.terminal.sweep import sweep_command
from tests.site.small_site import farmhouse
if __name__ == "__main__":
    start = time.perf_counter()
    vary = ["battery.usable_kwh=1:5:{step}", "operation.reserve=0:1:{step_of_reserve}"]
    told = sweep_command(sites()["one unit"], vary, {out!r}, workers=2, outages=False)
    own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    most = own.ru_maxrss
    if sys.platform.startswith("linux"):  # there ru_maxrss begins with what the process that started this one had
        most = int(open("/proc/self/status").read().partition("VmHWM:")[2].split()[0])
    print(json.dumps([told["designs"], told["refused"], time.perf_counter() - start, most, others.ru_maxrss,
                      own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime]))
"""


def case_streamed(n_designs: int = 1_000_000) -> dict:
    """A million rows to disk from two processes; `versus` holds the most memory that each kind of process ever had."""
    import pyarrow.dataset as ds

    side = round(n_designs**0.5)
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "swept")
        script = Path(folder) / "run.py"
        script.write_text(STREAMED.format(step=4.0 / (side - 1), step_of_reserve=1.0 / (side - 1), out=out))
        path = os.pathsep.join([str(Path(__file__).parents[1]), *filter(None, [os.environ.get("PYTHONPATH")])])
        done = subprocess.run(
            [sys.executable, str(script)],
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            env=os.environ | {"PYTHONPATH": path},
        )
        designs, refused, wall_s, own, worker, core_s = json.loads(done.stdout)
        column = ds.dataset(out, format="parquet").to_table(columns=["design", "out_saving"])
        assert designs == side * side and refused == 0
        assert np.array_equal(np.sort(column["design"].to_numpy()), np.arange(side * side))
        assert np.isfinite(column["out_saving"].to_numpy()).all()
    versus = {"GB of this process": own / 1e6, "GB of a worker": worker / 1e6, "core s over wall s": core_s / wall_s}
    return _row(f"sweep, {designs:,} rows to disk", wall_s, designs, versus)


def _one_thread(site, designs, **wanted):
    with ThreadPoolExecutor(1) as executor:
        return sweep(site, designs, executor=executor, **wanted)


def _core_s(run) -> float:
    start = time.process_time()
    run()
    return time.process_time() - start


def _wall_s(run) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def _row(name: str, seconds: float, n_designs: int, versus: dict) -> dict:
    each_us = seconds / n_designs * 1e6
    return {
        "case": f"{name}, {n_designs:,} designs",
        "median_ms": seconds * 1e3,
        "per_design_us": each_us,
        "versus": versus,
    }


if __name__ == "__main__":
    for case in (case_bills, case_bound, case_outages, case_executors, case_streamed):
        print(case())
