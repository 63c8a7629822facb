"""The Green Button reader on small files written here; the energy in them is invented, the codes are ESPI's."""

import datetime as dt
import zoneinfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.hours import hours_of_year
from profiles.meter import meter_document, meter_kw, read_meter
from profiles.noun import BadInput

EXACT_KWH = 1e-9
EASTERN = ("-18000", "3600", "360E2000", "B40E2000")
DAY_S = 86_400
JULY = 1_751_328_000  # 2025-07-01 00:00 UTC


def reading(start, value, duration=900, extra="", timed=True):
    period = f"<timePeriod><duration>{duration}</duration><start>{start}</start></timePeriod>" if timed else ""
    return f"<IntervalReading>{extra}{period}<value>{value}</value></IntervalReading>"


def block(readings, start=None, length=None, link="P/1/MeterReading/1/IntervalBlock/1", updated="2025-08-01T00:00:00Z"):
    interval = "" if start is None else f"<interval><duration>{length}</duration><start>{start}</start></interval>"
    up = link.rpartition("/")[0]
    return entry(
        f'<IntervalBlock xmlns="http://naesb.org/espi">{interval}{"".join(readings)}</IntervalBlock>',
        link,
        up,
        updated=updated,
    )


def entry(content, self_link="", up="", related=(), title="Jane Doe, 1 Long Lane", updated="2025-08-01T00:00:00Z"):
    links = f'<link rel="self" href="{self_link}"/><link rel="up" href="{up}"/>'
    links += "".join(f'<link rel="related" href="{one}"/>' for one in related)
    return f"<entry>{links}<title>{title}</title><content>{content}</content><updated>{updated}</updated></entry>"


def reading_type(link="T/1", **fields):
    known = {
        "accumulationBehaviour": 4,
        "commodity": 1,
        "flowDirection": 1,
        "intervalLength": 900,
        "kind": 12,
        "powerOfTenMultiplier": 0,
        "uom": 72,
    } | fields
    body = "".join(f"<{name}>{value}</{name}>" for name, value in known.items() if value is not None)
    return entry(f'<ReadingType xmlns="http://naesb.org/espi">{body}</ReadingType>', link)


def usage_point(link="P/1", kind=0, related=("P/1/MeterReading", "L/1")):
    body = f"<ServiceCategory><kind>{kind}</kind></ServiceCategory>"
    return entry(f'<UsagePoint xmlns="http://naesb.org/espi">{body}</UsagePoint>', link, related=related)


def meter_reading(link="P/1/MeterReading/1", type_link="T/1"):
    return entry(
        '<MeterReading xmlns="http://naesb.org/espi"/>',
        link,
        link.rpartition("/")[0],
        (f"{link}/IntervalBlock", type_link),
    )


def local_time(clock=EASTERN, link="L/1"):
    offset, saving, begins, ends = clock
    body = f"<dstEndRule>{ends}</dstEndRule><dstOffset>{saving}</dstOffset><dstStartRule>{begins}</dstStartRule><tzOffset>{offset}</tzOffset>"
    return entry(f'<LocalTimeParameters xmlns="http://naesb.org/espi">{body}</LocalTimeParameters>', link)


def feed(*entries):
    return f'<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom">{"".join(entries)}</feed>'


def simple(readings, type_fields=None, clock=EASTERN, **block_fields):
    return feed(
        usage_point(),
        local_time(clock),
        meter_reading(),
        reading_type(**(type_fields or {})),
        block(readings, **block_fields),
    )


def saved(tmp_path, text, name="usage.xml"):
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def quarter_hours(n, value=250, start=JULY):
    return [reading(start + 900 * k, value) for k in range(n)]


def kinds(meter):
    return {issue.kind: issue.count for issue in meter.issues}


