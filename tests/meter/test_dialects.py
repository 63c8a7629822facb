"""A year in dialects that utilities write, each read back to the same instants and energy. The files are made here."""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.meter import document, read_meter

ZONE = "America/New_York"
HOURS = hours_of_year(2025, ZONE, 30)
KWH = np.random.default_rng(1).integers(50, 900, HOURS.n_steps) / 1000.0
BEGINS = HOURS.local
ENDS = (HOURS.utc + np.timedelta64(30, "m")).tz_convert(ZONE)
ISO, US = "%Y-%m-%d %H:%M", "%m/%d/%Y %I:%M %p"
EXACT_KWH = 1e-6


def rows(form):
    return [form(begin, end, value) for begin, end, value in zip(BEGINS, ENDS, KWH.tolist(), strict=True)]


DIALECTS = {
    "one cell from A to B": ["Interval,kWh", *rows(lambda a, b, v: f"{a:{ISO}} to {b:{ISO}},{v}")],
    "one cell, A - B": ["Interval,kWh", *rows(lambda a, b, v: f"{a:{US}} - {b:{US}},{v}")],
    "01/Dec/2013": ["Start,kWh", *rows(lambda a, b, v: f"{a:%d/%b/%Y %H:%M},{v}")],
    "a unit in every row": ["Start,Amount,Measured in", *rows(lambda a, b, v: f"{a.isoformat()},{v},kWh")],
    "a unit in every row, named": [
        "Start,Reading,UnitOfMeasure",
        *rows(lambda a, b, v: f"{a.isoformat()},{1000 * v:g},Wh"),
    ],
    "start and end, daylight rows and all": ["Start,End,kWh", *rows(lambda a, b, v: f"{a:{ISO}},{b:{ISO}},{v}")],
    "stamps in UTC": ["Start,kWh", *[f"{t:%Y-%m-%dT%H:%MZ},{v}" for t, v in zip(HOURS.utc, KWH.tolist(), strict=True)]],
    "every cell in quotes": ['"Start","kWh"', *rows(lambda a, b, v: f'"{a.isoformat()}","{v}"')],
}


def saved(tmp_path, lines):
    path = tmp_path / "usage.csv"
    path.write_text("\n".join(lines))
    return path


@pytest.mark.parametrize("name", DIALECTS)
def test_a_year_reads_back_equal(tmp_path, name):
    meter = read_meter(saved(tmp_path, DIALECTS[name]), timezone=ZONE)
    assert np.array_equal(meter.start_utc, HOURS.utc.as_unit("s").asi8)
    assert np.abs(meter.kwh - KWH).max() < EXACT_KWH
    assert not meter.issues
    assert document(meter)["start"] == "2025-01-01T00:00:00-05:00"  # local time, also where the stamps are UTC


@pytest.mark.parametrize("first", [0.0, 0.5])
def test_columns_of_the_day_named_in_hours(tmp_path, first):
    kwh = np.random.default_rng(2).integers(50, 900, (365, 48)) / 1000.0
    head = ",".join(str(first + k / 2) for k in range(48))
    lines = [
        f"Date,{head},Unit",
        *(f"{np.datetime64('2025-01-01') + d},{','.join(map(str, day))},kWh" for d, day in enumerate(kwh.tolist())),
    ]
    meter = read_meter(saved(tmp_path, lines), timezone=ZONE, dialect={"clock": "standard"})
    assert meter.energy_kwh == pytest.approx(kwh.sum())
    assert document(meter)["start"] == "2025-01-01T00:00:00-05:00"


def test_offsets_in_the_stamps_are_the_local_clock(tmp_path):
    """Without a zone the offsets themselves say which clock the file is on; a zone that shows the same is no contradiction."""
    path = saved(tmp_path, ["Start,kWh", *rows(lambda a, b, v: f"{a.isoformat()},{v}")])
    meter = read_meter(path)
    assert str(meter.local).startswith("UTC-05:00, +1 h from the second Sunday of March 02:00")
    assert document(meter)["end"] == "2026-01-01T00:00:00-05:00"
    assert np.array_equal(read_meter(path, timezone=ZONE, dialect={"clock": "wall"}).start_utc, meter.start_utc)
    berlin = hours_of_year(2025, "Europe/Berlin", 60)
    lines = ["Start,kWh", *(f"{text},1.{k % 7}" for k, text in enumerate(berlin.local_text))]
    other = read_meter(saved(tmp_path, lines))
    assert document(other)["start"] == "2025-01-01T00:00:00+01:00"
    fixed = ["Start,kWh", *(f"2025-07-01T{h:02d}:00+05:30,1.{h % 7}" for h in range(24))]
    assert str(read_meter(saved(tmp_path, fixed)).local) == "UTC+05:30 all year"
