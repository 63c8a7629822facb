"""Read a meter file, whatever its format, and say what it holds."""

from __future__ import annotations

import hashlib
from math import inf
from pathlib import Path

from profiles.files import plain_file
from profiles.meter.green_button.reader import read_green_button
from profiles.meter.interval_csv.numbered_records import is_numbered_records, read_numbered_records
from profiles.meter.interval_csv.reader import read_interval_csv
from profiles.meter.interval_csv.table import refuse_large, text_of
from profiles.meter.on_axis.quality import with_notes
from profiles.meter.readings.coarse import refuse_coarse
from profiles.meter.readings.dialect import as_dialect, refuse_csv_keys, refuse_other_keys
from profiles.meter.readings.meter import Meter
from profiles.noun import BadInput

WRAPPED = (
    ((b"pk\x03\x04",), "a zip archive or a spreadsheet", "unpack it, or save the sheet as CSV"),
    ((b"\x1f\x8b",), "a gzip archive", "unpack it first"),
    ((b"\xd0\xcf\x11\xe0",), "an old spreadsheet", "save the sheet as CSV"),
    ((b"%pdf",), "a PDF document", "download the interval data, not the bill"),
    ((b"<!doctype html", b"<html"), "a web page", "log in again and download the file itself"),
)
"""First bytes, in lower case, of files that are no meter files; what they are, and the way out."""


def read_meter(
    path,
    *,
    point: str | None = None,
    column: str | None = None,
    timezone: str | None = None,
    scale: float = 1.0,
    dialect=None,
) -> Meter:
    """Interval readings of one point of supply from a Green Button or CSV file.

    Parameters
    ----------
    path : str or Path
    point : str, optional
        Which point of supply, or which of its readings, where the file holds several.
    column : str, optional
        Which column of a CSV file holds the energy or mean power.
    timezone : str, optional
        IANA zone of the local clock; a CSV file with local stamps needs it.
    scale : float
        Factor on the energy.
    dialect : Dialect or dict, optional
        What is known about the file, instead of what would be inferred.

    Raises
    ------
    BadInput
        Not readable, ambiguous, or several points with none chosen; the message lists them.
    """
    path = Path(path)
    head = _head(path)
    if not is_xml(head):
        refuse_large(path)
    source = _source(path, head)
    known = as_dialect(dialect, file=path)
    if is_xml(head):
        if column is not None:
            raise BadInput("is for CSV files; a Green Button file has points", file=path, key="column", value=column)
        refuse_csv_keys(known, path)
        meter = read_green_button(path, point=point, timezone=timezone, dialect=known, source=source)
    elif is_numbered_records(head.decode("latin-1")):
        if column is not None:
            raise BadInput(
                "is for files with named columns; this one has points", file=path, key="column", value=column
            )
        refuse_other_keys(known, (), "a file of numbered records, which says all of it itself", path)
        meter = read_numbered_records(path, text_of(path), point=point, timezone=timezone, source=source)
    else:
        meter = read_interval_csv(path, point=point, column=column, timezone=timezone, dialect=known, source=source)
    refuse_coarse(meter.duration_s, meter.interval_s, file=path)
    return with_notes(scaled(meter, scale).changed(path=path))


def scaled(meter: Meter, scale: float) -> Meter:
    """The same readings times a factor."""
    if not 0.0 < scale < float("inf"):
        raise BadInput("must be above 0", key="scale", value=scale)
    if scale == 1.0:
        return meter
    received = None if meter.received_kwh is None else meter.received_kwh * scale
    return meter.changed(kwh=meter.kwh * scale, received_kwh=received)


def _head(path: Path) -> bytes:
    try:
        with open(plain_file(path, inf), "rb") as file:
            head = file.read(65_536)
    except OSError as error:
        raise BadInput(
            f"cannot be read: {error.strerror}", file=path, way_out="give the path of a meter file"
        ) from None
    if not head.strip():
        raise BadInput("is empty", file=path, way_out="download it again")
    _refuse_wrapped(head, path)
    return head


def _refuse_wrapped(head: bytes, path: Path) -> None:
    """Files that a browser saves in place of the one that was meant."""
    for marks, what, way_out in WRAPPED:
        if head.lstrip()[:40].lower().startswith(marks):
            raise BadInput(f"is {what}", file=path, way_out=way_out)


def _source(path: Path, head: bytes) -> str:
    with open(path, "rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    kind = "Green Button" if is_xml(head) else "CSV"
    return f"{kind} file, sha256 {digest[:12]}"


def is_xml(head: bytes) -> bool:
    """True where the first sign that is not white space or a byte order mark is "<"."""
    text = head.removeprefix(b"\xef\xbb\xbf").removeprefix(b"\xff\xfe").removeprefix(b"\xfe\xff")
    return text.replace(b"\x00", b"").lstrip()[:1] == b"<"
