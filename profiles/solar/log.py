"""The log of a solar inverter, CSV, on the hour axis."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
from pydantic import Field

from profiles.files import CSV_MB, plain_file
from profiles.hours import Hours
from profiles.noun import BadInput, Noun

_KEY = "solar.series"
_OFFSET = r"(?:Z|[+-]\d{2}:?\d{2})$"


class SolarLog(Noun):
    """Where the log is: a CSV file whose first column holds stamps."""

    csv: str = Field(min_length=1, description="CSV file; its first column is the time, as 2025-06-30T14:00-04:00")
    column: str = Field(min_length=1, description="the column that holds mean kW")
    stamp: Literal["start", "end"] = Field(
        "start", description='end of the interval that a stamp names: "start" | "end"'
    )


def log_kw(log: SolarLog, hours: Hours, rated_kw: float | None = None, folder: str | Path | None = None) -> np.ndarray:
    """Mean power of a log over each step of the year.

    Parameters
    ----------
    log : SolarLog
    hours : Hours
        Stamps without a UTC offset are on its local clock; the hour that the clocks repeat may stand there twice.
    rated_kw : float, optional
        Twice as much is refused: a column in watts is the usual cause. [kW]
    folder : path, optional
        Where a relative path begins.

    Returns
    -------
    ndarray, shape (n_steps,)
        Finer logs are averaged, coarser ones hold their mean. [kW]

    Raises
    ------
    BadInput
        No such file or column, stamps that are none, a gap, a value that is missing or below zero.
    """
    path = Path(folder or ".") / Path(log.csv).expanduser()
    table = _table(path, log.column)
    kw = _values(table.iloc[:, 1], path.name, log.column, rated_kw)
    begins_s, interval_s = _begins(_utc_s(table.iloc[:, 0], hours.timezone, path.name), log.stamp, path.name)
    order = np.argsort(begins_s, kind="stable")
    return _on_steps(begins_s[order], kw[order], interval_s, hours, path.name)


def log_years(log: SolarLog, timezone: str, folder: str | Path | None = None) -> tuple[int, ...]:
    """Calendar years that a log covers from one local New Year to the next; what site.year may be.

    Gaps inside are not looked for here: `log_kw` names them.
    """
    path = Path(folder or ".") / Path(log.csv).expanduser()
    table = _table(path, log.column)
    begins_s, interval_s = _begins(_utc_s(table.iloc[:, 0], timezone, path.name), log.stamp, path.name)
    first, end = (
        pd.Timestamp(int(at), unit="s", tz="UTC").tz_convert(timezone)
        for at in (begins_s.min(), begins_s.max() + interval_s)
    )
    return tuple(
        year
        for year in range(first.year, end.year + 1)
        if first <= pd.Timestamp(f"{year}-01-01", tz=timezone) and end >= pd.Timestamp(f"{year + 1}-01-01", tz=timezone)
    )


def _table(path: Path, column: str) -> pd.DataFrame:
    try:
        how = {"encoding": "utf-8-sig", "skipinitialspace": True, "keep_default_na": False, "compression": None}
        table = pd.read_csv(plain_file(path, CSV_MB, file=path, key=f"{_KEY}.csv"), dtype=str, **how)
    except BadInput:
        raise
    except FileNotFoundError:
        raise BadInput(
            "names a file that is not there",
            key=f"{_KEY}.csv",
            value=str(path),
            way_out="give its path from the site file",
        ) from None
    except (OSError, ValueError) as error:
        raise BadInput(
            f"cannot be read as CSV ({str(error).splitlines()[0][:80]})",
            file=path.name,
            key="the file",
            way_out="write a header, then time, kW",
        ) from None
    if column not in table.columns[1:]:
        raise BadInput(
            "is not a column of the log",
            file=path.name,
            key=f"{_KEY}.column",
            value=column,
            way_out="it has " + ", ".join(map(str, table.columns[1:])),
        )
    return table[[table.columns[0], column]]


def _values(texts: pd.Series, file: str, column: str, rated_kw: float | None) -> np.ndarray:
    kw = pd.to_numeric(texts, errors="coerce").to_numpy(dtype=float)
    bad = np.flatnonzero(~((kw >= 0.0) & (kw < np.inf)))
    if len(bad):
        raise BadInput(
            f"must be kW of at least 0 in every row, {len(bad)} are not, first row {bad[0] + 2}",
            file=file,
            key=column,
            value=texts.iloc[bad[0]],
            way_out="write 0 at night; nothing is filled or clipped",
        )
    if rated_kw is not None and len(kw) and kw.max() > 2.0 * rated_kw:
        raise BadInput(
            f"must be kW: its largest value is more than twice the rated {rated_kw:g} kW",
            file=file,
            key=column,
            value=float(kw.max()),
            way_out="divide watts by 1,000, or mend the rating",
        )
    return kw


def _utc_s(texts: pd.Series, timezone: str, file: str) -> np.ndarray:
    offsets = texts.str.contains(_OFFSET)
    stamps = pd.to_datetime(texts, errors="coerce", format="ISO8601", utc=bool(offsets.any()))
    bad = np.flatnonzero(stamps.isna() | (offsets != offsets.any()))
    if len(bad):
        raise BadInput(
            f"must hold a time in every row, row {bad[0] + 2} does not",
            file=file,
            key=texts.name,
            value=texts.iloc[bad[0]],
            way_out="write 2025-06-30T14:00, or with its offset in all rows",
        )
    if not offsets.any():
        # Of a local time that occurs twice the first is summer time; an array says so for each row.
        stamps = stamps.dt.tz_localize(timezone, ambiguous=~stamps.duplicated().to_numpy(), nonexistent="NaT")
    skipped = np.flatnonzero(stamps.isna())
    if len(skipped):
        raise BadInput(
            f"does not exist in {timezone}: the clocks skip it",
            file=file,
            key=texts.name,
            value=texts.iloc[skipped[0]],
            way_out="write stamps with their UTC offset",
        )
    return pd.DatetimeIndex(stamps).tz_convert("UTC").as_unit("s").asi8


def _begins(utc_s: np.ndarray, stamp: str, file: str) -> tuple[np.ndarray, int]:
    apart = np.diff(np.sort(utc_s))
    if len(apart) == 0 or (apart == 0).any():
        raise BadInput(
            "must hold each time once, and more than one",
            file=file,
            key="the file",
            way_out="write stamps with their UTC offset if an hour is repeated",
        )
    interval_s = int(np.median(apart))
    return utc_s - interval_s * (stamp == "end"), interval_s


def _on_steps(begins_s: np.ndarray, kw: np.ndarray, interval_s: int, hours: Hours, file: str) -> np.ndarray:
    step_s, first_s = hours.step_min * 60, int(hours.utc[0].timestamp())
    end_s = first_s + hours.n_steps * step_s
    if max(step_s, interval_s) % min(step_s, interval_s) or (end_s - first_s) % interval_s:
        raise BadInput(
            f"has intervals of {interval_s / 60:g} min that do not fit steps of {hours.step_min} min",
            file=file,
            key="the file",
            way_out="change site.step_min",
        )
    inside = (begins_s >= first_s) & (begins_s < end_s)
    expected = np.arange(first_s, end_s, interval_s)
    if inside.sum() != len(expected) or (begins_s[inside] != expected).any():
        there = np.isin(expected, begins_s)
        gap = pd.Timestamp(int(expected[~there][0]) if (~there).any() else int(begins_s[inside][0]), unit="s", tz="UTC")
        raise BadInput(
            f"must cover {hours.year} in equal intervals; the first that is missing or out of step begins "
            f"{gap.tz_convert(hours.timezone).isoformat()}",
            file=file,
            key="the file",
            way_out="complete the log or change site.year",
        )
    if interval_s <= step_s:
        return kw[inside].reshape(hours.n_steps, -1).mean(axis=1)
    return np.repeat(kw[inside], interval_s // step_s)
