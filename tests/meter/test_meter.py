"""Meters on the hour axis: gaps, years, quality, clean files. The readings are invented."""

import datetime as dt
import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiles.hours import hours_of_year
from profiles.meter import (
    Issue,
    clean_csv,
    covered_kw,
    document,
    extend_year,
    fill_gaps,
    meter_kw,
    meter_years,
    quality_sheet,
    read_meter,
    redate,
)
from profiles.meter.readings.clock import Clock, zone_clock
from profiles.meter.readings.meter import merged
from profiles.noun import BadInput

ZONE = "America/New_York"
EXACT_KWH = 1e-9


def year_csv(tmp_path, kw=None, minutes=60, year=2025, zone=ZONE, keep=None, name="usage.csv"):
    """A file of one year with offsets in its stamps; rows where `keep` is False are left out."""
    hours = hours_of_year(year, zone, minutes)
    kw = 0.5 + hours.minute / 1440.0 + 0.1 * hours.weekday if kw is None else np.broadcast_to(kw, hours.n_steps)
    keep = np.ones(hours.n_steps, bool) if keep is None else keep(hours)
    rows = [
        f"{stamp},{value!r}"
        for stamp, value, kept in zip(hours.local_text, (kw * hours.step_h).tolist(), keep, strict=True)
        if kept
    ]
    path = tmp_path / name
    path.write_text("\n".join(["start,kWh", *rows]))
    return path, hours, kw


def test_four_missing_quarter_hours_are_interpolated(tmp_path):
    """Worked scenario S35: constant 1 kW, 4 of 96 quarter-hours missing -> 23.0 as read, 24.0 interpolated (derived)."""
    path, hours, _ = year_csv(tmp_path, 1.0, 15, keep=lambda h: ~((h.day == 0) & (h.minute >= 600) & (h.minute < 660)))
    meter = read_meter(path)
    first_day = hours.day == 0
    assert covered_kw(meter, hours)[first_day & ~np.isnan(covered_kw(meter, hours))].sum() * 0.25 == 23.0
    assert meter_kw(meter, hours)[first_day].sum() * 0.25 == 24.0
    assert [(i.kind, i.count) for i in fill_gaps(meter, hours).issues] == [("missing", 4), ("interpolated", 4)]
    assert fill_gaps(meter, hours).energy_kwh == meter.energy_kwh == 8759.0


def test_an_hour_is_interpolated_between_its_neighbours(tmp_path):
    path, hours, kw = year_csv(tmp_path, keep=lambda h: np.arange(h.n_steps) != 1000)
    filled = meter_kw(read_meter(path), hours)
    assert filled[1000] == pytest.approx((kw[999] + kw[1001]) / 2)
    assert np.abs(np.delete(filled - kw, 1000)).max() < EXACT_KWH


def test_up_to_a_day_is_filled_from_the_same_weekday(tmp_path):
    path, hours, kw = year_csv(tmp_path, keep=lambda h: h.day != 100)
    filled = fill_gaps(read_meter(path), hours)
    assert np.abs(meter_kw(filled, hours) - kw).max() < EXACT_KWH  # the invented week repeats, so like days are equal
    assert [(i.kind, i.count) for i in filled.issues] == [("missing", 24), ("like-day", 24)]
    assert filled.filled.sum() == 24


def test_like_days_keep_the_wall_clock_over_a_clock_change(tmp_path):
    for day in (66, 304):  # 8 March and 1 November 2025: a week later the clock stands an hour off
        path, hours, kw = year_csv(tmp_path, keep=lambda h, day=day: h.day != day)
        assert np.abs(meter_kw(read_meter(path), hours) - kw).max() < EXACT_KWH


def test_more_than_a_day_is_refused_with_the_way_out(tmp_path):
    path, hours, _ = year_csv(tmp_path, keep=lambda h: (h.day < 100) | (h.day > 101))
    with pytest.raises(
        BadInput,
        match=r"usage.csv: has no readings from 2025-04-11T00:00:00-04:00 to 2025-04-13T00:00:00-04:00 "
        r"\(48 h of 2025 in all",
    ):
        meter_kw(read_meter(path), hours)


