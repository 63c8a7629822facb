"""Weather files: which of the open formats one is, its rows, and what each row's stamp means."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import numpy as np
import pandas as pd

from profiles.noun import BadInput
from profiles.numerals import whole
from profiles.weather import web
from profiles.weather.frame import frame, is_frame
from profiles.weather.rows import KNOWN, Rows, plain_values


def read_rows(content: bytes, file: object) -> Rows:
    """Rows of a weather file whose format is told by its content.

    Parameters
    ----------
    content : bytes
        The whole file.
    file : path
        Named in messages.

    Raises
    ------
    BadInput
        Not one of the formats, or a file that breaks the rules of its own.
    """
    text = _text(content)
    format, parse = _format_of(text, file)
    try:
        return parse(text)
    except BadInput as error:
        raise BadInput(error.rule, file=file, key=error.key, value=error.value, way_out=error.way_out) from None
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError) as error:
        raise BadInput(
            f"cannot be read as {format} ({str(error).splitlines()[0][:80]})",
            file=file,
            key="the file",
            way_out="fetch the file again, unedited",
        ) from None


def _text(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _format_of(text: str, file: object) -> tuple[str, Callable[[str], Rows]]:
    lines = [line.strip("\r") for line in text[:20000].split("\n")[:3]] + [""] * 3
    if lines[0].startswith("LOCATION,"):
        return "EPW", _epw
    if lines[1].startswith("Date (MM/DD/YYYY),Time (HH:MM)"):
        return "TMY3", _tmy3
    if lines[0].startswith("Source,") and lines[2].startswith("Year,Month,Day,Hour,Minute"):
        return "NSRDB CSV", _nsrdb
    if _TMY2_HEAD.match(lines[0]) and len(lines[1].rstrip()) >= 98:
        return "TMY2", _tmy2
    for format, is_it, parse in (
        ("saved pvlib frame", is_frame(lines), frame),
        ("PVGIS CSV", web.is_pvgis_csv(text), web.pvgis_csv),
        ("PVGIS JSON", web.is_pvgis_json(text), web.pvgis_json),
        ("SolarAnywhere CSV", web.is_solaranywhere(lines), web.solaranywhere),
    ):
        if is_it:
            return format, parse
    web.refuse_known(text, file)
    raise BadInput(
        "is no weather file that is known by its content", file=file, key="the file", value=lines[0][:60], way_out=KNOWN
    )


_EPW_HEAD, _EPW_FIELDS, _EPW_FEWEST = 8, 35, 22  # the wind, the last that is read, is field 22


def _tmy3(text: str) -> Rows:
    from pvlib.iotools import read_tmy3

    data, meta = read_tmy3(io.StringIO(text))
    date = data["Date (MM/DD/YYYY)"].str.split("/", expand=True).astype(int)
    clock = data["Time (HH:MM)"].str.split(":", expand=True).astype(int)
    stamp = (clock[0] * 60 + clock[1]).to_numpy()
    # The manual counts 01:00 to 24:00; a file that opens with 00:00 names each hour by its beginning.
    begins = bool(stamp[0] == 0)
    notes = ("its first stamp is 00:00: hours are read as named by their beginning, unlike the TMY3 manual",) * begins
    return Rows(
        "TMY3",
        f"{str(meta['Name']).strip(chr(34))}, {meta['State']}",
        meta["latitude"],
        meta["longitude"],
        meta["altitude"],
        meta["TZ"],
        date[0].to_numpy(),
        date[1].to_numpy(),
        stamp - 60 * (not begins),
        date[2].to_numpy(),
        plain_values(data, -9900.0, -9900.0, -9900.0),
        "hour-beginning" if begins else "hour-ending",
        float(not begins),
        notes,
    )


def _epw(text: str) -> Rows:
    from pvlib.iotools import read_epw

    if re.search(r"^\d+,\d+,\d+,0,", text, re.MULTILINE):
        raise BadInput(
            "must count its hours from 1 to 24, as EPW does",
            key="hour",
            value=0,
            way_out="fetch the file again, unedited",
        )
    data, meta = read_epw(io.StringIO(_of_35_fields(text)))
    hour, minute = data["hour"].to_numpy(), data["minute"].to_numpy()
    per_hour = max(1, round(len(data) / 8760))
    # The minute of an hourly file says nothing: files hold 0, 30 or 60 there for the same hour.
    end = hour * 60 if per_hour == 1 else (hour - 1) * 60 + minute
    return Rows(
        "EPW",
        f"{meta['city']}, {meta['country']}",
        meta["latitude"],
        meta["longitude"],
        meta["altitude"],
        meta["TZ"],
        data["month"].to_numpy(),
        data["day"].to_numpy(),
        end - 60 // per_hour,
        data["year"].to_numpy(),
        plain_values(data, 9999.0, 99.9, 999.0),
        "hour-ending",
        1.0,
    )


def _of_35_fields(text: str) -> str:
    """Rows of an EPW file that ends before its last fields (snow, albedo, rain: none is read) filled up with blanks."""
    lines = text.splitlines()
    fields = lines[_EPW_HEAD].count(",") + 1 if len(lines) > _EPW_HEAD else _EPW_FIELDS
    if not _EPW_FEWEST <= fields < _EPW_FIELDS:
        return text
    filled = [line + "," * (_EPW_FIELDS - fields) if line.strip() else line for line in lines[_EPW_HEAD:]]
    return "\n".join([*lines[:_EPW_HEAD], *filled, ""])


def _nsrdb(text: str) -> Rows:
    from pvlib.iotools import read_nsrdb_psm4

    data, meta = read_nsrdb_psm4(io.StringIO(text.replace("\r\n", "\n")))
    stamp = (data["Hour"] * 60 + data["Minute"]).to_numpy()
    step = int(np.median(np.diff(stamp) % 1440))
    return Rows(
        "NSRDB CSV",
        f"NSRDB {meta.get('Location ID', '')}".strip(),
        meta["latitude"],
        meta["longitude"],
        float(meta["altitude"]),
        float(meta["Time Zone"]),
        data["Month"].to_numpy(),
        data["Day"].to_numpy(),
        stamp - step // 2,
        data["Year"].to_numpy(),
        plain_values(data, -9999.0, -9999.0, -9999.0),
        "at the stamp, taken as its middle",
        0.5,
    )


_TMY2_HEAD = re.compile(r" ?(\d{5}) (.{22}) (\S{2}) +(-?\d+) ([NS]) *(\d+) +(\d+) ([EW]) *(\d+) +(\d+) +(-?\d+)\s*$")
_TMY2_FIELDS = {
    "year": (1, 3),
    "month": (3, 5),
    "day": (5, 7),
    "hour": (7, 9),
    "ghi": (17, 21),
    "dni": (23, 27),
    "dhi": (29, 33),
    "temp_air": (67, 71),
    "wind_speed": (95, 98),
}


def _tmy2(text: str) -> Rows:
    """Fixed columns of the TMY2 manual (Marion and Urban 1995, tables 3-1 and 3-2), read here because pvlib's reader
    fails on stations of two words and takes most of a second."""
    head, *lines = text.splitlines()
    _, city, state, offset, ns, lat_deg, lat_min, ew, lon_deg, lon_min, altitude = _TMY2_HEAD.match(head).groups()
    rows = [[whole(line[a:b]) for a, b in _TMY2_FIELDS.values()] for line in lines if line.strip()]
    data = pd.DataFrame(rows, columns=list(_TMY2_FIELDS)).astype(float)
    values = plain_values(data, 9999.0, 9999.0, 999.0)
    values[["temp_c", "wind_m_s"]] /= 10.0  # tenths
    stamps = data[["year", "month", "day", "hour"]].astype(int)
    return Rows(
        "TMY2",
        f"{city.strip()}, {state}",
        (int(lat_deg) + int(lat_min) / 60) * (1 if ns == "N" else -1),
        (int(lon_deg) + int(lon_min) / 60) * (1 if ew == "E" else -1),
        float(altitude),
        float(offset),
        stamps["month"].to_numpy(),
        stamps["day"].to_numpy(),
        (stamps["hour"].to_numpy() - 1) * 60,
        1900 + stamps["year"].to_numpy(),
        values,
        "hour-ending",
        1.0,
    )
