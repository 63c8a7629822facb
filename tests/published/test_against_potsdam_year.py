"""Against a German test reference year: DWD TRY 2010, region 4 (Potsdam), 1988-2007, from the raw file in demandlib 0.2.2.

How sure: computed from that library's file, the mean temperature also by its own reader (lib). The yield of 993.7 kWh
for each kW is a trial run of pvlib 0.16.1 with other models than ours (Hay-Davies sky, Faiman cell, tilt 35 south,
-0.4 %/K, 14 % losses, inverter of NREL/TP-6A20-62641); nobody published a target, so it is a check of plausibility between models.
"""

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("demandlib", reason="comes with the test extra")

from profiles.hours import hours_of_year
from profiles.solar.roof import Solar, solar_kw
from profiles.weather.weather import read_weather, weather_on
from tests.published import potsdam

GHI_KWH_M2, TENTH = 1074.5, 0.05
MEAN_C, HUNDREDTH = 9.54, 0.005
YIELD_KWH, BETWEEN_MODELS = 993.7, 0.03  # sky and cell models differ by so much in a year, engineering judgement
ONE_PER_MILLE, RISING_SUN_W_M2 = 0.001, 15.0  # mid-hour and mid of the sunlit part differ while the sun rises
HOURS = hours_of_year(2010, "Etc/GMT-1")


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    path = tmp_path_factory.mktemp("try") / "potsdam.epw"
    path.write_text(potsdam.epw_text())
    return weather_on(read_weather(path), HOURS)


def test_the_sum_of_the_sun_survives_reader_and_axis(year):
    assert len(year.ghi) == 8760
    assert year.ghi.sum() / 1000 == pytest.approx(GHI_KWH_M2, abs=TENTH)


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # of pandas, in the library's reader
def test_the_mean_temperature_is_that_of_the_librarys_own_reader(year):
    from demandlib.vdi.dwd_try import read_dwd_weather_file

    folder = Path(find_spec("demandlib").submodule_search_locations[0]) / "vdi" / "resources_weather"
    own = read_dwd_weather_file(str(folder / "TRY2010_04_Jahr.dat"))["TAMB"]
    assert year.temp_c.mean() == pytest.approx(own.mean(), abs=1e-9)
    assert year.temp_c.mean() == pytest.approx(MEAN_C, abs=HUNDREDTH)


def test_beam_and_diffuse_add_up_to_global_on_our_sun(year):
    """The beam was divided by the sun of pvlib in mid-hour: on our own it comes back, so clock and place are right."""
    level = year.dni * np.maximum(np.cos(np.radians(year.zenith_deg)), 0.0) + year.dhi
    assert level.sum() == pytest.approx(year.ghi.sum(), rel=ONE_PER_MILLE)
    np.testing.assert_allclose(level, year.ghi, atol=RISING_SUN_W_M2)


def test_a_kilowatt_of_roof_yields_what_other_models_of_sky_and_cell_give(year):
    roof = Solar(
        dc_kw=1.0,
        ac_kw=1.0,
        tilt_deg=35.0,
        azimuth_deg=180.0,
        mount="rack",
        power_per_degc=-0.004,
        losses_frac=0.14,
        connected_at="main-panel",
    )
    assert solar_kw(roof, year, HOURS).sum() == pytest.approx(YIELD_KWH, rel=BETWEEN_MODELS)
