"""One year of readings from a Green Button file, beside a bare pass of the standard parser over the same bytes.

Run with  python benchmarks/meters.py          the cases
          python benchmarks/meters.py 100      peak memory on a file of 100 MB, each reader in a process of its own
The readings are invented. The bare pass builds every element and looks at none; it is timed in turn with the reader.
"""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np

from profiles.hours import hours_of_year
from profiles.meter import meter_kw, read_meter

ZONE = "America/New_York"
EXACT_KWH = 1e-9
HEAD = """<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom">
<entry><link rel="self" href="P/1"/><link rel="related" href="P/1/MeterReading"/><content>
<UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory></UsagePoint></content></entry>
<entry><link rel="self" href="P/1/MeterReading/1"/><link rel="up" href="P/1/MeterReading"/>
<link rel="related" href="T/1"/><link rel="related" href="P/1/MeterReading/1/IntervalBlock"/><content>
<MeterReading xmlns="http://naesb.org/espi"/></content></entry>
<entry><link rel="self" href="T/1"/><content><ReadingType xmlns="http://naesb.org/espi">
<accumulationBehaviour>4</accumulationBehaviour><commodity>1</commodity><flowDirection>1</flowDirection>
<intervalLength>{interval_s}</intervalLength><kind>12</kind><powerOfTenMultiplier>0</powerOfTenMultiplier><uom>72</uom>
</ReadingType></content></entry>
"""
BLOCK = """<entry><link rel="self" href="P/1/MeterReading/1/IntervalBlock/{k}"/>
<link rel="up" href="P/1/MeterReading/1/IntervalBlock"/><content><IntervalBlock xmlns="http://naesb.org/espi">
<interval><duration>{length}</duration><start>{start}</start></interval>
"""
READING = """    <IntervalReading>
        <timePeriod>
            <duration>{interval_s}</duration>
            <start>{start}</start>
        </timePeriod>
        <value>{wh}</value>
    </IntervalReading>
"""
TAIL = "</IntervalBlock></content></entry>\n"


def green_button(path: Path, start: np.ndarray, wh: np.ndarray, interval_s: int) -> None:
    """Write readings as a Green Button file, a block a week."""
    each = 7 * 86_400 // interval_s
    with path.open("w") as file:
        file.write(HEAD.format(interval_s=interval_s))
        for k in range(0, len(start), each):
            part = slice(k, k + each)
            file.write(BLOCK.format(k=k, start=start[k], length=len(start[part]) * interval_s))
            file.writelines(
                READING.format(interval_s=interval_s, start=s, wh=v)
                for s, v in zip(start[part].tolist(), wh[part].tolist(), strict=True)
            )
            file.write(TAIL)
        file.write("</feed>")


def bare_pass(path: Path) -> int:
    """Elements that the standard parser finds."""
    return sum(1 for _ in ElementTree.iterparse(path))


def bare_pass_cleared(path: Path) -> None:
    """The same pass, each element forgotten as it ends: a harder mark, as a kept tree costs time of its own."""
    for _, element in ElementTree.iterparse(path):
        element.clear()


def case_meters(repeats: int = 7) -> list[dict]:
    """A year hourly and in quarter-hours: milliseconds to read, and how many bare passes that is."""
    return [_case(minutes, repeats) for minutes in (60, 15)]


def _case(minutes: int, repeats: int) -> dict:
    hours = hours_of_year(2025, ZONE, minutes)
    start = hours.utc.as_unit("s").asi8
    wh = np.random.default_rng(3).integers(50, 900, hours.n_steps)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "year.xml"
        green_button(path, start, wh, minutes * 60)
        kw = meter_kw(read_meter(path), hours)
        assert np.abs(kw * hours.step_h - wh / 1000.0).max() < EXACT_KWH
        assert bare_pass(path) > 5 * len(wh)
        turns = [[_timed_ms(call, path) for call in (read_meter, bare_pass, bare_pass_cleared)] for _ in range(repeats)]
    kept, cleared = (statistics.median(turn[0] / turn[k] for turn in turns) for k in (1, 2))
    median_ms = statistics.median(turn[0] for turn in turns)
    return {
        "case": f"Green Button, one year of {minutes} min",
        "median_ms": median_ms,
        "per_design_us": median_ms * 1000.0,
        "versus": {"bare iterparse pass": kept, "bare iterparse pass, cleared": cleared},
    }


def _timed_ms(call, path: Path) -> float:
    begin = time.perf_counter()
    call(path)
    return (time.perf_counter() - begin) * 1000.0


def peak_memory(megabytes: float) -> dict:
    """Peak memory of a process that reads a file of that size, over one that reads a year of hours. [MB]"""
    with tempfile.TemporaryDirectory() as folder:
        small, large = Path(folder) / "small.xml", Path(folder) / "large.xml"
        n = int(megabytes * 1e6 / 193)
        for path, count in ((small, 8760), (large, n)):
            green_button(path, 900 * np.arange(count), np.full(count, 250), 900)
        peaks = [
            json.loads(subprocess.check_output([sys.executable, __file__, "read", str(path)]))
            for path in (small, large)
        ]
        assert peaks[1]["readings"] == n
        return {
            "file_mb": large.stat().st_size / 1e6,
            "readings": n,
            "peak_mb": peaks[1]["peak_mb"],
            "over_a_small_file_mb": peaks[1]["peak_mb"] - peaks[0]["peak_mb"],
            "seconds": peaks[1]["seconds"],
        }


def _read_once(path: str) -> None:
    begin = time.perf_counter()
    meter = read_meter(path)
    print(
        json.dumps(
            {
                "readings": meter.readings,
                "seconds": time.perf_counter() - begin,
                "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
            }
        )
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["read"]:
        _read_once(sys.argv[2])
    elif sys.argv[1:]:
        print(json.dumps(peak_memory(float(sys.argv[1])), indent=1))
    else:
        print(json.dumps(case_meters(), indent=1))
