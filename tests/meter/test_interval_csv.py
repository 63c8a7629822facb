"""Interval CSV files in every dialect, written from one known year and read back.

The year and the files are invented. The dialects are the ways in which utilities are known to write interval data
(common practice, no source).
"""

import datetime as dt
import zoneinfo

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.meter import Dialect, meter_kw, meter_years, read_meter, stated_dialect
from profiles.meter.readings.labels import wall_to_utc
from profiles.noun import BadInput

ZONE = "America/New_York"
EXACT_KWH = 1e-9


def year_of_readings(minutes=60, year=2025, zone=ZONE):
    """Starts in UTC and kWh of an invented year with a daily shape; every value differs from its neighbours."""
    hours = hours_of_year(year, zone, minutes)
    start = hours.utc.as_unit("s").asi8
    noise = np.random.default_rng(20250101).uniform(0.0, 0.2, hours.n_steps)
    kwh = (0.6 + 0.3 * np.sin((hours.minute / 1440.0 - 0.4) * 2 * np.pi) + noise) * minutes / 60.0
    return start, np.round(kwh, 6)


def local(start, zone=ZONE):
    return [dt.datetime.fromtimestamp(int(s), zoneinfo.ZoneInfo(zone)) for s in start]


def written(tmp_path, lines, name="usage.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes("\n".join(lines).encode(encoding))
    return path


def assert_is(meter, start, kwh):
    assert np.array_equal(meter.start_utc, start)
    assert np.abs(meter.kwh - kwh).max() < EXACT_KWH


MDY, ISO = "%m/%d/%Y", "%Y-%m-%d"


def counted(start, minutes):
    """Local time of each start, and the number of its interval counted from local midnight: 25 or 100 on the long day."""
    for t, s in zip(local(start), start.tolist(), strict=True):
        midnight = t.replace(hour=0, minute=0, fold=0).timestamp()
        yield t, int(s - midnight) // (minutes * 60) + 1


def long_files():
    """Name -> (function from starts, kWh, minutes to lines, minutes, dialect)."""

    def with_offsets(start, kwh, minutes):
        rows = zip(local(start), local(start + minutes * 60), kwh, strict=True)
        return ["start,end,kWh", *(f"{a.isoformat()},{b.isoformat()},{v}" for a, b, v in rows)]

    def utc(start, kwh, minutes):
        return [
            "timestamp,usage_kwh",
            *(
                f"{dt.datetime.fromtimestamp(s, dt.UTC):%Y-%m-%dT%H:%M:%SZ},{v}"
                for s, v in zip(start.tolist(), kwh, strict=True)
            ),
        ]

    def ending_24(start, kwh, minutes):
        lines = ["Date,Hour Ending,kWh"]
        for t, v in zip(local(start), kwh, strict=True):
            end = t.hour * 60 + t.minute + minutes
            lines.append(f"{t:{MDY}},{end // 60:02d}:{end % 60:02d},{v}")
        return lines

    def ending_instants(start, kwh, minutes):
        return [
            "Interval End,kWh",
            *(f"{t:{MDY} %H:%M},{v}" for t, v in zip(local(start + minutes * 60), kwh, strict=True)),
        ]

    def midnight_before(start, kwh, minutes):
        lines = ["Date,Time,kWh"]
        for t, v in zip(local(start), kwh, strict=True):
            end = (t.hour * 60 + t.minute + minutes) % 1440
            lines.append(f"{t:{MDY}},{end // 60:02d}:{end % 60:02d},{v}")
        return lines

    def start_and_last_minute(start, kwh, minutes):
        lines = ["TYPE,DATE,START TIME,END TIME,USAGE,UNITS,COST,NOTES"]
        for t, v in zip(local(start), kwh, strict=True):
            last = t.replace(tzinfo=None) + dt.timedelta(minutes=minutes - 1)
            lines.append(f"Electric usage,{t:{ISO}},{t:%H:%M},{last:%H:%M},{v},kWh,$0.05,")
        return ["Name,Jane Doe", "Address,1 Long Lane", "Account Number,12345678", "Service,Service 1", "", *lines]

    def twelve_hours(start, kwh, minutes):
        return ["Usage Start,Usage (kWh)", *(f"{t:{MDY} %I:%M %p},{v}" for t, v in zip(local(start), kwh, strict=True))]

    def unnamed_label(start, kwh, minutes):
        return ["Date/Time,kWh", *(f"{t:{ISO} %H:%M},{v}" for t, v in zip(local(start), kwh, strict=True))]

    def mean_power(start, kwh, minutes):
        return [
            "Date,Time,Demand (kW)",
            *(f"{t:{ISO}},{t:%H:%M},{float(v) * 60 / minutes!r}" for t, v in zip(local(start), kwh, strict=True)),
        ]

    def standard_named(start, kwh, minutes):
        shifted = [dt.datetime.fromtimestamp(s - 5 * 3600, dt.UTC) for s in start.tolist()]
        return ["Date Time (EST),kWh", *(f"{t:{ISO} %H:%M},{v}" for t, v in zip(shifted, kwh, strict=True))]

    def standard_stated(start, kwh, minutes):
        shifted = [dt.datetime.fromtimestamp(s - 5 * 3600, dt.UTC) for s in start.tolist()]
        return ["stamp,kWh", *(f"{t:{ISO} %H:%M},{v}" for t, v in zip(shifted, kwh, strict=True))]

    def register(start, kwh, minutes):
        dial = 4000.0 + np.concatenate(([0.0], np.cumsum(kwh)))
        stamps = local(np.append(start, start[-1] + minutes * 60))
        return [
            "Reading time,Reading (kWh)",
            *(f"{t.isoformat()},{float(v)!r}" for t, v in zip(stamps, dial, strict=True)),
        ]

    def decimal_comma(start, kwh, minutes):
        return [
            "Datum;kWh",
            *(f"{t:%d.%m.%Y %H:%M};{str(v).replace('.', ',')}" for t, v in zip(local(start), kwh, strict=True)),
        ]

    def thousands_of_wh(start, kwh, minutes):
        return [
            "\ufeffStart,Wh",
            *(f'{t.isoformat()},"{float(v) * 1000:,.4f}"' for t, v in zip(local(start), kwh, strict=True)),
        ]

    def newest_first(start, kwh, minutes):
        return ["Date/Time,kWh", *reversed([f"{t:{ISO} %H:%M},{v}" for t, v in zip(local(start), kwh, strict=True)])]

    def saving_flag(start, kwh, minutes):
        rows = [f"{t:{ISO} %H:%M},{'Y' if t.dst() else 'N'},{v}" for t, v in zip(local(start), kwh, strict=True)]
        return ["Start,DST,kWh", *rows]

    def hour_numbers(start, kwh, minutes):
        return ["Date,Hour,kWh", *(f"{t:{MDY}},{t.hour + 1},{v}" for t, v in zip(local(start), kwh, strict=True))]

    def counted_hours(start, kwh, minutes):
        return [
            "Date,Interval,kWh",
            *(f"{t:{MDY}},{number},{v}" for (t, number), v in zip(counted(start, minutes), kwh, strict=True)),
        ]

    def counted_from_zero(start, kwh, minutes):
        return [
            "Date,Hour,kWh",
            *(f"{t:{MDY}},{number - 1},{v}" for (t, number), v in zip(counted(start, minutes), kwh, strict=True)),
        ]

    def extra_hour_last(start, kwh, minutes):
        lines, extra = ["Date,Hour,kWh"], 24 * 60 // minutes
        for t, v in zip(local(start), kwh, strict=True):
            number = (t.hour * 60 + t.minute) // minutes + 1
            first = t.replace(hour=1, minute=0, fold=0)
            twice = t.fold and int(t.replace(minute=0).timestamp() - first.timestamp()) == 3600
            lines.append(f"{t:{ISO}},{extra + 1 + t.minute // minutes if twice else number},{v}")
        return lines

    def seconds_since_1970(start, kwh, minutes):
        return ["unix_time,kWh", *(f"{s},{v}" for s, v in zip(start.tolist(), kwh, strict=True))]

    def milliseconds_since_1970(start, kwh, minutes):
        rows = zip(start.tolist(), kwh, strict=True)
        return ["start_ms,end_ms,value (Wh)", *(f"{s}000,{s + minutes * 60}000,{float(v) * 1000!r}" for s, v in rows)]

    def basic_stamps(start, kwh, minutes):
        return [
            "Start,kWh",
            *(
                f"{dt.datetime.fromtimestamp(s, dt.UTC):%Y%m%dT%H%M}Z,{v}"
                for s, v in zip(start.tolist(), kwh, strict=True)
            ),
        ]

    def kept_as_text(start, kwh, minutes):
        return ["Start,kWh", *(f'"=""{t:{ISO} %H:%M}""",{v}' for t, v in zip(local(start), kwh, strict=True))]

    def local_seconds(start, kwh, minutes):
        shifted = [int(t.replace(tzinfo=dt.UTC).timestamp()) for t in local(start)]
        return ["unix_time,kWh", *(f"{s},{v}" for s, v in zip(shifted, kwh, strict=True))]

    def month_names(start, kwh, minutes):
        return ["Start\tkWh", *(f"{t:%d-%b-%Y %H:%M}\t{v}" for t, v in zip(local(start), kwh, strict=True))]

    def with_power_and_cost(start, kwh, minutes):
        return [
            "Start,Usage (kWh),Peak demand (kW),Cost ($),Temperature (F)",
            *(f"{t:{ISO} %H:%M},{v},{v * 5:.3f},0.21,55" for t, v in zip(local(start), kwh, strict=True)),
        ]

    stated = {"clock": "-05:00"}
    return {
        f"{f.__name__}-{minutes}": (f, minutes, dialect)
        for f, minutes, dialect in (
            (with_offsets, 15, None),
            (utc, 60, {"labels": "beginning"}),
            (ending_24, 60, None),
            (ending_instants, 15, None),
            (midnight_before, 15, None),
            (start_and_last_minute, 60, None),
            (start_and_last_minute, 15, None),
            (twelve_hours, 30, None),
            (unnamed_label, 15, None),
            (mean_power, 15, None),
            (standard_named, 60, None),
            (standard_stated, 60, {**stated, "labels": "beginning"}),
            (register, 60, None),
            (decimal_comma, 60, None),
            (thousands_of_wh, 15, None),
            (newest_first, 60, {"clock": "wall"}),
            (saving_flag, 60, None),
            (hour_numbers, 60, None),
            (counted_hours, 60, None),
            (counted_hours, 30, None),
            (counted_hours, 15, None),
            (counted_hours, 5, None),
            (basic_stamps, 15, {"labels": "beginning"}),
            (kept_as_text, 60, None),
            (counted_from_zero, 60, None),
            (extra_hour_last, 60, None),
            (seconds_since_1970, 15, {"labels": "beginning"}),
            (milliseconds_since_1970, 60, None),
            (local_seconds, 60, {"labels": "beginning", "clock": "wall"}),
            (month_names, 30, None),
            (with_power_and_cost, 60, None),
        )
    }


@pytest.mark.parametrize("name", long_files())
def test_a_year_in_a_long_dialect_reads_back_equal(tmp_path, name):
    write, minutes, dialect = long_files()[name]
    start, kwh = year_of_readings(minutes)
    meter = read_meter(written(tmp_path, write(start, kwh, minutes)), timezone=ZONE, dialect=dialect)
    assert_is(meter, start, kwh)
    assert meter.completeness_frac == 1.0
    assert meter_years(meter, ZONE) == (2025,)
    assert meter.dialect


def wide_lines(start, kwh, minutes, head, cells_of_day, order=MDY):
    days = {}
    for t, v in zip(local(start), kwh, strict=True):
        days.setdefault(t.date(), []).append((t, v))
    return [
        ",".join(["Date", *head]),
        *(",".join([f"{day:{order}}", *map(str, cells_of_day(rows))]) for day, rows in days.items()),
    ]


def on_wall_columns(minutes, n_extra):
    """Columns are times of the wall clock; the second time of an hour that occurs twice stands in extra columns."""

    def cells(rows):
        n = 1440 // minutes
        row = [""] * (n + n_extra)
        extra = n
        for t, v in rows:
            k = (t.hour * 60 + t.minute) // minutes
            if row[k] != "":
                k, extra = extra, extra + 1
            row[k] = v
        return row

    return cells


def in_sequence(n):
    return lambda rows: [v for _, v in rows] + [""] * (n - len(rows))


def wide_files():
    hours = range(24)
    return {
        "hour ending, extra column": (60, [f"HE{h + 1}" for h in hours] + ["HE25"], on_wall_columns(60, 1)),
        "hour ending, in sequence": (60, [f"HE{h + 1:02d}" for h in hours] + ["HE25"], in_sequence(25)),
        "counted, in sequence": (60, [str(h + 1) for h in range(25)], in_sequence(25)),
        "100 quarter-hours, in sequence": (15, [str(h + 1) for h in range(100)], in_sequence(100)),
        "quarter-hours on the wall": (15, [str(h + 1) for h in range(100)], on_wall_columns(15, 4)),
        "ragged quarter-hours": (15, [f"V{h + 1}" for h in range(100)], lambda rows: [v for _, v in rows]),
    }


@pytest.mark.parametrize("name", wide_files())
def test_a_year_in_a_wide_dialect_reads_back_equal(tmp_path, name):
    minutes, head, cells = wide_files()[name]
    start, kwh = year_of_readings(minutes)
    meter = read_meter(
        written(tmp_path, wide_lines(start, kwh, minutes, head, cells)), timezone=ZONE, dialect={"unit": "kWh"}
    )
    assert_is(meter, start, kwh)


def one_row_per_hour_name(rows, fill, join):
    """24 columns whatever the day: the skipped hour holds `fill`, the hour that occurs twice holds join(first, second)."""
    row = {}
    for t, v in rows:
        row[t.hour] = join(row[t.hour], v) if t.hour in row else v
    return [row.get(h, fill) for h in range(24)]


@pytest.mark.parametrize(
    "head",
    [
        [f"{h:02d}:00" for h in range(24)],
        [f"{h + 1:02d}:00" for h in range(24)],
        [f"{h % 12 or 12}:00 {'AM' if h < 12 else 'PM'}" for h in range(24)],
        [f"{(h + 1) % 24:02d}:00" for h in range(24)],
        [f"{h:02d}:00-{h + 1:02d}:00" for h in range(24)],
        [f"{h + 1}00" for h in range(24)],
        [f"kWh {h + 1}" for h in range(24)],
    ],
)
def test_24_columns_with_the_sum_of_the_hour_that_occurs_twice(tmp_path, head):
    start, kwh = year_of_readings()
    lines = wide_lines(start, kwh, 60, head, lambda rows: one_row_per_hour_name(rows, "", lambda a, b: round(a + b, 6)))
    path = written(tmp_path, lines)
    summed = read_meter(path, timezone=ZONE, dialect={"unit": "kWh", "repeated_hour": "sum"})
    assert np.array_equal(summed.start_utc, start)
    assert summed.energy_kwh == pytest.approx(kwh.sum(), abs=1e-6)
    assert [issue.count for issue in summed.issues if issue.kind == "repeated-hour"] == [1]
    absent = read_meter(path, timezone=ZONE, dialect={"unit": "kWh"})
    assert len(absent.start_utc) == 8759
    assert [issue.count for issue in absent.issues if issue.kind == "missing"] == [1]


def test_a_skipped_hour_filled_with_zero_is_refused_until_the_clock_is_stated(tmp_path):
    """Zero at 02:00 in March and one reading at 01:00 in November fit the wall clock and standard time alike."""
    start, kwh = year_of_readings()
    head = [f"{h:02d}:00" for h in range(24)]
    path = written(
        tmp_path, wide_lines(start, kwh, 60, head, lambda rows: one_row_per_hour_name(rows, 0, lambda a, b: a))
    )
    with pytest.raises(BadInput, match=r'state dialect\.clock = "wall" .* or dialect\.clock = "standard"'):
        read_meter(path, timezone=ZONE, dialect={"unit": "kWh"})
    meter = read_meter(path, timezone=ZONE, dialect={"unit": "kWh", "clock": "wall"})
    assert {issue.kind: issue.count for issue in meter.issues} == {"skipped-hour": 1, "missing": 1}


def test_a_year_on_standard_time_is_told_from_the_wall_clock(tmp_path):
    """Neither a gap in March nor a repeat in November: standard time or UTC, and both are named."""
    write, _, _ = long_files()["standard_stated-60"]
    path = written(tmp_path, write(*year_of_readings(), 60))
    with pytest.raises(BadInput) as refused:
        read_meter(path, timezone=ZONE, dialect={"labels": "beginning"})
    assert 'dialect.clock = "standard" (standard time all year (UTC-05:00))' in str(refused.value)
    assert 'dialect.clock = "utc" (UTC)' in str(refused.value)


def test_an_hour_25_alone_is_refused_until_it_is_stated(tmp_path):
    """The last hour of the long day, or the hour that occurs twice: a file of autumn alone shows neither."""
    start, kwh = year_of_readings()
    autumn = slice(24 * 300 - 1, 24 * 310)
    start, kwh = start[autumn], kwh[autumn]
    lines = long_files()["counted_hours-60"][0](start, kwh, 60)
    path = written(tmp_path, lines)
    with pytest.raises(BadInput, match='dialect.extra_columns = "sequence" or "repeated-hour"'):
        read_meter(path, timezone=ZONE)
    assert_is(read_meter(path, timezone=ZONE, dialect={"extra_columns": "sequence"}), start, kwh)
    last = written(tmp_path, long_files()["extra_hour_last-60"][0](start, kwh, 60), "last.csv")
    assert_is(read_meter(last, timezone=ZONE, dialect={"extra_columns": "repeated-hour"}), start, kwh)
    with pytest.raises(BadInput, match="which only a wall clock has"):
        read_meter(path, timezone=ZONE, dialect={"clock": "standard"})


def test_an_hour_25_on_a_day_that_is_not_long_is_refused(tmp_path):
    rows = [f"2025-07-0{d},{h},1.5" for d in (1, 2) for h in range(1, 26 if d == 1 else 25)]
    with pytest.raises(BadInput, match="more than 24 h where the clock does not change; give the timezone"):
        read_meter(written(tmp_path, ["Date,Hour,kWh", *rows]), timezone=ZONE)
    with pytest.raises(BadInput, match="counts to 40 a day: neither hours nor 48"):
        read_meter(written(tmp_path, ["Date,Hour,kWh", *(f"2025-07-01,{h},1.5" for h in range(1, 41))]), timezone=ZONE)


def test_a_count_that_stands_still_is_no_stamp(tmp_path):
    """An account number of ten digits is not a time."""
    with pytest.raises(BadInput, match="has no column of dates") as refused:
        read_meter(written(tmp_path, ["Account,kWh", *(f"1234567890,{k}" for k in range(30))]))
    assert "1234567890" not in str(refused.value)


def test_a_stated_clock_that_contradicts_the_offsets_is_refused(tmp_path):
    path = written(tmp_path, ["Start,kWh", *(f"2025-07-01T{h:02d}:00-04:00,1.5" for h in range(24))])
    with pytest.raises(BadInput, match="contradicts the stamps"):
        read_meter(path, timezone=ZONE, dialect={"clock": "standard"})
    for clock in ("-04:00", "wall"):
        assert read_meter(path, timezone=ZONE, dialect={"clock": clock, "labels": "beginning"}).energy_kwh == 36.0


@pytest.mark.parametrize("minutes", [60, 15])
def test_a_zone_without_the_file_s_daylight_saving_is_refused(tmp_path, minutes):
    """Half the year would be an hour off: the file skips and repeats an hour that the zone, or its own offsets, do not."""
    start, kwh = year_of_readings(minutes)
    path = written(tmp_path, ["Start,kWh", *(f"{t:{ISO} %H:%M},{v}" for t, v in zip(local(start), kwh, strict=True))])
    with pytest.raises(BadInput, match="skips an hour on 2025-03-09 and repeats one on 2025-11-02.*not so: .*Phoenix"):
        read_meter(path, timezone="America/Phoenix")
    rows = [f"{t:{ISO}T%H:%M}-05:00,{v}" for t, v in zip(local(start), kwh, strict=True)]
    with pytest.raises(BadInput, match="remove the offsets from the stamps, or correct them"):
        read_meter(written(tmp_path, ["Start,kWh", *rows]), timezone=ZONE)


def test_a_file_that_would_not_fit_in_memory_is_refused_unread(tmp_path):
    path = written(tmp_path, ["Start,kWh", "2025-07-01 00:00,1"])
    with path.open("r+b") as file:
        file.truncate(10_000_000_000)  # a hole, not bytes on the disk
    with pytest.raises(BadInput, match="has 10,000 MB, more than 100: .*cut it into years"):
        read_meter(path, timezone=ZONE)


def test_rows_in_no_order_are_sorted(tmp_path):
    start, kwh = year_of_readings()
    order = np.random.default_rng(1).permutation(24 * 60)
    lines = [f"{t:{ISO} %H:%M},{v}" for t, v in zip(local(start[: 24 * 60]), kwh, strict=False)]
    assert_is(
        read_meter(written(tmp_path, ["Start,kWh", *(lines[k] for k in order)]), timezone=ZONE),
        start[: 24 * 60],
        kwh[: 24 * 60],
    )


def test_two_meters_without_a_name_are_not_taken_for_two_downloads(tmp_path):
    rows = [f"2025-07-{d:02d} {h:02d}:00,{v}" for d in range(1, 9) for h in range(24) for v in (0.5 + h / 10, 9.0)]
    with pytest.raises(BadInput, match="has 192 stamps with two values side by side .*two meters or registers"):
        read_meter(written(tmp_path, ["Start,kWh", *rows]), timezone=ZONE)
    meter = read_meter(written(tmp_path, ["Start,kWh", *rows[::2], *rows[1::2]]), timezone=ZONE)
    assert [issue.count for issue in meter.issues if issue.kind == "repeated"] == [
        192
    ] and meter.energy_kwh == 9.0 * 192


def test_units_behind_the_values_are_read_and_never_contradicted(tmp_path):
    rows = [f"2025-07-01 {h:02d}:00,{500 + h}" for h in range(24)]
    path = written(tmp_path, ["Start,Usage", *(f"{row} Wh" for row in rows)])
    assert read_meter(path, timezone=ZONE).energy_kwh == pytest.approx((500 * 24 + 276) / 1000)
    for head, tail in (("Usage (kWh)", " Wh"), ("Usage", " kW,Wh")):
        head = head + ",Unit" * ("," in tail)
        with pytest.raises(BadInput, match="names two units|has values in"):
            read_meter(written(tmp_path, [f"Start,{head}", *(row + tail for row in rows)]), timezone=ZONE)
    with pytest.raises(BadInput, match="has values in Wh and in kWh"):
        read_meter(
            written(tmp_path, ["Start,Usage", *(row + (" Wh" if k % 2 else " kWh") for k, row in enumerate(rows))]),
            timezone=ZONE,
        )


def test_stamps_without_a_zone_are_refused(tmp_path):
    path = written(tmp_path, ["start,kWh", *(f"2025-01-01 {h:02d}:00,1" for h in range(24))])
    with pytest.raises(BadInput, match="stamps without a zone, which may be local time or UTC; give timezone"):
        read_meter(path)


def test_day_and_month_that_can_be_read_in_two_ways_are_refused(tmp_path):
    path = written(tmp_path, ["start,kWh", *(f"03/04/2025 {h:02d}:00,1" for h in range(24))])
    with pytest.raises(BadInput, match="month 03 day 04 .* or day 03 month 04 .*; state dialect.date_order"):
        read_meter(path, timezone=ZONE)
    march = read_meter(path, timezone=ZONE, dialect=Dialect(date_order="mdy"))
    april = read_meter(path, timezone=ZONE, dialect=Dialect(date_order="dmy"))
    assert april.start_utc[0] - march.start_utc[0] == 30 * 86_400 - 3600  # the clocks went forward between them


def test_stamps_that_may_begin_or_end_are_refused(tmp_path):
    path = written(tmp_path, ["stamp,kWh", *(f"2025-07-01 {h:02d}:00,1" for h in range(3, 9))])
    with pytest.raises(BadInput, match='state dialect.labels = "beginning" or "ending"'):
        read_meter(path, timezone=ZONE)


def test_numbers_that_can_be_read_in_two_ways_are_refused(tmp_path):
    path = written(tmp_path, ["start;Wh", "2025-07-01 00:00;1,234", "2025-07-01 01:00;1,250"])
    with pytest.raises(BadInput, match="thousands sign or with a decimal comma; state dialect.decimal"):
        read_meter(path, timezone=ZONE)
    assert read_meter(path, timezone=ZONE, dialect={"decimal": "."}).energy_kwh == pytest.approx(2.484)


def test_values_without_a_unit_are_refused(tmp_path):
    path = written(tmp_path, ["start,usage", *(f"2025-07-01T{h:02d}:00Z,1" for h in range(24))])
    with pytest.raises(BadInput, match="energy .kWh. or mean power .kW.; state dialect.unit"):
        read_meter(path)


def test_hour_ending_labels_land_in_the_hour_before(tmp_path):
    """Worked scenario S46: 3 kWh between 20:00 and 21:00 stand under 21 in an hour-ending file (derived)."""
    values = [3.0 if h == 21 else 0.1 for h in range(1, 25)]
    lines = ["Date,Hour,kWh", *(f"2025-07-15,{h},{v}" for h, v in zip(range(1, 25), values, strict=True))]
    meter = read_meter(written(tmp_path, lines), timezone=ZONE)
    at = int(np.argmax(meter.kwh))
    assert meter.local.stamp(meter.start_utc[at]) == "2025-07-15T20:00:00-04:00"


def test_dst_days_hold_23_and_25_hours(tmp_path):
    """Worked scenario S32: 2025-03-09 has 23 h, 2025-11-02 has 25 h, and both 01:30 of November are kept."""
    write, minutes, dialect = long_files()["unnamed_label-15"]
    start, kwh = year_of_readings(minutes)
    meter = read_meter(written(tmp_path, write(start, kwh, minutes)), timezone=ZONE, dialect=dialect)
    days = np.array([meter.local.stamp(s)[:10] for s in meter.start_utc])
    assert [(days == day).sum() for day in ("2025-03-09", "2025-03-10", "2025-11-02")] == [92, 96, 100]
    half_past_one = [s for s in meter.start_utc.tolist() if meter.local.stamp(s).startswith("2025-11-02T01:30")]
    assert half_past_one == [int(dt.datetime(2025, 11, 2, h, 30, tzinfo=dt.UTC).timestamp()) for h in (5, 6)]


def test_delivered_and_received_are_kept_apart(tmp_path):
    start, kwh = year_of_readings()
    back = np.round(kwh * 0.4, 6)
    lines = [
        "Start,Delivered (kWh),Received (kWh),Net (kWh)",
        *(f"{t.isoformat()},{a},{b},{a - b:.6f}" for t, a, b in zip(local(start), kwh, back, strict=True)),
    ]
    meter = read_meter(written(tmp_path, lines))
    assert_is(meter, start, kwh)
    assert np.abs(meter.received_kwh - back).max() < EXACT_KWH
    assert meter.nets_solar
    assert "solar" in " ".join(issue.kind + issue.done for issue in meter.issues)


def test_a_half_hour_in_and_a_half_hour_out_never_cancel(tmp_path):
    """Worked scenario S36: +2 kW then -2 kW for half an hour each, buy 0.30, sell 0.05 -> 0.25, not 0 (derived)."""
    start, _ = year_of_readings(30)
    net = np.zeros(len(start))
    net[24:26] = 1.0, -1.0
    lines = ["Start,Net kWh", *(f"{t.isoformat()},{v}" for t, v in zip(local(start), net, strict=True))]
    meter = read_meter(written(tmp_path, lines))
    hours = hours_of_year(2025, ZONE)
    bought, sold = (meter_kw(meter, hours, register=name) for name in ("delivered", "received"))
    assert (bought * 0.30 - sold * 0.05).sum() == pytest.approx(0.25, abs=1e-12)
    assert meter_kw(meter, hours).sum() == 0.0


def test_directions_in_rows_are_kept_apart(tmp_path):
    start, kwh = year_of_readings()
    lines = ["Start,Direction,kWh"]
    for t, v in zip(local(start[:240]), kwh, strict=False):
        lines += [f"{t.isoformat()},Delivered,{v}", f"{t.isoformat()},Received,{v / 2:.6f}"]
    meter = read_meter(written(tmp_path, lines))
    assert_is(meter, start[:240], kwh[:240])
    assert meter.received_kwh.sum() == pytest.approx(kwh[:240].sum() / 2, abs=1e-4)


def test_several_meters_in_rows_are_refused_and_never_named_by_number(tmp_path):
    lines = ["Meter Number,Start,kWh"]
    for h in range(24):
        lines += [f"99887766,2025-07-01T{h:02d}:00Z,1", f"99887755,2025-07-01T{h:02d}:00Z,2"]
    path = written(tmp_path, lines)
    with pytest.raises(
        BadInput, match="several points of supply, which are never summed; choose one with point: 1 .meter 1"
    ) as refused:
        read_meter(path)
    assert "998877" not in str(refused.value)
    assert read_meter(path, point="2").energy_kwh == 48.0


def test_several_columns_are_refused_until_one_is_chosen(tmp_path):
    path = written(tmp_path, ["time,well kW,fridge kW", *(f"2025-07-01T{h:02d}:00Z,1,2" for h in range(24))])
    with pytest.raises(
        BadInput,
        match="several columns of energy or power, .* choose one with column: well kW \\[1 to 1, mean 1\\], fridge kW \\[2",
    ):
        read_meter(path)
    assert read_meter(path, column="fridge kW").energy_kwh == 48.0
    with pytest.raises(BadInput, match="is not a column of this file"):
        read_meter(path, column="freezer kW")


def test_a_dial_that_turns_over(tmp_path):
    dial = (99_990.0 + np.arange(48)) % 100_000
    path = written(
        tmp_path,
        ["Start,Register (kWh)", *(f"2025-07-{1 + h // 24:02d}T{h % 24:02d}:00Z,{v}" for h, v in enumerate(dial))],
    )
    left_out = read_meter(path, dialect={"readings": "register"})
    assert left_out.energy_kwh == 46.0
    assert "dial-fell" in {issue.kind for issue in left_out.issues}
    assert read_meter(path, dialect={"readings": "register", "dial_kwh": 100_000.0}).energy_kwh == 47.0


def test_values_that_never_fall_are_refused_until_they_are_named(tmp_path):
    """A hundred values that never fall are a dial, or a strange house; a column named as a dial says which."""
    rows = [f"2025-07-{1 + h // 24:02d}T{h % 24:02d}:00Z,{h}" for h in range(120)]
    path = written(tmp_path, ["Start,Usage kWh", *rows])
    with pytest.raises(BadInput, match='state dialect.readings = "register" or "interval"'):
        read_meter(path)
    assert read_meter(path, dialect={"readings": "interval"}).energy_kwh == sum(range(120))
    assert read_meter(written(tmp_path, ["Start,Meter index kWh", *rows])).energy_kwh == 119.0
    assert read_meter(written(tmp_path, ["Start,Usage kWh", *rows[:24]])).energy_kwh == sum(range(24))


def test_a_log_of_many_circuits_is_not_a_wide_file(tmp_path):
    for stamp in ("{d:%Y-%m-%d} {t},", "{d:%Y-%m-%d},{t},"):
        head = ("Time," if stamp.count(",") == 1 else "Date,Time,") + ",".join(
            f"Circuit {k} (kW)" for k in range(1, 31)
        )
        rows = [stamp.format(d=d, t=clock(m)) + ",".join(str(k) for k in range(1, 31)) for d, m in each(24)]
        path = written(tmp_path, [head, *rows])
        with pytest.raises(BadInput, match=r"choose one with column: Circuit 1 .kW. \[1 to 1, mean 1\], Circuit 2"):
            read_meter(path, timezone=ZONE)
        assert read_meter(path, timezone=ZONE, column="Circuit 7 (kW)").energy_kwh == 7 * 480


@pytest.mark.parametrize(
    "lines",
    [
        ["Date,kWh", *(f"2025-07-{d:02d},31.5" for d in range(1, 31))],
        ["Bill start,Bill end,kWh", "2025-01-03,2025-02-02,812", "2025-02-02,2025-03-04,755"],
    ],
)
def test_days_and_bills_are_no_intervals(tmp_path, lines):
    with pytest.raises(BadInput, match="dates without a time of day, so its readings last a day or longer"):
        read_meter(written(tmp_path, lines), timezone=ZONE)


def test_what_a_roof_makes_is_not_taken_for_what_flowed_back(tmp_path):
    rows = [f"2025-07-01 {h:02d}:00,1.5,{0.5 if 8 < h < 17 else 0}" for h in range(24)]
    path = written(tmp_path, ["Start,Usage kWh,Solar production kWh", *rows])
    with pytest.raises(BadInput, match="may be energy sent to the grid or all that the roof makes"):
        read_meter(path, timezone=ZONE)
    assert not read_meter(path, timezone=ZONE, column="Usage kWh").nets_solar
    stated = read_meter(path, timezone=ZONE, dialect={"received_column": "Solar production kWh"})
    assert stated.received_kwh.sum() == 4.0


def test_estimate_flags_are_counted(tmp_path):
    rows = [f"2025-07-01T{h:02d}:00Z,1,{'E' if h < 3 else 'A'}" for h in range(24)]
    meter = read_meter(written(tmp_path, ["Start,kWh,Read Type", *rows]))
    assert [(issue.kind, issue.count) for issue in meter.issues] == [("estimated", 3)]


def test_blanks_are_missing_and_never_zero(tmp_path):
    """Worked scenario S35: 1 kW, 96 quarter-hours, 4 of them missing: 23.0 as read, 0.958333 complete (derived)."""
    for blank in ("", "N/A", None):
        rows = [f"2025-07-01T{q // 4:02d}:{q % 4 * 15:02d}Z,{0.25 if not 40 <= q < 44 else blank}" for q in range(96)]
        rows = rows if blank is not None else rows[:40] + rows[44:]
        meter = read_meter(written(tmp_path, ["Start,kWh", *rows]))
        assert meter.energy_kwh == 23.0
        assert meter.completeness_frac == pytest.approx(0.958333, abs=5e-7)
        assert [issue.count for issue in meter.issues if issue.kind == "missing"] == [4]


def test_account_data_never_reaches_a_meter(tmp_path):
    write, minutes, dialect = long_files()["start_and_last_minute-15"]
    start, kwh = year_of_readings(minutes)
    meter = read_meter(
        written(tmp_path, write(start, kwh, minutes), name="12345678-usage.csv"), timezone=ZONE, dialect=dialect
    )
    from profiles.meter import document

    text = str(document(meter)) + repr(meter)
    assert not [word for word in ("Jane", "Long Lane", "12345678") if word in text]


def test_an_account_number_above_the_readings_is_no_name_of_a_column(tmp_path):
    path = written(tmp_path, ["Account,99887766", *(f"2025-07-01T{h:02d}:00Z,1.5" for h in range(24))])
    with pytest.raises(BadInput, match="column 2 names no unit") as refused:
        read_meter(path)
    assert "99887766" not in str(refused.value)
    meter = read_meter(path, dialect={"unit": "kWh", "labels": "beginning"})
    assert meter.energy_kwh == 36.0
    assert "99887766" not in meter.dialect


def test_utf_16_and_latin_1_read_alike(tmp_path):
    lines = ["Début,kWh", *(f"2025-07-01T{h:02d}:00Z,1.5" for h in range(24))]
    for encoding in ("utf-16", "latin-1", "utf-8-sig"):
        meter = read_meter(written(tmp_path, lines, encoding=encoding), dialect={"labels": "beginning"})
        assert meter.energy_kwh == 36.0


def test_two_downloads_pasted_together_count_once(tmp_path):
    rows = [f"2025-07-{1 + h // 24:02d}T{h % 24:02d}:00Z,{1 + h % 5}" for h in range(96)]
    path = written(tmp_path, ["Start,kWh", *rows[:72], "Start,kWh", *rows[48:]])
    meter = read_meter(path)
    assert meter.energy_kwh == sum(1 + h % 5 for h in range(96))
    assert [(issue.kind, issue.count) for issue in meter.issues] == [("repeated", 24)]


@pytest.mark.parametrize(
    "dialect, message",
    [
        ({"labels": "middle"}, "dialect.labels"),
        ({"lables": "ending"}, "did you mean labels"),
        ({"clock": "EST"}, "dialect.clock"),
        ({"header_row": 900}, "beyond the end of the file"),
        ({"layout": "wide"}, "fewer than 20 columns"),
        ({"time_column": "when"}, "is not a column"),
        ({"clock": "wall"}, "whose zone is not stated"),
        ("wall", "must be a table of keys"),
    ],
)
def test_a_dialect_that_does_not_fit_is_refused(tmp_path, dialect, message):
    path = written(tmp_path, ["start,kWh", *(f"2025-07-01 {h:02d}:00,1" for h in range(24))])
    with pytest.raises(BadInput, match=message):
        read_meter(path, dialect=dialect)


def test_a_dialect_is_stated_on_the_command_line():
    stated = stated_dialect(["date_order = dmy", "interval_min=30", "header_row=0", "clock=-05:00"])
    assert (stated.date_order, stated.interval_min, stated.header_row, stated.offset_s) == ("dmy", 30.0, 0, -18000)
    assert stated_dialect(None) is None and stated_dialect([]) is None
    for text, message in (
        ("dmy", "--dialect must be KEY=VALUE"),
        ("date_ordr=dmy", "did you mean date_order"),
        ("interval_min=often", "interval_min"),
    ):
        with pytest.raises(BadInput, match=message):
            stated_dialect([text])


def test_wall_clock_labels_become_utc_as_zoneinfo_has_it():
    """Against zoneinfo (lib): every half-hour of two years in zones with odd changes."""
    from profiles.meter.readings.clock import zone_clock

    for zone in ("America/St_Johns", "Australia/Lord_Howe", "Europe/Dublin", "Asia/Kolkata"):
        start = hours_of_year(2024, zone, 30).utc.as_unit("s").asi8
        naive = np.array([int(t.replace(tzinfo=dt.UTC).timestamp()) for t in local(start, zone)])
        utc, skipped = wall_to_utc(naive, zone_clock(zone), np.full(len(naive), -1))
        assert np.array_equal(utc, start)
        assert not skipped.any()


DAYS = [dt.date(2025, 7, 1) + dt.timedelta(days=k) for k in range(20)]


def clock(minutes):
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def each(n):
    return [(day, k * 1440 // n) for day in DAYS for k in range(n)]


def twenty_days():
    """1 kW for twenty days of July, as differently written as utilities do; energy received where there is any is zero."""
    next_day = dt.timedelta(days=1)
    return {
        "rows for use and surplus, a date of revision": [
            "ID,USAGE_DATE,REVISION_DATE,START_TIME,END_TIME,KWH,ESTIMATED_ACTUAL,CONSUMPTION_SURPLUSGENERATION",
            *(
                f"'104,{d:{MDY}},07/22/2025 04:05:06,{clock(m)},{clock(m + 15)},{v},A,{text}"
                for d, m in each(96)
                for text, v in (("Consumption", ".25"), ("Surplus Generation", "0"))
            ),
        ],
        "wide rows for two units": [
            "Account,Meter,Date,Units," + ",".join(f"Interval {k + 1}" for k in range(96)),
            *(f"1,2,{d:{MDY}},{unit}" + ",0.25" * 96 for d in DAYS for unit in ("KWH", "KVARH")),
        ],
        "wide, ranges of hours, a total": [
            "Date," + ",".join(f"Hr {k}-{k + 1}" for k in range(24)) + ",Total kWh",
            *(f"{d:{MDY}}" + ",1.0" * 24 + ",24.0" for d in DAYS),
        ],
        "wide, kW at quarter-hours": [
            "Date," + ",".join(f"kW {clock(15 * k)}" for k in range(1, 97)),
            *(f"{d:{MDY}}" + ",1" * 96 for d in DAYS),
        ],
        "two stamps with seconds": [
            "Interval Start,Interval End,kWh Delivered,kWh Received",
            *(
                f"{d:{MDY}} {clock(m)}:00,{d + next_day * (m == 1425):{MDY}} {clock((m + 15) % 1440)}:00,0.25,0.0"
                for d, m in each(96)
            ),
        ],
        "four columns of time": [
            "Start Date,Start Time,End Date,End Time,Usage (kWh)",
            *(
                f"{d.month}/{d.day}/{d.year},{m // 60 % 12 or 12}:00 {'AM' if m < 720 else 'PM'},{d + next_day * (m == 1380):{MDY}},"
                f"{(m // 60 + 1) % 12 or 12}:00 {'PM' if 660 <= m < 1380 else 'AM'},1.0"
                for d, m in each(24)
            ),
        ],
        "short years, a total at the foot": [
            "Date,Hour,Usage kWh",
            *(f"{d.month}/{d.day}/{d:%y},{m // 60},1.0" for d, m in each(24)),
            "Total,,480",
            "",
            "Printed by someone",
        ],
        "a row of units": ["Zeit;Bezug", "[dd.mm.yyyy];[kWh]", *(f"{d:%d.%m.%Y} {clock(m)};0,25" for d, m in each(96))],
        "ends, a row number": [
            "Nr;Datum Ende;Wirkarbeit kWh;Status",
            *(
                f"{k};{d + next_day * (m == 1425):%d.%m.%Y} {clock((m + 15) % 1440)};0,250;W"
                for k, (d, m) in enumerate(each(96))
            ),
        ],
        "compact": ["date,time,kwh", *(f"{d:%Y%m%d},{clock(m).replace(':', '')},1.0" for d, m in each(24))],
        "hours to 2400, two-digit year": [
            "READ_DATE,HOUR_ENDING,KWH",
            *(f"{d:%d}-Jul-25,{m // 60 * 100 + 100:04d},1.0" for d, m in each(24)),
        ],
        "ranges of time": [
            "Date,Time Period,Consumption kWh,Cost",
            *(f"{d},{clock(m)} - {clock(m + 60)},1.0,0.2" for d, m in each(24)),
        ],
    }


@pytest.mark.parametrize("name", twenty_days())
def test_twenty_days_however_they_are_written(tmp_path, name):
    meter = read_meter(written(tmp_path, twenty_days()[name]), timezone=ZONE)
    assert meter.energy_kwh == 480.0
    assert meter.local.stamp(meter.start_utc[0]) == "2025-07-01T00:00:00-04:00"
    assert (meter.kwh / (meter.duration_s / 3600) == 1.0).all()
    assert meter.span_s == 20 * 86_400
    assert meter.received_kwh is None or not meter.received_kwh.any()


def test_keys_of_long_files_are_refused_for_wide_ones(tmp_path):
    path = written(tmp_path, twenty_days()["wide, kW at quarter-hours"])
    with pytest.raises(
        BadInput, match="dialect.end_column is for files with one row a reading; this one has one row a day"
    ):
        read_meter(path, timezone=ZONE, dialect={"end_column": "end"})


def test_a_register_without_its_partner_is_left_out_and_listed(tmp_path):
    rows = [f"2025-07-01T{h:02d}:00Z,1,{0.5 if 6 <= h < 18 else ''}" for h in range(24)]
    meter = read_meter(written(tmp_path, ["Start,Delivered kWh,Received kWh", *rows]))
    assert (meter.energy_kwh, meter.received_kwh.sum()) == (12.0, 6.0)
    assert {issue.kind: issue.count for issue in meter.issues}["unpaired"] == 12
    never = [f"2025-07-01T{h:02d}:00Z,{'' if h % 2 else 1},{1 if h % 2 else ''}" for h in range(24)]
    with pytest.raises(BadInput, match="never share an interval"):
        read_meter(written(tmp_path, ["Start,Delivered kWh,Received kWh", *never]))


@pytest.mark.parametrize(
    "head",
    [
        "2," * 25 + "kWh",
        ",".join(str(900 + k % 3) for k in range(25)),
        ",".join(["25:00"] * 25),
        ",".join(f"00:00:{k:02d}" for k in range(25)),
        ",".join(["2400"] * 25),
    ],
)
def test_columns_that_do_not_cut_a_day_are_not_a_wide_file(tmp_path, head):
    """Found by fuzzing: many columns whose names are numbers, but not the times of a day."""
    path = written(tmp_path, ["Date," + head, *(f"{day:{ISO}}" + ",1" * 25 for day in DAYS)])
    with pytest.raises(BadInput) as refused:
        read_meter(path, timezone=ZONE)
    assert "\n" not in str(refused.value)
