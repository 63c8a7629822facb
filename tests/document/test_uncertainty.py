"""Ranges of a site's saving, hours and present value: each end equals the site written that way. Invented sites."""

import pytest

from profiles.noun import BadInput
from profiles.rate.rate import Rate
from profiles.rate.source import read_rate
from simulate.document.uncertainty import SPANS, Span, ranges_of, span_of, spread_prices
from simulate.document.worth import worth_of
from simulate.house.bills import bills_of
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from simulate.physics.outages.spread import nine_in_ten
from simulate.show.terminal import money as bill_view
from tests.document.test_worth import PEAK, shown
from tests.site.small_site import circuit, farmhouse, small_site, unit

EXACT = 1e-9
UNIT = {
    "usable_kwh": 6.0,
    "charge_efficiency": None,
    "discharge_efficiency": None,
    "round_trip_efficiency": 0.85,
    "no_load_w": 40.0,
    "on_grid_w": 12.0,
    "fade_frac_per_year": 0.02,
    "installed_price": 900.0,
}


def house(load=1.0, high=0.30, money=True, rate=None, **unit_keys):
    keys = {key: value for key, value in (unit() | UNIT | unit_keys).items() if value is not None}
    lights = [circuit("Lights", 0.6 * load, rate_transfer=True), circuit("Boiler", 0.2 * load, priority=1)]
    periods = [{**PEAK, "price_per_kwh": high}, {"name": "off", "price_per_kwh": 0.10}]
    season = {"season": [{"name": "all", "months": list(range(1, 13)), "periods": periods}]}
    tables = {
        "rate": rate or season,
        "operation": {"plan": "time-of-use", "reserve": 0.3},
        "service": {"other_load": {"kw": 0.4 * load}},
    }
    if money:
        tables["money"] = {"years": 8, "price_escalation_frac": 0.02}
    return small_site(lights, [keys], **tables)


def results(site):
    run = run_year(site)
    bills = bills_of(run)
    worth = worth_of(run, bills)
    return bills.saving, nine_in_ten(ride_through(run).hours), None if worth is None else worth.flow.npv


@pytest.fixture(scope="module")
def ranged():
    return ranges_of(house())


SAME = {
    "load": [{"load": 0.8}, {"load": 1.2}],
    "price spread": [{"high": 0.25}, {"high": 0.35}],
    "round-trip efficiency": [{"round_trip_efficiency": 0.80}, {"round_trip_efficiency": 0.92}],
    "usable energy": [{"usable_kwh": 6.0 * 0.80 / 0.95}, {"usable_kwh": 6.0 / 0.95}],
    "no-load draw": [{"no_load_w": 20.0}, {"no_load_w": 100.0}],
    "on-grid draw": [{"on_grid_w": 5.0}, {"on_grid_w": 40.0}],
    "fade": [{"fade_frac_per_year": 0.01}, {"fade_frac_per_year": 0.035}],
}


@pytest.mark.parametrize("name", SAME)
def test_each_end_is_the_site_written_that_way(ranged, name):
    ends = [results(house(**keys)) for keys in SAME[name]]
    for k, rows in enumerate((ranged.saving, ranged.hours, ranged.npv)):
        row = next((row for row in rows if row.name == name), None)
        if name == "fade" and k < 2:
            assert row is None  # a first year does not fade
        else:
            assert (row.at_low, row.at_high) == pytest.approx((ends[0][k], ends[1][k]), abs=1e-6)


@pytest.mark.parametrize(
    ("name", "key", "ends"),
    [
        ("reserve", "operation.reserve", (0.0, 1.0)),
        ("price escalation", "money.price_escalation_frac", (0.0, 0.05)),
    ],
)
def test_choices_and_escalation_too(ranged, name, key, ends):
    row = next(row for row in ranged.npv if row.name == name)
    npvs = [results(house().with_values({key: end}))[2] for end in ends]
    assert (row.at_low, row.at_high) == pytest.approx(npvs, abs=1e-6)


