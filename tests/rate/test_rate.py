"""Rates laid on the hour axis. All rates here are invented."""

import datetime as dt
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput, read_noun
from profiles.rate.calendar import rate_calendar
from profiles.rate.prices import rate_prices
from profiles.rate.rate import Rate
from profiles.rate.source import library_rates, read_rate, resolve_rate

NEW_YORK = "America/New_York"
EXAMPLES = Path(__file__).parents[3] / "shared" / "examples"


def hours(year=2025, step_min=60, zone=NEW_YORK):
    return hours_of_year(year, zone, step_min)


def rate(**keys):
    return read_noun(Rate, keys, table="rate")


def one_season(*periods, **keys):
    return rate(season=[{"name": "year", "months": list(range(1, 13)), "periods": list(periods)}], **keys)


PEAK = {"name": "peak", "price_per_kwh": 0.30, "days": "weekday", "hours": "16:00-21:00"}
REST = {"name": "rest", "price_per_kwh": 0.10}


def on(local_date, axis, prices, name="year peak"):
    """Hours of the named period on a date."""
    day = (dt.date.fromisoformat(local_date) - dt.date(axis.year, 1, 1)).days
    return float(((axis.day == day) & (prices.period == prices.period_names.index(name))).sum() * axis.step_h)


# ---- windows, days and seasons on the local clock ------------------------------------------------------------------


def test_s32_peak_has_five_hours_on_both_clock_change_days():
    axis = hours()
    prices = rate_prices(
        one_season({**PEAK, "days": "all"}, {"name": "night", "price_per_kwh": 0.05, "hours": "00:00-06:00"}, REST),
        axis,
    )
    assert [on(day, axis, prices) for day in ("2025-03-09", "2025-11-02")] == [5.0, 5.0]
    assert [on(day, axis, prices, "year night") for day in ("2025-03-09", "2025-11-02")] == [5.0, 7.0]


@pytest.mark.parametrize(
    ("year", "observed", "peak_h"), [(2026, "sunday-only", 115), (2026, "observed", 110), (2026, "actual", 115)]
)
def test_s33_july_peak_hours_follow_the_holiday_rule_of_the_rate(year, observed, peak_h):
    axis = hours(year)
    prices = rate_prices(one_season(PEAK, REST, holidays="US", holiday_observed=observed), axis)
    assert int(((prices.period == 0) & (axis.month == 7)).sum()) == peak_h


def test_s33_a_sunday_holiday_moves_to_monday():
    axis = hours(2027)
    prices = rate_prices(one_season(PEAK, REST, holidays="US", holiday_observed="sunday-only"), axis)
    assert on("2027-07-05", axis, prices) == 0.0
    assert dt.date(2027, 7, 5) in prices.holidays


def test_named_holidays_are_added_and_taken_away():
    axis = hours()
    prices = rate_prices(
        one_season(PEAK, REST, holidays="US", extra_holidays=["2025-12-26"], removed_holidays=["2025-10-13"]), axis
    )
    assert on("2025-12-26", axis, prices) == 0.0
    assert on("2025-10-13", axis, prices) == 5.0


def test_a_holiday_is_a_sunday_for_named_days():
    axis = hours()
    prices = rate_prices(one_season({**PEAK, "days": "mon, tue, wed, thu, fri, sat"}, REST, holidays="US"), axis)
    assert on("2025-07-04", axis, prices) == 0.0  # a Friday
    assert on("2025-07-05", axis, prices) == 5.0  # the Saturday after it
    assert on("2025-07-06", axis, prices) == 0.0


def test_first_match_wins_and_windows_run_over_midnight():
    axis = hours()
    prices = rate_prices(one_season({"name": "night", "price_per_kwh": 0.05, "hours": "22:00-06:00"}, REST), axis)
    assert prices.buy_per_kwh[:24].tolist() == [0.05] * 6 + [0.10] * 16 + [0.05] * 2


def test_seasons_by_date_change_in_the_middle_of_a_month_and_over_new_year():
    axis = hours()
    summer = {"name": "summer", "from": "06-15", "to": "09-14", "periods": [{**REST, "price_per_kwh": 0.5}]}
    winter = {"name": "winter", "from": "09-15", "to": "06-14", "periods": [REST]}
    prices = rate_prices(rate(season=[summer, winter]), axis)
    dear = axis.day[prices.buy_per_kwh == 0.5]
    assert (dear.min(), dear.max()) == (
        (dt.date(2025, 6, 15) - dt.date(2025, 1, 1)).days,
        (dt.date(2025, 9, 14) - dt.date(2025, 1, 1)).days,
    )
    assert prices.buy_per_kwh[0] == prices.buy_per_kwh[-1] == 0.10