@pytest.mark.parametrize("minutes", [60, 15])
def test_a_year_written_as_espi_reads_back_equal(tmp_path, minutes):
    hours = hours_of_year(2025, "America/New_York", minutes)
    start = hours.utc.as_unit("s").asi8
    wh = np.random.default_rng(7).integers(50, 900, hours.n_steps)
    blocks = []
    for day in range(hours.n_days):
        mine = np.flatnonzero(hours.day == day)
        rows = [reading(start[k], wh[k], minutes * 60) for k in mine]
        blocks.append(block(rows, start[mine[0]], len(mine) * minutes * 60, f"P/1/MeterReading/1/IntervalBlock/{day}"))
    type_ = reading_type(intervalLength=minutes * 60)
    meter = read_meter(saved(tmp_path, feed(usage_point(), local_time(), meter_reading(), type_, *blocks)))
    assert np.array_equal(meter.start_utc, start)
    assert np.abs(meter.kwh - wh / 1000.0).max() < EXACT_KWH
    assert meter.issues == ()
    assert "bears it out" in meter.clock
    assert np.abs(meter_kw(meter, hours) * hours.step_h - wh / 1000.0).max() < EXACT_KWH
    for coarser, finer in ((60, 15), (15, 5)):
        for step in (coarser, finer):
            axis = hours_of_year(2025, "America/New_York", step)
            assert meter_kw(meter, axis).sum() * axis.step_h == pytest.approx(wh.sum() / 1000.0, abs=1e-9)


def test_readings_without_a_time_period_follow_their_block(tmp_path):
    """timePeriod is optional in ESPI: the k-th reading then starts at the block's start + k x intervalLength."""
    rows = [reading(0, 100 + k, timed=False) for k in range(96)]
    meter = read_meter(saved(tmp_path, simple(rows, start=JULY, length=DAY_S)))
    assert np.array_equal(meter.start_utc, JULY + 900 * np.arange(96))
    assert meter.kwh[5] == 0.105
    meter = read_meter(saved(tmp_path, simple(rows, {"intervalLength": None}, start=JULY, length=DAY_S)))
    assert np.array_equal(meter.duration_s, np.full(96, 900))
    with pytest.raises(BadInput, match="without a start"):
        read_meter(saved(tmp_path, simple(rows)))


def test_prefixes_do_not_matter_and_foreign_namespaces_do(tmp_path):
    text = simple(quarter_hours(4))
    prefixed = text
    for name in (
        "IntervalBlock",
        "IntervalReading",
        "timePeriod",
        "duration",
        "start",
        "value",
        "ReadingType",
        "UsagePoint",
        "MeterReading",
        "LocalTimeParameters",
        "uom",
        "intervalLength",
        "kind",
        "ServiceCategory",
        "commodity",
        "flowDirection",
        "accumulationBehaviour",
        "powerOfTenMultiplier",
        "tzOffset",
        "dstOffset",
        "dstStartRule",
        "dstEndRule",
    ):
        prefixed = (
            prefixed.replace(f"<{name} xmlns=", f"<ns7:{name} xmlns:ns7=")
            .replace(f"<{name}>", f"<ns7:{name}>")
            .replace(f"</{name}>", f"</ns7:{name}>")
        )
    assert read_meter(saved(tmp_path, prefixed)).energy_kwh == 1.0
    with pytest.raises(BadInput, match="no interval readings of NAESB ESPI"):
        read_meter(saved(tmp_path, text.replace("http://naesb.org/espi", "http://example.org/other")))


def test_broken_links_fall_back_to_the_order_of_the_file(tmp_path):
    text = feed(
        usage_point(related=()),
        meter_reading("nowhere/7"),
        reading_type("elsewhere"),
        block(quarter_hours(4), link="lost/1/2"),
    )
    meter = read_meter(saved(tmp_path, text))
    assert meter.energy_kwh == 1.0
    assert kinds(meter)["broken-link"] == 3
    assert "order in the file" in meter.issues[0].done


def two_points(first="P/01", second="P/02"):
    entries = []
    for k, link in enumerate((first, second), 1):
        entries += [
            usage_point(link, related=(f"{link}/MeterReading",)),
            meter_reading(f"{link}/MeterReading/1", "T/1"),
            block(quarter_hours(4, 250 * k), link=f"{link}/MeterReading/1/IntervalBlock/1"),
        ]
    return feed(*entries, reading_type())


def test_two_usage_points_are_refused_until_one_is_chosen(tmp_path):
    path = saved(tmp_path, two_points())
    with pytest.raises(
        BadInput, match=r"several points of supply, which are never summed; choose one with point: 01 .*; 02 "
    ) as refused:
        read_meter(path)
    assert "Jane" not in str(refused.value)
    assert read_meter(path, point="01").energy_kwh == 1.0
    assert meter_document(path, point="02")["energy_kwh"] == 2.0
    assert [p["chosen"] for p in meter_document(path, point="02")["points"]] == [False, True]
    with pytest.raises(BadInput, match="point is no point of supply in this file, not '03'"):
        read_meter(path, point="03")


