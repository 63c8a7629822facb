"""Write a meter's readings as a plain CSV file that every tool can read."""

from __future__ import annotations

import csv
import os
import tempfile
from pathlib import Path

from profiles.files import plain_cell
from profiles.meter.readings.meter import Meter
from profiles.noun import BadInput

HEADER = ("start", "end", "kWh", "received kWh", "quality code", "filled")


def clean_csv(meter: Meter, path: str | Path) -> Path:
    """Write one row a reading, in the order of time, with offsets from UTC in both stamps.

    Parameters
    ----------
    meter : Meter
        As read, or with its gaps filled; rows that were filled in say so.
    path : str or Path
        Written beside and renamed, so that a stop half-way leaves no half file.

    Raises
    ------
    BadInput
        The folder cannot be written.
    """
    path = Path(path)
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise BadInput(f"cannot be written: {error.strerror}", file=path) from None
    try:
        with open(handle, "w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            names, rows = _rows(meter)
            writer.writerow(names)
            writer.writerows(map(plain_cell, row) for row in rows)
        os.chmod(beside, 0o644)
        os.replace(beside, path)
    except OSError as error:
        raise BadInput(f"cannot be written: {error.strerror}", file=path) from None
    finally:
        Path(beside).unlink(missing_ok=True)
    return path


def _rows(meter: Meter) -> tuple[list[str], list[tuple]]:
    columns = [
        meter.local.stamps(meter.start_utc),
        meter.local.stamps(meter.start_utc + meter.duration_s),
        [repr(float(kwh)) for kwh in meter.kwh],
    ]
    names = list(HEADER[:3])
    if meter.received_kwh is not None:
        columns.append([repr(float(kwh)) for kwh in meter.received_kwh])
        names.append(HEADER[3])
    if (meter.quality >= 0).any():
        columns.append([code if code >= 0 else "" for code in meter.quality.tolist()])
        names.append(HEADER[4])
    if meter.filled is not None:
        columns.append(["yes" if one else "" for one in meter.filled])
        names.append(HEADER[5])
    return names, list(zip(*columns, strict=True))
