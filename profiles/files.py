"""Files: only plain ones of a stated size are read; what is written stands beside its place and is renamed."""

from __future__ import annotations

import contextlib
import os
import re
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path

from profiles.noun import BadInput

MB = 1_000_000
TOML_MB, CSV_MB, WEATHER_MB, RECORD_MB, FEED_MB = 2, 400, 100, 200, 2_000
"""The largest file of each kind that is opened: tables, columns of numbers, weather, rate records, meter feeds. [MB]"""

DEEPEST_KEY = 16
"""Parts of a dotted key, and tables inside one another; the deepest key of a site file has five."""
_TEXTS = re.compile(
    r'#[^\n]*+|"""(?:[^"\\]|\\[\s\S]|"(?!""))*+"""|\'\'\'(?:[^\']|\'(?!\'\'))*+\'\'\'|"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*+\''
)
_DEEP_KEY = re.compile(rf'(?:(?:(?<![\w-])[\w-]++|"")[ \t]*+\.[ \t]*+){{{DEEPEST_KEY}}}')
_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


def plain_file(path: str | Path, most_mb: float, **named) -> Path:
    """The path of a regular file that is not too large to be read; anything else is refused before it is opened.

    Parameters
    ----------
    path : str or Path
    most_mb : float
        The largest size that is read. [MB]
    **named
        `file` and `key` by which the refusal names it; the path by default.

    Raises
    ------
    BadInput
        A folder, a pipe, a device, or a file that is too large.
    OSError
        It is not there, or cannot be looked at.

    Examples
    --------
    >>> plain_file("/dev/zero", 1)
    Traceback (most recent call last):
    profiles.noun.BadInput: /dev/zero: is a device; give the path of a file
    """
    try:
        told = os.stat(path)
    except ValueError:  # a path that holds the sign 0
        raise BadInput("is no path", **(named or {"file": repr(str(path))}), way_out="check the path") from None
    named = named or {"file": path}
    if not stat.S_ISREG(told.st_mode):
        kind = next((name for test, name in _KINDS if test(told.st_mode)), "no plain file")
        raise BadInput(f"is {kind}", **named, way_out="give the path of a file")
    if told.st_size > most_mb * MB:
        raise BadInput(
            f"has {told.st_size / MB:,.1f} MB, more than the {most_mb:,g} MB that are read",
            **named,
            way_out="give a smaller file",
        )
    return Path(path)


def read_toml(path: str | Path, **named) -> dict:
    """The tables of a TOML file in UTF-8, with or without a byte order mark.

    Raises
    ------
    BadInput
        Not a plain file, not UTF-8, not TOML, keys or tables that stand too deep, a number of too many digits.
    OSError
        It is not there, or cannot be read.
    """
    data = plain_file(path, TOML_MB, **named).read_bytes()
    try:
        return toml_tables(data.decode("utf-8-sig"), file=path)
    except UnicodeDecodeError as error:
        raise BadInput(f"is not UTF-8 text (byte {error.start})", file=path, way_out="save it as UTF-8") from None


def toml_tables(text: str, *, file: object) -> dict:
    """The tables of a TOML text that may come from anybody: refused where its parser would run out of memory."""
    deep = f"has keys or tables more than {DEEPEST_KEY} deep"
    if _DEEP_KEY.search(_TEXTS.sub('""', text)):
        raise BadInput(deep, file=file, way_out="no key of ours has more than five parts")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"is not TOML: {error}", file=file, way_out="mend that line") from None
    except RecursionError:
        raise BadInput(deep, file=file, way_out="no value of ours is that deep") from None
    except ValueError:  # more digits than the interpreter turns into a number
        raise BadInput("has a number of more than 4,300 digits", file=file, way_out="mend that number") from None
    if _is_deep(data):
        raise BadInput(deep, file=file, way_out="no value of ours is that deep")
    return data


def _is_deep(data: dict) -> bool:
    level = [data]
    for _ in range(DEEPEST_KEY):
        below = [one for table in level for one in (table.values() if isinstance(table, dict) else table)]
        level = [one for one in below if isinstance(one, dict | list)]
    return bool(level)


@contextlib.contextmanager
def written(path: str | Path) -> Iterator[Path]:
    """A path beside `path` to write to; it is renamed to `path` at the end and removed on any error.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with written(folder / "a.txt") as beside:
    ...     _ = beside.write_text("whole")
    >>> [one.name for one in folder.iterdir()]
    ['a.txt']
    """
    path = Path(path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield beside
        os.replace(beside, path)
    except BaseException as error:
        with contextlib.suppress(OSError):  # its folder may be gone
            beside.unlink(missing_ok=True)
        if isinstance(error, OSError) and error.filename is None:
            error.filename = str(path)  # a full disk names no file
        raise


def folder_for(path: str | Path) -> Path:
    """A folder to write to, made where it is not there yet."""
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            f"cannot be made: {error.strerror}", key="--out", value=str(path), way_out="name another folder"
        ) from None
    return folder


FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")
_A_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")


def plain_cell(value: object) -> object:
    """A cell of a CSV file that no spreadsheet takes for a formula: such a text gets an apostrophe, a number does not.

    Examples
    --------
    >>> plain_cell("=1+1"), plain_cell("Pump"), plain_cell(-1.5), plain_cell("-1.5"), plain_cell("-1+1")
    ("'=1+1", 'Pump', -1.5, '-1.5', "'-1+1")
    """
    is_formula = isinstance(value, str) and value.startswith(FORMULA_SIGNS) and not _A_NUMBER.fullmatch(value)
    return f"'{value}" if is_formula else value


def plain_table(frame):
    """A DataFrame whose texts, names of columns included, are plain cells."""
    texts = frame.select_dtypes(exclude=["number", "bool", "datetime"]).columns
    return frame.assign(**{name: frame[name].map(plain_cell) for name in texts}).rename(columns=plain_cell)
