"""Roof and weather to kW: pvlib's own model chain as the oracle, ratings as limits, logs read strictly."""

import numpy as np
import pandas as pd
import pvlib
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput, read_noun
from profiles.solar.log import log_years
from profiles.solar.roof import TRACKER_EFFICIENCY, Solar, array_dc_kw, inverter_kw, losses_frac, solar_dc_kw, solar_kw
from profiles.weather.weather import read_weather, weather_on

NEW_YORK = "America/New_York"
HOURS = hours_of_year(2025, NEW_YORK)
PIEDMONT = weather_on(read_weather("library:piedmont"), HOURS)
ROOF = {"dc_kw": 3.6, "ac_kw": 3.0, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "main-panel"}


def roof(**changes):
    return Solar(**(ROOF | changes))


@pytest.mark.filterwarnings("ignore:DatetimeIndex")  # pvlib's chain, not ours, asks pandas for a name that is going
def test_chain_is_that_of_pvlibs_model_chain_in_whole_hours():
    site = pvlib.location.Location(36.10, -79.95, "Etc/GMT+5", 273.0)
    array = pvlib.pvsystem.Array(
        pvlib.pvsystem.FixedMount(25.0, 180.0),
        albedo=0.2,
        module_parameters={"pdc0": 3.6, "gamma_pdc": -0.0047},
        temperature_model_parameters=pvlib.temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"]["close_mount_glass_glass"],
    )
    system = pvlib.pvsystem.PVSystem(
        [array], inverter_parameters={"pdc0": 3.0 / 0.96, "eta_inv_nom": 0.96}, losses_parameters=None
    )
    chain = pvlib.modelchain.ModelChain(
        system,
        site,
        transposition_model="perez",
        aoi_model="physical",
        spectral_model="no_loss",
        dc_model="pvwatts",
        ac_model="pvwatts",
        losses_model="pvwatts",
        temperature_model="sapm",
    )
    middle = HOURS.utc + pd.Timedelta(minutes=30)
    table = pd.DataFrame(
        {
            "ghi": PIEDMONT.ghi,
            "dni": PIEDMONT.dni,
            "dhi": PIEDMONT.dhi,
            "temp_air": PIEDMONT.temp_c,
            "wind_speed": PIEDMONT.wind_m_s,
        },
        index=middle,
    )
    theirs = chain.run_model(table).results.ac.fillna(0.0).to_numpy()
    ours = solar_kw(roof(losses_frac=losses_frac()), PIEDMONT, HOURS)
    whole = (PIEDMONT.sun.lit_frac == 1.0) | (PIEDMONT.sun.lit_frac == 0.0)
    # They reckon with another refraction and another second of the earth's turn: a watt of three kilowatts.
    assert np.abs(ours - theirs)[whole].max() < 0.001
    assert ours.sum() == pytest.approx(theirs.sum(), rel=0.002)


def test_output_is_never_above_the_inverter_and_never_below_zero():
    for ac_kw in (1.0, 3.0):
        kw = solar_kw(roof(ac_kw=ac_kw), PIEDMONT, HOURS)
        assert kw.shape == (8760,) and kw.min() >= 0.0 and kw.max() <= ac_kw
    assert (solar_kw(roof(ac_kw=1.0), PIEDMONT, HOURS) == 1.0).sum() > 1000  # clipped at noon


def test_the_night_gives_nothing():
    kw = solar_kw(roof(), PIEDMONT, HOURS)
    assert kw[PIEDMONT.sun.lit_frac == 0.0].max() < 0.01 * 3.6
    assert kw[0] == 0.0


def test_a_bigger_roof_gives_in_proportion():
    one, two = (solar_kw(roof(dc_kw=size, ac_kw=size), PIEDMONT, HOURS) for size in (1.0, 2.0))
    np.testing.assert_allclose(two, 2 * one, atol=1e-12)


def test_dc_for_a_battery_has_losses_and_a_tracker_but_no_inverter():
    dc = array_dc_kw(roof(), PIEDMONT)
    np.testing.assert_array_equal(solar_dc_kw(roof(connected_at="battery"), PIEDMONT, HOURS), TRACKER_EFFICIENCY * dc)
    np.testing.assert_array_equal(solar_kw(roof(), PIEDMONT, HOURS), inverter_kw(dc, 3.0))
    without = array_dc_kw(roof(losses_frac=0.0), PIEDMONT)
    np.testing.assert_allclose(dc, without * (1 - 0.1408), atol=1e-12)


def test_inverter_rating_defaults_to_the_roof_over_one_point_two():
    assert Solar(**{k: v for k, v in ROOF.items() if k != "ac_kw"}).inverter_kw == pytest.approx(3.0)


def test_east_faces_the_morning_and_west_the_evening():
    morning = HOURS.minute < 720
    for azimuth, early in ((90.0, True), (270.0, False)):
        kw = solar_kw(roof(azimuth_deg=azimuth, tilt_deg=40.0), PIEDMONT, HOURS)
        assert (kw[morning].sum() > kw[~morning].sum()) == early


