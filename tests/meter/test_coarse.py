"""Readings that are no hourly load are refused with the way out; what a feed says against itself is listed.

The energy is invented, the codes are ESPI's.
"""

import datetime as dt

import numpy as np
import pytest

from profiles.meter import meter_notes, quality_sheet, read_meter
from profiles.noun import BadInput
from tests.meter.test_green_button import (
    DAY_S,
    JULY,
    block,
    feed,
    kinds,
    meter_reading,
    quarter_hours,
    reading,
    reading_type,
    saved,
    simple,
    usage_point,
)

ZONE = "America/New_York"
BILLS = "whole_house = { monthly_kwh"


@pytest.mark.parametrize(
    "length, n, text",
    [
        (DAY_S, 60, "has readings of a day"),
        (30 * DAY_S, 12, "has readings of 30 days"),
        (7200, 60, "has readings of 2 h"),
        (2520, 60, "has readings of 42 min, which do not cut a day into equal parts"),
    ],
)
def test_coarse_readings_in_xml_are_no_hourly_load(tmp_path, length, n, text):
    readings = [reading(JULY + length * k, 9000 + k, length) for k in range(n)]
    path = saved(tmp_path, simple(readings, {"intervalLength": length}))
    with pytest.raises(BadInput, match=text) as refused:
        read_meter(path)
    assert (BILLS in str(refused.value)) == (length != 2520)


def test_bills_of_twelve_months_in_xml_are_no_hourly_load(tmp_path):
    """Billing periods of 28 to 33 days, as feeds of monthly usage hold them."""
    starts = np.cumsum([0, 31, 28, 33, 30, 29, 32, 31, 30, 31, 30, 31, 29]) * DAY_S + JULY
    readings = [reading(a, 900_000, b - a) for a, b in zip(starts[:-1], starts[1:], strict=True)]
    with pytest.raises(BadInput, match="nothing in them says at what hour"):
        read_meter(saved(tmp_path, simple(readings, {"intervalLength": 0})))


def test_a_log_of_many_lengths_is_no_hourly_load(tmp_path):
    lengths = [60, 240, 1800, 5400, 600, 7200, 900] * 20
    at = JULY + np.concatenate(([0], np.cumsum(lengths)[:-1]))
    readings = [reading(a, 100, b) for a, b in zip(at.tolist(), lengths, strict=True)]
    with pytest.raises(BadInput, match="has readings of many lengths, up to 2 h"):
        read_meter(saved(tmp_path, simple(readings, {"intervalLength": None})))


def test_coarse_rows_in_csv_are_no_hourly_load(tmp_path):
    path = tmp_path / "usage.csv"
    days = [dt.date(2025, 1, 1) + dt.timedelta(days=k) for k in range(60)]
    path.write_text("\n".join(["Start,kWh", *(f"{day} 00:00,{20 + day.day}" for day in days)]))
    with pytest.raises(BadInput, match="usage.csv: has readings of a day.*monthly_kwh"):
        read_meter(path, timezone=ZONE)
    stamps = [dt.datetime(2025, 1, 1) + dt.timedelta(minutes=50 * k) for k in range(60)]
    path.write_text(
        "\n".join(["Start,kWh", *(f"{stamp:%Y-%m-%d %H:%M},{0.1 + k % 3}" for k, stamp in enumerate(stamps))])
    )
    with pytest.raises(BadInput, match="has readings of 50 min, which do not cut a day"):
        read_meter(path, timezone=ZONE, dialect={"labels": "beginning"})


def test_daily_sums_beside_quarter_hours_are_no_second_supply(tmp_path):
    """A feed often holds both: the quarter-hours are taken, the sums of the day are not asked about."""
    days = [reading(JULY + DAY_S * k, 24_000, DAY_S) for k in range(2)]
    path = saved(
        tmp_path,
        feed(
            usage_point(),
            meter_reading(),
            reading_type(),
            block(quarter_hours(192)),
            meter_reading("P/1/MeterReading/2", "T/2"),
            reading_type("T/2", intervalLength=DAY_S),
            block(days, link="P/1/MeterReading/2/IntervalBlock/1"),
        ),
    )
    meter = read_meter(path)
    assert (meter.interval_s, meter.energy_kwh) == (900, 48.0)
    assert len(meter.points) == 2
    with pytest.raises(BadInput, match="has readings of a day"):
        read_meter(path, point="1.2")


def test_lengths_unlike_the_type_s_are_told(tmp_path):
    readings = [reading(JULY + 900 * k, 250) for k in range(96)]
    meter = read_meter(saved(tmp_path, simple(readings, {"intervalLength": 3600})))
    told = next(issue for issue in meter.issues if issue.kind == "unlike-type")
    assert (told.count, told.where) == (96, "the reading type says 60 min")
    assert "15 min" in told.done
    assert meter.interval_s == 900


def test_links_that_contradict_each_other_are_told(tmp_path):
    up = 'rel="up" href="P/1/MeterReading/{}/IntervalBlock"'
    odd = block(quarter_hours(4, start=JULY + DAY_S), link="P/1/MeterReading/1/IntervalBlock/2")
    odd = odd.replace(up.format(1), up.format(2))
    entries = [usage_point(), meter_reading(), reading_type(), block(quarter_hours(96))]
    other = [meter_reading("P/1/MeterReading/2", "T/2"), reading_type("T/2", uom=29), odd]
    meter = read_meter(saved(tmp_path, feed(*entries, *other)))
    assert (kinds(meter)["contradicting-link"], meter.energy_kwh) == (1, 24.0)
    assert "contradicting-link" not in kinds(read_meter(saved(tmp_path, simple(quarter_hours(96)))))


def test_a_register_that_keeps_falling_is_no_register(tmp_path):
    """Half of the intervals of energy that is called a dial fall; one new meter in a year does not make it none."""
    wave = [reading(JULY + 900 * k, 500 + 300 * (k % 2)) for k in range(400)]
    with pytest.raises(BadInput, match="declared as dial readings but falls in 199 of 399 intervals"):
        read_meter(saved(tmp_path, simple(wave, {"accumulationBehaviour": 3})))
    rising = [reading(JULY + 900 * k, 1000 * k if k < 300 else 1000 * (k - 300)) for k in range(400)]
    meter = read_meter(saved(tmp_path, simple(rising, {"accumulationBehaviour": 3})))
    assert kinds(meter)["dial-fell"] == 1


def test_estimates_and_clock_changes_are_denied_only_where_they_were_looked_for(tmp_path):
    wide, long = tmp_path / "wide.csv", tmp_path / "long.csv"
    wide.write_text(
        "Date,"
        + ",".join(f"{h}:00" for h in range(24))
        + ",kWh\n"
        + "\n".join(f"2025-07-{d:02d}," + ",".join(str(0.1 + h / 10) for h in range(24)) for d in range(1, 21))
    )
    long.write_text(
        "Start,kWh\n" + "\n".join(f"2025-07-{d:02d} {h:02d}:00,{0.1 + h / 10}" for d in range(1, 21) for h in range(24))
    )
    for path, said in ((wide, "marks of estimates were not looked for"), (long, "says nothing of estimates")):
        meter = read_meter(path, timezone=ZONE)
        assert said in meter_notes("f", meter, meter)[1]
        assert quality_sheet(meter).clock_change_days == ()
    utc = read_meter(long, dialect={"clock": "utc", "labels": "beginning"})
    assert quality_sheet(utc).clock_change_days is None
