"""A CSV file as text -> rows of cells, with its preamble and its column names."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from profiles.meter.interval_csv.epoch import with_stamps
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.private import is_about_a_person, public_names
from profiles.meter.readings.stamps import cell_kind
from profiles.noun import BadInput
from profiles.numerals import real

_UNIT = re.compile(r"\s{0,3}(?:[kKmM]?[wW][hH]?)$")
_NUMBER = re.compile(r"[-+]?\(?[$]?\d[\d., ]*\)?|[-+]?\.\d+|[-+]?\d+(?:\.\d*)?[eE][-+]?\d+")
_OTHER_DIGIT = re.compile(r"(?![0-9])\d")
_ACCOUNT = re.compile(r"[\d -]{5,}")  # a number in the row above the readings is no name of a column
_SAMPLE = 400
MOST_BYTES = 100_000_000
_LONGEST_NAME = 80
_TEXT_SHARE = 0.02


@dataclass(frozen=True, eq=False)
class Table:
    """Names of the columns, rows of cells, the line on which each row stands, and the text before the names.

    `names` may be shown, `told` are those of the file.
    """

    names: list[str]
    rows: list[list[str]]
    lines: list[int]
    preamble: str
    delimiter: str
    date_column: int
    other_rows: list[int]
    stamp_note: str = ""
    told: list[str] = field(default_factory=list, repr=False)

    def cells(self, column: int) -> list[str]:
        return [row[column] if column < len(row) else "" for row in self.rows]


def read_table(path: str | Path, dialect: Dialect) -> Table:
    """The part of a CSV file that holds readings: every row with a date in the column where most dates stand.

    Raises
    ------
    BadInput
        Not text, no column of dates, or nothing in the file.
    """
    text = text_of(Path(path))
    delimiter = dialect.delimiter or _delimiter(text)
    try:
        rows = [[_bare(cell) for cell in row] for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)]
    except csv.Error as error:
        raise BadInput(f"is not a CSV file ({error})", file=path) from None
    note, date_column = "", _date_column(rows)
    if date_column is None:
        rows, note = with_stamps(rows, utc=dialect.clock in (None, "utc"))
        date_column = _date_column(rows)
    if date_column is None:
        raise BadInput(
            "has no column of dates",
            file=path,
            way_out="dates such as 2025-01-31 or 1/31/2025 and seconds since 1970 are known",
        )
    is_data = [_is_data(row, date_column) for row in rows]
    if True not in is_data:
        raise BadInput(
            "holds no row with a date and a value",
            file=path,
            way_out="give an interval file, one row a reading or a day",
        )
    first = is_data.index(True)
    header = _header_row(rows, first, dialect, path)
    told = [name[:_LONGEST_NAME] for name in rows[header]] if header is not None else []
    names = public_names(told)
    width = max(len(row) for row, data in zip(rows, is_data, strict=True) if data)
    names = [*names, *[f"column {k + 1}" for k in range(len(names), width)]]
    kept = [i for i, data in enumerate(is_data) if data and i != header]
    other = [i + 1 for i in range(first, len(rows)) if not is_data[i] and any(rows[i]) and rows[i] != rows[header or 0]]
    preamble = "\n".join(" ".join(row) for row in rows[: header if header is not None else first])
    lines = [i + 1 for i in kept]
    return Table(names, [rows[i] for i in kept], lines, preamble, delimiter, date_column, other, note, told)


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
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}", file=path) from None
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            text = data.decode(encoding, errors="replace")
            break
    else:
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    other = _OTHER_DIGIT.search(text)
    if other:
        line = text.count("\n", 0, other.start()) + 1
        raise BadInput(
            f"has digits of another script (line {line})",
            file=path,
            way_out="write the digits 0 to 9, or download it again",
        )
    strange = sum(not (sign.isprintable() or sign in "\r\n\t") for sign in text[:20_000])
    if "\x00" in text or strange > _TEXT_SHARE * min(len(text), 20_000):
        raise BadInput("is neither XML nor text", file=path, way_out="give a Green Button or CSV file")
    return text


def _bare(cell: str) -> str:
    """A cell without the marks by which spreadsheets keep text as text: ="2025-07-01", '2025-07-01."""
    cell = cell.strip()
    return cell[2:-1] if cell.startswith('="') and cell.endswith('"') else cell.removeprefix("'")