def test_cold_and_open_roofs_give_more():
    assert solar_kw(roof(mount="rack"), PIEDMONT, HOURS).sum() > solar_kw(roof(), PIEDMONT, HOURS).sum()
    flat = solar_kw(roof(power_per_degc=0.0), PIEDMONT, HOURS)
    hot = PIEDMONT.temp_c > 30.0
    assert flat[hot].sum() > solar_kw(roof(), PIEDMONT, HOURS)[hot].sum()


@pytest.mark.parametrize("step_min", [15, 5])
def test_finer_steps_give_nearly_the_same_energy(step_min):
    # Exact it cannot be: clipping and the inverter's curve are not straight lines.
    hours = hours_of_year(2025, NEW_YORK, step_min)
    fine = solar_kw(roof(), weather_on(PIEDMONT.weather, hours), hours)
    assert fine.sum() * hours.step_h == pytest.approx(solar_kw(roof(), PIEDMONT, HOURS).sum(), rel=0.005)


@pytest.mark.parametrize("name", ["alaska-coast", "south-florida"])
def test_every_library_year_gives_finite_output(name):
    weather = weather_on(read_weather(f"library:{name}"), HOURS)
    for tilt in (0.0, 30.0, 90.0):
        kw = solar_kw(roof(tilt_deg=tilt), weather, HOURS)
        assert np.isfinite(kw).all() and 500 < kw.sum() / 3.6 < 1700


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"dc_kw": None}, "dc_kw is missing; it is: roof rating"),
        ({"tilt_deg": None}, "tilt_deg is missing"),
        ({"azimuth_deg": None}, "azimuth_deg is missing"),
        ({"tilt_deg": 95.0}, "tilt_deg"),
        ({"dc_kw": 0.0}, "dc_kw"),
        ({"dc_kw": float("nan")}, "dc_kw"),
        ({"curtails": "smoothly"}, "curtails"),
        ({"losses_frac": 14.08}, "losses_frac"),
        ({"connected_at": "roof"}, "connected_at"),
        ({"azimut_deg": 180.0}, "did you mean azimuth_deg"),
        ({"series": {"csv": "a.csv", "column": "kw"}}, "series does not go with tilt_deg"),
    ],
)
def test_solar_table_is_read_strictly(change, message):
    data = {key: value for key, value in (ROOF | change).items() if value is not None}
    with pytest.raises(BadInput, match=message):
        read_noun(Solar, data, table="solar")


def test_a_roof_without_weather_names_the_key():
    with pytest.raises(BadInput, match="weather.source is missing"):
        solar_kw(roof(), None, HOURS)


def test_weather_on_other_hours_is_a_fault_not_a_guess():
    with pytest.raises(ValueError, match="other hours"):
        solar_kw(roof(), PIEDMONT, hours_of_year(2024, NEW_YORK))


# A log, invented: a triangle of power every day, on whole hours of UTC.
def logged(step_min=60, year=2025):
    hours = hours_of_year(year, NEW_YORK, step_min)
    kw = np.maximum(0.0, 3.0 - np.abs(hours.utc.hour + hours.utc.minute / 60 - 17.0) / 2).round(6)
    return hours, np.asarray(kw)


def written(tmp_path, stamps, kw, name="log.csv", head="time,other,kw"):
    rows = [f"{stamp},9,{value!r}" for stamp, value in zip(stamps, map(float, kw), strict=True)]
    (tmp_path / name).write_text("\n".join([head, *rows]) + "\n")
    return Solar(connected_at="main-panel", dc_kw=3.6, series={"csv": name, "column": "kw"})


