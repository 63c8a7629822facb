"""The interval format of the Australian national market (NEM12) on small files made here; the energy is invented.

How sure: the layout is public and known from public example files and from memory; no file of a utility is held.
"""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.meter import document, meter_kw, read_meter
from profiles.noun import BadInput

ZONE = "Australia/Sydney"
HEAD = "100,NEM12,202507010101,MDP1,RETAILER"


def register(suffix="E1", point="4102036111", unit="kWh", minutes=30, serial="METSER123"):
    return f"200,{point},E1B1Q1,{suffix},{suffix},N1,{serial},{unit},{minutes},20250801"


def day(date, values, flag="A", more=",,20250701004103,20250701004103"):
    return f"300,{date:%Y%m%d},{','.join(f'{one:.4f}' for one in values)},{flag},{more}"


def saved(tmp_path, *lines, name="usage.csv"):
    path = tmp_path / name
    path.write_text("\r\n".join([*lines, "900", ""]))
    return path


def wave(n=48, scale=0.2):
    return scale * (1.0 + np.arange(n) / n)


FIRST = dt.date(2025, 7, 1)


def days(n, values=None, first=FIRST, **keys):
    return [day(first + dt.timedelta(days=k), wave() if values is None else values, **keys) for k in range(n)]


@pytest.mark.parametrize("minutes", [5, 15, 30])
@pytest.mark.parametrize(("unit", "factor"), [("kWh", 1.0), ("Wh", 1000.0), ("MWh", 0.001), ("KWH", 1.0)])
def test_a_day_begins_at_midnight_of_market_time(tmp_path, minutes, unit, factor):
    n = 1440 // minutes
    values = np.round(wave(n) * 1.0, 4)
    text = [f"{one * factor:.7f}" for one in values]
    path = saved(tmp_path, HEAD, register(unit=unit, minutes=minutes), f"300,20250701,{','.join(text)},A,,,20250702,")
    meter = read_meter(path)
    assert meter.energy_kwh == pytest.approx(values.sum())
    assert (meter.interval_s, meter.readings, meter.completeness_frac) == (minutes * 60, n, 1.0)
    assert document(meter)["start"] == "2025-07-01T00:00:00+10:00"
    assert (meter.quality == 0).all()


