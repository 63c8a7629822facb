"""The sun over a step: pvlib's solutions as the oracle, sunrise hours, poles, any step."""

import numpy as np
import pandas as pd
import pvlib
import pytest

from profiles.weather.sun import HORIZON_REFRACTION_DEG, solar_noon_min, standard_pressure_hpa, sun_of_steps

HOURS_2025 = pd.date_range("2025-01-01", "2026-01-01", freq="h", tz="UTC", inclusive="left")
START_S = HOURS_2025.as_unit("s").asi8.astype(float)
PLACES = [(36.1, -79.95, 273.0), (55.317, -160.517, 7.0), (-33.9, 151.2, 40.0), (69.65, 18.96, 10.0), (0.0, 0.0, 0.0)]
TEN_THOUSANDTH_DEG = 1e-4


@pytest.mark.parametrize("place", PLACES)
def test_sun_at_the_middle_of_whole_hours_is_that_of_pvlib(place):
    sun = sun_of_steps(*place, START_S, 3600.0)
    table = pvlib.solarposition.spa_python(
        HOURS_2025 + pd.Timedelta(minutes=30), *place, pressure=100 * standard_pressure_hpa(place[2]), delta_t=69.0
    )
    whole = (sun.lit_frac == 1.0) | (sun.lit_frac == 0.0)
    turn = (sun.azimuth_deg - table["azimuth"].to_numpy() + 180.0) % 360.0 - 180.0
    assert whole.mean() > 0.9
    assert np.abs(sun.zenith_deg - table["apparent_zenith"].to_numpy())[whole].max() < TEN_THOUSANDTH_DEG
    # The same arc on the sky: near the zenith a small arc is a large azimuth.
    assert np.abs(turn * np.sin(np.radians(sun.zenith_deg)))[whole].max() < TEN_THOUSANDTH_DEG


def test_sunlit_hours_of_a_year_are_those_of_pvlib():
    # pvlib counts from the disc's upper edge; the centre rises later by the half-width of the disc, 0.2667 degree.
    days = pd.date_range("2025-01-01", "2025-12-31", freq="D", tz="UTC")
    table = pvlib.solarposition.sun_rise_set_transit_spa(days, 36.1, -79.95)
    upper_edge_h = ((table["sunset"] - table["sunrise"]).dt.total_seconds() % 86400).sum() / 3600
    crossing_h = 2 * 0.2667 / 15.0 / (np.cos(np.radians(36.1)) * 0.97)  # typical sine of the angle with the horizon
    lit_h = sun_of_steps(36.1, -79.95, 273.0, START_S, 3600.0).lit_frac.sum()
    assert lit_h == pytest.approx(upper_edge_h - 365 * crossing_h, abs=2.0)


def test_in_the_hour_of_sunrise_the_sun_is_that_of_the_sunlit_part():
    coarse = sun_of_steps(36.1, -79.95, 273.0, START_S[:48], 3600.0)
    fine = sun_of_steps(36.1, -79.95, 273.0, np.arange(START_S[0], START_S[48], 60.0), 60.0)
    lit = fine.lit_frac.reshape(48, 60)
    rising = np.flatnonzero((coarse.lit_frac > 0) & (coarse.lit_frac < 1))
    assert len(rising) == 4  # two sunrises and two sunsets
    np.testing.assert_allclose(coarse.lit_frac[rising], lit[rising].mean(axis=1), atol=1 / 60)
    seen = (np.cos(np.radians(fine.zenith_deg)).reshape(48, 60) * lit).sum(axis=1)[rising] / lit[rising].sum(axis=1)
    np.testing.assert_allclose(np.cos(np.radians(coarse.zenith_deg[rising])), seen, atol=0.005)
    assert (coarse.zenith_deg[rising] < 90.0).all()


def test_beyond_the_polar_circle_days_without_night_and_nights_without_day():
    sun = sun_of_steps(69.65, 18.96, 10.0, START_S, 3600.0)
    assert sun.lit_frac[172 * 24 : 173 * 24].sum() == 24.0
    assert sun.lit_frac[355 * 24 : 356 * 24].sum() == 0.0
    assert np.isfinite(sun.zenith_deg).all() and np.isfinite(sun.azimuth_deg).all()


def test_a_short_polar_day_inside_one_step_is_seen():
    # A step of six hours with both ends in the dark and the sun up at its middle.
    start = pd.Timestamp("2025-01-18T07:45", tz="UTC").timestamp()
    sun = sun_of_steps(69.65, 18.96, 10.0, np.array([start]), 6 * 3600.0)
    assert 0.0 < sun.lit_frac[0] < 0.6 and sun.zenith_deg[0] < 90.0


def test_five_minute_steps_pass_through_the_same_sky():
    hour = sun_of_steps(36.1, -79.95, 273.0, START_S[:24], 3600.0)
    fine = sun_of_steps(36.1, -79.95, 273.0, START_S[0] + np.arange(0, 86400.0, 300.0) + 150.0, 300.0)
    noon = hour.lit_frac == 1.0  # the middle of the hour is the middle of the sixth fine step
    np.testing.assert_allclose(fine.zenith_deg.reshape(24, 12)[noon, 5], hour.zenith_deg[noon], atol=1e-9)


def test_equation_of_time_is_that_of_pvlib():
    day = np.arange(365)
    ours = 720.0 - solar_noon_min(0.0, 0.0, day)
    np.testing.assert_allclose(ours, pvlib.solarposition.equation_of_time_spencer71(day + 1), atol=0.05)


def test_solar_noon_is_where_the_sun_is_highest():
    fine = np.arange(START_S[0], START_S[0] + 365 * 86400.0, 60.0)
    zenith = sun_of_steps(36.1, -79.95, 273.0, fine, 60.0).zenith_deg.reshape(365, 1440)
    seen = zenith.argmin(axis=1) + 0.5
    np.testing.assert_allclose((seen - 300.0) % 1440, solar_noon_min(-79.95, -5.0, np.arange(365)), atol=2.0)


def test_refraction_lifts_the_rising_sun_by_half_a_degree():
    assert HORIZON_REFRACTION_DEG == 0.5667
    sun = sun_of_steps(36.1, -79.95, 0.0, np.arange(START_S[0], START_S[0] + 86400.0, 60.0), 60.0)
    rising = np.flatnonzero(sun.lit_frac > 0)[0]
    assert sun.zenith_deg[rising] == pytest.approx(90.0, abs=0.3)