def test_season_by_cycle_changes_with_the_read_date():
    axis = hours()
    seasons = [
        {"name": "s", "months": [6, 7, 8, 9], "periods": [{**REST, "price_per_kwh": 0.5}]},
        {"name": "w", "months": [1, 2, 3, 4, 5, 10, 11, 12], "periods": [REST]},
    ]
    reads = [f"2025-{month:02d}-14" for month in range(1, 13)]
    by_cycle = rate_prices(rate(season=seasons, read_dates=reads, season_by="cycle"), axis)
    dear = axis.day[by_cycle.buy_per_kwh == 0.5]
    assert axis.local[axis.day == dear.min()][0].strftime("%m-%d") == "05-14"
    assert axis.local[axis.day == dear.max()][0].strftime("%m-%d") == "09-13"


def test_half_hour_bounds_need_half_hour_steps():
    half = {**PEAK, "hours": "16:30-21:00"}
    with pytest.raises(
        BadInput,
        match=r'rate.season "year".periods "peak".hours has a bound inside a step of 60 min.*'
        r"set site.step_min = 30",
    ):
        rate_prices(one_season(half, REST), hours())
    axis = hours(step_min=30)
    assert on("2025-07-07", axis, rate_prices(one_season(half, REST), axis)) == 4.5


def test_an_uncovered_month_is_named():
    with pytest.raises(BadInput, match="covers no season at 2025-05-01T00:00"):
        rate_prices(rate(season=[{"name": "a", "months": [1, 2, 3, 4], "periods": [REST]}]), hours())


def test_an_uncovered_hour_is_named():
    with pytest.raises(BadInput, match='"year".periods covers no price at 2025-01-01T00:00'):
        rate_prices(one_season(PEAK), hours())
    with pytest.raises(BadInput, match="covers no price at 2025-01-01T21:00"):
        rate_prices(one_season({**REST, "hours": "00:00-21:00"}), hours())


def test_a_period_that_is_never_reached_is_said():
    assert any('"year peak"' in note for note in rate_prices(one_season(REST, PEAK), hours()).cautions)


# ---- what one more kWh costs ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("export", "sell"),
    [
        ({"method": "none"}, 0.0),
        ({"method": "net-metering"}, 0.2),
        ({"method": "net-billing", "credit_per_kwh": 0.04}, 0.04),
    ],
)
def test_what_exports_earn(export, sell):
    prices = rate_prices(rate(price_per_kwh=0.2, export=export), hours())
    assert set(prices.sell_per_kwh.tolist()) == {sell}
    assert set(prices.buy_per_kwh.tolist()) == {0.2}


def test_prices_hold_riders_and_taxes_and_keep_back_what_cannot_be_bypassed():
    one = rate(
        price_per_kwh=0.2,
        rider=[{"name": "fuel", "per_kwh": 0.01}],
        tax=[{"name": "city", "frac": 0.1}],
        export={"method": "net-metering", "nonbypassable_per_kwh": 0.03},
    )
    prices = rate_prices(one, hours())
    assert prices.buy_per_kwh[0] == pytest.approx(0.231, abs=1e-12)
    assert prices.sell_per_kwh[0] == pytest.approx(0.187, abs=1e-12)


def test_credit_by_month_and_by_period():
    by_month = rate(price_per_kwh=0.2, export={"method": "net-billing", "credit_per_kwh": [k / 100 for k in range(12)]})
    axis = hours()
    assert np.array_equal(rate_prices(by_month, axis).sell_per_kwh, (axis.month - 1) / 100)
    export = {"method": "net-billing", "credit_per_kwh": 0.03}
    by_period = one_season({**PEAK, "credit_per_kwh": 0.25}, REST, export=export)
    assert set(rate_prices(by_period, axis).sell_per_kwh.tolist()) == {0.25, 0.03}


def test_tiers_price_steps_at_the_first_tier_and_say_so():
    prices = rate_prices(rate(tiers=[{"up_to": 600, "price_per_kwh": 0.1}, {"price_per_kwh": 0.2}]), hours())
    assert set(prices.buy_per_kwh.tolist()) == {0.1}
    assert any("first tier" in note for note in prices.notes)


def test_a_rider_may_be_a_credit_but_no_price_may_be_negative():
    assert rate_prices(rate(price_per_kwh=0.2, rider=[{"name": "f", "per_kwh": -0.01}]), hours()).buy_per_kwh[0] > 0
    with pytest.raises(BadInput, match="rate.rider make a price negative"):
        rate_prices(rate(price_per_kwh=0.2, rider=[{"name": "f", "per_kwh": -0.21}]), hours())


