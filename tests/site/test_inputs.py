"""Files that people already have, asked for from a site file and followed to the document of a study.

The meter files and weather years are invented.
"""

import datetime as dt
import shutil
import zoneinfo
from pathlib import Path

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from profiles.weather.weather import read_weather
from simulate.document.study import study
from simulate.house.house import house_of
from simulate.house.year import run_year
from simulate.site.site import read_site

ZONE = "America/New_York"
SITE = """
[site]
name = "Tanner Lane"
latitude = 36.1
longitude = -79.95
timezone = "America/New_York"
{year}
[service]
whole_house = {{ meter = "usage.csv"{keys} }}
[[circuit]]
name = "Refrigerator"
breaker_a = 20
load = {{ shape = "refrigerator", annual_kwh = 600 }}
[[battery]]
usable_kwh = 3.0
continuous_kw = 2.4
charging_circuit = {{ breaker_a = 30, volts = 120 }}
[rate]
price_per_kwh = 0.16
{more}
"""
WEATHER = '[weather]\nsource = "library:piedmont"\n'


def site_of(tmp_path, keys="", year="", more="", **meter):
    write_meter(tmp_path / "usage.csv", **meter)
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(keys=keys, year=year, more=more))
    return read_site(path)


def write_meter(path, year=2025, keep=lambda hours: np.ones(hours.n_steps, bool), flag=lambda k: "A", zone=ZONE):
    hours = hours_of_year(year, zone)
    kwh = house_kw(hours)
    local = [
        dt.datetime.fromtimestamp(int(s), zoneinfo.ZoneInfo(zone)).isoformat() for s in hours.utc.as_unit("s").asi8
    ]
    rows = [f"{local[k]},{kwh[k]!r},{flag(k)}" for k in map(int, np.flatnonzero(keep(hours)))]
    path.write_text("\n".join(["Start,kWh,Quality", *rows]))


