"""Many weather years on one site: hours, bills and savings by year and over all. The years are invented."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.designs.sweep import sweep
from simulate.document.study import study
from simulate.house.house import house_of
from simulate.house.weather_years import resampled
from simulate.physics.outages.spread import spread
from simulate.show.report.weather import weather_years_table
from simulate.site.named_files import contents
from simulate.site.site import read_site
from tests.weather.test_weather import invented_year, nsrdb_text

SITE = """
[site]
name = "Tanner Lane"
latitude = 40.0
longitude = -105.0
timezone = "America/Denver"
year = 2025
{weather}
[[circuit]]
name = "Heat pump"
breaker_a = 30
load = {{ heating_kw_per_degc = 0.03, balance_c = 16.0 }}
[[circuit]]
name = "Plugs"
breaker_a = 20
load = {{ kw = 0.2 }}
[[battery]]
usable_kwh = 10.0
continuous_kw = 5.0
leg = "both"
charging_circuit = {{ breaker_a = 30, volts = 240 }}
[subpanel]
mode = "interactive"
[solar]
dc_kw = 3.0
tilt_deg = 20.0
azimuth_deg = 180.0
connected_at = "main-panel"
[rate]
price_per_kwh = 0.20
"""
COLDER_C = {2017: 0.0, 2018: -6.0, 2019: 3.0}


def weather_file(folder, year, colder_c):
    table = invented_year(year)
    table["temp_c"] += colder_c
    path = folder / f"station-{year}.csv"
    path.write_text(nsrdb_text(table))
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("site")
    (place / "years").mkdir()
    for year, colder_c in COLDER_C.items():
        weather_file(place / "years", year, colder_c)
    return place


def site_of(folder, keys, name="site.toml"):
    path = folder / name
    path.write_text(SITE.format(weather=f"[weather]\n{keys}" if keys else ""))
    return read_site(path)


@pytest.fixture(scope="module")
def found(folder):
    return study(site_of(folder, 'source = "library:piedmont"\nyears = "years"'))


def test_each_year_is_what_the_site_does_in_it_alone(folder, found):
    rows = found.document["weather_years"]["years"]
    assert [row["year"] for row in rows] == ["2017", "2018", "2019"]
    alone = study(site_of(folder, 'years = "years"\nyear = 2018'))
    assert rows[1]["hours"] == alone.document["outage"]["hours"]
    assert rows[1]["saving"] == pytest.approx(alone.document["bill"]["saving"])
    assert rows[1]["load_kwh"] == pytest.approx(alone.document["energy_kwh"]["load"])
    assert rows[1]["load_kwh"] > rows[0]["load_kwh"] > rows[2]["load_kwh"]  # loads driven by weather move with it


def test_all_years_the_worst_one_and_how_far_the_typical_year_is_off(found):
    document = found.document["weather_years"]
    rows, own = document["years"], found.document
    assert document["label"] == "actual years"
    assert document["worst"] == {"year": "2018", "p10": min(row["hours"]["p10"] for row in rows)}
    assert (
        min(row["hours"]["p10"] for row in rows) <= document["hours"]["p10"] <= max(row["hours"]["p10"] for row in rows)
    )
    assert document["saving"]["mean"] == pytest.approx(np.mean([row["saving"] for row in rows]))
    assert document["typical"]["hours_off"] == pytest.approx(own["outage"]["hours"]["p10"] - document["hours"]["p10"])
    assert document["typical"]["saving"] == pytest.approx(own["bill"]["saving"])
    said = document["text"]
    assert said.startswith("Over 3 weather years (2017 to 2019): nine times in ten at least ")
    assert "the worst year, 2018, " in said and "The typical year says " in said
    assert [row[0] for row in weather_years_table(found).rows] == ["2017", "2018", "2019"]


def test_where_only_a_typical_year_is_there_the_sentence_says_so(folder):
    document = study(site_of(folder, 'source = "library:piedmont"')).document["weather_years"]
    assert (document["label"], document["years"], document["hours"]) == ("typical year only", [], None)
    assert "those of one typical year, not of the worst that can come" in document["text"]


def test_a_year_that_is_not_there_is_refused(folder):
    with pytest.raises(BadInput, match=r"site.toml: weather.year is not among weather.years.*it has 2017, 2018, 2019"):
        house_of(site_of(folder, 'years = "years"\nyear = 1999'))
    with pytest.raises(BadInput, match="weather.years must be a folder that holds weather files, or a file of several"):
        house_of(site_of(folder, 'years = "nothing-here"'))
    with pytest.raises(BadInput, match="weather.source is missing"):
        site_of(folder, 'storm_years = "years"')
    with pytest.raises(BadInput, match="weather.year picks one of weather.years, which is not given"):
        site_of(folder, 'source = "library:piedmont"\nyear = 2018')


def test_a_sweep_of_other_keys_carries_all_years_in_each_row(folder, found):
    rows = sweep(site_of(folder, 'source = "library:piedmont"\nyears = "years"'), {"battery.usable_kwh": [5.0, 10.0]})
    document = found.document["weather_years"]
    assert rows["out_years_p10"].iloc[1] == pytest.approx(document["hours"]["p10"])
    assert rows["out_years_worst_p10"].iloc[1] == pytest.approx(document["worst"]["p10"])
    assert rows["out_years_saving"].iloc[1] == pytest.approx(document["saving"]["mean"])
    assert (rows["out_years_p10"].diff().dropna() > 0).all()


def test_a_sweep_carries_the_years_as_rows(folder):
    site = site_of(folder, 'years = "years"')
    rows = sweep(site, {"weather.year": [2017, 2018, 2019], "battery.usable_kwh": [5.0, 10.0]})
    assert len(rows) == 6 and rows["out_hours_p10"].notna().all()
    by_year = rows[rows["in_battery.usable_kwh"] == 10.0].set_index("in_weather.year")["out_hours_p10"]
    assert by_year.idxmin() == 2018
    assert rows["out_years_p10"].isna().all()  # a row a year: not all of them again in each
    before = contents(site, {})
    assert list(before) == ["years"]
    (folder / "years" / "notes.txt").write_text("no weather file")
    assert contents(site, {}) == before
    weather_file(folder / "years", 2016, 1.0)
    assert contents(site, {}) != before


def test_weeks_keep_load_sun_and_cold_of_a_step_together(folder):
    """Every step of a year put together is a step of one house, at the same time of day on the same weekday."""
    houses = [house_of(site_of(folder, f'years = "years"\nyear = {year}')) for year in COLDER_C]
    one = resampled(houses, np.random.default_rng(3))
    theirs = {
        (*house.circuit_kw[:, t], house.solar_kw[t], house.hours.minute[t], house.hours.weekday[t])
        for house in houses
        for t in range(house.hours.n_steps)
    }
    skipped = one.hours.day == 67  # 9 March: the hour that the clock skips stands in for its neighbour
    for t in np.flatnonzero(~skipped)[::7]:
        step = (*one.circuit_kw[:, t], one.solar_kw[t], one.hours.minute[t], one.hours.weekday[t])
        assert step in theirs or one.hours.minute[t] in (60, 120), t
    again = resampled(houses, np.random.default_rng(3))
    assert np.array_equal(one.circuit_kw, again.circuit_kw)
    assert not np.array_equal(one.circuit_kw, resampled(houses, np.random.default_rng(4)).circuit_kw)


def test_resampled_years_are_labelled_and_fixed_by_their_seed(folder):
    keys = 'source = "library:piedmont"\nresample = {{ years = 3, seed = {} }}'
    first, same, other = (study(site_of(folder, keys.format(seed))).weather_years for seed in (1, 1, 2))
    assert first["label"] == "years put together from weeks"
    assert first["years"] == same["years"] != other["years"]
    assert "3 years put together from weeks that were read (not forecast, not measured)" in first["text"]
    assert spread(study(site_of(folder, 'source = "library:piedmont"')).ride.hours)["p10"] == first["typical"]["p10"]