def test_what_cannot_be_bypassed_is_no_more_than_the_price():
    export = {"method": "net-metering", "nonbypassable_per_kwh": 0.21}
    with pytest.raises(BadInput, match="rate.export.nonbypassable_per_kwh exceeds a price, not 0.21"):
        rate_prices(rate(price_per_kwh=0.2, export=export), hours())


def test_prices_are_read_only():
    with pytest.raises(ValueError, match="read-only"):
        rate_prices(rate(price_per_kwh=0.2), hours()).buy_per_kwh[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        rate_prices(rate(price_per_kwh=0.2), hours()).period[0] = 1


# ---- hourly prices from a file -------------------------------------------------------------------------------------


def write_prices(path, axis, values, stamps=None):
    rows = "\n".join(f"{stamp},{value}" for stamp, value in zip(stamps or axis.local_text, values, strict=True))
    path.write_text("start,price_per_kwh\n" + rows + "\n")
    return resolve_rate(rate(hourly_prices={"csv": path.name}), path.parent)


def test_hourly_prices_may_be_negative(tmp_path):
    axis, values = hours(), np.round(np.sin(np.arange(8760.0)), 6)
    one = write_prices(tmp_path / "p.csv", axis, values.tolist())
    assert np.array_equal(rate_prices(one, axis).buy_per_kwh, values)


def test_hourly_prices_hold_through_finer_steps_and_local_stamps_follow_the_clock(tmp_path):
    axis, values = hours(), np.arange(8760.0)
    naive = [f"{stamp:%Y-%m-%d %H:%M}" for stamp in axis.local]  # 01:00 stands twice on 2 November
    one = write_prices(tmp_path / "p.csv", axis, values.tolist(), naive)
    assert np.array_equal(rate_prices(one, axis).buy_per_kwh, values)
    assert np.array_equal(rate_prices(one, hours(step_min=15)).buy_per_kwh, np.repeat(values, 4))


def test_hourly_prices_per_mwh_with_an_adder(tmp_path):
    axis = hours()
    (tmp_path / "p.csv").write_text("t,lmp\n" + "\n".join(f"{stamp},50" for stamp in axis.local_text))
    one = rate(
        hourly_prices={
            "csv": str(tmp_path / "p.csv"),
            "time_column": "t",
            "price_column": "lmp",
            "price_unit": "per_mwh",
            "adder_per_kwh": 0.02,
        }
    )
    assert rate_prices(one, axis).buy_per_kwh[0] == pytest.approx(0.07, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda rows: rows[:100] + rows[101:], "has no price at 2025-01-05T03:00:00-05:00"),
        (lambda rows: [*rows, rows[5]], "is there twice"),
        (lambda rows: rows[:7] + [rows[7].split(",")[0] + ",abc"] + rows[8:], "data row 7 must be a number, not 'abc'"),
        (lambda rows: rows[:7] + ["soon,0.1"] + rows[8:], "cannot be read as times of America/New_York"),
        (lambda rows: rows[:2] + [row.replace("-05:00,", ",") for row in rows[2:]], "cannot be read as times"),
        (lambda rows: ["begin,price_per_kwh", *rows[1:]], "hourly_prices is not a column of the file, not 'start'"),
    ],
)
def test_a_bad_price_file_is_refused_in_one_line(tmp_path, change, message):
    axis = hours()
    one = write_prices(tmp_path / "p.csv", axis, [0.1] * 8760)
    path = tmp_path / "p.csv"
    path.write_text("\n".join(change(path.read_text().splitlines())))
    with pytest.raises(BadInput, match=message) as refusal:
        rate_prices(one, axis)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize("wrong", ["2025-03-09 02:30", "2025-11-02 01:00"])
def test_local_stamps_that_the_clock_leaves_open_are_refused(tmp_path, wrong):
    axis = hours()
    naive = [f"{stamp:%Y-%m-%d %H:%M}" for stamp in axis.local]
    naive = [*dict.fromkeys(naive), wrong][
        : len(naive)
    ]  # 01:00 stands once; one stamp does not exist or is out of order
    with pytest.raises(BadInput, match="cannot be read as times of America/New_York"):
        rate_prices(write_prices(tmp_path / "p.csv", axis, [0.1] * len(naive), naive), axis)


