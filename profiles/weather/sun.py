"""Where the sun stands over a place, at the middle of each step or of its sunlit part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Refraction at the horizon in standard air, the figure of the NREL solar position algorithm.
HORIZON_REFRACTION_DEG = 0.5667
# Terrestrial minus universal time in the 2020s; ten seconds move the sun by 0.0001 degree.
DELTA_T_S = 69.0
_KNOT_S = 3600.0
_DAY_S = 86400.0


@dataclass(frozen=True, eq=False)
class Sun:
    """The sun over each step; every array has shape (n_steps,).

    Attributes
    ----------
    zenith_deg, azimuth_deg
        Seen from the place, refraction included; azimuth clockwise from north. [deg]
    lit_frac
        Part of the step with the sun's centre above the horizon. [fraction]
    """

    zenith_deg: np.ndarray
    azimuth_deg: np.ndarray
    lit_frac: np.ndarray


def sun_of_steps(latitude: float, longitude: float, altitude_m: float, start_s: np.ndarray, step_s: float) -> Sun:
    """Sun at the middle of equal steps, or at the middle of the sunlit part where it rises or sets inside one.

    Parameters
    ----------
    latitude, longitude : float
        North and east are positive. [deg]
    altitude_m : float
        Above sea level. [m]
    start_s : ndarray, shape (n_steps,)
        Start of each step, seconds since 1970 in UTC, without gaps. [s]
    step_s : float
        Length of a step. [s]

    Notes
    -----
    An hourly mean of irradiance in the hour of sunrise belongs to the sunlit minutes only; the sun of the whole hour's
    middle may still be under the horizon. Sunrise is found by straight lines through start, middle and end of a step.

    Examples
    --------
    The equator at an equinox: sunrise at six, so the hour after it is lit to the end and the one before is not:

    >>> sun = sun_of_steps(0.0, 0.0, 0.0, np.arange(24) * 3600.0 + 1742428800, 3600.0)  # 20 March 2025
    >>> bool(sun.lit_frac[7] == 1.0), bool(sun.lit_frac[5] == 0.0), round(float(sun.zenith_deg[11]))
    (True, True, 9)
    """
    path = _SunPath(latitude, longitude, start_s[0], start_s[-1] + step_s)
    edges = path.elevation_deg(np.append(start_s, start_s[-1] + step_s)) + HORIZON_REFRACTION_DEG
    middle = path.elevation_deg(start_s + step_s / 2) + HORIZON_REFRACTION_DEG
    first, last = _lit_part(edges[:-1], middle, edges[1:])
    lit = last > first
    at = start_s + step_s * np.where(lit, (first + last) / 2, 0.5)
    zenith, azimuth = path.seen_deg(at, standard_pressure_hpa(altitude_m))
    return Sun(zenith, azimuth, np.where(lit, last - first, 0.0))


def _lit_part(start: np.ndarray, middle: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First and last lit moment of a step as fractions of it, from heights over the horizon; 0, 0 in the dark."""
    rise = np.where(start > 0, 0.0, np.where(middle > 0, _crossing(start, middle), 0.5 + _crossing(middle, end)))
    fall = np.where(end > 0, 1.0, np.where(middle > 0, 0.5 + _crossing(middle, end), _crossing(start, middle)))
    dark = (start <= 0) & (middle <= 0) & (end <= 0)
    return np.where(dark, 0.0, rise), np.where(dark, 0.0, fall)


