"""Weather files read by content, laid on any axis by their own clock. The small files are invented; formats are not."""

import itertools
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput, read_noun
from profiles.weather.noon import noon_shift_min
from profiles.weather.sun import sun_of_steps
from profiles.weather.weather import (
    LIBRARY,
    WeatherSource,
    distance_km,
    far_note,
    read_weather,
    weather_on,
)
from profiles.weather.years import read_weather_years

NEW_YORK = "America/New_York"
PIEDMONT = read_weather("library:piedmont")
PLACE = {"latitude": 40.0, "longitude": -105.0, "altitude_m": 1600.0, "utc_offset_h": -7.0}


def invented_year(year=2019, step_min=60):
    """Stamps of the interval beginnings on a standard clock, and five invented columns in whole numbers."""
    begins = pd.date_range(f"{year}-01-01", f"{year + 1}-01-01", freq=f"{step_min}min", inclusive="left")
    start_s = begins.as_unit("s").asi8 - 3600.0 * PLACE["utc_offset_h"]
    sun = sun_of_steps(PLACE["latitude"], PLACE["longitude"], PLACE["altitude_m"], start_s, step_min * 60.0)
    up = sun.lit_frac * np.clip(np.cos(np.radians(sun.zenith_deg)), 0, None)
    clear = 0.6 + 0.4 * np.cos(begins.day_of_year.to_numpy() * 1.7)
    table = pd.DataFrame(
        {
            "dni": 800 * clear * sun.lit_frac,
            "dhi": 120 * up,
            "temp_c": begins.hour - 3.0,
            "wind_m_s": 1.0 + begins.month.to_numpy() % 5,
        },
        index=begins,
    ).round()
    table["ghi"] = (table["dhi"] + table["dni"] * up).round()
    return table


def tmy3_text(table, begins=False):
    lines = [
        '724699,"INVENTED FIELD",CO,-7.0,40.000,-105.000,1600',
        "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),DNI (W/m^2),DHI (W/m^2),Dry-bulb (C),Wspd (m/s)",
    ]
    for stamp, row in zip(table.index, table.itertuples(), strict=True):
        hour = stamp.hour + (not begins)
        lines.append(
            f"{stamp:%m/%d/%Y},{hour:02d}:00,{row.ghi:.0f},{row.dni:.0f},{row.dhi:.0f},{row.temp_c},{row.wind_m_s}"
        )
    return "\n".join(lines) + "\n"


