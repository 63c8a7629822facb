"""VDEW/BDEW standard load profiles of households: H0 (VDEW 1999, "Repraesentative VDEW-Lastprofile") with its dynamic
factor, and H25 (BDEW 2025), from the raw tables that come with demandlib 0.2.2.

How sure: the tables and the peak of H0 are computed from that library's files (lib); the factor's values are arithmetic
from its published coefficients (derived). A year is laid out by our own calendar, written as the files that utilities
hand out, read back by the meter reader and averaged to hours by the axis: a wrong season, weekday, label or clock-change
day moves these numbers.
"""

import csv
import datetime as dt
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.meter import meter_kw, read_meter

demandlib = pytest.importorskip("demandlib", reason="comes with the test extra")
TABLES = Path(find_spec("demandlib").submodule_search_locations[0]) / "bdew" / "bdew_data"
PEAK_KW, HALF_OF_THE_LAST_DIGIT = 0.2646, 0.00005
NOMINAL_KWH, WHOLE_KWH = 998_521, 0.5
FACTORS = {1: 1.24203, 91: 1.06404, 182: 0.79593, 274: 0.91826}


def h0_kw(hours):
    """H0 by season and weekday, before its dynamic factor, in units of the table."""
    with (TABLES / "selp_series.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    table = {(row["period"], int(row["weekday"]), row[""][11:16]): float(row["h0"]) for row in rows}
    season = [_season(hours.local[k]) for k in range(hours.n_steps)]
    keys = zip(season, hours.weekday + 1, hours.minute, strict=True)
    return np.array([table[one, int(day), f"{m // 60:02d}:{m % 60:02d}"] for one, day, m in keys])


def _season(local) -> str:
    """Winter 1 November to 20 March, summer 15 May to 14 September."""
    date = (local.month, local.day)
    if date >= (11, 1) or date <= (3, 20):
        return "winter"
    return "summer" if (5, 15) <= date <= (9, 14) else "transition"


def h25_kwh(hours):
    """H25 by month and kind of day (WT, SA, FT), holidays left out, before its dynamic factor. [kWh in a quarter-hour]"""
    with (TABLES / "h25.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    columns = {(k // 3 + 1, kind): k + 1 for k, kind in enumerate(rows[1][1:])}
    kinds = ["SA" if day == 5 else "FT" if day == 6 else "WT" for day in hours.weekday]
    keys = zip(hours.month, kinds, hours.minute // 15, strict=True)
    return np.array([float(rows[2 + int(quarter)][columns[int(month), kind]]) for month, kind, quarter in keys])


def wide_file(path, hours, kwh):
    """A row a day, 96 columns by the time at which a quarter-hour ends; blanks where the clock skips, sums where it repeats."""
    ends = [f"{m // 60:02d}:{m % 60:02d}" for m in range(15, 1441, 15)]
    lines = ["Date," + ",".join(ends) + ",kWh a day"]
    for day in range(hours.n_days):
        mine = hours.day == day
        total = np.bincount(hours.minute[mine] // 15, kwh[mine], 96)
        has = np.bincount(hours.minute[mine] // 15, minlength=96)
        cells = [repr(float(x)) if n else "" for x, n in zip(total, has, strict=True)]
        date = dt.date(hours.year, 1, 1) + dt.timedelta(days=day)
        lines.append(f"{date:%Y-%m-%d}," + ",".join(cells) + f",{kwh[mine].sum():.3f}")
    path.write_text("\n".join(lines))
    return path


def factor(t):
    """F(t) of day t of the year; demandlib takes -3.916649251 in place of the published -3.92, which moves no digit here."""
    return -3.92e-10 * t**4 + 3.2e-7 * t**3 - 7.02e-5 * t**2 + 2.1e-3 * t + 1.24


def test_dynamic_factor_of_households():
    for t, printed in FACTORS.items():
        assert factor(t) == pytest.approx(printed, abs=0.000005)


def test_dynamic_h0_of_1000_kwh_keeps_its_hourly_peak_through_a_meter_file(tmp_path):
    quarters, hours = (hours_of_year(2010, "UTC", minutes) for minutes in (15, 60))
    kwh = h0_kw(quarters)
    kwh = 1000.0 * kwh / kwh.sum() * factor(quarters.day + 1.0)
    meter = read_meter(wide_file(tmp_path / "h0.csv", quarters, kwh), timezone="UTC", dialect={"unit": "kWh"})
    kw = meter_kw(meter, hours)
    assert meter.energy_kwh == pytest.approx(kwh.sum(), abs=1e-6)
    assert float(kw.max()) == pytest.approx(PEAK_KW, abs=HALF_OF_THE_LAST_DIGIT)


def test_h25_of_a_nominal_gigawatt_hour_adds_up_as_its_table_does(tmp_path):
    quarters = hours_of_year(2010, "UTC", 15)
    meter = read_meter(
        wide_file(tmp_path / "h25.csv", quarters, h25_kwh(quarters)), timezone="UTC", dialect={"unit": "kWh"}
    )
    assert meter.energy_kwh == pytest.approx(NOMINAL_KWH, abs=WHOLE_KWH)


def test_h25_on_the_german_clock_has_days_of_23_and_25_hours(tmp_path):
    """The table names wall-clock time: the hour that is skipped is not used, the one that repeats is used twice."""
    quarters = hours_of_year(2010, "Europe/Berlin", 15)
    kwh = h25_kwh(quarters)
    path = wide_file(tmp_path / "h25.csv", quarters, kwh)
    stated = {"unit": "kWh", "repeated_hour": "sum"}
    meter = read_meter(path, timezone="Europe/Berlin", dialect=stated)
    assert len(meter.kwh) == 35_040
    assert meter_kw(meter, quarters) * 0.25 == pytest.approx(kwh, abs=1e-9)
    by_day = np.bincount(quarters.day, minlength=365)
    assert sorted(set(by_day.tolist())) == [92, 96, 100]
    assert meter.energy_kwh == pytest.approx(kwh.sum())