def test_long_ids_are_numbered_since_they_may_be_account_numbers(tmp_path):
    path = saved(tmp_path, two_points("P/8800441122", "P/8800441133"))
    with pytest.raises(BadInput, match="choose one with point: 1 .*; 2 ") as refused:
        read_meter(path)
    assert "88004411" not in str(refused.value)
    assert read_meter(path, point="2").energy_kwh == read_meter(path, point="8800441133").energy_kwh == 2.0


def two_readings(first, second, **second_block):
    return feed(
        usage_point(),
        meter_reading(),
        meter_reading("P/1/MeterReading/2", "T/2"),
        reading_type(**first),
        reading_type("T/2", **second),
        block(quarter_hours(8)),
        block(second_block.get("rows") or quarter_hours(8, 100), link="P/1/MeterReading/2/IntervalBlock/1"),
    )


def test_two_readings_of_the_same_energy_are_refused_until_one_is_chosen(tmp_path):
    hourly = [reading(JULY + 3600 * k, 1000, 3600) for k in range(2)]
    path = saved(tmp_path, two_readings({}, {"intervalLength": 3600}, rows=hourly))
    with pytest.raises(BadInput, match=r"several readings of the same supply, .* 1\.1 .*15 min.* 1\.2 .*60 min"):
        read_meter(path)
    assert read_meter(path, point="1.2").interval_s == 3600


def test_delivered_and_received_are_kept_apart_and_ask_for_the_solar(tmp_path):
    meter = read_meter(saved(tmp_path, two_readings({}, {"flowDirection": 19})))
    assert meter.energy_kwh == 2.0
    assert meter.received_kwh.sum() == pytest.approx(0.8)
    assert kinds(meter) == {"nets-solar": 8}
    assert "give the solar production" in meter.issues[0].done


def test_net_flow_keeps_its_sign(tmp_path):
    rows = [reading(JULY, 500), reading(JULY + 900, -300)]
    meter = read_meter(saved(tmp_path, simple(rows, {"flowDirection": 4})))
    assert meter.kwh.tolist() == [0.5, -0.3]
    assert meter.register_kwh("delivered").tolist() == [0.5, 0.0]
    assert meter.register_kwh("received").tolist() == [0.0, 0.3]
    assert "nets-solar" in kinds(meter)


def test_gas_and_voltage_are_not_energy_of_the_house(tmp_path):
    assert read_meter(saved(tmp_path, two_readings({}, {"uom": 29, "kind": 54}))).energy_kwh == 2.0
    assert read_meter(saved(tmp_path, two_readings({}, {"uom": 119, "commodity": 7}))).energy_kwh == 2.0
    with pytest.raises(BadInput, match="holds no electrical energy .*gas energy in ft3"):
        read_meter(saved(tmp_path, simple(quarter_hours(4), {"uom": 119, "commodity": 7})))


def test_maximum_demand_beside_energy_is_left_alone(tmp_path):
    assert read_meter(saved(tmp_path, two_readings({}, {"uom": 38, "kind": 8, "dataQualifier": 8}))).energy_kwh == 2.0


def test_only_what_flows_back_is_no_use_of_the_house(tmp_path):
    with pytest.raises(BadInput, match="holds only energy received from the house"):
        read_meter(saved(tmp_path, simple(quarter_hours(8), {"flowDirection": 19})))


@pytest.mark.parametrize(
    "fields, kind", [({"accumulationBehaviour": 12, "uom": 38}, "instantaneous"), ({"flowDirection": 20}, "total-flow")]
)
def test_doubtful_kinds_of_reading_are_read_and_told(tmp_path, fields, kind):
    meter = read_meter(saved(tmp_path, simple(quarter_hours(8), fields)))
    assert kind in {issue.kind for issue in meter.issues}


@pytest.mark.parametrize(
    "fields, held",
    [
        ({"flowDirection": 2}, "electricity energy in Wh"),
        ({"uom": 80, "kind": 0}, "electricity readings in money"),
        ({"dataQualifier": 8, "kind": 8, "uom": 38}, "electricity highest demand in W"),
    ],
)
def test_what_is_no_energy_by_interval_is_named(tmp_path, fields, held):
    with pytest.raises(BadInput, match=rf"no electrical energy .*it holds: {held}"):
        read_meter(saved(tmp_path, simple(quarter_hours(8), fields)))


