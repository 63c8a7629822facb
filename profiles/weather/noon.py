"""Is a weather file's clock right? Sunny days must be centred on solar noon."""

from __future__ import annotations

import math

import numpy as np

from profiles.weather.check import MONTH_DAYS
from profiles.weather.record import Weather
from profiles.weather.sun import solar_noon_min

# The smallest usual mistake in stamps is half an hour; good files are centred within a few minutes.
NOON_TOLERANCE_MIN = 20.0


def noon_shift_min(weather: Weather) -> float:
    """How much later than solar noon the irradiance of sunny days is centred; near 0 where stamps are read right.

    Parameters
    ----------
    weather : Weather

    Returns
    -------
    float
        Median over the three sunniest days of each month; NaN where the file holds no sun. [min]

    Notes
    -----
    The centre is that of the day's global irradiance, row by row at the middle of each interval. Stamps read one hour
    wrong move it by 60.

    Examples
    --------
    >>> from profiles.weather.weather import read_weather
    >>> abs(noon_shift_min(read_weather("library:south-florida"))) < 15
    True
    """
    per_day = 1440 // weather.step_min
    noon = solar_noon_min(weather.longitude, weather.utc_offset_h, np.arange(weather.n_days))
    # Count each day from the solar midnight before it, so that a clock far from its meridian cuts no day in two.
    lead = np.round((noon - 720.0 - weather.start_min) / weather.step_min).astype(int)
    rows = np.arange(weather.n_days)[:, None] * per_day + lead[:, None] + np.arange(per_day)
    ghi = weather.ghi[rows % len(weather.ghi)]
    at = (lead[:, None] + np.arange(per_day) + 0.5) * weather.step_min + weather.start_min
    days = _sunniest(ghi.sum(axis=1), weather.n_days)
    if not len(days):
        return float("nan")
    return float(np.median((ghi * (at - noon[:, None])).sum(axis=1)[days] / ghi.sum(axis=1)[days]))


def noon_note(weather: Weather) -> tuple[str, ...]:
    """A note where the sunny days of a file are not centred on solar noon; else none."""
    shift = noon_shift_min(weather)
    if math.isnan(shift):
        return ("weather: the file holds no sunshine",)
    if abs(shift) <= NOON_TOLERANCE_MIN:
        return ()
    side = "after" if shift > 0 else "before"
    return (
        f"weather: sunny days are centred {abs(shift):.0f} min {side} solar noon: are its stamps "
        f"{weather.convention}, and is its clock at UTC{weather.utc_offset_h:+g}? Solar may be off",
    )


def _sunniest(energy: np.ndarray, n_days: int) -> np.ndarray:
    month = np.searchsorted(np.cumsum(MONTH_DAYS), np.arange(n_days), side="right").clip(max=11)
    best = [np.flatnonzero(month == m)[np.argsort(energy[month == m])[-3:]] for m in range(12)]
    days = np.concatenate(best)
    return days[energy[days] > 0]
