"""The hardest real days of weather files: coldest, darkest, hottest, and cold and dark at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput
from profiles.weather.check import MONTH_DAYS
from profiles.weather.weather import Weather

COLD_SHARE = 0.1  # of all days that count as cold when the dark ones among them are looked for


@dataclass(frozen=True)
class StormDay:
    """One day of a weather file, and why it is named.

    Attributes
    ----------
    why : str
        "coldest", "darkest", "hottest" or "cold-and-dark".
    weather : int
        Which of the files that were given, counted from 0.
    day : int
        Days since 1 January in that file's year.
    month, day_of_month : int
    year : int or None
        None in a typical year.
    temp_c, ghi_kwh_m2 : float
        Mean air temperature and global irradiation of the day. [degC], [kWh/m2]
    """

    why: str
    weather: int
    day: int
    month: int
    day_of_month: int
    year: int | None
    temp_c: float
    ghi_kwh_m2: float


def storm_days(*weathers: Weather, count: int = 3) -> tuple[StormDay, ...]:
    """The hardest days of one or several years, as they happened: cold, light and wind of the same day.

    Parameters
    ----------
    weathers : Weather
        Actual years show real storms; a typical year leaves the worst out by its making.
    count : int
        Days of each kind.

    Returns
    -------
    tuple of StormDay
        Kind by kind, the hardest first.

    Notes
    -----
    Cold and darkness come together in a storm; drawing them apart would miss it. "cold-and-dark" are the darkest among
    the coldest tenth of all days.

    Examples
    --------
    >>> from profiles.weather.weather import read_weather
    >>> days = {day.why: day for day in storm_days(read_weather("library:piedmont"), count=1)}
    >>> days["coldest"].temp_c < days["hottest"].temp_c, days["darkest"].ghi_kwh_m2 < 1.0
    (True, True)
    """
    if not weathers:
        raise BadInput("needs at least one weather file", key="weather.source")
    temp_c, ghi = (np.concatenate([_by_day(one, name) for one in weathers]) for name in ("temp_c", "ghi"))
    where = [(number, day) for number, one in enumerate(weathers) for day in range(one.n_days)]
    ghi_kwh = ghi * 24.0 / 1000.0
    cold = temp_c <= np.quantile(temp_c, COLD_SHARE, method="lower")
    orders = {
        "coldest": np.argsort(temp_c, kind="stable"),
        "darkest": np.argsort(ghi_kwh, kind="stable"),
        "hottest": np.argsort(-temp_c, kind="stable"),
        "cold-and-dark": np.argsort(np.where(cold, ghi_kwh, np.inf), kind="stable"),
    }
    return tuple(
        _named(why, weathers, *where[at], float(temp_c[at]), float(ghi_kwh[at]))
        for why, order in orders.items()
        for at in order[: min(count, cold.sum()) if why == "cold-and-dark" else count]
    )


def _by_day(weather: Weather, name: str) -> np.ndarray:
    return getattr(weather, name).reshape(weather.n_days, -1).mean(axis=1)


def _named(why: str, weathers: tuple[Weather, ...], number: int, day: int, temp_c: float, ghi_kwh: float) -> StormDay:
    weather = weathers[number]
    ends = np.cumsum(MONTH_DAYS + (np.arange(12) == 1) * (weather.n_days == 366))
    month = int(np.searchsorted(ends, day, side="right"))
    day_of_month = day - (int(ends[month - 1]) if month else 0) + 1
    return StormDay(why, number, day, month + 1, day_of_month, weather.year, temp_c, ghi_kwh)