def test_the_middle_is_the_site_as_stated(ranged):
    stated = results(house())
    for rows, own in zip((ranged.saving, ranged.hours, ranged.npv), stated, strict=True):
        assert {row.at_mid for row in rows} == {own}
        low, mid, high = span_of(rows)
        assert low <= mid == own <= high
        assert [row.swing for row in rows] == sorted((row.swing for row in rows), reverse=True)
    assert next(row.mid for row in ranged.saving if row.name == "round-trip efficiency") == pytest.approx(0.85)


def test_every_input_says_on_what_ground_it_was_varied(ranged):
    assert set(SPANS) == {row.name for row in ranged.npv}
    for row in ranged.document()["npv"]["inputs"]:
        assert row["unit"] and row["basis"]
    assert all("no citation" in span.basis or "choice" in span.basis for span in SPANS.values())


def test_a_stated_value_outside_a_range_widens_it():
    ranged = ranges_of(house(money=False, no_load_w=150.0), spans={"no-load draw": SPANS["no-load draw"]})
    row = ranged.hours[0]
    assert (row.low, row.mid, row.high) == (20.0, 150.0, 150.0)
    assert row.at_mid == row.at_high < row.at_low


def test_what_a_site_lacks_is_left_out_and_said():
    flat = house(money=False, rate={"price_per_kwh": 0.2})
    ranged = ranges_of(flat)
    assert "price spread: not varied, the rate has one price, tiers or a price series" in ranged.notes
    assert "fade: not varied, the site has no [money]" in ranged.notes
    assert "weather year: not varied, one year is simulated; give the files of others" in ranged.notes
    assert ranged.npv == () and ranged.document()["npv"] is None
    assert "price spread" not in {row.name for row in ranged.saving}


def test_a_missing_price_leaves_out_the_present_value():
    ranged = ranges_of(house(installed_price=None), spans={"load": SPANS["load"]})
    assert ranged.npv == () and any("no price of its units" in note for note in ranged.notes)


def test_other_weather_years_are_simulated_as_the_site_with_that_file():
    site = farmhouse()
    ranged = ranges_of(
        site, weather=["library:alaska-coast", "library:south-florida"], spans={"load": Span(1, 1, "", "")}
    )
    years = [site] + [
        site.with_values({"weather.source": f"library:{name}"}) for name in ("alaska-coast", "south-florida")
    ]
    savings, hours, npvs = zip(*(results(year) for year in years), strict=True)
    for rows, values in ((ranged.saving, savings), (ranged.hours, hours), (ranged.npv, npvs)):
        row = next(row for row in rows if row.name == "weather year")
        assert (row.at_low, row.at_mid, row.at_high) == pytest.approx((min(values), values[0], max(values)))
    assert any(note.startswith("weather year library:alaska-coast: saving") for note in ranged.notes)


def test_weather_of_a_site_that_uses_none_is_refused(tmp_path):
    with pytest.raises(BadInput, match="bench.toml: weather is given for a site that uses none, not"):
        ranges_of(house(), weather=[tmp_path / "other.epw"], spans={})


def test_an_unknown_input_is_refused():
    with pytest.raises(BadInput, match="spans is not an input that can be varied, not 'lode'; known: load,"):
        ranges_of(house(), spans={"lode": SPANS["load"]})


def test_a_spread_keeps_the_cheapest_price_of_each_season():
    rate = read_rate("library:three_period")
    wide = spread_prices(rate, 1.5)
    for season, other in zip(rate.season, wide.season, strict=True):
        prices = [[period.price_per_kwh for period in one.periods] for one in (season, other)]
        assert min(prices[0]) == min(prices[1])
        assert prices[1] == pytest.approx([min(prices[0]) + 1.5 * (price - min(prices[0])) for price in prices[0]])
    assert spread_prices(Rate(price_per_kwh=0.2), 1.5) is None
    assert spread_prices(rate, 1.0).season == rate.season


def test_a_result_is_printed_as_its_range(ranged):
    text = shown(bill_view.show_ranges, ranged)
    low, mid, high = span_of(ranged.saving)
    assert f"bill saving [USD a year]: {round(low):,} to {round(high):,}, {round(mid):,} as stated" in text
    assert "hours, nine times in ten: " in text and "net present value [USD]: " in text
    assert "our choice, no citation" in text and "One input at a time" in text
    assert "no effect: price spread" in text
