"""Against the headline of a ride-through study of solar with storage in three-day outages; qualitative.

Source: Gorman, Barbose, Carvallo, Baik, Miller, White, Praprost: "Evaluating the Capabilities of Behind-the-Meter
Solar-plus-Storage for Providing Backup Power during Long-Duration Power Interruptions" (LBNL, NREL 2022; Applied Energy
2023, 121166). The sentence "small PVESS with just 10 kWh of storage ... can fully meet backup needs over a 3-day outage in
virtually all U.S. counties and any month of the year" (heating and cooling left out) was seen in verbatim quotations, the
study was not read and no table of it is readable. So loads and roof here are ours: circuits as the study names them
(refrigeration, lighting, internet, well pump), solar that makes as much in the year as the house's appliances and lights
use (equations of ANSI/RESNET/ICC 301, seen in a reproduction; with heating and cooling on top where the test says so),
units full at the start. The share of 95 % for "virtually all" is ours too. Three weather years come with pvlib; two of
them lie in the forty-eight states.
"""

import functools

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.load import load_kw
from profiles.solar.roof import Solar, solar_kw
from profiles.weather.weather import read_weather, weather_on
from simulate.physics.outages.outages import hours_survived
from simulate.physics.pool import Pool

THREE_DAYS_H = 72.0
VIRTUALLY_ALL = 0.95
HOUSE_KWH = 7044.0  # three bedrooms, 2,000 ft2: 2055 + 200 + 691 + 448 + 971 + 68 + 171 + 1820 + 620
LIGHTING_KWH = 2055.0  # the equation, of the time of incandescent lamps
LED_SHARE = 0.25  # light for light, engineering judgement
ZONES = {"piedmont": "America/New_York", "south-florida": "America/New_York", "alaska-coast": "America/Anchorage"}


@functools.cache
def place(name):
    hours = hours_of_year(2025, ZONES[name])
    weather = weather_on(read_weather(f"library:{name}"), hours)
    roof = Solar(dc_kw=1.0, tilt_deg=25.0, azimuth_deg=180.0, connected_at="sub-panel")
    sun = solar_kw(roof, weather, hours)
    heat = np.minimum(0.15 * np.maximum(16.0 - weather.temp_c, 0.0), 5.0)
    cool = np.minimum(0.25 * np.maximum(weather.temp_c - 22.0, 0.0), 4.0)
    return hours, sun * (HOUSE_KWH / sun.sum()), heat + cool


def critical_kw(hours, light_share):
    lighting = {"shape": "lighting_interior", "annual_kwh": LIGHTING_KWH * light_share}
    well = {"shape": "well_pump", "annual_kwh": 410.0}
    return load_kw([{"shape": "refrigerator", "annual_kwh": 691.0}, lighting, {"kw": 0.02}, well], hours)


@functools.cache
def survived(name, usable_kwh, light_share=LED_SHARE, hvac=False, whole_house_roof=False):
    """Hours from every start of the year, three days at most."""
    hours, sun, conditioning = place(name)
    if whole_house_roof:
        sun = sun * (HOUSE_KWH + conditioning.sum()) / HOUSE_KWH
    kw = critical_kw(hours, light_share) + conditioning * hvac
    power = usable_kwh / 2.0
    pool = Pool(usable_kwh, power, power, 0.922, 0.922, no_load_kw=0.05, takes_back_kw=power)
    return hours_survived(kw, pool, solar_kw=sun, soc_kwh=usable_kwh, horizon_h=THREE_DAYS_H, reconnect_s=300.0)


def share_met(*args, **more):
    return float(np.mean(survived(*args, **more) >= THREE_DAYS_H - 1e-9))


def test_the_house_is_the_sum_of_its_equations():
    assert 2055 + 200 + 691 + 448 + 971 + 68 + 171 + 1820 + 620 == HOUSE_KWH


@pytest.mark.parametrize("name", ["piedmont", "south-florida"])
def test_ten_kwh_carry_critical_circuits_for_three_days(name):
    hours = place(name)[0]
    met = survived(name, 10.0) >= THREE_DAYS_H - 1e-9
    assert met.mean() >= VIRTUALLY_ALL
    assert min(met[hours.month == month].mean() for month in range(1, 13)) >= VIRTUALLY_ALL


@pytest.mark.parametrize("name", ["piedmont", "south-florida"])
def test_the_headline_bears_lighting_of_the_time_of_incandescent_lamps_with_the_whole_house_roof(name):
    """The sentence leaves heating and cooling out of what is backed up, not out of the house whose annual load sizes the
    roof: sized so (our heating and cooling) it holds for four times the lighting. Sized to appliances and lights alone it
    holds up to 0.6 of that lighting, and at the full 2,055 kWh the Piedmont's winter breaks it."""
    assert share_met(name, 10.0, light_share=1.0, whole_house_roof=True) >= VIRTUALLY_ALL
    assert share_met(name, 10.0, light_share=0.6) >= VIRTUALLY_ALL
    assert share_met("piedmont", 10.0, light_share=1.0) < VIRTUALLY_ALL


def test_at_55_degrees_north_the_headline_is_missed_in_winter():
    """Not a county that the sentence's "virtually all" must hold: 95 % of the year's starts, 73 % of January's."""
    hours = place("alaska-coast")[0]
    met = survived("alaska-coast", 10.0) >= THREE_DAYS_H - 1e-9
    assert 0.9 < met.mean() < 1.0
    assert met[hours.month == 1].mean() < VIRTUALLY_ALL < met[hours.month == 6].mean()


@pytest.mark.parametrize("name", list(ZONES))
def test_thirty_kwh_never_serve_less_and_heating_and_cooling_always_cost(name):
    ten, thirty, with_hvac = survived(name, 10.0), survived(name, 30.0), survived(name, 10.0, hvac=True)
    assert (thirty >= ten - 1e-9).all()
    assert (with_hvac <= ten + 1e-9).all()
    assert share_met(name, 10.0, hvac=True) < share_met(name, 10.0)
    assert share_met(name, 30.0) == 1.0
