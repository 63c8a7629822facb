"""What a weather file must hold: a place on its clock's meridian, each interval of a year once, plausible values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from profiles.hours import STEP_MINUTES
from profiles.noun import BadInput
from profiles.weather.rows import Rows

# What no year on earth leaves: at the top of the air the sun gives 1,415 W/m2, clouds may add a little for an hour.
PLAUSIBLE = {
    "ghi": (0.0, 1600.0),
    "dni": (0.0, 1500.0),
    "dhi": (0.0, 1200.0),
    "temp_c": (-90.0, 60.0),
    "wind_m_s": (0.0, 90.0),
}
OFFSET_W_M2 = -4.0
"""How far a sensor's own offset may reach below zero [W/m2]: common practice, no source."""
LABELS = {
    "ghi": "global irradiance [W/m2]",
    "dni": "direct normal irradiance [W/m2]",
    "dhi": "diffuse irradiance [W/m2]",
    "temp_c": "air temperature [degC]",
    "wind_m_s": "wind speed [m/s]",
}
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def check_place(rows: Rows, file: str) -> None:
    """Refuse a header whose place is not on earth or whose clock belongs to another meridian."""
    for name, value, low, high in (
        ("latitude", rows.latitude, -90, 90),
        ("longitude", rows.longitude, -180, 180),
        ("altitude", rows.altitude_m, -500, 9000),
        ("utc offset", rows.utc_offset_h, -12, 14),
    ):
        if not low <= value <= high:
            raise BadInput(f"must be from {low} to {high}", file=file, key=name, value=value, way_out="mend the header")
    away = abs((rows.utc_offset_h - rows.longitude / 15.0 + 12.0) % 24.0 - 12.0)
    if rows.utc_offset_h != 0 and away > 4.0:
        raise BadInput(
            f"does not belong to longitude {rows.longitude:g}: the sun would be {away:.1f} h off",
            file=file,
            key="utc offset",
            value=rows.utc_offset_h,
            way_out="mend the sign of one of them in the header",
        )


def size_of(rows: Rows, file: str) -> tuple[int, int]:
    """Days of the year that the file holds, and the minutes of a row."""
    if not ((rows.month >= 1) & (rows.month <= 12) & (rows.day >= 1) & (rows.day <= 31)).all():
        raise BadInput(
            "must hold months 1 to 12 and days 1 to 31", file=file, key="the file", way_out="fetch it again, unedited"
        )
    n_days = 366 if ((rows.month == 2) & (rows.day == 29)).any() else 365
    for step_min in STEP_MINUTES:
        if len(rows.month) * step_min == n_days * 1440:
            return n_days, step_min
    raise BadInput(
        f"must hold one whole year of equal steps: {n_days * 24} rows if hourly",
        file=file,
        key="the file",
        value=len(rows.month),
        way_out="fetch the whole year",
    )


def day_of_year(month: np.ndarray, day: np.ndarray, n_days: int) -> np.ndarray:
    """Days since 1 January in a year of 365 or 366 days; a 29 February that the year lacks is its 28th.

    Examples
    --------
    >>> day_of_year(np.array([1, 2, 3]), np.array([1, 29, 1]), 365).tolist()
    [0, 58, 59]
    """
    lengths = MONTH_DAYS + (np.arange(12) == 1) * (n_days == 366)
    before = np.concatenate(([0], np.cumsum(lengths)[:-1]))
    return before[np.asarray(month) - 1] + np.minimum(day, lengths[np.asarray(month) - 1]) - 1


def check_whole(minute: np.ndarray, step_min: int, file: str) -> None:
    """Refuse intervals, sorted by the minute of the year at which they begin, that repeat or leave a gap."""
    expected = minute[0] + np.arange(len(minute)) * step_min
    wrong = np.flatnonzero(minute != expected)
    if not minute[0] < step_min or len(wrong):
        at = expected[wrong[0]] if minute[0] < step_min else 0.0
        stamp = pd.Timestamp(2001 if len(minute) * step_min == 365 * 1440 else 2000, 1, 1) + pd.Timedelta(minutes=at)
        raise BadInput(
            "must hold each interval of the year once",
            file=file,
            key="the file",
            way_out=f"fetch it again; the first one repeated or missing begins {stamp:%d %B %H:%M} on the file's clock",
        )


def without_offsets(rows: Rows) -> Rows:
    """Irradiance a little below zero taken as zero, and noted: a pyranometer that radiates to the night sky."""
    values, notes = rows.values.copy(), []
    for name in ("ghi", "dni", "dhi"):
        below = (values[name] < 0.0) & (values[name] >= OFFSET_W_M2)
        if below.any():
            lowest = values[name][below].min()
            notes.append(f"{LABELS[name]}: {int(below.sum())} rows below 0, lowest {lowest:g}, taken as 0")
            values.loc[below, name] = 0.0
    return replace(rows, values=values, notes=(*rows.notes, *notes)) if notes else rows


def check_values(rows: Rows, file: str) -> None:
    """Refuse values that are missing or that no place on earth has seen."""
    for name, (low, high) in PLAUSIBLE.items():
        values = rows.values[name].to_numpy()
        bad = np.flatnonzero(~((values >= low) & (values <= high)))
        if not len(bad):
            continue
        row, value = bad[0], values[bad[0]]
        hour, minute = divmod(int(rows.start_min[row]) % 1440, 60)
        date = f"{rows.month[row]:02d}-{rows.day[row]:02d}"
        where = f"in {len(bad)} rows, first in that of {date} {hour:02d}:{minute:02d}"
        rule = "is missing" if np.isnan(value) else f"must be from {low:g} to {high:g}"
        raise BadInput(
            f"{rule} {where}",
            file=file,
            key=LABELS[name],
            value=... if np.isnan(value) else float(value),
            way_out="use a file without gaps; keeplit fills none",
        )