def test_another_year_is_refused_with_the_file_s_own(tmp_path):
    path, _, _ = year_csv(tmp_path, 1.0, year=2023)
    with pytest.raises(BadInput, match=r"has no readings from 2025-01-01.*; set site.year = 2023"):
        meter_kw(read_meter(path), hours_of_year(2025, ZONE))


def test_years_are_those_of_the_zone(tmp_path):
    path, _, _ = year_csv(tmp_path, 1.0, year=2024)
    meter = read_meter(path)
    assert meter_years(meter, ZONE) == meter_years(meter) == (2024,)
    short = read_meter(year_csv(tmp_path, 1.0, keep=lambda h: h.day < 300)[0])
    assert meter_years(short, ZONE) == ()


@pytest.mark.parametrize("minutes", [60, 30, 15, 5])
def test_energy_is_exact_on_every_axis(tmp_path, minutes):
    path, hours, kw = year_csv(tmp_path, minutes=15)
    axis = hours_of_year(2025, ZONE, minutes)
    on_axis = meter_kw(read_meter(path), axis)
    assert on_axis.sum() * axis.step_h == pytest.approx(kw.sum() * 0.25, abs=1e-9)
    if minutes > 15:
        assert np.abs(on_axis - kw.reshape(axis.n_steps, -1).mean(axis=1)).max() < EXACT_KWH
    else:
        assert np.abs(on_axis - np.repeat(kw, 15 // minutes)).max() < EXACT_KWH


def test_half_hour_zones_have_whole_years(tmp_path):
    """St John's and Kolkata: local midnight is at half past the hour in UTC."""
    for zone in ("America/St_Johns", "Asia/Kolkata"):
        path, hours, kw = year_csv(tmp_path, minutes=30, zone=zone)
        assert np.abs(meter_kw(read_meter(path), hours) - kw).max() < EXACT_KWH


def test_a_leap_year_keeps_its_8784_hours(tmp_path):
    """Worked scenario S43: a leap year is 8,784 h; putting 365 days on it repeats days and says how many."""
    path, hours, kw = year_csv(tmp_path, year=2024)
    assert hours.n_steps == 8784
    assert meter_kw(read_meter(path), hours).sum() == pytest.approx(kw.sum())
    plain = read_meter(year_csv(tmp_path, year=2025)[0])
    moved = redate(plain, hours)
    assert moved.issues[-1].kind == "redated"
    assert "days used twice" in moved.issues[-1].where


def test_redated_readings_keep_weekday_wall_clock_and_peak(tmp_path):
    path, _, kw = year_csv(tmp_path)
    meter = read_meter(path)
    for year in (2023, 2024, 2028):
        hours = hours_of_year(year, ZONE)
        moved = redate(meter, hours)
        expected = 0.5 + hours.minute / 1440.0 + 0.1 * hours.weekday
        skipped_on = np.isin(hours.day, np.arange(60, 80)) & (hours.minute == 120)
        assert np.abs(meter_kw(moved, hours) - expected)[~skipped_on].max() < EXACT_KWH
        assert meter_kw(moved, hours).max() == pytest.approx(kw.max())
        assert "readings of 2025 on the days of" in moved.issues[-1].done
    with pytest.raises(BadInput, match="holds no whole year: 275 days of the year were read in no year"):
        redate(read_meter(year_csv(tmp_path, keep=lambda h: h.day < 90)[0]), hours)


def test_part_of_a_year_is_extended_by_like_weekdays_and_flagged(tmp_path):
    path, hours, kw = year_csv(tmp_path, keep=lambda h: (h.day >= 120) & (h.day < 240))
    meter = read_meter(path)
    whole = extend_year(meter, hours)
    away = np.abs(meter_kw(whole, hours) - kw)
    assert away.max() < EXACT_KWH
    assert whole.filled.sum() == hours.n_steps - 120 * 24
    assert whole.energy_kwh == pytest.approx(meter.energy_kwh)  # as read: what was added does not count
    assert whole.issues[-1].kind == "extended"
    assert whole.issues[-1].where == "67 % of the year"


def test_part_of_a_year_is_extended_by_degree_days(tmp_path):
    """A house that needs 10 kWh a day + 2 per heating degree day is found again from five months (derived)."""
    hours = hours_of_year(2025, ZONE)
    temp_c = 10.0 - 12.0 * np.cos(2 * np.pi * hours.day / 365) + 3.0 * np.sin(hours.day * 1.3)
    kw = (10.0 + 2.0 * np.maximum(18.0 - temp_c, 0.0)) / 24.0
    path, *_ = year_csv(tmp_path, kw, keep=lambda h: h.day < 150)
    whole = extend_year(read_meter(path), hours, "degree-days", temp_c)
    assert "10.00 kWh a day + 2.000 per heating" in whole.issues[-1].done
    assert np.abs(meter_kw(whole, hours) - kw).max() < 1e-9


@pytest.mark.parametrize(
    "method, temp_c, days, message",
    [
        ("guess", None, 100, "method must be"),
        ("degree-days", None, 100, "temp_c needs outdoor temperatures"),
        ("like-weekdays", None, 5, "has 5 whole days, too few"),
        ("degree-days", np.full(8760, 10.0), 20, "30 in all are needed"),
        ("degree-days", np.full(8760, np.nan), 60, "temp_c needs a finite temperature"),
    ],
)
def test_an_extension_that_cannot_be_made_is_refused(tmp_path, method, temp_c, days, message):
    path, hours, _ = year_csv(tmp_path, keep=lambda h: h.day < days)
    with pytest.raises(BadInput, match=message):
        extend_year(read_meter(path), hours, method, temp_c)


def test_the_residual_of_a_whole_house_meter_is_not_counted_twice(tmp_path):
    """Worked scenario S37: 24 kWh a day includes 9 that move to the sub-panel -> 15 remain, never 33 (derived)."""
    path, hours, _ = year_csv(tmp_path, 1.0)
    circuits_kw = np.full(hours.n_steps, 9.0 / 24.0)
    rest = meter_kw(read_meter(path), hours) - circuits_kw
    assert rest[:24].sum() == pytest.approx(15.0)


def test_a_quality_sheet_says_what_is_odd(tmp_path):
    hours = hours_of_year(2025, ZONE)
    kw = 0.5 + hours.minute / 1440.0
    kw[2000:2005] = 0.0
    path, *_ = year_csv(tmp_path, kw, keep=lambda h: h.day != 200)
    sheet = quality_sheet(read_meter(path), ZONE)
    assert sheet.gaps == (("2025-07-20T00:00:00-04:00", 24.0),)
    assert sheet.zero_runs == ((hours.local_text[2000], 5.0),)
    assert sheet.clock_change_days == (("2025-03-09", 23.0), ("2025-11-02", 25.0))
    assert sheet.estimated_frac is None
    assert sheet.overnight_minimum_h == 0
    assert sheet.daily_kw[23] == pytest.approx(0.5 + 23 / 24, abs=0.01)
    assert sheet.month_hour_kw.shape == (12, 24)
    assert sheet.annual_kwh == sheet.energy_kwh == pytest.approx(kw.sum() - kw[hours.day == 200].sum())
    assert sheet.completeness_frac == pytest.approx(364 / 365)
    json.dumps(sheet.to_dict(), allow_nan=False)


def test_a_long_run_of_zero_is_told_and_a_pump_that_switches_is_not(tmp_path):
    """Thirty hours of zero in twenty days are a sixteenth of the file: an outage, or a meter that slept."""

    def told(kw):
        rows = [f"2025-07-{d:02d} {h:02d}:00,{kw(24 * (d - 1) + h)}" for d in range(1, 21) for h in range(24)]
        path = tmp_path / "july.csv"
        path.write_text("Start,kWh\n" + "\n".join(rows))
        return [issue for issue in read_meter(path, timezone=ZONE).issues if issue.kind == "zero-run"]

    (run,) = told(lambda k: 0.0 if 100 <= k < 130 else 1.2)
    assert (run.count, run.where) == (1, "2025-07-05T04:00:00-04:00") and "30 h in all" in run.done
    assert len(told(lambda k: 0.0)) == 1
    assert told(lambda k: 0.0 if k % 24 < 18 else 1.2) == []


def test_the_document_is_plain_json(tmp_path):
    found = json.loads(json.dumps(document(read_meter(year_csv(tmp_path)[0])), allow_nan=False))
    assert {
        "energy_kwh",
        "start",
        "end",
        "interval_min",
        "readings",
        "completeness_frac",
        "clock",
        "points",
        "issues",
    } <= set(found)
    assert (found["readings"], found["interval_min"], found["issues"]) == (8760, 60.0, [])


def test_a_clean_file_reads_back_as_it_was(tmp_path):
    path, hours, _ = year_csv(tmp_path, minutes=15, keep=lambda h: h.day != 50)
    meter = read_meter(path, timezone=ZONE)
    back = read_meter(clean_csv(meter, tmp_path / "clean.csv"))
    assert np.array_equal(back.start_utc, meter.start_utc)
    assert np.array_equal(back.kwh, meter.kwh)
    filled = fill_gaps(meter, hours)
    text = clean_csv(filled, tmp_path / "filled.csv").read_text()
    assert text.count(",yes\n") == 96
    assert sorted(p.name for p in tmp_path.iterdir()) == ["clean.csv", "filled.csv", "usage.csv"]


def test_energy_that_flows_back_is_a_number_in_a_clean_file(tmp_path):
    """Read by a general library: a sign in front of a number makes no formula of it."""
    path, *_ = year_csv(tmp_path, kw=np.where(np.arange(8760) % 24 == 12, -1.5, 0.5))
    found = pd.read_csv(clean_csv(read_meter(path), tmp_path / "clean.csv"))
    assert found["kWh"].dtype == float and found["kWh"].min() == -1.5


def test_a_clean_file_that_cannot_be_written_is_refused(tmp_path):
    meter = read_meter(year_csv(tmp_path, keep=lambda h: h.day < 3)[0])
    with pytest.raises(BadInput, match="cannot be written"):
        clean_csv(meter, tmp_path / "nowhere" / "clean.csv")
    (tmp_path / "taken").mkdir()
    with pytest.raises(BadInput, match="cannot be written"):
        clean_csv(meter, tmp_path / "taken")
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".taken")]


