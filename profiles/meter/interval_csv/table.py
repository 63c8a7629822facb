"""A CSV file as text -> rows of cells, with its preamble and its column names."""

from __future__ import annotations

import csv
import functools
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from profiles.meter.interval_csv.cells import Cut, cut
from profiles.meter.interval_csv.epoch import as_dates, is_epoch
from profiles.meter.readings.column import Column
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.private import is_about_a_person, public_names
from profiles.meter.readings.stamp_columns import dated
from profiles.meter.readings.stamps import cell_kind, first_of_span
from profiles.noun import BadInput

_UNIT = re.compile(r"\s{0,3}(?:[kKmM]?[wW][hH]?)$")
_NUMBER = re.compile(r"[-+]?\(?[$]?\d[\d., ]*\)?|[-+]?\.\d+|[-+]?\d+(?:\.\d*)?[eE][-+]?\d+")
_OTHER_DIGIT = re.compile(r"(?![0-9])\d")
_ACCOUNT = re.compile(r"[\d -]{5,}")  # a number in the row above the readings is no name of a column
_HEAD_BYTES, _HEAD_LINES, _USUAL_HEAD, _LONGEST_HEAD = 20_000, 60, 4, 200
_SAMPLE_ROWS = 36
_SPREAD, _DATE_COLUMNS = 24, 12
MOST_BYTES = 100_000_000
_LONGEST_NAME = 80
_TEXT_SHARE = 0.02
_CONTROLS = bytes([*range(9), 11, 12, *range(14, 32), 127])


@dataclass(frozen=True, eq=False)
class Table:
    """Names of the columns, the columns of all rows with a date, the line of each row, and the text before the names.

    `names` may be shown, `told` are those of the file.
    """

    names: list[str]
    columns: Kept
    lines: np.ndarray
    preamble: str
    delimiter: str
    date_column: int
    other_rows: list[int]
    stamp_note: str = ""
    told: list[str] = field(default_factory=list, repr=False)

    @property
    def n_rows(self) -> int:
        return len(self.lines)

    def cells(self, column: int) -> list[str]:
        return self.columns[column].cells

    def row(self, row: int) -> list[str]:
        return self.columns.row(row)


def read_table(path: str | Path, dialect: Dialect) -> Table:
    """The part of a CSV file that holds readings: every row with a date in the column where most dates stand.

    Raises
    ------
    BadInput
        Not text, no column of dates, or nothing in the file.
    """
    content = bytes_of(Path(path))
    delimiter = dialect.delimiter or _delimiter(content[:_HEAD_BYTES].decode(errors="replace"))
    found = cut(content, delimiter, file=path)
    lines = np.flatnonzero(found.count > 1)
    spread = lines[np.linspace(len(lines) > 1, len(lines) - 1, min(_SPREAD, len(lines))).astype(int)]
    columns = _Columns(found, spread)
    note, date_column = "", _date_column(columns)
    if date_column is None:
        columns = _Columns(found, spread, utc=dialect.clock in (None, "utc"))
        date_column = _date_column(columns)
        note = columns.note
    if date_column is None:
        raise BadInput(
            "has no column of dates",
            file=path,
            way_out="dates such as 2025-01-31 or 1/31/2025 and seconds since 1970 are known",
        )
    top = _first_dated(columns, date_column, lines)
    lines = lines[top:]
    dates = columns.of(date_column, lines)
    is_data = dated(dates)
    if not is_data.any():
        raise BadInput(
            "holds no row with a date and a value",
            file=path,
            way_out="give an interval file, one row a reading or a day",
        )
    first = int(lines[np.argmax(is_data)])
    above = max(first - _LONGEST_HEAD, 0)
    before = [found.row(line) for line in range(above, first)]
    header = _header_row(found, before, first, dialect, path)
    told = [name[:_LONGEST_NAME] for name in found.row(header)] if header is not None else []
    names = public_names(told)
    data = lines[is_data]
    data = data[data != header] if header is not None else data
    width = int(found.count[data].max())
    names = [*names, *[f"column {k + 1}" for k in range(len(names), width)]]
    other = _other_rows(found, first, data, header)
    preamble = "\n".join(" ".join(row) for row in before[: len(before) if header is None else max(header - above, 0)])
    kept = Kept(columns, data, {date_column: dates} if len(data) == len(dates) else {})
    return Table(names, kept, data + 1, preamble, delimiter, date_column, other, note + columns.ranges, told)


