"""The line of a TOML file on which a refused key stands, of a site file and of those that it names."""

from __future__ import annotations

import re
from pathlib import Path

from profiles.files import TOML_MB, plain_file
from profiles.noun import BadInput

_STEP = re.compile(r'([\w-]+)(?:\[(\d+)\]|\s*\[?"([^"]*)"\]?)?')
_KEY = re.compile(r'\s*((?:[\w-]+|"[^"]*")(?:\s*\.\s*(?:[\w-]+|"[^"]*"))*)\s*=')
_NAME = re.compile(r'\bname\s*=\s*(?:"([^"]*)"|([^\s,}]+))')
_SYNTAX = re.compile(r"at line (\d+)")

Step = tuple[str, int | None]
"""Name of a key, and its place from 0 where it is one of several equal tables."""


def with_line(error: BadInput) -> BadInput:
    """The same refusal with the line on which its key stands, where its file is a TOML file that can be read.

    Parameters
    ----------
    error : BadInput
        Handed back as it is where it names no such file, or a line already.
    """
    path = Path(str(error.file)) if error.file is not None else None
    if error.line is not None or path is None or path.suffix.lower() != ".toml":
        return error
    try:
        text = plain_file(path, TOML_MB).read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError, BadInput):
        return error
    syntax = _SYNTAX.search(error.rule)
    if syntax and not error.key:
        line = int(syntax[1])
        return error.on_line(line, key=key_on(text, line))
    return error.on_line(line_of(text, error.key))


def key_on(text: str, line: int) -> str:
    """The key that is written on a line, "" where none is."""
    lines = text.splitlines()
    match = _KEY.match(lines[line - 1]) if 0 < line <= len(lines) else None
    return match[1] if match else ""


def line_of(text: str, key: str) -> int | None:
    """Line of a key in a TOML text, counted from 1; of the table that it belongs to where it is not there.

    Parameters
    ----------
    text : str
    key : str
        As refusals name it: 'circuit "Well pump".load.kw', "battery[2].count", "rate.season[1].months".

    Examples
    --------
    >>> text = '[site]\\nname = "Job"\\n[[circuit]]\\nname = "Pump"\\nbreaker_a = 20\\n'
    >>> line_of(text, "site.name"), line_of(text, 'circuit "Pump".breaker_a'), line_of(text, 'circuit "Pump".load')
    (2, 5, 3)
    """
    wanted = [(one[1], one[2], one[3]) for one in _STEP.finditer(key)]
    places, names = _places(text)
    best, line = 0, None
    for path, at in places:
        n = _matched(path, wanted, names)
        if n == len(path) and n > best:
            best, line = n, at
    return line


def _matched(path: tuple[Step, ...], wanted, names: dict) -> int:
    """How many steps of a place agree with what is wanted."""
    for k, (name, index) in enumerate(path):
        if k >= len(wanted) or wanted[k][0] != name:
            return k
        number, label = wanted[k][1], wanted[k][2]
        if index is not None and number is not None and int(number) != index + 1:
            return k
        own_name = f"{name} {(index or 0) + 1}" if names.get(path[: k + 1]) is None else names[path[: k + 1]]
        if index is not None and label is not None and own_name != label:
            return k
        if index is not None and number is None and label is None and k + 1 < len(wanted):
            return k
    return len(path)


def _places(text: str) -> tuple[list[tuple[tuple[Step, ...], int]], dict]:
    """Every table, key and element of a list of tables with its line, and the names of tables."""
    places, names, counts = [], {}, {}
    table: tuple[Step, ...] = ()
    depth, key, element = 0, (), 0
    for number, raw in enumerate(text.splitlines(), 1):
        line = _without_texts(raw)
        if depth > 0:
            if line.lstrip().startswith("{"):
                own = (*key[:-1], (key[-1][0], element))
                places.append((own, number))
                names[own] = _name_in(raw)
                element += 1
        elif line.lstrip().startswith("["):
            table = _table_of(line.strip(), counts)
            places.append((table, number))
            continue
        elif match := _KEY.match(raw):
            key = (*table, *((part.strip().strip('"'), None) for part in match[1].split(".")))
            places.append((key, number))
            element = 0
            if key[-1][0] == "name" and _name_in(raw) is not None:
                names[table] = _name_in(raw)
        depth += sum(line.count(sign) for sign in "[{") - sum(line.count(sign) for sign in "]}")
    return places, names


def _table_of(header: str, counts: dict) -> tuple[Step, ...]:
    """Path of a table header; equal tables are counted."""
    many = header.startswith("[[")
    parts = [part.strip().strip('"') for part in header.strip("[]# \t").split(".")]
    path: tuple[Step, ...] = ()
    for k, part in enumerate(parts):
        last = k == len(parts) - 1
        plain = (*path, part)
        if last and many:
            counts[plain] = counts.get(plain, -1) + 1
        path = (*path, (part, counts.get(plain)))
    return path


def _name_in(line: str) -> str | None:
    match = _NAME.search(line)
    return (match[1] if match[1] is not None else match[2]) if match else None


def _without_texts(line: str) -> str:
    """A line without what stands in quotes and after a comment sign."""
    return re.sub(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'', '""', line).split("#", 1)[0]
