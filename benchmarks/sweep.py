"""Whole sweeps: rows with every outage and all bills against one study after the other; a million designs at once."""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from simulate.designs.row import Wanted, run_design
from simulate.designs.sweep import sweep
from tests.site.small_site import farmhouse

ROW = 1e-9


def _vary(n_designs: int) -> dict:
    return {"operation.reserve": np.linspace(0.0, 0.9, n_designs).round(6).tolist()}


class _Anew:
    """Houses that are built anew for each design, as a loop over `study` does."""

    def house(self, site):
        from simulate.house.house import house_of

        return house_of(site)

    def asked(self, house):
        from simulate.house.year import ask

        return ask(house)


def case_sweep(n_designs: int = 32, repeats: int = 3) -> list[dict]:
    """One core: rows of the tests' farmhouse (two pools), and of a home with one pool, against a loop of studies."""
    demo = farmhouse()
    one = demo.with_values(
        {
            'battery["Right unit"].count': 0,
            "operation.reserve": 0.2,
            "battery.taper": {"from_soc": 1.0, "to_frac": 1.0},
            "circuit.poles": 1,
        }
    )
    return [
        _case("sweep, two legs, every outage", demo, n_designs, repeats, True),
        _case("sweep, one leg, every outage", one, n_designs, repeats, True),
        _case("sweep, one leg, bills only", one, n_designs, repeats, False),
    ]


def _case(name: str, site, n_designs: int, repeats: int, outages: bool) -> dict:
    vary, wanted = _vary(n_designs), Wanted(outages)
    ours = lambda: _one_thread(site, vary, outages)
    few = [site.with_values({"operation.reserve": value}) for value in vary["operation.reserve"][:2]]
    alone = lambda: [run_design(own, _Anew(), wanted) for own in few]
    table = ours()
    for k, row in enumerate(alone()):
        for column, value in row.items():
            if isinstance(value, float):
                np.testing.assert_allclose(table[column][k], value, rtol=ROW, atol=ROW)
    mine, theirs = [], []
    for _ in range(repeats):
        mine.append(_seconds(ours) / n_designs)
        theirs.append(_seconds(alone) / len(few))
    own = statistics.median(mine)
    return {
        "case": name,
        "median_ms": own * n_designs * 1e3,
        "per_design_us": own * 1e6,
        "versus": {"studies": statistics.median(theirs) / own},
    }


def _one_thread(site, vary, outages):
    with ThreadPoolExecutor(1) as executor:
        return sweep(site, vary, executor=executor, outages=outages)


def _seconds(run) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


MILLION = """
import resource, time
from benchmarks.lanes import house, units
from simulate.physics.lanes.lanes import run_lanes
from tests.site.small_site import farmhouse
track = house()
run_lanes(track, units(96))
start = time.perf_counter()
years = run_lanes(track, units({n}))
print(time.perf_counter() - start, years.import_kwh.shape[0], resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def case_million(n_designs: int = 1_000_000) -> dict:
    """A million design-years in one call, with import, export and cost by price and month and peaks by month.

    `versus` holds the most memory the process ever had, over a gigabyte.
    """
    code = MILLION.format(n=n_designs).replace("track = house()", _BY_PRICE)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    seconds, shape, kilobytes = done.stdout.split()
    assert int(shape) == n_designs
    return {
        "case": f"lanes, {n_designs:,} designs in one call",
        "median_ms": float(seconds) * 1e3,
        "per_design_us": float(seconds) / n_designs * 1e6,
        "versus": {"gigabytes": float(kilobytes) / 1e6},
    }


_BY_PRICE = """
import dataclasses
track = house()
track = dataclasses.replace(track, bucket=track.bucket % 2)
"""

if __name__ == "__main__":
    print(*case_sweep(), case_million(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, sep="\n")