def test_a_dial_is_differenced(tmp_path):
    rows = [reading(JULY + 900 * k, 40_000_000 + 250 * k, 0) for k in range(5)]
    meter = read_meter(saved(tmp_path, simple(rows, {"accumulationBehaviour": 1})))
    assert meter.kwh.tolist() == pytest.approx([0.25] * 4)
    assert np.array_equal(meter.start_utc, JULY + 900 * np.arange(4))
    assert kinds(meter) == {"register": 4}
    rows = [reading(JULY + 900 * k, 1000 + 250 * k) for k in range(5)]
    text = saved(tmp_path, simple(rows, {"accumulationBehaviour": 9}))
    assert read_meter(text).start_utc[0] == JULY + 900
    assert read_meter(text, dialect={"register_at": "start"}).start_utc[0] == JULY


def test_same_values_twice_count_once_and_conflicts_are_listed(tmp_path):
    better = "<ReadingQuality><quality>17</quality></ReadingQuality>"
    guess = "<ReadingQuality><quality>8</quality></ReadingQuality>"
    rows = [
        *quarter_hours(4),
        reading(JULY, 250),
        reading(JULY + 900, 111, extra=better),
        reading(JULY + 1800, 999, extra=guess),
    ]
    meter = read_meter(saved(tmp_path, simple(rows)))
    assert meter.kwh.tolist() == [0.25, 0.111, 0.25, 0.25]
    assert meter.readings == 7
    repeated = next(issue for issue in meter.issues if issue.kind == "repeated")
    assert repeated.count == meter.repeated == 3
    assert "same value" in repeated.done
    assert "better quality" in repeated.done


def test_a_later_download_wins_where_quality_is_equal(tmp_path):
    early = block([reading(JULY, 100), reading(JULY + 900, 100)], updated="2025-07-02T00:00:00Z")
    late = block([reading(JULY, 200)], link="P/1/MeterReading/1/IntervalBlock/2", updated="2025-07-09T00:00:00Z")
    for blocks in ((early, late), (late, early)):
        meter = read_meter(saved(tmp_path, feed(usage_point(), meter_reading(), reading_type(), *blocks)))
        assert meter.kwh.tolist() == [0.2, 0.1]


def test_an_hour_over_its_own_quarters_is_left_out_and_listed(tmp_path):
    rows = [*quarter_hours(8), reading(JULY, 1000, 3600)]
    meter = read_meter(saved(tmp_path, simple(rows)))
    assert meter.energy_kwh == 2.0
    assert kinds(meter)["overlap"] == 1
    nested = [*rows, *(reading(JULY + 1800 * k, 500, 1800) for k in range(4)), reading(JULY, 2000, 7200)]
    assert read_meter(saved(tmp_path, simple(nested))).energy_kwh == 2.0


@pytest.mark.parametrize(
    "start, duration", [(450, 900), (-450, 900), (-900, 3600), (900, 1000), (1800, 7200), (0, 1500)]
)
def test_readings_that_overlap_in_part_are_refused(tmp_path, start, duration):
    with pytest.raises(BadInput, match="overlap in part"):
        read_meter(saved(tmp_path, simple([*quarter_hours(4), reading(JULY + start, 250, duration)])))


def test_estimates_and_runs_of_zero_are_counted(tmp_path):
    rows = quarter_hours(200)
    rows[40:48] = [reading(JULY + 900 * k, 0) for k in range(40, 48)]
    rows[0] = reading(JULY, 250, extra="<ReadingQuality><quality>8</quality></ReadingQuality>")
    assert kinds(read_meter(saved(tmp_path, simple(rows)))) == {"estimated": 1, "zero-run": 1}


def test_a_zero_length_reading_gets_its_interval_or_is_listed(tmp_path):
    free = read_meter(saved(tmp_path, simple([reading(JULY, 250), reading(JULY + 900, 250, 0)])))
    assert (free.energy_kwh, kinds(free)) == (0.5, {"zero-length": 1})
    taken = read_meter(saved(tmp_path, simple([*quarter_hours(3), reading(JULY + 900, 777, 0)])))
    assert (taken.energy_kwh, kinds(taken)) == (0.75, {"zero-length": 1})
    assert "0.777 kWh not counted" in taken.issues[0].done


def local_seconds(year_day, hours):
    """Hourly starts of a local day written as if local seconds were UTC."""
    zone = zoneinfo.ZoneInfo("America/New_York")
    first = int(dt.datetime.fromisoformat(year_day).replace(tzinfo=zone).timestamp())
    stamps = [dt.datetime.fromtimestamp(first + 3600 * k, zone).replace(tzinfo=dt.UTC) for k in range(hours)]
    return first, [int(stamp.timestamp()) for stamp in stamps]


