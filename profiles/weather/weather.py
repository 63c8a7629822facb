"""Weather: a typical or an actual year from a file, laid on the hour axis by the file's own standard clock."""

from __future__ import annotations

import functools
import importlib.util
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from profiles.files import WEATHER_MB, plain_file
from profiles.hours import Hours
from profiles.noun import BadInput, Noun
from profiles.weather.check import check_place, check_values, check_whole, day_of_year, size_of, without_offsets
from profiles.weather.file import read_rows
from profiles.weather.noon import NOON_TOLERANCE_MIN, noon_note, noon_shift_min
from profiles.weather.record import Weather
from profiles.weather.rows import COLUMNS, OPEN, Rows, split_years
from profiles.weather.sun import Sun, sun_of_steps

LIBRARY = {
    "piedmont": ("723170TYA.CSV", "TMY3 of a mid-Atlantic Piedmont city, 36.1 N 80.0 W"),
    "alaska-coast": ("703165TY.csv", "TMY3 of the Alaskan coast, 55.3 N 160.5 W"),
    "south-florida": ("12839.tm2", "TMY2 of south Florida, 25.8 N 80.3 W"),
}
FAR_KM = 100.0
EARTH_KM = 6371.0


class Resample(Noun):
    """Years put together from weeks, each of one house in one weather: load, sun and cold stay together."""

    years: int = Field(ge=2, le=1000, description="how many such years")
    seed: int = Field(1, ge=0, description="fixes which weeks they are made of")


class WeatherSource(Noun):
    """The [weather] table of a site file."""

    source: str | None = Field(
        None, min_length=1, description='"library:NAME", or the path of a TMY3, TMY2, EPW, NSRDB CSV or PVGIS TMY file'
    )
    years: str | None = Field(
        None,
        min_length=1,
        description="folder of actual years, or a file of several (PVGIS hourly series): each is run beside the source",
    )
    year: int | None = Field(
        None, ge=1900, le=2100, description="of weather.years: the one that is simulated; the latest without a source"
    )
    latitude: float | None = Field(None, ge=-90, le=90, description="of a weather file that tells no place [deg]")
    longitude: float | None = Field(None, ge=-180, le=180, description="of such a file, east positive [deg]")
    altitude_m: float = Field(0.0, ge=-500, le=9000, description="of such a file [m]")
    resample: Resample | None = Field(
        None, description="{ years, seed }: years put together from weeks of the simulated ones"
    )
    storm_years: str | None = Field(
        None, min_length=1, description="folder of actual weather years, for the hardest days that really came"
    )

    @model_validator(mode="after")
    def _names_weather(self) -> WeatherSource:
        if self.source is None and self.years is None:
            raise BadInput(
                "is missing",
                key="source",
                way_out='write source = "library:piedmont" (see keeplit library), the path of a weather file, or years',
            )
        if self.year is not None and self.years is None:
            raise BadInput("picks one of weather.years, which is not given", key="year", value=self.year)
        return self


@dataclass(frozen=True, eq=False)
class WeatherYear:
    """Weather on the steps of an hour axis; every array has shape (n_steps,).

    Attributes
    ----------
    ghi, dni, dhi
        Mean irradiance over each step. [W/m2]
    temp_c, wind_m_s
        Air temperature and wind speed at the middle of each step. [degC], [m/s]
    notes : tuple of str
        Those of the file, and what was done to lay it on this axis.
    """

    weather: Weather
    hours: Hours
    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray
    temp_c: np.ndarray
    wind_m_s: np.ndarray
    notes: tuple[str, ...]

    @functools.cached_property
    def sun(self) -> Sun:
        """The sun over the weather file's place, on its clock."""
        start_s = _seconds(self.hours.utc)
        return _sun_over(self.weather, start_s, self.hours.step_min * 60.0)

    @property
    def zenith_deg(self) -> np.ndarray:
        return self.sun.zenith_deg

    @property
    def azimuth_deg(self) -> np.ndarray:
        return self.sun.azimuth_deg


