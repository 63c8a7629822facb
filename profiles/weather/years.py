"""Several actual years of weather: a folder of files, or a file of several years."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from profiles.noun import BadInput
from profiles.weather.record import Weather
from profiles.weather.rows import KNOWN, split_years
from profiles.weather.weather import rows_of_file, weather_of

SUFFIXES = (".csv", ".json", ".epw", ".tm2", ".tmy", ".tm3", ".tmy3", ".tmy2")


def read_weather_years(place: str | Path, key: str = "weather.years") -> tuple[Weather, ...]:
    """Every year of a folder of weather files, or of a file of several years, in order; `key` names it.

    A year that such a file does not hold whole is left out, and the others say so.

    Raises
    ------
    BadInput
        No folder and no file, no weather in it, or a file that is refused.
    """
    place = Path(place)
    if place.is_dir():
        files = sorted(file for file in place.glob("*") if file.suffix.lower() in SUFFIXES)
    else:
        files = [place] if place.is_file() else []
    if not files:
        raise BadInput(
            "must be a folder that holds weather files, or a file of several years",
            key=key,
            value=str(place),
            way_out=KNOWN,
        )
    years = [year for file in files for year in _years_of(file, key)]
    return tuple(sorted(years, key=lambda weather: weather.year or 0))


def _years_of(file: Path, key: str) -> list[Weather]:
    parts = split_years(rows_of_file(file, key))
    if len(parts) == 1:
        return [weather_of(parts[0], file.name)]
    longest = max(len(part.years) for part in parts)
    whole = [part for part in parts if len(part.years) >= longest * 365 // 366]
    left_out = [str(part.years[0]) for part in parts if part not in whole]
    note = (f"weather: {file.name} does not hold all of {', '.join(left_out)}: left out",) if left_out else ()
    read = [weather_of(part, file.name) for part in whole]
    return [replace(one, notes=one.notes + note) for one in read]
