"""Weather years as web services hand them out: the typical year of PVGIS (CSV, JSON) and SolarAnywhere files.

Beside them the formats that hold no whole year of sun and temperature: each is refused by name, with the way out.
"""

from __future__ import annotations

import io
import json
import re

import numpy as np
import pandas as pd

from profiles.noun import BadInput
from profiles.weather.rows import Rows, plain_values

OTHERS = (
    (re.compile(r"\*[UC]\d{4}"), "a BSRN file", "one month of 1-minute values"),
    (
        re.compile(r"[^\n]*\n\s*-?\d+\.\d+\s+-?\d+\.\d+\s+\d+\s+(?:m\s+version|-?\d+)", re.I),
        "a SURFRAD or SOLRAD file",
        "one day of 1-minute values",
    ),
    (re.compile(r"\d{5}\t\d{4}(?:\t\d+)+"), "an SRML file", "one month of 1- to 5-minute values"),
    (re.compile(r" ?\d{5} +\d{8} +\d{1,4} +\d{8} +\d{1,4} "), "a USCRN file", "no direct and no diffuse irradiance"),
    (re.compile(r"(?:DATE \(MM/DD/YYYY\),|Year,DOY,)", re.I), "a MIDC file", "values of a station's own columns"),
    (
        re.compile(r"#[^\n]*\n(?:#[^\n]*\n)*#[^\n]*(?:CAMS|Copernicus|Observation period)", re.I),
        "a CAMS radiation file",
        "no temperature",
    ),
)
WAY_OUT = "fetch a typical year (TMY3, EPW, PVGIS TMY) or an actual year (NSRDB CSV) of the place"
LOWEST_SUN_DEG = 2.0  # below it a beam on the ground says little of the beam itself; engineering judgement
_TMY_COLUMNS = {"G(h)": "ghi", "Gb(n)": "dni", "Gd(h)": "dhi", "T2m": "temp_air", "WS10m": "wind_speed"}


def refuse_known(text: str, file: object) -> None:
    """Name a format that is known and cannot serve; say nothing of others.

    Raises
    ------
    BadInput
    """
    for pattern, name, why in OTHERS:
        if pattern.match(text[:4000]):
            raise BadInput(
                f"is {name}: {why}, no whole year of sun and temperature", file=file, key="the file", way_out=WAY_OUT
            )


def is_pvgis_csv(text: str) -> bool:
    return text.startswith("Latitude (decimal degrees)")


def is_pvgis_json(text: str) -> bool:
    return text.lstrip()[:1] == "{" and '"outputs"' in text


def pvgis_csv(text: str) -> Rows:
    """The typical year of PVGIS as CSV, or its hourly series of a level plane."""
    from pvlib.iotools import read_pvgis_tmy

    if "time(UTC)" not in text[:4000]:
        return _hourly_csv(text.replace("\r\n", "\n"))
    content = io.BytesIO(text.replace("\r\n", "\n").encode())
    data, meta = read_pvgis_tmy(content, pvgis_format="csv", map_variables=False)
    inputs = meta["inputs"]
    return _pvgis(
        data, inputs["latitude"], inputs["longitude"], inputs["elevation"], inputs.get("irradiance time offset", 0.0)
    )


def pvgis_json(text: str) -> Rows:
    """The typical year of PVGIS as JSON, or its hourly series of a level plane."""
    from pvlib.iotools import read_pvgis_tmy

    content = json.loads(text)
    if "tmy_hourly" not in content["outputs"]:
        return _hourly_json(content)
    data, meta = read_pvgis_tmy(io.StringIO(text), pvgis_format="json", map_variables=False)
    place = meta["inputs"]["location"]
    offset = place.get("irradiance_time_offset", 0.0)
    return _pvgis(data, place["latitude"], place["longitude"], place["elevation"], float(offset))


_HEAD = re.compile(r"(Latitude|Longitude|Elevation|Slope)[^:]*:\s*(-?[\d.]+)")


def _hourly_csv(text: str) -> Rows:
    at = text.find("\ntime,")
    head = {name: float(value) for name, value in _HEAD.findall(text[:at])}
    table = text[at + 1 :].split("\n\n")[0]
    data = pd.read_csv(io.StringIO(table))
    return _hourly(data, *(head.get(name) for name in ("Latitude", "Longitude", "Elevation", "Slope")))


def _hourly_json(content: dict) -> Rows:
    place = content["inputs"].get("location", {})
    fixed = content["inputs"].get("mounting_system", {}).get("fixed", {})
    data = pd.DataFrame(content["outputs"].get("hourly", []))
    slope = fixed.get("slope", {}).get("value")
    return _hourly(data, *(place.get(name) for name in ("latitude", "longitude", "elevation")), slope)