def test_scale_multiplies_the_energy(tmp_path):
    path, *_ = year_csv(tmp_path, 1.0)
    assert read_meter(path, scale=0.5).energy_kwh == 4380.0
    for scale in (0.0, -1.0, float("nan")):
        with pytest.raises(BadInput, match="scale must be above 0"):
            read_meter(path, scale=scale)


@pytest.mark.parametrize(
    "content, message",
    [
        (None, "cannot be read: No such file"),
        (b"", "is empty"),
        (b"\x00\x01\x02" * 500, "neither XML nor text"),
        (b"%XYZ-1.7\n\x80\x90\xff\x00", "neither XML nor text"),
        (b"hello\nworld\n", "has no column of dates"),
        (b"date,kWh\n2025-02-30T00:00Z,1\n", "no row with a time and a number"),
        (b"date,kWh\n4050-01-02T00:00Z,1\n", "no row with a time and a number"),
        (b"start,kWh\n1975-07-01T00:00Z,1\n2025-07-01T00:00Z,1\n", "lasts more than 366 days"),
        (b"start,kWh\n2025-07-01T00:00Z,1\n", "a single stamp"),
        (b"start,kWh\n2025-07-01T00:00Z,inf\n2025-07-01T01:00Z,x\n", "no column of energy"),
    ],
)
def test_files_that_are_no_meter_files_get_one_line(tmp_path, content, message):
    path = tmp_path / "usage.dat"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInput, match=message) as refused:
        read_meter(path)
    assert "usage.dat" in str(refused.value)