@pytest.mark.parametrize("day, hours, word", [("2025-03-09", 23, "skip"), ("2025-11-02", 25, "repeat")])
def test_local_seconds_in_starts_are_refused_until_the_clock_is_stated(tmp_path, day, hours, word):
    first, starts = local_seconds(day, hours)
    rows = [reading(s, 100 + k, 3600) for k, s in enumerate(starts)]
    path = saved(tmp_path, simple(rows, {"intervalLength": 3600}))
    with pytest.raises(BadInput, match=f'{word} the hour from {day}T0. ?.*state dialect.clock = "wall"'):
        read_meter(path)
    meter = read_meter(path, dialect={"clock": "wall"})
    assert np.array_equal(meter.start_utc, first + 3600 * np.arange(hours))
    assert meter.issues == ()
    assert meter.energy_kwh == pytest.approx(sum(100 + k for k in range(hours)) / 1000)


def test_blocks_from_midnight_utc_put_the_clock_in_doubt(tmp_path):
    blocks = [
        block(
            quarter_hours(96, start=JULY + d * DAY_S), JULY + d * DAY_S, DAY_S, f"P/1/MeterReading/1/IntervalBlock/{d}"
        )
        for d in range(4)
    ]
    path = saved(tmp_path, feed(usage_point(), local_time(), meter_reading(), reading_type(), *blocks))
    assert kinds(read_meter(path)) == {"clock": 4}
    moved = read_meter(path, dialect={"clock": "standard"})
    assert moved.start_utc[0] == JULY + 18_000
    assert moved.issues == ()


def slipped_march():
    """Hourly readings of 2025-03-08 to 10 whose exporter changed its clock five hours late (invented, as in old samples)."""
    start = 1_741_410_000  # 2025-03-08 00:00 EST
    stamps = start + 3600 * np.arange(72)
    change = 1_741_503_600
    k = int(np.flatnonzero(stamps == change)[0])
    written, durations = stamps.copy(), np.full(72, 3600)
    written[k : k + 5] += 3600
    durations[k - 1] = 7200
    return stamps, written, durations


def test_a_slipped_clock_change_is_put_back_and_listed(tmp_path):
    stamps, written, durations = slipped_march()
    rows = [reading(s, 500 + k, d) for k, (s, d) in enumerate(zip(written, durations, strict=True))]
    meter = read_meter(saved(tmp_path, simple(rows, {"intervalLength": 3600})))
    assert np.array_equal(meter.start_utc, stamps)
    assert meter.kwh.tolist() == [(500 + k) / 1000 for k in range(72)]
    assert kinds(meter) == {"double-length": 1, "repeated": 1, "slipped": 5}


def test_a_long_reading_away_from_a_clock_change_is_not_put_back(tmp_path):
    stamps, written, durations = slipped_march()
    rows = [reading(s + 30 * DAY_S, 500 + k, d) for k, (s, d) in enumerate(zip(written, durations, strict=True))]
    meter = read_meter(saved(tmp_path, simple(rows, {"intervalLength": 3600})))
    assert kinds(meter) == {"double-length": 1, "repeated": 1}
    assert len(meter.kwh) == 71