def house_kw(hours):
    """More in winter, in the evening and at weekends; no weather."""
    kw = (
        0.6
        + 0.4 * np.cos((hours.month - 1) / 6 * np.pi)
        + 0.5 * (hours.minute // 60 == 19)
        + 0.2 * (hours.weekday >= 5)
    )
    return [float(x) for x in np.round(kw, 6)]


def test_every_result_says_how_good_the_meter_file_is(tmp_path):
    lost = {100, 101, 102, 103, 4000}
    site = site_of(
        tmp_path, keep=lambda h: ~np.isin(np.arange(h.n_steps), list(lost)), flag=lambda k: "E" if k < 876 else "A"
    )
    said = "\n".join(study(site).document["assumptions"])
    assert (
        "usage.csv: 8,755 readings of 60 min" in said and "99.94 % complete, 9.96 % of the readings estimated" in said
    )
    assert "usage.csv: 1 interpolated" in said and "usage.csv: 4 like-day" in said
    assert "kWh were filled in, not read" in said
    assert "usage.csv: read as CSV: long, a row a reading" in said
    assert "site.year = 2025 (the year that usage.csv covers)" in said


def test_part_of_a_year_is_refused_until_a_method_is_stated(tmp_path):
    site = site_of(tmp_path, year="year = 2025", keep=lambda h: h.day < 240)
    with pytest.raises(
        BadInput, match=r'has no readings from 2025-08-29.*state extend = "like-weekdays" or "degree-days"'
    ):
        house_of(site)


@pytest.mark.parametrize("year", ["", "year = 2025"])
def test_part_of_a_year_is_extended_by_like_weekdays_in_every_result(tmp_path, year):
    site = site_of(tmp_path, ', extend = "like-weekdays"', year, keep=lambda h: h.day < 240)
    house = house_of(site)
    hours = house.hours
    assert hours.year == 2025
    read = hours.day < 240
    kw = np.array(house_kw(hours))
    assert house.load_kw[read] == pytest.approx(kw[read])
    assert house.load_kw.sum() == pytest.approx(kw.sum(), rel=0.1)
    said = "\n".join(study(site).document["assumptions"])
    assert "usage.csv: 3001 extended (34 % of the year): added by like-weekdays" in said
    assert "kWh were filled in, not read" in said


def test_part_of_a_year_is_extended_by_degree_days_with_the_site_s_weather(tmp_path):
    keys = ', extend = "degree-days"'
    with pytest.raises(BadInput, match="weather.source is missing"):
        house_of(site_of(tmp_path, keys, keep=lambda h: h.day < 240))
    site = site_of(tmp_path, keys, more=WEATHER, keep=lambda h: h.day < 240)
    said = "\n".join(study(site).document["assumptions"])
    assert "added by degree-days: " in said and "per heating" in said and "(R2 " in said


def test_another_year_is_refused_until_it_is_asked_for_and_then_kept_by_weekday(tmp_path):
    with pytest.raises(BadInput, match="set site.year = 2023, or state redate = true"):
        house_of(other_year(tmp_path, ""))
    house = house_of(other_year(tmp_path, ", redate = true"))
    hours, theirs = house.hours, hours_of_year(2023, ZONE)
    assert hours.year == 2025
    weekend, kw = hours.weekday >= 5, np.array(house_kw(theirs))
    for mine, other in ((weekend, theirs.weekday >= 5), (~weekend, theirs.weekday < 5)):
        assert house.load_kw[mine].mean() == pytest.approx(kw[other].mean(), rel=0.005)
    assert any("usage.csv: 365 redated" in note and "by weekday and season" in note for note in house.notes)


def other_year(tmp_path, keys, **meter):
    """A site of 2025 with a meter file of 2023."""
    site_of(tmp_path, keys, "year = 2025")
    write_meter(tmp_path / "usage.csv", 2023, **meter)
    return read_site(tmp_path / "site.toml")


def test_part_of_another_year_is_extended_and_then_redated(tmp_path):
    house = house_of(other_year(tmp_path, ', redate = true, extend = "like-weekdays"', keep=lambda h: h.day < 300))
    kinds = "\n".join(house.notes)
    assert "extended (18 % of the year)" in kinds and "readings of 2023 on the days of 2025" in kinds


def test_redate_leaves_a_file_of_the_site_s_own_year_alone(tmp_path):
    plain, asked = (house_of(site_of(tmp_path, keys, "year = 2025")) for keys in ("", ", redate = true"))
    assert np.array_equal(plain.load_kw, asked.load_kw)


ROOF = '[solar]\ndc_kw = 3.0\ntilt_deg = 20.0\nazimuth_deg = 180.0\nconnected_at = "main-panel"\n'


def netted(tmp_path, keys="", more="", roof_kw=None):
    """A site whose meter nets a roof that makes 3 kW from 10:00 to 15:00, or as told; the house uses 1 kW throughout."""
    made = [3.0 if 10 <= k % 24 < 15 else 0.0 for k in range(8760)] if roof_kw is None else roof_kw
    rows = [f"{text},{1.0 - kw!r},A" for text, kw in zip(starts(2025), made, strict=True)]
    site = site_of(tmp_path, keys, more=more)
    (tmp_path / "usage.csv").write_text("\n".join(["Start,Net kWh,Quality", *rows]))
    return site


def test_a_meter_that_nets_solar_is_asked_about(tmp_path):
    for more in ("", WEATHER + ROOF):
        with pytest.raises(
            BadInput, match=r"whole_house.meter nets solar \(3,650.0 kWh flowed back.*state add_solar = true"
        ):
            house_of(netted(tmp_path, more=more))
    kept = house_of(netted(tmp_path, ", add_solar = false"))
    assert kept.load_kw.sum() == pytest.approx(8760 - 5475)
    assert "nets-solar" in "\n".join(kept.notes)
    with pytest.raises(BadInput, match="add_solar needs the roof that stood behind the meter"):
        house_of(netted(tmp_path, ", add_solar = true"))


def test_the_roof_is_added_back_and_counted_once(tmp_path):
    """A constant house of 1 kW behind a roof: its use is found again, and solar is not taken off twice."""
    roof = house_of(netted(tmp_path, ", add_solar = false", WEATHER + ROOF)).solar_kw
    site = netted(tmp_path, ", add_solar = true", WEATHER + ROOF, roof_kw=[float(kw) for kw in roof])
    house = house_of(site)
    assert house.load_kw == pytest.approx(np.ones(8760))
    assert house.solar_kw == pytest.approx(roof)
    assert "the meter plus what [solar] makes" in "\n".join(study(site).document["assumptions"])


def test_a_circuit_gives_nothing_back(tmp_path):
    site = netted(tmp_path, ", add_solar = false")
    text = (
        (tmp_path / "site.toml").read_text().replace('shape = "refrigerator", annual_kwh = 600', 'meter = "usage.csv"')
    )
    (tmp_path / "site.toml").write_text(text)
    with pytest.raises(BadInput, match=r'circuit "Refrigerator".load has 1825 steps below zero .*turn the clamp round'):
        house_of(read_site(tmp_path / "site.toml"))
    rows = [f"{text},{-0.001 if k == 50 else 0.1},A" for k, text in enumerate(starts(2025))]
    (tmp_path / "usage.csv").write_text("\n".join(["Start,kWh,Quality", *rows]))
    house = house_of(read_site(tmp_path / "site.toml"))
    assert house.circuit_kw.min() == 0.0 and any(
        "1 steps below zero (0.001 kWh) taken as zero" in note for note in house.notes
    )
    assert site.service.whole_house.add_solar is False


def starts(year):
    zone = zoneinfo.ZoneInfo(ZONE)
    return [
        dt.datetime.fromtimestamp(int(s), zone).isoformat() for s in hours_of_year(year, ZONE).utc.as_unit("s").asi8
    ]


def actual_years(folder: Path) -> Path:
    """Two invented years: the library's one with its own coldest day moved, written as TMY3 files of one year each."""
    import importlib.util

    folder.mkdir()
    data = Path(importlib.util.find_spec("pvlib").submodule_search_locations[0]) / "data" / "723170TYA.CSV"
    head, names, *rows = data.read_text().splitlines()
    column = names.split(",").index("Dry-bulb (C)")
    for year, month, day, cold in ((2019, "01", "20", -25.0), (2021, "02", "15", -19.0)):
        made = []
        for row in rows:
            cells = row.split(",")
            cells[0] = f"{cells[0][:6]}{year}"
            if cells[0][:5] == f"{month}/{day}":
                cells[column] = str(cold)
            made.append(",".join(cells))
        (folder / f"{year}.csv").write_text("\n".join([head, names, *made, ""]))
    return folder


STORMS = WEATHER + 'storm_years = "years"\n[outage]\nper_year = 1.5\nmean_h = 6.0\n'


def late_stamps(folder: Path, minutes: int) -> Path:
    """The library's typical year as an EPW-like TMY3 file whose values stand some minutes after their stamps."""
    weather = read_weather("library:piedmont")
    fine = np.repeat(np.column_stack((weather.ghi, weather.dni, weather.dhi)), 60, axis=0)
    moved = np.roll(fine, minutes, axis=0).reshape(8760, 60, 3).mean(axis=1)
    lines = ['723170,"INVENTED SHIFT",NC,-5.0,36.100,-79.950,270']
    lines += ["Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),DNI (W/m^2),DHI (W/m^2),Dry-bulb (C),Wspd (m/s)"]
    day = dt.date(2019, 1, 1)
    for k, (ghi, dni, dhi) in enumerate(moved):
        date = day + dt.timedelta(days=k // 24)
        air = f"{weather.temp_c[k]:.1f},{weather.wind_m_s[k]:.1f}"
        lines.append(f"{date:%m/%d/%Y},{k % 24 + 1:02d}:00,{ghi:.0f},{dni:.0f},{dhi:.0f},{air}")
    path = folder / "late.csv"
    path.write_text("\n".join([*lines, ""]))
    return path


@pytest.mark.parametrize(("minutes", "side"), [(30, "late"), (-30, "early")])
def test_stamps_that_stand_minutes_off_say_what_that_does_to_the_roof(tmp_path, minutes, side):
    """Moved back by the minutes that it is off, the roof's year is that of the unmoved file within a percent.

    Not closer: each hour of the file is now the mean of parts of two.
    """
    late_stamps(tmp_path, minutes)
    found = house_of(site_of(tmp_path, ", add_solar = false", "year = 2025", '[weather]\nsource = "late.csv"\n' + ROOF))
    note = next(note for note in found.notes if "against the sun" in note)
    assert f"{side} against the sun" in note and "take an NSRDB CSV file or PVGIS's typical year" in note
    off_min = float(note.split("about ")[1].split(" min")[0])
    assert off_min == pytest.approx(30, abs=8)
    said = float(note.split("would make ")[1].split(" kWh")[0].replace(",", ""))
    right = house_of(site_of(tmp_path, ", add_solar = false", "year = 2025", WEATHER + ROOF))
    assert said == pytest.approx(right.solar_kw.sum(), rel=0.01)
    assert not any("against the sun" in note for note in right.notes)


def test_the_hardest_days_come_from_a_folder_of_actual_years(tmp_path):
    actual_years(tmp_path / "years")
    result = study(site_of(tmp_path, more=STORMS))
    rows = {row["why"]: row for row in result.document["outage"]["reliability"]["storm_days"]}
    assert (rows["coldest"]["date"], rows["coldest"]["temp_c"]) == ("2019-01-20", pytest.approx(-24.4, abs=2.0))
    assert all(row["hours"]["min"] > 0.0 for row in rows.values())


def test_the_hardest_day_is_simulated_in_its_own_weather(tmp_path):
    """A heater that follows the weather empties the battery sooner on the day that was colder."""
    from simulate.house.reliability import reliability_of
    from simulate.house.ride import ride_through

    heater = '\n[[circuit]]\nname = "Heater"\nbreaker_a = 15\nload = { heating_kw_per_degc = 0.02, balance_c = 18.0 }\n'
    actual_years(tmp_path / "years")
    got = []
    for more in (STORMS, STORMS.replace('storm_years = "years"\n', "")):
        site = site_of(tmp_path, more=more + heater)
        rows = reliability_of(ride_through(run_year(house_of(site))))["storm_days"]
        got.append(next(row for row in rows if row["why"] == "coldest"))
    assert got[0]["temp_c"] < got[1]["temp_c"] - 5.0
    assert got[0]["hours"]["p50"] < got[1]["hours"]["p50"]


def test_a_folder_that_is_not_used_or_not_there_is_told(tmp_path):
    actual_years(tmp_path / "years")
    house = house_of(site_of(tmp_path, more=WEATHER + 'storm_years = "years"\n'))
    assert any("weather.storm_years is not used" in note for note in house.notes)
    shutil.rmtree(tmp_path / "years")
    with pytest.raises(BadInput, match=r"site.toml: weather.storm_years must be a folder that holds weather files"):
        study(site_of(tmp_path, more=STORMS)).document["outage"]


def test_the_home_behind_a_whole_house_shape_is_listed(tmp_path):
    text = SITE.format(keys="", year="", more="").replace(
        'whole_house = { meter = "usage.csv" }', "other_load = { LOAD }"
    )
    for load, said in (
        ('shape = "whole-house", annual_kwh = 7000', "2000 ft2 and 3 bedrooms (default)"),
        ('shape = "whole-house", annual_kwh = 7000, bedrooms = 4', "2000 ft2 (default)"),
        ('shape = "whole-house", floor_area_ft2 = 1500, bedrooms = 4', None),
    ):
        (tmp_path / "site.toml").write_text(text.replace("LOAD", load))
        notes = [note for note in house_of(read_site(tmp_path / "site.toml")).notes if "whole-house" in note]
        assert notes == ([] if said is None else [f'shape "whole-house": {said}'])


def test_the_schema_names_these_keys_as_json_and_in_words():
    from simulate.site.described import schema_text
    from simulate.site.site import Site

    schema, text = str(Site.model_json_schema(by_alias=True)), schema_text()
    for key in ("extend", "redate", "add_solar", "storm_years", "extra_columns"):
        assert f"'{key}'" in schema and f"{key}:" in text


def test_the_invented_years_are_read_as_actual_ones(tmp_path):
    years = [read_weather(path).year for path in sorted(actual_years(tmp_path / "years").iterdir())]
    assert years == [2019, 2021]