@pytest.mark.parametrize(
    "head, message",
    [
        (b"PK\x03\x04\x14\x00", "is a zip archive or a spreadsheet; unpack it, or save the sheet as CSV"),
        (b"\x1f\x8b\x08\x00", "is a gzip archive"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "is an old spreadsheet"),
        (b"%PDF-1.7", "is a PDF document; download the interval data"),
        (b"\n<!DOCTYPE html><html><body>Sign in</body></html>", "is a web page; log in again"),
    ],
)
def test_what_a_browser_saves_instead_is_named(tmp_path, head, message):
    path = tmp_path / "usage.xml"
    path.write_bytes(head)
    with pytest.raises(BadInput, match=message):
        read_meter(path)


def test_an_unknown_zone_or_register_is_refused(tmp_path):
    path, hours, _ = year_csv(tmp_path, 1.0)
    with pytest.raises(BadInput, match="timezone is not an IANA time zone"):
        read_meter(path, timezone="Mars/Olympus")
    with pytest.raises(BadInput, match='register must be "net"'):
        meter_kw(read_meter(path), hours, register="gross")


def test_a_meter_cannot_be_changed_by_its_reader(tmp_path):
    meter = read_meter(year_csv(tmp_path, keep=lambda h: h.day < 3)[0])
    with pytest.raises(ValueError, match="read-only"):
        meter.kwh[0] = 1.0