class Kept:
    """The columns of the rows that are read: each is cut out of the file when it is first asked for."""

    def __init__(self, columns: _Columns, lines: np.ndarray, known: dict[int, Column]):
        self._columns, self._lines, self._known = columns, lines, known

    def __getitem__(self, k: int) -> Column:
        if k not in self._known:
            self._known[k] = self._columns.of(k, self._lines)
        return self._known[k]

    def block(self, ks: tuple[int, ...], rows: np.ndarray) -> Column:
        """Several columns of some rows, row by row, as one."""
        return self._columns.found.block(ks, self._lines[rows])

    def sample(self, k: int, most: int) -> list[str]:
        """Some cells of a column that hold anything; of the whole column where the first look finds none."""
        if k in self._columns.epochs or k in self._columns.spans:
            return self[k].sample(most)
        cells = [row[k] for row in self._some_rows if k < len(row) and row[k]]
        return cells[:: max(len(cells) // most, 1)] or self[k].sample(most)

    @functools.cached_property
    def _some_rows(self) -> list[list[str]]:
        spread = np.linspace(0, len(self._lines) - 1, min(_SAMPLE_ROWS, len(self._lines))).astype(int)
        return [self.row(int(row)) for row in dict.fromkeys(spread.tolist())]

    def row(self, row: int) -> list[str]:
        return self._columns.found.row(int(self._lines[row]))


def _first_dated(columns: _Columns, date_column: int, lines: np.ndarray) -> int:
    """How many lines stand above the first with a date, so that those below it can be read as of one form."""
    for most in (_USUAL_HEAD, _LONGEST_HEAD):
        some = dated(columns.of(date_column, lines[:most]))
        if some.any():
            return int(np.argmax(some))
    return 0


class _Columns:
    """Columns of some lines; where asked, counts of seconds since 1970 read as dates, and "A to B" as its beginning."""

    def __init__(self, found: Cut, spread: np.ndarray, utc: bool | None = None):
        self.found, self.spread, self.utc = found, spread, utc
        self.note, self.ranges = "", ""
        rows = [found.row(int(line)) for line in dict.fromkeys(spread.tolist())]
        width = min(max(map(len, rows), default=0), _DATE_COLUMNS)
        self.samples = [[row[k] for row in rows if k < len(row)] for k in range(width)]
        self.epochs = [k for k in range(width) if utc is not None and is_epoch(self.samples[k])]
        self.spans = [k for k in range(width) if _are_spans(self.samples[k][::2])]
        if self.epochs:
            self.note = "stamps counted from 1970" + (", in UTC" if utc else "")
        if self.spans:
            self.ranges = ", beginning and end in one cell"

    def of(self, k: int, lines: np.ndarray) -> Column:
        column = self.found.column(k, lines)
        if k in self.epochs:
            return as_dates(column, utc=bool(self.utc))
        return Column.of([first_of_span(cell) for cell in column.cells]) if k in self.spans else column


def _are_spans(cells: list[str]) -> bool:
    return sum(first_of_span(cell) != cell for cell in cells) > len(cells) / 2


def _date_column(columns: _Columns) -> int | None:
    """Of the first columns the one with most dates among the sampled lines."""
    best, most = None, 0
    for k, cells in enumerate(columns.samples):
        read = [first_of_span(cell) for cell in cells] if k in columns.spans else cells
        count = len(cells) if k in columns.epochs else sum(cell_kind(cell).startswith("date") for cell in read)
        if count > most:
            best, most = k, count
        if most == len(columns.spread):
            break  # every line has a date there: no later column has more
    return best


def _other_rows(found: Cut, first: int, data: np.ndarray, header: int | None) -> list[int]:
    """Lines after the first reading that hold something and are none; the names once more are left alone."""
    held = found.count > 0
    held[data], held[:first] = False, False
    other = np.flatnonzero(held)
    names = found.row(header) if header is not None else None
    return [int(line) + 1 for line in other if any(row := found.row(int(line))) and row != names]


def refuse_large(path: Path) -> None:
    """A Green Button file is a stream; a CSV file is held in memory, some 15 times its size."""
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise BadInput(
            f"has {size / 1e6:,.0f} MB, more than {MOST_BYTES / 1e6:.0f}: a CSV file is held in memory",
            file=path,
            way_out="cut it into years; a year of minutes has about 25 MB",
        )


def text_of(path: Path) -> str:
    """The text of a file in UTF-8, UTF-16 or Windows' Latin, refused where it is none."""
    return bytes_of(path).decode()


def bytes_of(path: Path) -> bytes:
    """The same text as UTF-8, every line ended by a line feed."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}", file=path) from None
    if data.isascii():
        head = data[:20_000]
        strange = len(head) - len(head.translate(None, _CONTROLS))
        text = data
    else:
        decoded = _decoded(data)
        _refuse_other_digits(decoded, path)
        strange = sum(not (sign.isprintable() or sign in "\r\n\t") for sign in decoded[:20_000])
        text = decoded.encode()
    if b"\x00" in text or strange > _TEXT_SHARE * min(len(text), 20_000):
        raise BadInput("is neither XML nor text", file=path, way_out="give a Green Button or CSV file")
    return text if b"\n" in text or b"\r" not in text else text.replace(b"\r", b"\n")


def _decoded(data: bytes) -> str:
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _refuse_other_digits(text: str, path) -> None:
    other = _OTHER_DIGIT.search(text)
    if other:
        line = text.count("\n", 0, other.start()) + 1
        raise BadInput(
            f"has digits of another script (line {line})",
            file=path,
            way_out="write the digits 0 to 9, or download it again",
        )


def _delimiter(text: str) -> str:
    """The sign that cuts the most lines into one and the same number of columns."""
    lines = text.splitlines()
    lines = lines[: _HEAD_LINES // 2] + lines[_HEAD_LINES // 2 :][-1 - _HEAD_LINES // 2 : -1]
    lines = [line for line in lines if line.strip()]
    best, most = ",", (0, 0)
    for sign in (",", ";", "\t", "|"):
        try:
            widths = Counter(len(row) for row in csv.reader(lines, delimiter=sign))
        except csv.Error:
            continue
        widths.pop(1, None)
        if widths:
            width, count = max(widths.items(), key=lambda item: (item[1], item[0]))
            most_now = (count, width)
            if most_now > most:
                best, most = sign, most_now
    return best


def _header_row(found: Cut, before: list[list[str]], first: int, dialect: Dialect, path) -> int | None:
    """Line that names the columns, from 0: as stated, else the nearest one above the readings that holds anything."""
    if dialect.header_row is not None:
        if dialect.header_row > len(found):
            raise BadInput(
                "is beyond the end of the file", file=path, key="dialect.header_row", value=dialect.header_row
            )
        return dialect.header_row - 1 if dialect.header_row else None
    for back, row in enumerate(reversed(before), 1):
        if any(row):
            names_columns = sum(bool(cell) for cell in row) >= 2 and not (
                is_about_a_person(row) or any(_ACCOUNT.fullmatch(cell) for cell in row)
            )
            return first - back if names_columns else None
    return None


def is_number(text: str) -> bool:
    """True where a cell holds a number in one of the usual ways of writing it."""
    return bool(_NUMBER.fullmatch(_UNIT.sub("", text))) and not cell_kind(text).startswith("date")
