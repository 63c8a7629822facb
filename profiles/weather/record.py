"""One year of weather as a file holds it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Weather:
    """One year as a weather file holds it, on the file's own standard clock.

    Attributes
    ----------
    name, format : str
        Station, and the format that the content showed.
    latitude, longitude, altitude_m, utc_offset_h
        Of the file; its clock knows no daylight saving. [deg], [deg], [m], [h]
    year : int or None
        The calendar year of an actual year; None where the months come from several.
    step_min : int
        Length of a row's interval. [min]
    start_min : float
        When the first interval of the year begins, after midnight of 1 January. [min]
    temp_at_min : float
        When temperature and wind were read, after the beginning of a row's interval. [min]
    convention : str
        What a stamp of the file means for its irradiance.
    ghi, dni, dhi : ndarray, shape (n_rows,)
        Mean global horizontal, direct normal and diffuse horizontal irradiance over the interval. [W/m2]
    temp_c, wind_m_s : ndarray, shape (n_rows,)
        Air temperature and wind speed. [degC], [m/s]
    notes : tuple of str
        What a reader of results should know about the file.
    """

    name: str
    format: str
    latitude: float
    longitude: float
    altitude_m: float
    utc_offset_h: float
    year: int | None
    step_min: int
    start_min: float
    temp_at_min: float
    convention: str
    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray
    temp_c: np.ndarray
    wind_m_s: np.ndarray
    notes: tuple[str, ...] = ()

    @property
    def n_days(self) -> int:
        return len(self.ghi) * self.step_min // 1440