def test_issues_of_a_kind_are_one():
    two = merged([Issue("a", 1, "x", "p"), Issue("b", 1, "y", "q"), Issue("a", 2, "z", "p")])
    assert two == (Issue("a", 3, "x; z", "p"), Issue("b", 1, "y", "q"))


def test_a_clock_of_rules_agrees_with_its_zone():
    """Against the tz database through zoneinfo (lib): United States rules since 2007."""
    from profiles.meter.readings.clock import ChangeRule

    rules = Clock(None, -18_000, 3600, ChangeRule.from_hex("360E2000"), ChangeRule.from_hex("B40E2000"))
    zone = zone_clock(ZONE)
    first, last = (int(dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp()) for year in (2008, 2030))
    assert rules.changes(first, last) == zone.changes(first, last)
    assert len(rules.changes(first, last)) == 44
    instants = np.arange(first, last, 7 * 3601)
    assert np.array_equal(rules.offsets(instants), zone.offsets(instants))


def test_a_clock_of_the_south_saves_over_new_year():
    """First Sunday of October to first Sunday of April, against Australia/Sydney (lib)."""
    from profiles.meter.readings.clock import ChangeRule

    begins, ends = (f"{month << 28 | 2 << 25 | 7 << 17 | hour << 12:08X}" for month, hour in ((10, 2), (4, 3)))
    rules = Clock(None, 36_000, 3600, ChangeRule.from_hex(begins), ChangeRule.from_hex(ends))
    first, last = (int(dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp()) for year in (2010, 2020))
    assert rules.changes(first, last) == zone_clock("Australia/Sydney").changes(first, last)


SHOW = """
import sys, json, hashlib
sys.path.insert(0, sys.argv[1])
from profiles.meter import document, meter_kw, read_meter
from profiles.hours import hours_of_year
meters = [read_meter(p, timezone="America/New_York") for p in sys.argv[2:]]
kw = [meter_kw(m, hours_of_year(2025, "America/New_York")).tobytes().hex() for m in meters]
print(hashlib.sha256(json.dumps([[document(m) for m in meters], kw]).encode()).hexdigest())
"""


@pytest.mark.long
def test_results_do_not_depend_on_the_machine_s_zone_or_locale(tmp_path):
    wall, hours, kw = year_csv(tmp_path, name="offsets.csv")
    rows = [f"{text[:10]} {text[11:16]},{value!r}" for text, value in zip(hours.local_text, kw.tolist(), strict=True)]
    local = tmp_path / "local.csv"
    local.write_text("\n".join(["Start,kWh", *rows]))
    root = str(Path(__file__).resolve().parents[2])
    digests = set()
    for zone, locale in (("UTC", "C"), ("Asia/Kolkata", "de_DE.UTF-8"), ("America/St_Johns", "C.UTF-8")):
        shown = subprocess.run(
            [sys.executable, "-c", SHOW, root, str(wall), str(local)],
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, "TZ": zone, "LC_ALL": locale},
        )
        digests.add(shown.stdout)
    assert len(digests) == 1
    assert len(digests.pop().strip()) == len(hashlib.sha256().hexdigest())