BAD = {
    "entity bomb": (
        '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><feed>&b;</feed>',
        "declares a document type",
    ),
    "external entity": (
        '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><feed>&x;</feed>',
        "declares a document type",
    ),
    "deep nesting": ("<a>" * 5000 + "</a>" * 5000, "nested deeper than 64"),
    "cut off": (simple(quarter_hours(4))[:-200], "is not whole XML"),
    "binary": (b"<\x00\xff\xfe\x01\x02" * 40, "is not whole XML"),
    "empty": (b"", "is empty"),
    "other XML": ("<svg xmlns='http://www.w3.org/2000/svg'><g/></svg>", "no interval readings"),
    "absurd duration": (simple([reading(JULY, 1, 10**15)]), "duration of at most 366 days"),
    "negative duration": (simple([reading(JULY, 1, -900)]), "duration of at most 366 days"),
    "year 9999": (simple([reading(253_370_764_800, 1)]), "start from 1970 to 2100"),
    "huge value": (simple([reading(JULY, "9" * 400)]), "needs a value"),
    "not a number": (simple([reading(JULY, "NaN")]), "needs a value"),
    "words": (simple([reading(JULY, "lots")]), "IntervalReading 1 needs a value"),
    "huge digits": (simple([reading("9" * 6000, 1)]), "needs a value"),
    "absurd multiplier": (simple(quarter_hours(2), {"powerOfTenMultiplier": 4000}), "powerOfTenMultiplier 4000"),
    "negative interval": (
        simple([reading(0, 1, timed=False)], {"intervalLength": -44}, start=JULY, length=900),
        "intervalLength -44",
    ),
    "absurd interval": (simple(quarter_hours(2), {"intervalLength": 10**12}), "intervalLength 1000000000000"),
    "a year each": (
        simple([reading(0, 1, timed=False)] * 90, {"intervalLength": 31_000_000}, start=JULY, length=900),
        "run beyond the year 2100",
    ),
    "no reading type": (feed(usage_point(), meter_reading(), block(quarter_hours(2))), "without a ReadingType"),
    "absurd clock": (
        simple(quarter_hours(2), clock=("-18000", "3600", "F60E2000", "B40E2000")),
        "LocalTimeParameters needs",
    ),
    "absurd offset": (
        simple(quarter_hours(2), clock=("99999999", "0", "FFFFFFFF", "FFFFFFFF")),
        "LocalTimeParameters needs",
    ),
    "unknown encoding": ('<?xml version="1.0" encoding="klingon"?><feed/>', "is not whole XML"),
}


@pytest.mark.parametrize("name", BAD)
def test_hostile_files_get_one_line(tmp_path, name):
    text, message = BAD[name]
    with pytest.raises(BadInput, match=message) as refused:
        read_meter(saved(tmp_path, text))
    assert "\n" not in str(refused.value)
    assert "usage.xml" in str(refused.value)


def test_an_absurd_block_duration_costs_nothing(tmp_path):
    meter = read_meter(saved(tmp_path, simple(quarter_hours(4), start=JULY, length=4_000_000_000)))
    assert meter.energy_kwh == 1.0


def test_csv_keys_are_refused_for_green_button(tmp_path):
    path = saved(tmp_path, simple(quarter_hours(4)))
    with pytest.raises(BadInput, match="dialect.labels says nothing about a Green Button file"):
        read_meter(path, dialect={"labels": "ending"})
    with pytest.raises(BadInput, match="column is for CSV files"):
        read_meter(path, column="kWh")


def test_titles_never_reach_the_document(tmp_path):
    text = str(meter_document(saved(tmp_path, simple(quarter_hours(4)), name="Doe-1-Long-Lane.xml")))
    assert not [word for word in ("Jane", "Doe", "Long") if word in text]


_numbers = st.one_of(st.integers(-(2**70), 2**70), st.sampled_from(["", "x", "1e400", "-0", "0x10", "1.5", " 7 "]))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.integers(-2, 12), st.sampled_from([0, 450, 900, 1800, 3600]), st.integers(-5, 5)), max_size=30
    ),
    st.one_of(st.none(), _numbers),
    st.one_of(st.none(), _numbers),
    st.sampled_from([1, 4, 9, 12]),
)
def test_any_small_file_reads_or_is_refused(tmp_path_factory, rows, start, length, behaviour):
    """Whatever the readings: a meter without overlaps whose energy is finite, or one line that says what is wrong."""
    text = simple(
        [reading(JULY + 900 * s, v, d) for s, d, v in rows],
        {"accumulationBehaviour": behaviour},
        **({} if start is None else {"start": start, "length": length}),
    )
    path = saved(tmp_path_factory.getbasetemp(), text, "any.xml")
    try:
        meter = read_meter(path)
    except BadInput as refused:
        assert "\n" not in str(refused)
        return
    assert (meter.start_utc[1:] >= (meter.start_utc + meter.duration_s)[:-1]).all()
    assert np.isfinite(meter.kwh).all()
    assert 0.0 <= meter.completeness_frac <= 1.0 + 1e-12


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.data())
def test_a_file_with_bytes_changed_reads_or_is_refused(tmp_path_factory, data):
    text = bytearray(simple(quarter_hours(6)).encode())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(text) - 1))
        text[at : at + data.draw(st.integers(0, 40))] = data.draw(st.binary(max_size=6))
    path = saved(tmp_path_factory.getbasetemp(), bytes(text), "changed.xml")
    try:
        assert read_meter(path).readings >= 1
    except BadInput as refused:
        assert "\n" not in str(refused)
