"""Hourly prices of a rate, read from their file onto the steps of an axis."""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np

from profiles.files import CSV_MB, plain_file
from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.charges import MOST
from profiles.rate.rate import Rate

PER_KWH = {"per_kwh": 1.0, "per_mwh": 1e-3, "cents_per_kwh": 1e-2}


def price_series(rate: Rate, hours: Hours) -> tuple[np.ndarray, np.ndarray | None]:
    """Price and, where the file has one, credit of a rate with hourly prices.

    Parameters
    ----------
    rate : Rate
        With `hourly_prices`, its path made absolute by `resolve_rate` or relative to the current folder.
    hours : Hours

    Returns
    -------
    price, credit : ndarray, shape (n_steps,); credit may be None
        Before riders and taxes. [currency/kWh]

    Raises
    ------
    BadInput
        No such file or column, a cell that is no number, an hour that is missing or there twice.
    """
    path = Path(rate.hourly_prices.csv)
    try:
        changed = plain_file(path, CSV_MB, file=path, key="rate.hourly_prices.csv").stat().st_mtime_ns
    except OSError as error:
        raise BadInput(
            f"cannot be read ({error.strerror})", key="rate.hourly_prices.csv", value=str(path), way_out="check it"
        ) from None
    return _read_series(rate.hourly_prices, hours, changed)


@functools.lru_cache(maxsize=8)
def _read_series(source, hours: Hours, changed: int) -> tuple[np.ndarray, np.ndarray | None]:
    import pandas as pd

    try:
        frame = pd.read_csv(source.csv, encoding="utf-8-sig", compression=None)
    except (OSError, ValueError) as error:  # empty, not UTF-8, an open quote, a folder: pandas raises one of these
        raise BadInput(
            f"cannot be read as CSV ({str(error).splitlines()[0]})",
            file=source.csv,
            key="hourly_prices",
            way_out="give a table with a row of column names",
        ) from None
    wanted = [source.time_column, source.price_column] + [source.credit_column] * (source.credit_column is not None)
    for column in wanted:
        if column not in frame:
            raise BadInput(
                "is not a column of the file",
                file=source.csv,
                key="hourly_prices",
                value=column,
                way_out="columns: " + ", ".join(map(str, frame.columns)),
            )
    rows = _row_of_step(frame[source.time_column], hours, source.csv)
    unit = PER_KWH[source.price_unit]
    price = _numbers(frame, source.price_column, source.csv)[rows] * unit + source.adder_per_kwh
    if source.credit_column is None:
        return price, None
    return price, _numbers(frame, source.credit_column, source.csv)[rows] * unit


def _row_of_step(stamps, hours: Hours, file: str) -> np.ndarray:
    """Row whose interval holds each step; intervals are as long as the commonest distance between rows."""
    utc = _utc(stamps, hours, file)
    order = np.argsort(utc, kind="stable")
    sorted_utc = utc[order]
    gaps = np.diff(sorted_utc)
    if len(utc) < 2 or (gaps == 0).any():
        again = stamps.iloc[int(order[int(np.argmax(gaps == 0))])] if len(utc) > 1 else None
        raise BadInput(
            "is there twice, or the file has one row only",
            file=file,
            key="start",
            value=again,
            way_out="give every interval one row, with its UTC offset where the clock goes back",
        )
    length = int(np.median(gaps))
    if length % (hours.step_min * 60_000_000_000):
        raise BadInput(
            f"are {length / 6e10:g} min apart, which steps of {hours.step_min} min do not divide",
            file=file,
            key="start",
            way_out="choose a site.step_min that divides the interval of the prices",
        )
    wanted = hours.utc.asi8
    at = np.searchsorted(sorted_utc, wanted, side="right") - 1
    missing = (at < 0) | (wanted - sorted_utc[np.maximum(at, 0)] >= length)
    if missing.any():
        first = hours.local_text[int(np.argmax(missing))]
        raise BadInput(
            f"has no price at {first}",
            file=file,
            key="start",
            way_out=f"the file must cover {hours.year}; {int(missing.sum())} steps are missing",
        )
    return order[at]


def _utc(stamps, hours: Hours, file: str) -> np.ndarray:
    import pandas as pd

    text = stamps.astype(str)
    has_offset = text.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True)
    try:
        if has_offset.all():
            return pd.DatetimeIndex(pd.to_datetime(text, format="ISO8601", utc=True)).as_unit("ns").asi8
        local = pd.DatetimeIndex(pd.to_datetime(text, format="ISO8601"))
        return local.tz_localize(hours.timezone, ambiguous="infer").tz_convert("UTC").as_unit("ns").asi8
    except Exception as error:  # what pandas raises for a clock change differs between its versions
        raise BadInput(
            f"cannot be read as times of {hours.timezone} ({error})",
            file=file,
            key="start",
            way_out="write ISO stamps with their UTC offset",
        ) from None


def _numbers(frame, column: str, file: str) -> np.ndarray:
    import pandas as pd

    values = pd.to_numeric(frame[column], errors="coerce").to_numpy(float)
    fits = np.abs(values) <= MOST
    if not fits.all():
        row = int(np.argmin(fits))
        raise BadInput(
            "must be a number",
            file=file,
            key=f"{column}, data row {row + 1}",
            value=str(frame[column].iloc[row]),
            way_out="fill the gap or drop the file",
        )
    return values
