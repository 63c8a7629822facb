"""Numbers as people and programs write them, whole columns at a time."""

from __future__ import annotations

import re

import numpy as np

from profiles.meter.readings.column import Column
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.question import Question
from profiles.numerals import real

LARGEST = 1e12
_UNIT = re.compile(r"\s{0,3}(?:[kKmM]?[wW][hH]?)$")
_BLANK = {"", "-", "--", "n/a", "na", "null", "none", "nan", "missing", "."}
_COMMA, _UNDERSCORE = 44, 95


def column_values(column: Column, dialect: Dialect, path, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of a column, NaN where blank; and where something else stands that is no number."""
    decimal = dialect.decimal or decimal_sign(column, file=path, key=name)
    value = _plain(column) if decimal == "." else None
    if value is None:
        value = np.array([number(cell, decimal) for cell in column.cells])
    value = np.where(np.abs(value) < LARGEST, value, np.nan)
    bad = np.isnan(value)
    for i in np.flatnonzero(bad):
        bad[i] = column.raw[i].decode().lower() not in _BLANK
    return value, bad


def _plain(column: Column) -> np.ndarray | None:
    """The column at once where it holds nothing but plain numbers and blanks."""
    if (column.matrix == _UNDERSCORE).any():
        return None
    raw = column.raw if column.filled.all() else np.where(column.filled, column.raw, b"nan")
    try:
        return raw.astype(float)
    except ValueError:
        return None


def has_letters(column: Column) -> bool:
    """True where a cell ends with a letter, as values with their unit do."""
    upper = column.matrix & 223
    return bool(((upper >= 65) & (upper <= 90)).any())


def decimal_sign(column: Column, *, file: object, key: str) -> str:
    """ "." or ",", proved by the column's own cells.

    Raises
    ------
    BadInput
        "1,234" only: a thousand or one and a quarter.

    Examples
    --------
    >>> [decimal_sign(Column.of(one), file="a.csv", key="kWh") for one in (["1,234.5", "0.7"], ["0,7"])]
    ['.', ',']
    """
    if not (column.matrix == _COMMA).any():
        return "."
    unclear = ""
    for text in column.cells:
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
        raise Question(
            f"can be read in two ways: {unclear} with a thousands sign or with a decimal comma",
            file=file,
            key=key,
            way_out='state dialect.decimal = "." or ","',
            trial={"decimal": "."},
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