def _crossing(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    span = np.where(before == after, 1.0, before - after)
    return 0.5 * np.clip(before / span, 0.0, 1.0)


def sun_seen_deg(
    latitude: float,
    longitude: float,
    unix_s: np.ndarray,
    pressure_hpa: float,
    temp_c: float = 12.0,
    delta_t_s: float = DELTA_T_S,
) -> tuple[np.ndarray, np.ndarray]:
    """Zenith and azimuth of the sun at given moments, refraction included.

    Parameters
    ----------
    latitude, longitude : float
        North and east are positive. [deg]
    unix_s : ndarray, shape (n,)
        Seconds since 1970 in UTC, rising. [s]
    pressure_hpa, temp_c, delta_t_s : float
        Air at the place, and terrestrial minus universal time. [hPa], [degC], [s]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Zenith, and azimuth clockwise from north. [deg]

    References
    ----------
    Reda, Andreas: Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, 2008.
    """
    path = _SunPath(latitude, longitude, unix_s[0], unix_s[-1], delta_t_s)
    return path.seen_deg(unix_s, pressure_hpa, temp_c)


def standard_pressure_hpa(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere. [hPa]

    References
    ----------
    U.S. Standard Atmosphere, 1976, troposphere.

    Examples
    --------
    >>> round(standard_pressure_hpa(0.0), 2)
    1013.25
    """
    return 1013.25 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588


def solar_noon_min(longitude: float, utc_offset_h: float, day: np.ndarray) -> np.ndarray:
    """Minute of the day, on a standard clock, at which the sun is highest.

    Parameters
    ----------
    longitude : float
        East is positive. [deg]
    utc_offset_h : float
        Of the clock. [h]
    day : ndarray of int, shape (n,)
        Days since 1 January.

    References
    ----------
    Equation of time: Spencer, "Fourier series representation of the position of the sun", Search 2(5), 1971, in the
    form of Duffie and Beckman, Solar Engineering of Thermal Processes; within a minute.

    Examples
    --------
    >>> [round(float(m)) for m in solar_noon_min(-75.0, -5.0, np.array([41, 105]))]  # latest in February, even in April
    [734, 720]
    """
    b = 2 * np.pi * np.asarray(day) / 365.0
    equation_min = 229.18 * (
        0.000075 + 0.001868 * np.cos(b) - 0.032077 * np.sin(b) - 0.014615 * np.cos(2 * b) - 0.04089 * np.sin(2 * b)
    )
    return 720.0 + 60.0 * utc_offset_h - 4.0 * longitude - equation_min


class _SunPath:
    """Declination and hour angle over a span, from hourly solutions of the algorithm with straight lines between.

    Both change so slowly once the even turn of the earth is taken out that an hour's straight line is within
    0.00003 degree; that makes minute steps as cheap as hours.
    """

    def __init__(self, latitude: float, longitude: float, first_s: float, last_s: float, delta_t_s: float = DELTA_T_S):
        from pvlib import spa

        self.latitude = np.radians(latitude)
        self.knot_s = np.arange(np.floor(first_s / _KNOT_S), np.ceil(last_s / _KNOT_S) + 2) * _KNOT_S
        # Refraction is added later, at the moment that is asked for: the algorithm's second row leaves it out.
        _, zenith, _, _, azimuth, _ = spa.solar_position(
            self.knot_s, latitude, longitude, 0.0, 1013.25, 12.0, delta_t_s, HORIZON_REFRACTION_DEG, numthreads=1
        )
        south, west, pole = _turned(np.radians(zenith), np.radians(azimuth), self.latitude)
        self.declination = np.arcsin(np.clip(pole, -1.0, 1.0))
        self.lag = np.unwrap(np.arctan2(west, south) - _turn(self.knot_s))

    def _overhead(self, unix_s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        declination = np.interp(unix_s, self.knot_s, self.declination)
        hour_angle = np.interp(unix_s, self.knot_s, self.lag) + _turn(unix_s)
        south, west, pole = (
            np.cos(declination) * np.cos(hour_angle),
            np.cos(declination) * np.sin(hour_angle),
            np.sin(declination),
        )
        up = np.cos(self.latitude) * south + np.sin(self.latitude) * pole
        north = np.cos(self.latitude) * pole - np.sin(self.latitude) * south
        return up, north, -west

    def elevation_deg(self, unix_s: np.ndarray) -> np.ndarray:
        """Height of the sun's centre without refraction."""
        return np.degrees(np.arcsin(np.clip(self._overhead(unix_s)[0], -1.0, 1.0)))

    def seen_deg(self, unix_s: np.ndarray, pressure_hpa: float, temp_c: float = 12.0) -> tuple[np.ndarray, np.ndarray]:
        up, north, east = self._overhead(unix_s)
        height = np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))
        azimuth = np.degrees(np.arctan2(east, north)) % 360.0
        return 90.0 - height - _refraction_deg(height, pressure_hpa, temp_c), azimuth


def _turn(unix_s: np.ndarray) -> np.ndarray:
    return 2 * np.pi * ((unix_s % _DAY_S) / _DAY_S)


def _turned(zenith: np.ndarray, azimuth: np.ndarray, latitude: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Directions from the horizon to the equator: towards the meridian, towards the west, towards the pole."""
    up, north, east = np.cos(zenith), np.sin(zenith) * np.cos(azimuth), np.sin(zenith) * np.sin(azimuth)
    return (np.cos(latitude) * up - np.sin(latitude) * north, -east, np.sin(latitude) * up + np.cos(latitude) * north)


def _refraction_deg(height_deg: np.ndarray, pressure_hpa: float, temp_c: float) -> np.ndarray:
    """Equation 42 of the algorithm; none once the whole disc is under the horizon."""
    seen = height_deg >= -(0.26667 + HORIZON_REFRACTION_DEG)
    tangent = np.tan(np.radians(height_deg + 10.3 / (height_deg + 5.11)))
    air = pressure_hpa / 1010.0 * 283.0 / (273.0 + temp_c)
    return np.where(seen, air * 1.02 / (60.0 * np.where(seen, tangent, 1.0)), 0.0)