def read_weather(source: WeatherSource | str | Path, folder: str | Path | None = None) -> Weather:
    """One year of weather from the library or from a file, checked from end to end.

    Parameters
    ----------
    source : WeatherSource, str or path
        "library:piedmont", "library:alaska-coast", "library:south-florida", or a TMY3, TMY2, EPW, NSRDB CSV, PVGIS TMY
        or SolarAnywhere file. The format is told by the content.
    folder : path, optional
        Where a relative path begins: the folder of the site file.

    Raises
    ------
    BadInput
        No such file or library name, an unknown format, a year that is not whole, a missing or implausible value.

    Notes
    -----
    Stamps: TMY3, TMY2 and EPW name an hour by its end (irradiance over the hour before the stamp, temperature at the
    stamp); NSRDB, PVGIS and SolarAnywhere values belong to their stamp, which is taken as the middle of the interval.
    Where the sunniest days of a file are not centred on solar noon within 20 minutes a note says so. It is no error:
    hills, fog and invented data move the centre too, and only the owner of the file can tell.

    References
    ----------
    TMY3: Wilcox and Marion, NREL/TP-581-43156, 2008. TMY2: Marion and Urban, NREL, 1995. EPW: EnergyPlus auxiliary
    programs. The library's three files come with pvlib-python.

    Examples
    --------
    >>> weather = read_weather("library:piedmont")
    >>> weather.name, weather.convention, len(weather.ghi)
    ('GREENSBORO PIEDMONT TRIAD INT, NC', 'hour-ending', 8760)
    """
    path = _path_of(source.source if isinstance(source, WeatherSource) else str(source), folder)
    rows = rows_of_file(path)
    if len(split_years(rows)) > 1:
        raise BadInput(
            "holds several years",
            file=path.name,
            key="the file",
            way_out="name it as weather.years, and weather.year picks one of them",
        )
    return weather_of(_placed(rows, source, path.name), path.name)


def rows_of_file(path: Path, key: str = "weather.source") -> Rows:
    """The rows of a weather file; `key` names it where it is not there."""
    try:
        content = plain_file(path, WEATHER_MB, file=path, key=key).read_bytes()
    except FileNotFoundError:
        raise BadInput(
            "names a file that is not there",
            key=key,
            value=str(path),
            way_out="give its path from the site file, or a library name: keeplit library",
        ) from None
    except OSError as error:
        raise BadInput(f"names a file that cannot be read ({error.strerror})", key=key, value=str(path)) from None
    return _parsed(content, path.name)


@functools.lru_cache(maxsize=2)
def _parsed(content: bytes, file: str) -> Rows:
    """A file that one study asks for twice is parsed once."""
    return read_rows(content, file)


def weather_of(rows: Rows, file: str) -> Weather:
    """One year of rows, checked from end to end."""
    weather = _checked_year(rows, file) if rows.convention != OPEN else _by_the_sun(rows, file)
    return replace(weather, notes=weather.notes + noon_note(weather))


def weather_on(weather: Weather, hours: Hours) -> WeatherYear:
    """One year of weather on the hour axis: each step looked up by the file's own standard clock.

    Parameters
    ----------
    weather : Weather
    hours : Hours
        Any zone, year and step; its zone moves the local clock only, never the weather under the sun.

    Returns
    -------
    WeatherYear

    Notes
    -----
    A leap year that the file does not have repeats 28 February. Steps that cut a row share its energy exactly: global
    and diffuse in proportion to the sine of the sun's height over each sunlit part, direct by sunlit minutes (where the
    sun never shows, evenly). Temperature and wind are straight lines between readings, taken at the step's middle.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> year = weather_on(read_weather("library:piedmont"), hours_of_year(2024, "America/New_York"))
    >>> len(year.temp_c), year.notes[-1]
    (8784, 'weather: 29 February repeats the 28th: the file has no leap day')
    """
    file_s = _seconds(hours.utc) + weather.utc_offset_h * 3600.0
    grid_min = _grid_min(weather, hours, file_s[0])
    cut_s = (file_s[:, None] + np.arange(0, hours.step_min, grid_min) * 60.0).ravel()
    begun_s = cut_s - weather.start_min * 60.0
    rows = _row_of(weather, begun_s)
    shares = _shares(weather, cut_s, begun_s, grid_min)
    sun = {
        name: (getattr(weather, name)[rows] * share).reshape(hours.n_steps, -1).mean(axis=1)
        for name, share in zip(("ghi", "dni", "dhi"), shares, strict=True)
    }
    middle_s = file_s + hours.step_min * 30.0
    air = {name: _reading_at(weather, getattr(weather, name), middle_s) for name in ("temp_c", "wind_m_s")}
    arrays = {name: _fixed(array) for name, array in (sun | air).items()}
    return WeatherYear(weather, hours, **arrays, notes=weather.notes + _calendar_notes(weather, hours))