def _delimiter(text: str) -> str:
    """The sign that cuts the most lines into one and the same number of columns."""
    lines = [line for line in text.splitlines()[:_SAMPLE] if line.strip()]
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


def _date_column(rows: list[list[str]]) -> int | None:
    counts: Counter[int] = Counter()
    step = max(len(rows) // 2000, 1)
    for row in rows[::step] if len(rows) > 4000 else rows:
        counts.update(k for k, cell in enumerate(row[:12]) if cell_kind(cell).startswith("date"))
    return min(counts, key=lambda k: (-counts[k], k)) if counts else None


def _is_data(row: list[str], date_column: int) -> bool:
    if len(row) <= date_column or not cell_kind(row[date_column]).startswith("date"):
        return False
    return len(row) > 1


def _header_row(rows: list[list[str]], first: int, dialect: Dialect, path) -> int | None:
    if dialect.header_row is not None:
        if dialect.header_row > len(rows):
            raise BadInput(
                "is beyond the end of the file", file=path, key="dialect.header_row", value=dialect.header_row
            )
        return dialect.header_row - 1 if dialect.header_row else None
    for i in range(first - 1, -1, -1):
        if any(rows[i]):
            names_columns = sum(bool(cell) for cell in rows[i]) >= 2 and not (
                is_about_a_person(rows[i]) or any(_ACCOUNT.fullmatch(cell) for cell in rows[i])
            )
            return i if names_columns else None
    return None


def is_number(text: str) -> bool:
    """True where a cell holds a number in one of the usual ways of writing it."""
    return bool(_NUMBER.fullmatch(_UNIT.sub("", text))) and not cell_kind(text).startswith("date")


def decimal_sign(cells: list[str], *, file: object, key: str) -> str:
    """ "." or ",", proved by the column's own cells.

    Raises
    ------
    BadInput
        "1,234" only: a thousand or one and a quarter.

    Examples
    --------
    >>> decimal_sign(["1,234.5", "0.7"], file="a.csv", key="kWh"), decimal_sign(["0,7"], file="a.csv", key="kWh")
    ('.', ',')
    """
    unclear = ""
    for text in cells:
        text = _UNIT.sub("", text) if text[-1:].isalpha() else text
        point, comma = text.rfind("."), text.rfind(",")
        if comma < 0:
            if text.count(".") == 1 and len(text) - point != 4:
                return "."
            continue
        if point >= 0:
            return "." if point > comma else ","
        if len(text) - comma != 4 or text.lstrip("-+").startswith("0,"):
            return ","
        if text.count(",") > 1:
            return "."
        unclear = unclear or text
    if unclear:
        raise BadInput(
            f"can be read in two ways: {unclear} with a thousands sign or with a decimal comma",
            file=file,
            key=key,
            way_out="state dialect.decimal",
        )
    return "."


def number(text: str, decimal: str) -> float:
    """A cell as a number, NaN where it is none; brackets are a minus sign.

    Examples
    --------
    >>> number("1,234.5", "."), number("(2,5)", ",")
    (1234.5, -2.5)
    """
    if decimal == ".":
        try:
            return real(text)  # plain numbers, by far the most
        except ValueError:
            pass
    text = _UNIT.sub("", text).replace(" ", "").lstrip("$")
    sign = -1.0 if text.startswith("(") and text.endswith(")") else 1.0
    text = text.strip("()").replace("," if decimal == "." else ".", "")
    try:
        return sign * real(text.replace(",", "."))
    except ValueError:
        return float("nan")