def _hourly(data: pd.DataFrame, latitude, longitude, elevation, slope) -> Rows:
    """Years of hours on a level plane: its beam over the sine of the sun's height is the direct normal irradiance."""
    columns = {"Gb(i)", "Gd(i)", "H_sun", "T2m", "WS10m"}
    if slope is None or slope != 0 or not columns <= set(data.columns):
        raise BadInput(
            "is an hourly series of PVGIS on a sloping plane or without its components, so neither the sun on the "
            "ground nor the beam is known",
            key="the file",
            way_out="fetch it with slope 0 and radiation components, or PVGIS's typical year (TMY)",
        )
    data = data[data["time"].astype(str).str.match(r"\d{8}:\d{4}$")].reset_index(drop=True)
    stamp = pd.DatetimeIndex(pd.to_datetime(data["time"], format="%Y%m%d:%H%M"))
    beam, diffuse, height = (pd.to_numeric(data[name]).to_numpy(dtype=float) for name in ("Gb(i)", "Gd(i)", "H_sun"))
    low = (height < LOWEST_SUN_DEG) & (beam > 0)
    up = np.where(height >= LOWEST_SUN_DEG, np.sin(np.radians(np.maximum(height, LOWEST_SUN_DEG))), np.inf)
    values = pd.DataFrame(
        {
            "ghi": beam + diffuse,
            "dni": beam / up,
            "dhi": diffuse + np.where(low, beam, 0.0),
            "temp_air": pd.to_numeric(data["T2m"]),
            "wind_speed": pd.to_numeric(data["WS10m"]),
        }
    )
    notes = (f"its values stand {int(stamp.minute[0])} min after the hour",)
    if low.any():
        told = f"the beam of {int(low.sum())} hours with the sun under {LOWEST_SUN_DEG:g} degrees is taken as diffuse"
        notes += (f"{told} ({beam[low].sum() / 1000:.2f} kWh/m2)",)
    return Rows(
        "PVGIS hourly series",
        f"PVGIS {float(latitude):.3f}, {float(longitude):.3f}",
        float(latitude),
        float(longitude),
        float(elevation),
        0.0,
        stamp.month.to_numpy(),
        stamp.day.to_numpy(),
        (stamp.hour * 60 + stamp.minute).to_numpy() - 30,
        stamp.year.to_numpy(),
        plain_values(values, np.nan, np.nan, np.nan),
        "at the stamp, taken as its middle",
        0.5,
        notes,
    )


def _pvgis(data: pd.DataFrame, latitude, longitude, elevation, offset_h: float) -> Rows:
    """Hourly values at the minute of the satellite's picture, in UTC; each is taken as the middle of its hour."""
    if not abs(offset_h) < 1.0:
        raise BadInput("must be under an hour", key="irradiance time offset", value=offset_h)
    shift_min = round(60 * offset_h)
    stamp = data.index
    notes = (f"its values stand {shift_min} min after their stamps",) if shift_min else ()
    return Rows(
        "PVGIS TMY",
        f"PVGIS {float(latitude):.3f}, {float(longitude):.3f}",
        float(latitude),
        float(longitude),
        float(elevation),
        0.0,
        stamp.month.to_numpy(),
        stamp.day.to_numpy(),
        (stamp.hour * 60 + stamp.minute).to_numpy() + shift_min - 30,
        stamp.year.to_numpy(),
        plain_values(data.rename(columns=_TMY_COLUMNS), np.nan, np.nan, np.nan),
        "at the stamp, taken as its middle",
        0.5,
        notes,
    )


def is_solaranywhere(lines: list[str]) -> bool:
    return lines[1].startswith("ObservationTime(GMT)") or "ObservationTime(LST)" in lines[1]


def solaranywhere(text: str) -> Rows:
    """A SolarAnywhere CSV file: stamps on local standard time, at the middle of their interval."""
    from pvlib.iotools.solaranywhere import VARIABLE_MAP

    head, _, rows = text.replace("\r\n", "\n").partition("\n")
    _, name, state, offset_h, latitude, longitude, altitude, *_ = head.split(",")
    data = pd.read_csv(io.StringIO(rows)).rename(columns=VARIABLE_MAP)
    stamp = pd.DatetimeIndex(pd.to_datetime(data["ObservationTime(LST)"], format="%m/%d/%Y %H:%M"))
    minute = (stamp.hour * 60 + stamp.minute).to_numpy()
    step_min = int(np.median(np.diff(minute) % 1440))
    return Rows(
        "SolarAnywhere CSV",
        f"{name}, {state}".strip(", "),
        float(latitude),
        float(longitude),
        float(altitude),
        float(offset_h),
        stamp.month.to_numpy(),
        stamp.day.to_numpy(),
        minute - step_min // 2,
        stamp.year.to_numpy(),
        plain_values(data, -999.0, -999.0, -999.0),
        "at the middle of the interval",
        0.5,
    )