def distance_km(latitude: float, longitude: float, other_latitude: float, other_longitude: float) -> float:
    """Great-circle distance between two places. [km]

    Examples
    --------
    A degree of latitude:

    >>> round(distance_km(36.0, -80.0, 37.0, -80.0), 1)
    111.2
    """
    a, b = math.radians(latitude), math.radians(other_latitude)
    half = math.sin((b - a) / 2) ** 2
    half += math.cos(a) * math.cos(b) * math.sin(math.radians(other_longitude - longitude) / 2) ** 2
    return 2 * EARTH_KM * math.asin(math.sqrt(min(1.0, half)))


def far_note(weather: Weather, latitude: float, longitude: float) -> tuple[str, ...]:
    """A note where the weather was taken more than 100 km from the site; else none."""
    far_km = distance_km(latitude, longitude, weather.latitude, weather.longitude)
    if far_km <= FAR_KM:
        return ()
    return (f"weather: {weather.name} is {far_km:,.0f} km from the site; sun and temperature are those of that place",)


def _by_the_sun(rows: Rows, file: str) -> Weather:
    """A file that does not say what its stamps mean, read by the one meaning that centres sunny days on solar noon."""
    _, step_min = size_of(rows, file)
    tried = []
    for name, frac in (("hour-beginning", 0.0), ("at the middle of the interval", 0.5), ("hour-ending", 1.0)):
        begins = rows.start_min - frac * step_min
        one = _checked_year(replace(rows, start_min=begins, convention=name, temp_at_frac=frac), file)
        tried.append((abs(noon_shift_min(one)), name, one))
    shift_min, name, best = min(tried, key=lambda item: item[0])
    if not shift_min <= NOON_TOLERANCE_MIN:
        raise BadInput(
            "does not say what its stamps mean, and by none of their meanings are sunny days centred on solar noon",
            file=file,
            key="the file",
            way_out="give the file that pvlib read",
        )
    said = f"weather: its stamps do not say what they mean: taken as {name}, by which sunny days are centred on noon"
    return replace(best, notes=(*best.notes, f"{said} ({shift_min:.0f} min off)"))


def _placed(rows: Rows, source: object, file: str) -> Rows:
    """Rows with the place that [weather] states where the file tells none."""
    if not math.isnan(rows.latitude):
        return rows
    if not isinstance(source, WeatherSource) or source.latitude is None or source.longitude is None:
        raise BadInput(
            "does not say where it was taken",
            file=file,
            key="the file",
            way_out="state latitude, longitude and altitude_m in [weather]",
        )
    place = {"latitude": source.latitude, "longitude": source.longitude, "altitude_m": source.altitude_m}
    return replace(rows, **place)


def _path_of(source: str, folder: str | Path | None) -> Path:
    if not source.startswith("library:"):
        path = Path(source).expanduser()
        return path if folder is None else Path(folder) / path
    name = source.removeprefix("library:")
    if name not in LIBRARY:
        raise BadInput(
            "is not in the library",
            key="weather.source",
            value=source,
            way_out="it has " + ", ".join(f"library:{known}" for known in LIBRARY),
        )
    # Finding the package does not import it: a site that needs temperature alone is spared most of a second.
    places = importlib.util.find_spec("pvlib").submodule_search_locations
    return Path(places[0]) / "data" / LIBRARY[name][0]