def test_a_year_keeps_24_hours_a_day_over_the_clock_changes(tmp_path):
    """Market time knows no daylight saving: Sydney's day of 4 October has 23 h, its readings still their own instants."""
    path = saved(tmp_path, HEAD, register(), *days(367, first=dt.date(2024, 12, 31)))
    meter = read_meter(path, timezone=ZONE)
    assert meter.completeness_frac == 1.0 and not meter.issues
    hours = hours_of_year(2025, ZONE, 30)
    kw = meter_kw(meter, hours)
    market = hours.utc + np.timedelta64(10, "h")
    slot = np.asarray(market.hour * 2 + market.minute // 30)
    assert kw == pytest.approx(np.round(wave(), 4)[slot] * 2)
    assert meter.local.stamp(int(meter.start_utc[0])) == "2024-12-31T01:00:00+11:00"


def test_delivered_and_received_stand_side_by_side_and_reactive_is_left_alone(tmp_path):
    lines = [HEAD, register("E1"), *days(3), register("B1"), *days(3, wave() / 2)]
    lines += [register("Q1", unit="kVArh"), *days(3)]
    meter = read_meter(saved(tmp_path, *lines))
    assert meter.energy_kwh == pytest.approx(3 * wave().sum(), abs=0.01)
    assert meter.received_kwh.sum() == pytest.approx(1.5 * wave().sum(), abs=0.01)
    assert [(point.id, point.chosen) for point in meter.points] == [("1.E1", True), ("1.B1", True), ("1.Q1", False)]


def test_several_points_or_registers_are_asked_about_and_never_named_by_number(tmp_path):
    two_points = saved(tmp_path, HEAD, register(point="4102036111"), *days(2), register(point="4102036999"), *days(2))
    two_registers = saved(tmp_path, HEAD, register("E1"), *days(2), register("E2"), *days(2, wave() / 4), name="b.csv")
    for path, way in ((two_points, "2.E1"), (two_registers, "1.E2")):
        with pytest.raises(BadInput, match=f"never summed; choose one with point: 1.E1 .*{way} ") as refused:
            read_meter(path)
        assert "4102036" not in str(refused.value)
        chosen = read_meter(path, point=way)
        assert "4102036" not in str(document(chosen))
    assert read_meter(two_registers, point="1.E2").energy_kwh == pytest.approx(2 * wave().sum() / 4, abs=0.01)
    assert read_meter(two_points, point="2").energy_kwh == pytest.approx(2 * wave().sum(), abs=0.01)
    assert read_meter(two_points, point="4102036999").energy_kwh == pytest.approx(2 * wave().sum(), abs=0.01)
    with pytest.raises(BadInput, match="point is no point of supply"):
        read_meter(two_points, point="3")


def test_quality_flags_by_day_and_by_range(tmp_path):
    lines = [HEAD, register(), *days(1), *days(1, first=dt.date(2025, 7, 2), flag="S14")]
    lines += [*days(1, first=dt.date(2025, 7, 3), flag="V"), "400,1,28,A,,", "400,29,46,E52,,", "400,47,48,N,,"]
    lines += ["500,O,S01009,20250801,", *days(1, first=dt.date(2025, 7, 4), flag="F16")]
    meter = read_meter(saved(tmp_path, *lines))
    assert {issue.kind: issue.count for issue in meter.issues} == {"estimated": 48 + 18 + 48, "blank": 2, "missing": 2}
    assert meter.readings == 4 * 48 - 2
    assert meter.completeness_frac == pytest.approx(1 - 2 / 192)


def test_a_file_without_its_header_and_with_quotes_is_the_same(tmp_path):
    lines = [HEAD, register(), *days(2)]
    plain = read_meter(saved(tmp_path, *lines))
    bare = read_meter(saved(tmp_path, *lines[1:], name="bare.csv"))
    quoted = read_meter(saved(tmp_path, *(",".join(f'"{c}"' for c in line.split(",")) for line in lines), name="q.csv"))
    assert np.array_equal(plain.kwh, bare.kwh) and np.array_equal(plain.kwh, quoted.kwh)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([HEAD, register(), day(FIRST, wave(47))], r"line 3, record 300 must hold a date, 48 values of 30 min"),
        ([HEAD, register(), day(FIRST, wave(96))], r"line 3, record 300 must hold a date, 48 values"),
        ([HEAD, register(minutes=10), *days(1)], "line 2, record 200 must name an interval of 5, 15 or 30 min"),
        ([HEAD, register(), *days(1), "400,40,60,A,,"], "line 4, record 400 must name intervals from 1 to 48"),
        ([HEAD, register(), "300,20251301" + day(FIRST, wave())[12:]], "line 3, record 300 needs a date"),
        ([HEAD, register(), *days(1), "Date,kWh"], "line 4 must begin with 100, 200, 300"),
        ([HEAD, register()], "holds no day of readings"),
        ([HEAD, register("Q1", unit="kVArh"), *days(1)], "holds no register of energy .*Q1 in kVArh"),
        ([HEAD, register("B1"), *days(1)], "holds only energy received from the house"),
        (["100,NEM13,202507010101,M,R", "250,4102036111,E1,1,E1,N1"], "accumulated reads .*monthly_kwh"),
    ],
)
def test_a_line_that_breaks_the_format_is_named(tmp_path, lines, message):
    with pytest.raises(BadInput, match=message):
        read_meter(saved(tmp_path, *lines))


def test_what_the_format_fixes_is_not_asked_or_contradicted(tmp_path):
    path = saved(tmp_path, HEAD, register(), *days(2))
    with pytest.raises(BadInput, match="dialect.clock says nothing about a file of numbered records"):
        read_meter(path, dialect={"clock": "wall"})
    with pytest.raises(BadInput, match="column is for files with named columns"):
        read_meter(path, column="E1")