def test_a_changed_price_file_is_read_again(tmp_path):
    axis = hours()
    one = write_prices(tmp_path / "p.csv", axis, [0.1] * 8760)
    assert rate_prices(one, axis).buy_per_kwh[0] == 0.1
    write_prices(tmp_path / "p.csv", axis, [0.25] * 8760)
    assert rate_prices(one, axis).buy_per_kwh[0] == 0.25


# ---- the keys ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"price_per_kwh": 0.1, "fxed_per_month": 3}, "is not a known key, not 3; did you mean fixed_per_month?"),
        ({"price_per_kwh": -0.1}, "rate.price_per_kwh must be at least 0, not -0.1"),
        ({"price_per_kwh": float("nan")}, "rate.price_per_kwh should be a finite number"),
        ({"price_per_kwh": "0.1"}, "rate.price_per_kwh should be a valid number"),
        ({}, "rate has no price; give price_per_kwh"),
        ({"price_per_kwh": 0.1, "tiers": [{"price_per_kwh": 0.1}]}, "has price_per_kwh and tiers: a rate needs one"),
        ({"season": [{"name": "a", "months": [1], "periods": [REST, {**REST, "price_per_kwh": 9}]}]}, "has two prices"),
        ({"tiers": [{"price_per_kwh": 0.1}, {"price_per_kwh": 0.2}]}, "rate.tiers.up_to must rise"),
        ({"tiers": [*({"up_to": end, "price_per_kwh": 1} for end in (9, 5)), {"price_per_kwh": 1}]}, "must rise"),
        (
            {"price_per_kwh": 0.1, "export": {"method": "net-billing"}},
            "export.credit_per_kwh is missing for net-billing",
        ),
        ({"price_per_kwh": 0.1, "export": {"method": "none", "netting": "hour"}}, "rate.export.method pays nothing"),
        ({"price_per_kwh": 0.1, "export": {"method": "net-metering", "netting": "hour"}}, "nets over the month"),
        (
            {"hourly_prices": {"csv": "p.csv"}, "export": {"method": "net-metering", "unused": "carry-kwh"}},
            "export.unused",
        ),
        (
            {
                "hourly_prices": {"csv": "p.csv"},
                "export": {"method": "net-billing", "credit_per_kwh": 0.1, "netting": "day"},
            },
            "export.netting has no price of its own",
        ),
        ({"price_per_kwh": 0.1, "demand": [{"per_kw": 3, "window_min": 45}]}, "rate.demand.*window_min"),
        ({"price_per_kwh": 0.1, "demand": [{"name": "d"}]}, 'rate.demand "d" needs one of per_kw and tiers'),
        ({"season": [{"name": "a", "months": [13], "periods": [REST]}]}, 'rate.season "a".months'),
        ({"season": [{"name": "a", "from": "02-30", "to": "03-01", "periods": [REST]}]}, "must be a day of the year"),
        ({"season": [{"name": "a", "periods": [REST]}]}, 'needs either months or both "from" and "to"'),
        (
            {"season": [{"name": "a", "months": [1], "periods": [{**REST, "days": "weakday"}]}]},
            "must be kinds or names",
        ),
        ({"price_per_kwh": 0.1, "read_dates": []}, "rate.read_dates"),
    ],
)
def test_a_wrong_key_is_refused_in_one_line(keys, message):
    with pytest.raises(BadInput, match=message) as refusal:
        rate(**keys)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    ("dates", "message"),
    [
        (["2025-02-30"], "rate.read_dates must be ISO dates"),
        (["2025-03-01", "2025-02-01"], "rate.read_dates must rise"),
        (["2023-03-01"], "rate.read_dates has no date in 2025"),
    ],
)
def test_wrong_read_dates_are_refused(dates, message):
    with pytest.raises(BadInput, match=message):
        rate_calendar(rate(price_per_kwh=0.1, read_dates=dates), hours())


def test_every_key_is_described_and_money_names_its_unit():
    seen, stack = set(), [Rate.model_json_schema()]
    while stack:
        node = stack.pop()
        for name, one in node.get("properties", {}).items():
            assert one.get("description"), name
            if name.endswith(("_per_kwh", "_per_kw", "_per_month", "_per_day")):
                assert "currency/" in one["description"] or "what net billing pays" in one["description"], name
            seen.add(name)
        stack += list(node.get("$defs", {}).values())
    assert {"per_kw", "from", "netting", "up_to"} <= seen


# ---- where rates come from -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", library_rates())
def test_library_rates_cover_the_year_and_say_that_they_are_invented(name):
    one = read_rate(f"library:{name}")
    assert "invented" in one.name and "Invented" in one.description
    assert (rate_prices(one, hours()).buy_per_kwh > 0).all()


