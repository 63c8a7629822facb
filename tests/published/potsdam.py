"""A German test reference year as an EPW file: DWD TRY 2010, region 4 (Potsdam), from the raw file in demandlib."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd

LATITUDE, LONGITUDE, ALTITUDE_M = 52 + 23 / 60, 13 + 4 / 60, 81  # as its header prints them
LOWEST_SUN_DEG = 2.0  # below it the horizontal beam is counted as diffuse: dividing by the sine would invent a spike
EPW_COLUMNS = 35
EPW_HEAD = (
    "LOCATION,Potsdam,-,DEU,TRY,103790,{:.4f},{:.4f},1.0,{}\nDESIGN CONDITIONS,0\nTYPICAL/EXTREME PERIODS,0\n"
    "GROUND TEMPERATURES,0\nHOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1\nCOMMENTS 2\n"
    "DATA PERIODS,1,1,Data,Sunday,1/ 1,12/31\n"
)


def raw_rows() -> pd.DataFrame:
    """The 8,760 rows of the year: month, day, hour (CET, named by its end), wind, air, beam and diffuse on the level."""
    folder = Path(find_spec("demandlib").submodule_search_locations[0]) / "vdi" / "resources_weather"
    text = (folder / "TRY2010_04_Jahr.dat").read_text("latin-1")
    numbers = [line.split() for line in text.split("***", 1)[1].splitlines() if line.strip()]
    table = pd.DataFrame(numbers).iloc[:, [2, 3, 4, 7, 8, 13, 14]].astype(float)
    return table.set_axis(["month", "day", "hour", "wind_m_s", "temp_c", "beam_w_m2", "diffuse_w_m2"], axis=1)


def sun_height_deg(rows: pd.DataFrame) -> np.ndarray:
    """Height of the sun in the middle of each hour, by pvlib. [deg]"""
    from pvlib.solarposition import get_solarposition

    middle = pd.date_range("2010-01-01 00:30", periods=len(rows), freq="h", tz="Etc/GMT-1")
    return 90.0 - get_solarposition(middle, LATITUDE, LONGITUDE, ALTITUDE_M)["apparent_zenith"].to_numpy()


def epw_text() -> str:
    """The year as an EPW file; the direct normal irradiance is the level beam over the sine of the sun's height."""
    rows, cells = raw_rows(), np.full((8760, EPW_COLUMNS), "0", dtype=object)
    height = sun_height_deg(rows)
    up = height >= LOWEST_SUN_DEG
    total = rows.beam_w_m2 + rows.diffuse_w_m2
    dni = np.where(up, rows.beam_w_m2 / np.sin(np.radians(np.maximum(height, LOWEST_SUN_DEG))), 0.0)
    diffuse = np.where(up, rows.diffuse_w_m2, total)
    for column, values in enumerate((np.full(8760, 2010), rows.month, rows.day, rows.hour, np.full(8760, 60))):
        cells[:, column] = [f"{int(value)}" for value in values]
    cells[:, 5] = "?9"
    for column, values in ((6, rows.temp_c), (13, total), (14, dni), (15, diffuse), (21, rows.wind_m_s)):
        cells[:, column] = [f"{value:.1f}" for value in values]
    lines = "\n".join(",".join(row) for row in cells)
    return EPW_HEAD.format(LATITUDE, LONGITUDE, ALTITUDE_M) + lines + "\n"
