"""A data frame of pvlib.iotools saved as CSV: stamps with their offset, columns by pvlib's names, often no place."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd

from profiles.noun import BadInput
from profiles.weather.rows import OPEN, Rows, plain_values

NEEDED = ("ghi", "dni", "dhi", "temp_air", "wind_speed")
PLACE = ("latitude", "longitude", "altitude")


def is_frame(lines: list[str]) -> bool:
    """True where the first line names the five columns."""
    names = {name.strip().strip('"').lower() for name in lines[0].split(",")}
    return set(NEEDED) <= names


def frame(text: str) -> Rows:
    """Rows of a saved frame; what its stamps mean is left open, and its place where no column tells it.

    Raises
    ------
    BadInput
        Stamps without an offset from UTC.
    """
    data = pd.read_csv(io.StringIO(text), low_memory=False)
    stamps = data.iloc[:, 0].astype(str)
    offsets = stamps.str.extract(r"([+-]\d{2}:?\d{2}|Z)$")[0]
    if offsets.isna().any():
        raise BadInput(
            "has stamps without an offset from UTC in its first column",
            key="the file",
            way_out="save the frame as pvlib returns it, with its index",
        )
    utc = pd.DatetimeIndex(pd.to_datetime(stamps, utc=True))
    one = offsets.nunique() == 1 and offsets.iloc[0] != "Z"
    offset_h = _hours(offsets.iloc[0]) if one else 0.0
    local = utc.tz_localize(None) + pd.Timedelta(hours=offset_h)
    place = [float(data[name].iloc[0]) if name in data.columns else np.nan for name in PLACE]
    return Rows(
        "saved pvlib frame",
        "pvlib frame",
        *place,
        offset_h,
        local.month.to_numpy(),
        local.day.to_numpy(),
        (local.hour * 60 + local.minute).to_numpy(),
        local.year.to_numpy(),
        plain_values(data, np.nan, np.nan, np.nan),
        OPEN,
        0.0,
    )


def _hours(text: str) -> float:
    digits = text[1:].replace(":", "")
    hours = int(digits[:2]) + int(digits[2:]) / 60.0
    return -hours if text[0] == "-" else hours