def _checked_year(rows: Rows, file: str) -> Weather:
    check_place(rows, file)
    n_days, step_min = size_of(rows, file)
    day = day_of_year(rows.month, rows.day, n_days)
    minute = (day * 1440.0 + rows.start_min) % (n_days * 1440)
    order = np.argsort(minute, kind="stable")
    check_whole(minute[order], step_min, file)
    rows = without_offsets(rows)
    check_values(rows, file)
    arrays = {name: _fixed(rows.values[name].to_numpy()[order]) for name in COLUMNS}
    years = np.unique(rows.years)
    if arrays["ghi"].any() and not arrays["dni"].any():
        raise BadInput(
            "has no direct irradiance in the whole year",
            file=file,
            key="dni",
            way_out="fetch a file that holds global, direct and diffuse",
        )
    notes = tuple(f"weather: {note}" for note in rows.notes) + _typical_note(rows.name, years)
    return Weather(
        rows.name,
        rows.format,
        rows.latitude,
        rows.longitude,
        rows.altitude_m,
        rows.utc_offset_h,
        int(years[0]) if len(years) == 1 else None,
        step_min,
        float(minute[order[0]]),
        rows.temp_at_frac * step_min,
        rows.convention,
        **arrays,
        notes=notes,
    )


def _typical_note(name: str, years: np.ndarray) -> tuple[str, ...]:
    if len(years) == 1:
        return (f"weather: {name}, the year {years[0]} as it was recorded",)
    return (f"weather: {name}, a typical year of months from {years[0]} to {years[-1]}: not the worst that can come",)


def _seconds(utc: pd.DatetimeIndex) -> np.ndarray:
    return utc.as_unit("s").asi8.astype(float)


def _sun_over(weather: Weather, start_s: np.ndarray, step_s: float) -> Sun:
    return sun_of_steps(weather.latitude, weather.longitude, weather.altitude_m, start_s, step_s)


def _grid_min(weather: Weather, hours: Hours, first_s: float) -> int:
    """Longest step that cuts neither a row of the file nor a step of the axis."""
    shift_min = round((first_s / 60.0 - weather.start_min) % weather.step_min)
    return math.gcd(math.gcd(hours.step_min, weather.step_min), shift_min)


def _row_of(weather: Weather, begun_s: np.ndarray) -> np.ndarray:
    """Row that holds a moment of the file's clock, by month, day and minute."""
    stamp = pd.DatetimeIndex(np.asarray(begun_s).astype("int64").astype("datetime64[s]"))
    day = day_of_year(stamp.month.to_numpy(), stamp.day.to_numpy(), weather.n_days)
    minute = (stamp.hour * 60 + stamp.minute).to_numpy()
    return day * (1440 // weather.step_min) + minute // weather.step_min


def _shares(weather: Weather, cut_s: np.ndarray, begun_s: np.ndarray, grid_min: int) -> tuple:
    """Factors on a row's global, direct and diffuse means for each cut of it; their mean over a row is 1."""
    if grid_min == weather.step_min:
        return 1.0, 1.0, 1.0
    sun = _sun_over(weather, cut_s - weather.utc_offset_h * 3600.0, grid_min * 60.0)
    row = (begun_s // (weather.step_min * 60.0)).astype(int)
    row -= row[0]
    flat = _share(sun.lit_frac * np.clip(np.cos(np.radians(sun.zenith_deg)), 0.0, None), row)
    return flat, _share(sun.lit_frac, row), flat


def _share(weight: np.ndarray, row: np.ndarray) -> np.ndarray:
    mean = (np.bincount(row, weight) / np.bincount(row))[row]
    return np.where(mean > 0, weight / np.where(mean > 0, mean, 1.0), 1.0)


def _reading_at(weather: Weather, readings: np.ndarray, at_s: np.ndarray) -> np.ndarray:
    """Straight lines between readings, at moments of the file's clock."""
    since_s = at_s - (weather.start_min + weather.temp_at_min) * 60.0
    step_s = weather.step_min * 60.0
    frac = (since_s % step_s) / step_s
    before, after = _row_of(weather, since_s), _row_of(weather, since_s + step_s)
    return readings[before] * (1.0 - frac) + readings[after] * frac


def _calendar_notes(weather: Weather, hours: Hours) -> tuple[str, ...]:
    notes = ()
    if weather.year is not None and weather.year != hours.year:
        notes += (f"weather: the year {weather.year} re-dated to {hours.year} by month and day",)
    leap = hours.n_days == 366
    if leap and weather.n_days == 365:
        notes += ("weather: 29 February repeats the 28th: the file has no leap day",)
    if not leap and weather.n_days == 366:
        notes += (f"weather: the file's 29 February is left out: {hours.year} has none",)
    return notes


def _fixed(array: np.ndarray) -> np.ndarray:
    array = np.array(array, dtype=float)
    array.flags.writeable = False
    return array
