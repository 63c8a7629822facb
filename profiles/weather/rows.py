"""The rows of a weather file as they stand there, whatever its format."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

COLUMNS = ("ghi", "dni", "dhi", "temp_c", "wind_m_s")
KNOWN = "keeplit reads TMY3, TMY2, EPW, NSRDB CSV, PVGIS TMY and hourly series (CSV, JSON), SolarAnywhere CSV files"
KNOWN += " and saved frames of pvlib"


OPEN = "open"
"""The convention of a file that does not say what its stamps mean."""


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of a file as they stand there: when each interval begins on the file's clock, and its five values.

    `temp_at_frac` is where in its interval a row's temperature and wind were read: 1 is the end.
    """

    format: str
    name: str
    latitude: float
    longitude: float
    altitude_m: float
    utc_offset_h: float
    month: np.ndarray
    day: np.ndarray
    start_min: np.ndarray
    years: np.ndarray
    values: pd.DataFrame
    convention: str
    temp_at_frac: float
    notes: tuple[str, ...] = ()


def split_years(rows: Rows) -> list[Rows]:
    """The calendar years of a file of more than one year of rows; a typical year is one, whatever its months."""
    if len(rows.years) <= 366 * 24 * 60 // _step_min(rows):
        return [rows]
    parts = []
    for year in np.unique(rows.years):
        mine = rows.years == year
        fields = {name: getattr(rows, name)[mine] for name in ("month", "day", "start_min", "years")}
        parts.append(replace(rows, **fields, values=rows.values[mine].reset_index(drop=True)))
    return parts


def _step_min(rows: Rows) -> int:
    """Usual minutes between rows."""
    return int(max(np.median(np.diff(rows.start_min) % 1440), 1)) if len(rows.start_min) > 1 else 60


def plain_values(data: pd.DataFrame, no_sun: float, no_temp: float, no_wind: float) -> pd.DataFrame:
    """The five columns as float; what the format writes for "missing" becomes NaN, to be refused by name later."""
    columns = data[["ghi", "dni", "dhi", "temp_air", "wind_speed"]].reset_index(drop=True)
    values = columns.set_axis(list(COLUMNS), axis=1).apply(pd.to_numeric, errors="coerce").astype(float)
    missing = dict(zip(COLUMNS, (no_sun, no_sun, no_sun, no_temp, no_wind), strict=True))
    return values.mask(values == pd.Series(missing))