def epw_text(table):
    head = [
        "LOCATION,Invented Field,CO,USA,TMY3,724699,40.0,-105.0,-7.0,1600.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ]
    per_hour = len(table) // 8760
    for stamp, row in zip(table.index, table.itertuples(), strict=True):
        minute = stamp.minute + 60 // per_hour
        head.append(
            f"{stamp.year},{stamp.month},{stamp.day},{stamp.hour + 1},{minute},?9,{row.temp_c},0.0,50,84000,"
            f"0,0,300,{row.ghi:.0f},{row.dni:.0f},{row.dhi:.0f},0,0,0,0,180,{row.wind_m_s},0,0,16.0,77777,"
            "9,999999999,89,0.06,0,88,0.2,0.0,1.0"
        )
    return "\n".join(head) + "\n"


def nsrdb_text(table, middle_min=30):
    lines = [
        "Source,Location ID,City,State,Country,Latitude,Longitude,Time Zone,Elevation,Local Time Zone,Version",
        "NSRDB,149190,-,-,-,40.0,-105.0,-7,1600,-7,4.0.1",
        "Year,Month,Day,Hour,Minute,DNI,DHI,GHI,Temperature,Wind Speed",
    ]
    for stamp, row in zip(table.index + pd.Timedelta(minutes=middle_min), table.itertuples(), strict=True):
        lines.append(
            f"{stamp.year},{stamp.month},{stamp.day},{stamp.hour},{stamp.minute},{row.dni:.0f},{row.dhi:.0f},"
            f"{row.ghi:.0f},{row.temp_c},{row.wind_m_s}"
        )
    return "\n".join(lines) + "\n"


def tmy2_text(table):
    lines = [" 94018 WEST INVENTED FIELD    CO  -7 N 40  0 W 105  0  1600"]
    for stamp, row in zip(table.index, table.itertuples(), strict=True):
        sun = "".join(f"{value:4.0f}H4" for value in (row.ghi, row.dni, row.dhi))
        air = f"{row.temp_c * 10:4.0f}A7" + "-100A7" + " 50A7" + " 840A7" + "180A7" + f"{row.wind_m_s * 10:3.0f}A7"
        lines.append(
            f" {stamp.year % 100:02d}{stamp.month:02d}{stamp.day:02d}{stamp.hour + 1:02d}"
            + " " * 8
            + sun
            + "   0I5" * 4
            + " 0A7" * 2
            + air
            + "0016A7"
            + "77777A7"
            + "9999999999"
            + "  8E8062F8000A700E7"
        )
    return "\n".join(lines) + "\n"


def pvgis_rows(table, offset_min=0):
    """Stamps in UTC of values that belong to the middle of their hour, 8,760 rows from 00:00 of New Year in UTC."""
    middle = table.index + pd.Timedelta(minutes=30 - offset_min) - pd.Timedelta(hours=PLACE["utc_offset_h"])
    stamps = pd.DatetimeIndex([stamp.replace(year=table.index[0].year) for stamp in middle])
    return [(f"{stamps[k]:%Y%m%d:%H%M}", table.iloc[k]) for k in np.argsort(stamps, kind="stable")]


def pvgis_csv_text(table, offset_min=0):
    lines = ["Latitude (decimal degrees): 40.000", "Longitude (decimal degrees): -105.000", "Elevation (m): 1600.0"]
    lines += [f"Irradiance Time Offset (h): {offset_min / 60:.4f}"] * bool(offset_min)
    lines += ["month,year", *(f"{month},{table.index[0].year}" for month in range(1, 13))]
    lines += ["time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP"]
    lines += [
        f"{stamp},{row.temp_c},50.0,{row.ghi:.0f},{row.dni:.0f},{row.dhi:.0f},300.0,{row.wind_m_s},180.0,84000.0"
        for stamp, row in pvgis_rows(table, offset_min)
    ]
    return "\n".join(lines) + "\n\nT2m: 2-m air temperature (degree Celsius)\n"


def pvgis_json_text(table):
    hourly = [
        {
            "time(UTC)": stamp,
            "T2m": row.temp_c,
            "G(h)": row.ghi,
            "Gb(n)": row.dni,
            "Gd(h)": row.dhi,
            "WS10m": row.wind_m_s,
        }
        for stamp, row in pvgis_rows(table)
    ]
    place = {"latitude": 40.0, "longitude": -105.0, "elevation": 1600.0}
    months = [{"month": month, "year": 2019} for month in range(1, 13)]
    return json.dumps(
        {
            "inputs": {"location": place},
            "outputs": {"months_selected": months, "tmy_hourly": hourly},
            "meta": {"inputs": {}},
        }
    )


def solaranywhere_text(table):
    lines = [
        "0,INVENTED FIELD,CO,-7.0,40.0,-105.0,1600,Data Version: 3.4 / LatLon Resolution: 0.1",
        "ObservationTime(GMT),ObservationTime(LST),Global Horizontal Irradiance (GHI) W/m2,"
        "Direct Normal Irradiance (DNI) W/m2,Diffuse Horizontal Irradiance (DIF) W/m2,AmbientTemperature (deg C),WindSpeed (m/s)",
    ]
    for stamp, row in zip(table.index + pd.Timedelta(minutes=30), table.itertuples(), strict=True):
        utc = stamp + pd.Timedelta(hours=7)
        lines.append(
            f"{utc:%m/%d/%Y %H:%M},{stamp:%m/%d/%Y %H:%M},{row.ghi:.0f},{row.dni:.0f},{row.dhi:.0f},{row.temp_c},{row.wind_m_s}"
        )
    return "\n".join(lines) + "\n"


TABLE = invented_year()
WEB = {
    "PVGIS CSV": pvgis_csv_text(TABLE),
    "PVGIS CSV with an offset": pvgis_csv_text(TABLE, 11),
    "PVGIS JSON": pvgis_json_text(TABLE),
    "SolarAnywhere": solaranywhere_text(TABLE),
}
TEXTS = {"TMY3": tmy3_text(TABLE), "EPW": epw_text(TABLE), "NSRDB CSV": nsrdb_text(TABLE), "TMY2": tmy2_text(TABLE)}


def written(tmp_path, text, name="weather.txt"):
    path = tmp_path / name
    path.write_text(text)
    return path


@pytest.mark.parametrize("name", WEB)
def test_files_of_web_services_lie_under_the_same_sun(tmp_path, name):
    """Stamps in UTC or at the middle, with an offset of the satellite or without: the same hours come out on our axis."""
    hours = hours_of_year(2019, "America/Phoenix")  # UTC-07:00 all year, as the invented table
    year = weather_on(read_weather(written(tmp_path, WEB[name])), hours)
    for column in ("ghi", "dni", "dhi", "temp_c", "wind_m_s"):
        np.testing.assert_allclose(getattr(year, column), TABLE[column], atol=1e-9, err_msg=column)
    assert not any("solar noon" in note for note in year.notes)


OTHER_FORMATS = {
    "a BSRN file": "*U0001\n 94  1 2019 12\n*C0004\n",
    "a SURFRAD or SOLRAD file": " Table Mountain\n 40.125 -105.237 1689 m version 1\n 2019 1 1 1 0 0 0.000 96.2 -1.4 0\n",
    "an SRML file": "94255\t2019\t1000\t0\t2010\t0\n1\t1\t0.0\t12\t0.0\t12\n",
    "a USCRN file": "94074 20190101 0005 20181231 1705  2.622  -104.76   40.81   -13.6     0.0      0 0   -14.6 C 0    61 0\n",
    "a MIDC file": "DATE (MM/DD/YYYY),MST,Global CMP22 [W/m^2]\n01/01/2019,00:00,-1.2\n",
    "a CAMS radiation file": "# Coding: utf-8\n# File format version: 2\n# Title: CAMS Radiation Service v4.6\n# Observation period;TOA\n",
    "an hourly series of PVGIS": "Latitude (decimal degrees):\t40.0\nLongitude (decimal degrees):\t-105.0\nElevation (m):\t1600\n"
    "Radiation database:\tPVGIS-SARAH2\n\ntime,G(i),H_sun,T2m,WS10m,Int\n20190101:0010,0,0,1,1,0\n",
    "hourly series of PVGIS": '{"inputs": {}, "outputs": {"hourly": []}, "meta": {}}',
}


@pytest.mark.parametrize("name", OTHER_FORMATS)
def test_formats_that_hold_no_whole_year_are_refused_by_name(tmp_path, name):
    with pytest.raises(BadInput, match=f"is (a |an )?{name.removeprefix('a ').removeprefix('an ')}.*fetch ") as refusal:
        read_weather(written(tmp_path, OTHER_FORMATS[name]))
    assert "\n" not in str(refusal.value) and str(refusal.value).startswith("weather.txt: ")


def test_a_sensor_a_little_below_zero_at_night_is_zero_and_noted(tmp_path):
    weather = read_weather(written(tmp_path, edited(TEXTS["EPW"], 10, 13, "-2")))
    assert weather.ghi.min() == 0.0 and any("1 rows below 0, lowest -2, taken as 0" in note for note in weather.notes)


@pytest.mark.parametrize("format", TEXTS)
def test_small_file_of_each_format_reads_back_right(tmp_path, format):
    weather = read_weather(written(tmp_path, TEXTS[format]))  # no suffix helps: the content tells the format
    assert weather.format == format
    assert (weather.latitude, weather.longitude, weather.altitude_m, weather.utc_offset_h) == tuple(PLACE.values())
    assert (weather.step_min, weather.start_min) == (60, 0.0)
    for name in ("ghi", "dni", "dhi", "temp_c", "wind_m_s"):
        np.testing.assert_array_equal(getattr(weather, name), TABLE[name].to_numpy())
    assert abs(noon_shift_min(weather)) < 5.0
    assert not any("solar noon" in note for note in weather.notes)


def test_formats_say_what_their_stamps_mean(tmp_path):
    meaning = {name: read_weather(written(tmp_path, text)) for name, text in TEXTS.items()}
    assert {name: weather.convention for name, weather in meaning.items()} == {
        "TMY3": "hour-ending",
        "EPW": "hour-ending",
        "TMY2": "hour-ending",
        "NSRDB CSV": "at the stamp, taken as its middle",
    }
    assert [weather.temp_at_min for weather in meaning.values()] == [60.0, 60.0, 30.0, 60.0]


def test_tmy3_that_counts_from_midnight_is_told_apart(tmp_path):
    weather = read_weather(written(tmp_path, tmy3_text(TABLE, begins=True)))
    assert weather.convention == "hour-beginning" and weather.temp_at_min == 0.0
    np.testing.assert_array_equal(weather.ghi, TABLE["ghi"].to_numpy())
    assert any("00:00" in note for note in weather.notes)


def test_a_file_that_is_an_hour_off_is_noticed(tmp_path):
    late = TABLE.assign(**{name: np.roll(TABLE[name], 1) for name in ("ghi", "dni", "dhi")})
    early = TABLE.assign(**{name: np.roll(TABLE[name], -1) for name in ("ghi", "dni", "dhi")})
    for table, side, minutes in ((late, "after", 60.0), (early, "before", -60.0)):
        weather = read_weather(written(tmp_path, epw_text(table)))
        assert noon_shift_min(weather) == pytest.approx(minutes, abs=5.0)
        assert any(f"{side} solar noon" in note and "UTC-7" in note for note in weather.notes)


def test_half_an_hour_is_noticed_where_hourly_stamps_name_the_full_hour(tmp_path):
    # NSRDB values belong to their stamp; hours that are named by their beginning would be read half an hour early.
    weather = read_weather(written(tmp_path, nsrdb_text(TABLE, middle_min=0)))
    assert noon_shift_min(weather) == pytest.approx(-30.0, abs=5.0)
    assert any("before solar noon" in note for note in weather.notes)


@pytest.mark.parametrize("name", LIBRARY)
def test_library_years_are_centred_on_solar_noon_within_half_a_step(name):
    weather = read_weather(f"library:{name}")
    assert abs(noon_shift_min(weather)) < 30.0
    assert len(weather.ghi) == 8760 and weather.year is None and "typical year" in weather.notes[0]


def test_library_places_are_those_of_their_headers():
    found = {name: (weather := read_weather(f"library:{name}"), round(weather.latitude, 1))[1] for name in LIBRARY}
    assert found == {"piedmont": 36.1, "alaska-coast": 55.3, "south-florida": 25.8}


def test_tmy2_columns_are_those_of_pvlib(tmp_path):
    lines = (Path(pvlib.__file__).parent / "data" / "12839.tm2").read_text().splitlines()
    path = written(tmp_path, "\n".join(lines[:400]) + "\n")
    table, meta = pvlib.iotools.read_tmy2(path)
    weather = read_weather("library:south-florida")
    for ours, theirs, scale in (
        ("ghi", "GHI", 1),
        ("dni", "DNI", 1),
        ("dhi", "DHI", 1),
        ("temp_c", "DryBulb", 10),
        ("wind_m_s", "Wspd", 10),
    ):
        np.testing.assert_allclose(getattr(weather, ours)[: len(table)], table[theirs] / scale, atol=1e-12)
    assert (weather.latitude, weather.longitude) == (meta["latitude"], meta["longitude"])


def test_an_hourly_axis_in_the_files_zone_takes_irradiance_over_as_it_is():
    year = weather_on(PIEDMONT, hours_of_year(2025, NEW_YORK))
    for name in ("ghi", "dni", "dhi"):
        np.testing.assert_array_equal(getattr(year, name), getattr(PIEDMONT, name))


def test_temperature_is_a_straight_line_between_readings_at_the_stamps():
    # TMY3 reads at the end of each hour, so the middle of an hour lies half way between two readings.
    year = weather_on(PIEDMONT, hours_of_year(2025, NEW_YORK))
    np.testing.assert_allclose(year.temp_c[1:], (PIEDMONT.temp_c[1:] + PIEDMONT.temp_c[:-1]) / 2, atol=1e-12)
    quarter = weather_on(PIEDMONT, hours_of_year(2025, NEW_YORK, 15))
    ends = PIEDMONT.temp_c
    np.testing.assert_allclose(quarter.temp_c[4:8], ends[0] + (ends[1] - ends[0]) * np.array([1, 3, 5, 7]) / 8)


def test_readings_at_the_middle_need_no_line(tmp_path):
    weather = read_weather(written(tmp_path, TEXTS["NSRDB CSV"]))
    np.testing.assert_array_equal(weather_on(weather, hours_of_year(2019, "America/Denver")).temp_c, weather.temp_c)


@pytest.mark.parametrize(("step_min", "n"), [(30, 2), (15, 4), (5, 12), (1, 60)])
def test_finer_steps_keep_each_hours_irradiance(step_min, n):
    fine = weather_on(PIEDMONT, hours_of_year(2025, NEW_YORK, step_min))
    for name in ("ghi", "dni", "dhi"):
        series = getattr(fine, name)
        np.testing.assert_allclose(series.reshape(-1, n).mean(axis=1), getattr(PIEDMONT, name), atol=1e-9)
        assert series.min() >= 0.0


def test_finer_steps_follow_the_sun():
    fine = weather_on(PIEDMONT, hours_of_year(2025, NEW_YORK, 15))
    day = slice(180 * 96, 181 * 96)
    morning, noon = fine.ghi[day][28:32], fine.ghi[day][48:52]
    assert (np.diff(morning) > 0).all() and morning[-1] / morning[0] > 1.1
    assert noon.max() / noon.min() < 1.05


def test_the_zone_moves_the_local_clock_and_nothing_else():
    # The same instants of UTC carry the same weather, whatever the wall clock calls them.
    here = weather_on(PIEDMONT, hours_of_year(2025, NEW_YORK))
    for zone in ("UTC", "America/Los_Angeles", "Asia/Tokyo"):
        there = weather_on(PIEDMONT, hours_of_year(2025, zone))
        both = here.hours.utc.intersection(there.hours.utc)
        one, other = here.hours.utc.get_indexer(both), there.hours.utc.get_indexer(both)
        for name in ("ghi", "dni", "temp_c", "zenith_deg"):
            np.testing.assert_allclose(getattr(there, name)[other], getattr(here, name)[one], atol=1e-9)


def test_a_zone_half_an_hour_off_keeps_the_years_energy():
    year = weather_on(PIEDMONT, hours_of_year(2025, "Asia/Kolkata"))
    for name in ("ghi", "dni", "dhi"):
        assert getattr(year, name).sum() == pytest.approx(getattr(PIEDMONT, name).sum(), rel=1e-9)


def test_a_leap_year_repeats_28_february():
    year = weather_on(PIEDMONT, hours_of_year(2024, NEW_YORK))
    day = year.hours.day
    assert len(year.ghi) == 8784
    np.testing.assert_array_equal(year.ghi[day == 59], year.ghi[day == 58])
    np.testing.assert_array_equal(year.ghi[day == 60], PIEDMONT.ghi[59 * 24 : 60 * 24])
    assert "29 February repeats the 28th" in year.notes[-1]


def test_an_actual_leap_year_keeps_its_day_and_a_common_year_leaves_it_out(tmp_path):
    table = invented_year(2020)
    weather = read_weather(written(tmp_path, nsrdb_text(table)))
    assert (weather.year, weather.n_days, len(weather.ghi)) == (2020, 366, 8784)
    same = weather_on(weather, hours_of_year(2020, "America/Phoenix"))
    np.testing.assert_array_equal(same.ghi, table["ghi"].to_numpy())
    assert not any("re-dated" in note for note in same.notes)
    other = weather_on(weather, hours_of_year(2025, "America/Phoenix"))
    np.testing.assert_array_equal(other.ghi, table["ghi"][(table.index.month != 2) | (table.index.day != 29)])
    assert "re-dated to 2025" in other.notes[-2] and "left out" in other.notes[-1]


def test_half_hour_rows_stamped_on_the_hour_keep_energy_on_any_axis(tmp_path):
    table = invented_year(2019, 30)
    weather = read_weather(written(tmp_path, nsrdb_text(table, middle_min=0)))
    assert (weather.step_min, weather.start_min) == (30, 15.0)
    for step_min in (60, 30, 5):
        year = weather_on(weather, hours_of_year(2019, "America/Phoenix", step_min))
        assert year.ghi.mean() == pytest.approx(table["ghi"].mean(), rel=1e-9)


def test_epw_with_four_rows_an_hour(tmp_path):
    table = invented_year(2019, 15)
    weather = read_weather(written(tmp_path, epw_text(table)))
    assert (weather.step_min, weather.start_min) == (15, 0.0)
    np.testing.assert_array_equal(weather.ghi, table["ghi"].to_numpy())


def test_a_folder_of_years_comes_in_order(tmp_path):
    for year in (2021, 2019):
        written(tmp_path, nsrdb_text(invented_year(year)), f"b{2025 - year}.csv")
    assert [weather.year for weather in read_weather_years(tmp_path)] == [2019, 2021]
    with pytest.raises(BadInput, match="must be a folder that holds weather files"):
        read_weather_years(tmp_path / "none")


def pvgis_hourly_csv(years, slope=0):
    """A PVGIS hourly series of a level plane with its components, from memory of the service's layout; values invented."""
    lines = ["Latitude (decimal degrees):\t40.000", "Longitude (decimal degrees):\t-105.000", "Elevation (m):\t1600"]
    lines += ["Radiation database:\tPVGIS-ERA5", "", f"Slope: {slope} deg. ", "Azimuth: 0 deg. ", ""]
    lines += ["time,Gb(i),Gd(i),Gr(i),H_sun,T2m,WS10m,Int"]
    for year in years:
        stamps = pd.date_range(f"{year}-01-01 00:30", f"{year + 1}-01-01", freq="h")
        middle = sun_of_steps(40.0, -105.0, 1600.0, stamps.as_unit("s").asi8 - 60.0, 120.0)
        height = 90.0 - middle.zenith_deg
        beam = np.where(height > 0, 700.0 * np.sin(np.radians(np.maximum(height, 0.0))), 0.0)
        for stamp, direct, high in zip(stamps, beam, height, strict=True):
            lines.append(
                f"{stamp:%Y%m%d:%H%M},{direct:.2f},{60.0 * (high > 0):.1f},0.0,{max(high, 0):.2f},{stamp.month - year % 7}.0,2.0,0.0"
            )
    return "\n".join([*lines, "", "Gb(i): Beam irradiance (W/m2)", ""])


def test_an_hourly_series_of_several_years_gives_each_of_them(tmp_path):
    path = written(tmp_path, pvgis_hourly_csv((2015, 2016)), "series.csv")
    years = read_weather_years(path)
    assert [(one.year, len(one.ghi)) for one in years] == [(2015, 8760), (2016, 8784)]
    noon = years[0].dni[years[0].ghi > 400]
    assert noon == pytest.approx(np.full(len(noon), 700.0), rel=0.001)
    assert years[0].ghi.sum() == pytest.approx((years[0].dhi + 0).sum() + _on_the_ground(years[0]), rel=0.02)
    assert abs(noon_shift_min(years[0])) < 20
    assert any("sun under 2 degrees is taken as diffuse" in note for note in years[0].notes)
    with pytest.raises(BadInput, match="series.csv: the file holds several years; name it as weather.years"):
        read_weather(path)
    with pytest.raises(BadInput, match="hourly series of PVGIS on a sloping plane.*fetch it with slope 0"):
        read_weather(written(tmp_path, pvgis_hourly_csv((2015,), slope=30), "slope.csv"))


def _on_the_ground(weather):
    hours = hours_of_year(weather.year, "UTC")
    sun = weather_on(weather, hours)
    return float((sun.dni * np.clip(np.cos(np.radians(sun.zenith_deg)), 0, None)).sum())


def test_an_epw_file_that_ends_before_its_last_fields_is_read(tmp_path):
    table = invented_year(2019)
    lines = epw_text(table).split("\n")
    short = [",".join(line.split(",")[:32]) if k >= 8 else line for k, line in enumerate(lines)]
    weather = read_weather(written(tmp_path, "\n".join(short)))
    whole = read_weather(written(tmp_path, epw_text(table)))
    for name in ("ghi", "dni", "dhi", "temp_c", "wind_m_s"):
        np.testing.assert_array_equal(getattr(weather, name), getattr(whole, name))


def saved_frame(tmp_path, table, lag_min, **more):
    """An invented year as pvlib.iotools returns one: an index with its offset, columns by pvlib's names."""
    names = {"temp_c": "temp_air", "wind_m_s": "wind_speed"}
    data = table.rename(columns=names).assign(**more)
    data.index = (table.index + pd.Timedelta(minutes=lag_min)).tz_localize("Etc/GMT+7")
    path = tmp_path / "frame.csv"
    data.to_csv(path)
    return path


@pytest.mark.parametrize(("lag_min", "name"), [(0, "hour-beginning"), (30, "at the middle"), (60, "hour-ending")])
def test_a_saved_pvlib_frame_is_read_by_the_sun(tmp_path, lag_min, name):
    table = invented_year(2019)
    source = WeatherSource(source="frame.csv", latitude=40.0, longitude=-105.0, altitude_m=1600.0)
    saved_frame(tmp_path, table, lag_min)
    weather = read_weather(source, tmp_path)
    np.testing.assert_array_equal(weather.ghi, table["ghi"].to_numpy())
    assert weather.convention.startswith(name)
    assert any(f"taken as {name}" in note for note in weather.notes)
    assert (weather.latitude, weather.utc_offset_h) == (40.0, -7.0)


def test_a_frame_without_a_place_or_an_offset_says_what_is_missing(tmp_path):
    path = saved_frame(tmp_path, invented_year(2019), 0)
    with pytest.raises(BadInput, match="does not say where it was taken; state latitude, longitude and altitude_m"):
        read_weather(path)
    placed = saved_frame(tmp_path, invented_year(2019), 0, latitude=40.0, longitude=-105.0, altitude=1600.0)
    assert read_weather(placed).altitude_m == 1600.0
    text = placed.read_text().replace("-07:00,", ",")
    with pytest.raises(BadInput, match="has stamps without an offset from UTC"):
        read_weather(written(tmp_path, text))


def test_a_year_that_a_series_does_not_hold_whole_is_left_out_and_named(tmp_path):
    text = pvgis_hourly_csv((2015, 2016)).split("\n")
    cut = [line for line in text if not line.startswith("201612")]
    years = read_weather_years(written(tmp_path, "\n".join(cut), "series.csv"))
    assert [one.year for one in years] == [2015]
    assert any("series.csv does not hold all of 2016: left out" in note for note in years[0].notes)


def test_a_far_station_is_noted_and_a_near_one_is_not():
    assert far_note(PIEDMONT, 36.10, -79.95) == ()
    assert far_note(PIEDMONT, 36.9, -79.95) == ()  # 89 km
    assert "km from the site" in far_note(PIEDMONT, 37.2, -79.95)[0]  # 122 km
    # A quarter of the earth's meridian, by the definition of the metre about 10,000 km:
    assert distance_km(0.0, 0.0, 90.0, 0.0) == pytest.approx(10_000.0, rel=0.002)


def test_relative_path_begins_at_the_site_files_folder(tmp_path):
    written(tmp_path, TEXTS["EPW"], "here.epw")
    assert read_weather(WeatherSource(source="here.epw"), tmp_path).name == "Invented Field, USA"


def edited(text, line, column, value):
    lines = text.splitlines()
    fields = lines[line].split(",")
    fields[column] = value
    lines[line] = ",".join(fields)
    return "\n".join(lines) + "\n"


TMY3, EPW, NSRDB = TEXTS["TMY3"], TEXTS["EPW"], TEXTS["NSRDB CSV"]
BROKEN = {
    "missing code of TMY3": (edited(TMY3, 13, 4, "-9900"), r"diffuse .* is missing in 1 rows, .*01-01 11:00"),
    "missing code of EPW": (edited(EPW, 20, 6, "99.9"), r"air temperature \[degC\] is missing"),
    "missing wind of EPW": (edited(EPW, 20, 21, "999"), r"wind speed \[m/s\] is missing"),
    "empty cell": (edited(NSRDB, 30, 7, ""), r"global irradiance \[W/m2\] is missing"),
    "implausible": (edited(TMY3, 13, 2, "2600"), r"must be from 0 to 1600 .*, not 2600"),
    "below zero": (edited(TMY3, 13, 3, "-5"), r"must be from 0 to 1500"),
    "fahrenheit": (edited(EPW, 20, 6, "68.0"), r"must be from -90 to 60 .*, not 68"),
    "no number": (edited(EPW, 20, 6, "warm"), r"is missing"),
    "cut short": ("\n".join(TMY3.splitlines()[:-5]) + "\n", r"one whole year of equal steps: 8760 .*, not 8755"),
    "a row twice": ("\n".join(TMY3.splitlines()[:-1] + TMY3.splitlines()[2:3]), r"each interval of the year once"),
    "latitude": (edited(TMY3, 0, 4, "140.0"), r"latitude must be from -90 to 90, not 140"),
    "sign of the longitude": (edited(TMY3, 0, 5, "105.0"), r"utc offset does not belong to longitude 105"),
    "hours from 0": (EPW.replace(",24,60,?9", ",0,60,?9"), r"must count its hours from 1 to 24.*not 0"),
    "month 13": (edited(NSRDB, 30, 1, "13"), r"cannot be read|months 1 to 12"),
    "half a header": (edited(EPW, 0, 8, "noon"), r"cannot be read as EPW"),
    "another file": ("time,kw\n2025-01-01,3\n", r"is no weather file.*TMY3, TMY2, EPW, NSRDB CSV, PVGIS TMY"),
    "empty": ("", r"is no weather file"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_broken_file_is_refused_in_one_line_that_names_it(tmp_path, case):
    text, message = BROKEN[case]
    with pytest.raises(BadInput, match=message) as refusal:
        read_weather(written(tmp_path, text))
    assert str(refusal.value).startswith("weather.txt: ") and "\n" not in str(refusal.value)


def test_file_without_beam_is_refused(tmp_path):
    with pytest.raises(BadInput, match="no direct irradiance"):
        read_weather(written(tmp_path, epw_text(TABLE.assign(dni=0.0))))


def test_file_without_sun_is_noted(tmp_path):
    weather = read_weather(written(tmp_path, epw_text(TABLE.assign(dni=0.0, dhi=0.0, ghi=0.0))))
    assert np.isnan(noon_shift_min(weather)) and "no sunshine" in weather.notes[-1]


def test_file_that_is_not_there_and_names_that_are_not_known(tmp_path):
    with pytest.raises(BadInput, match="file that is not there.*keeplit library"):
        read_weather("nowhere.epw", tmp_path)
    with pytest.raises(BadInput, match="weather.source is a folder"):
        read_weather(tmp_path)
    with pytest.raises(BadInput, match="library:piedmont, library:alaska-coast, library:south-florida"):
        read_weather("library:atlantis")
    with pytest.raises(BadInput, match="did you mean source"):
        read_noun(WeatherSource, {"sources": "library:piedmont"}, table="weather")


def test_windows_line_ends_and_a_byte_order_mark_change_nothing(tmp_path):
    for name, text in itertools.islice(TEXTS.items(), 4):
        path = tmp_path / "w.txt"
        path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
        np.testing.assert_array_equal(read_weather(path).ghi, TABLE["ghi"].to_numpy(), err_msg=name)


def test_arrays_cannot_be_changed_behind_the_readers_back():
    with pytest.raises(ValueError, match="read-only"):
        PIEDMONT.ghi[0] = 1.0