@pytest.mark.parametrize("header", ["", "[rate]\n"])
def test_a_rate_file_holds_its_keys_at_the_top_or_under_rate(tmp_path, header):
    (tmp_path / "mine.toml").write_text(header + 'name = "mine"\nprice_per_kwh = 0.2\n')
    assert read_rate("mine.toml", tmp_path).price_per_kwh == 0.2
    assert resolve_rate(Rate(source="mine.toml"), tmp_path).name == "mine"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("price_per_kwh = ", "mine.toml: is not TOML"),
        ("price_per_kwk = 1", "did you mean price_per_kwh?"),
        ('source = "library:flat"', "names another rate"),
    ],
)
def test_a_bad_rate_file_is_named(tmp_path, text, message):
    (tmp_path / "mine.toml").write_text(text)
    with pytest.raises(BadInput, match=message) as refusal:
        read_rate("mine.toml", tmp_path)
    assert str(tmp_path / "mine.toml") in str(refusal.value)


def test_a_missing_rate_names_the_way_out(tmp_path):
    with pytest.raises(BadInput, match="rate.source is not a rate of the library.*library:flat"):
        read_rate("library:none")
    with pytest.raises(BadInput, match="site.toml: rate.source cannot be read"):
        resolve_rate(Rate(source="gone.toml"), tmp_path, file="site.toml")


def test_keys_beside_a_source_replace_its_own(tmp_path):
    one = resolve_rate(rate(source="library:three_period", holidays="none", fixed_per_month=20.0), tmp_path)
    assert (one.holidays, one.fixed_per_month, one.minimum_per_month) == ("none", 20.0, 14.0)
    with pytest.raises(BadInput, match="site.toml: rate has price_per_kwh and season"):
        resolve_rate(rate(source="library:three_period", price_per_kwh=0.1), tmp_path, file="site.toml")


def test_an_unread_source_has_no_prices():
    with pytest.raises(BadInput, match="use resolve_rate first"):
        rate_prices(Rate(source="library:flat"), hours())


def test_a_rate_survives_json_with_its_own_keys():
    one = rate(season=[{"name": "s", "from": "01-01", "to": "12-31", "periods": [REST]}], demand=[{"per_kw": 2}])
    assert read_noun(Rate, json.loads(one.model_dump_json(exclude_unset=True))) == one


@pytest.mark.skipif(not EXAMPLES.exists(), reason="the example site files are not here")
@pytest.mark.parametrize("file", ["quarry-hill.toml", "one-unit.toml"])
def test_the_rates_of_the_example_sites_are_accepted(file):
    data = tomllib.loads((EXAMPLES / file).read_text())
    for table in ("rate", "rate_today"):
        if table in data:
            assert (rate_prices(read_noun(Rate, data[table], table=table), hours()).buy_per_kwh > 0).all()


def test_rates_that_differ_in_price_share_their_calendar():
    axis = hours()
    one, other = (one_season(PEAK, {**REST, "price_per_kwh": price}) for price in (0.1, 0.2))
    assert rate_calendar(one, axis) is rate_calendar(other, axis)


@pytest.mark.parametrize("held", [b"", b"\xfd\x00\x81", b'start,price_per_kwh\n2025-01-01T00:00,"0.1\n'])
def test_a_file_that_is_no_table_of_prices_is_refused(tmp_path, held):
    (tmp_path / "p.csv").write_bytes(held)
    with pytest.raises(BadInput, match="p.csv: hourly_prices cannot be read as CSV"):
        rate_prices(rate(hourly_prices={"csv": str(tmp_path / "p.csv")}), hours_of_year(2025, "UTC"))


def test_a_folder_and_a_price_beyond_belief_are_refused(tmp_path):
    axis = hours_of_year(2025, "UTC")
    with pytest.raises(BadInput, match="rate.hourly_prices.csv is a folder"):
        rate_prices(rate(hourly_prices={"csv": str(tmp_path)}), axis)
    with pytest.raises(BadInput, match="data row 1 must be a number, not '1e.308'"):
        rate_prices(write_prices(tmp_path / "p.csv", axis, [1e308] * 8760), axis)


@pytest.mark.parametrize(
    "keys",
    [
        {"price_per_kwh": 1e308},
        {"price_per_kwh": 0.1, "fixed_per_month": 1e300},
        {"price_per_kwh": 0.1, "rider": [{"name": "r", "per_kwh": -1e300}]},
    ],
)
def test_a_price_that_no_bill_can_hold_is_refused(keys):
    with pytest.raises(BadInput, match="must be at (most|least) -?1000000"):
        rate(**keys)
