"""One year of readings from a Green Button or CSV file, beside a bare pass of a standard parser over the same bytes.

Run with  python benchmarks/meters.py          the cases
          python benchmarks/meters.py 100      peak memory on a file of 100 MB, each reader in a process of its own
The readings are invented. The bare pass builds every element and looks at none; it is timed in turn with the reader.
`pandas.read_csv` stands beside the CSV reader without being told of dates: it splits, and turns numbers into floats.
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
import pandas as pd

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


def case_csv(repeats: int = 9, minutes: tuple[int, ...] = (60, 30, 15)) -> list[dict]:
    """A year as CSV in four layouts: milliseconds of processor time to read, and how many `pandas.read_csv` that is."""
    return [_csv_case(name, each, repeats) for name in CSV_LAYOUTS for each in minutes]


def _csv_case(layout: str, minutes: int, repeats: int) -> dict:
    hours = hours_of_year(2025, ZONE, minutes)
    kwh = np.random.default_rng(3).integers(50, 900, hours.n_steps) / 1000.0
    lines, skipped, dialect = CSV_LAYOUTS[layout](hours, kwh)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "year.csv"
        path.write_text("\n".join(lines))
        assert abs(read_meter(path, timezone=ZONE, dialect=dialect).energy_kwh - kwh.sum()) < EXACT_KWH * len(kwh)
        calls = (
            lambda file: read_meter(file, timezone=ZONE, dialect=dialect),
            lambda file: pd.read_csv(file, skiprows=skipped),
        )
        turns = [[_processor_ms(call, path) for call in calls] for _ in range(repeats)]
    median_ms = statistics.median(turn[0] for turn in turns)
    return {
        "case": f"CSV, one year of {minutes} min, {layout}",
        "median_ms": median_ms,
        "per_design_us": median_ms * 1000.0,
        "versus": {"pandas.read_csv": median_ms / statistics.median(turn[1] for turn in turns)},
    }


def _with_offsets(hours, kwh):
    rows = [f"{text},{value:.3f}" for text, value in zip(hours.local_text, kwh, strict=True)]
    return ["Start,kWh", *rows], 0, None


def _without_zone(hours, kwh):
    rows = [f"{text[:10]} {text[11:16]},{value:.3f}" for text, value in zip(hours.local_text, kwh, strict=True)]
    return ["Start,kWh", *rows], 0, None


def _start_and_end(hours, kwh):
    form, step = "%m/%d/%Y %I:%M %p", pd.Timedelta(minutes=hours.step_min)
    stamps = zip(hours.local.strftime(form), (hours.local + step).strftime(form), kwh, strict=True)
    rows = [f"Electric usage,{begin},{end},{value:.3f},$0.10," for begin, end, value in stamps]
    return ["Name,A. Customer", "", "TYPE,START TIME,END TIME,USAGE (kWh),COST,NOTES", *rows], 2, None


def _a_row_a_day(hours, kwh):
    per_day = 1440 // hours.step_min
    days = kwh[: 365 * per_day].reshape(365, per_day)
    head = ",".join(f"{k * hours.step_min // 60:02d}:{k * hours.step_min % 60:02d}" for k in range(per_day))
    first = np.datetime64(f"{hours.year}-01-01")
    rows = [f"{first + k}," + ",".join(f"{value:.3f}" for value in day) for k, day in enumerate(days)]
    return [f"Date,{head},kWh", *rows], 0, {"clock": "standard"}


CSV_LAYOUTS = {
    "stamps with offsets": _with_offsets,
    "stamps without a zone": _without_zone,
    "start and end, a.m. and p.m.": _start_and_end,
    "a row a day": _a_row_a_day,
}


def _processor_ms(call, path: Path) -> float:
    begin = time.process_time()
    call(path)
    return (time.process_time() - begin) * 1000.0


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
        print(json.dumps(case_meters() + case_csv(), indent=1))