@pytest.mark.parametrize("pattern", ["%Y-%m-%dT%H:%M%z", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M"])
def test_log_with_offsets_or_on_the_local_clock_comes_back(tmp_path, pattern):
    hours, kw = logged()
    # The repeated hour of autumn stands there twice; the first is summer time.
    log = written(tmp_path, hours.local.strftime(pattern), kw)
    np.testing.assert_array_equal(solar_kw(log, None, hours, folder=tmp_path), kw)


def test_log_in_utc_is_read_and_its_rows_may_stand_in_any_order(tmp_path):
    hours, kw = logged()
    log = written(tmp_path, hours.utc.strftime("%Y-%m-%dT%H:%MZ")[::-1], kw[::-1])
    np.testing.assert_array_equal(solar_kw(log, None, hours, folder=tmp_path), kw)


def test_log_that_names_the_end_of_its_intervals(tmp_path):
    hours, kw = logged()
    ends = (hours.utc + pd.Timedelta(hours=1)).strftime("%Y-%m-%dT%H:%MZ")
    log = Solar(
        connected_at="battery", series={"csv": written(tmp_path, ends, kw).series.csv, "column": "kw", "stamp": "end"}
    )
    np.testing.assert_array_equal(solar_dc_kw(log, None, hours, folder=tmp_path), kw)


def test_finer_log_is_averaged_and_coarser_log_holds_its_mean(tmp_path):
    quarter, fine = logged(15)
    log = written(tmp_path, quarter.utc.strftime("%Y-%m-%dT%H:%MZ"), fine)
    np.testing.assert_allclose(solar_kw(log, None, HOURS, folder=tmp_path), fine.reshape(-1, 4).mean(axis=1))
    coarse = written(tmp_path, HOURS.utc.strftime("%Y-%m-%dT%H:%MZ"), logged()[1])
    np.testing.assert_array_equal(solar_kw(coarse, None, quarter, folder=tmp_path), np.repeat(logged()[1], 4))


def test_log_may_run_over_the_year(tmp_path):
    hours, kw = logged()
    before, after = logged(year=2024), logged(year=2026)
    stamps = [stamp for axis in (before[0], hours, after[0]) for stamp in axis.utc.strftime("%Y-%m-%dT%H:%MZ")]
    log = written(tmp_path, stamps, np.concatenate((before[1], kw, after[1])))
    np.testing.assert_array_equal(solar_kw(log, None, hours, folder=tmp_path), kw)
    assert log_years(log.series, NEW_YORK, tmp_path) == (2024, 2025, 2026)
    assert log_years(log.series, "America/Los_Angeles", tmp_path) == (2024, 2025)  # three hours of 2026 are not there


def broken_logs():
    hours, kw = logged()
    utc = list(hours.utc.strftime("%Y-%m-%dT%H:%MZ"))
    local = list(hours.local.strftime("%Y-%m-%dT%H:%M"))
    gap = [i for i in range(8760) if i != 4000]
    yield "gap", [utc[i] for i in gap], kw[gap], r"must cover 2025 .* begins 2025-06-16T17:00:00-04:00"
    yield "other year", [stamp.replace("2025", "2023") for stamp in utc[:-5]], kw[:-5], "must cover 2025"
    yield "below zero", utc, np.where(np.arange(8760) == 3, -0.01, kw), "in every row, 1 are not, first row 5"
    yield "missing", utc, np.where(np.arange(8760) == 3, np.nan, kw), "first row 5"
    yield "watts", utc, kw * 1000, "must be kW.*divide watts by 1,000"
    yield "twice", utc + utc[:1], np.append(kw, 0.0), "each time once"
    yield "skipped hour", [*local[:1634], "2025-03-09T02:30", *local[1635:]], kw, "2025-03-09T02:30.*|clocks skip it"
    yield "no time", ["noon", *utc[1:]], kw, "must hold a time in every row, row 2 does not"
    yield "mixed", [local[0], *utc[1:]], kw, "row 2 does not"
    yield (
        "20 minutes",
        pd.date_range(hours.utc[0], periods=26280, freq="20min").strftime("%Y-%m-%dT%H:%MZ"),
        np.zeros(26280),
        None,
    )


@pytest.mark.parametrize("case", list(broken_logs()), ids=lambda case: case[0])
def test_broken_log_is_refused_in_one_line(tmp_path, case):
    _, stamps, kw, message = case
    log = written(tmp_path, stamps, kw)
    if message is None:
        assert solar_kw(log, None, HOURS, folder=tmp_path).sum() == 0.0  # three to the hour do fit
        with pytest.raises(BadInput, match="do not fit steps of 15 min"):
            solar_kw(log, None, hours_of_year(2025, NEW_YORK, 15), folder=tmp_path)
        return
    with pytest.raises(BadInput, match=message) as refusal:
        solar_kw(log, None, HOURS, folder=tmp_path)
    assert "log.csv" in str(refusal.value) and "\n" not in str(refusal.value)


def test_log_that_is_not_there_and_column_that_is_not_there(tmp_path):
    hours, kw = logged()
    log = written(tmp_path, hours.utc.strftime("%Y-%m-%dT%H:%MZ"), kw, head="time,other,power")
    with pytest.raises(BadInput, match="is not a column of the log, not 'kw'; it has other, power"):
        solar_kw(log, None, hours, folder=tmp_path)
    with pytest.raises(BadInput, match="solar.series.csv names a file that is not there"):
        solar_kw(log, None, hours, folder=tmp_path / "elsewhere")
    (tmp_path / "log.csv").write_text("")
    with pytest.raises(BadInput, match="cannot be read as CSV"):
        solar_kw(log, None, hours, folder=tmp_path)


def test_the_old_name_of_the_temperature_coefficient_is_refused_and_the_new_one_named():
    roof = {
        "dc_kw": 3.0,
        "tilt_deg": 20.0,
        "azimuth_deg": 180.0,
        "connected_at": "main-panel",
        "gamma_per_degc": -0.004,
    }
    with pytest.raises(BadInput, match="gamma_per_degc is not a known key.*did you mean power_per_degc"):
        read_noun(Solar, roof, table="solar")
