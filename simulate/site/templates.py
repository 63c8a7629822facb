"""Less to type: appliances, circuit files, counts and units from files, filled into the tables of a site file.

What is filled in stays a default: it is listed as one, is written out in no dump of what was stated, and any key beside
it wins.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from profiles.files import CSV_MB, plain_file, read_toml
from profiles.loads.appliances import appliances
from profiles.loads.circuit import Circuit
from profiles.noun import BadInput, Noun, nearest
from simulate.site.unit import Battery
from simulate.site.wiring import Subpanel

MOST_EQUAL = 40
"""Equal circuits that one table may stand for."""
LIBRARY_FILES = "profiles.library"


@dataclass
class Filled:
    """Tables with everything filled in, and which keys were.

    Attributes
    ----------
    data : dict
    keys : dict
        (table, index) -> keys that the site file did not state; the index is -1 of a table that stands once.
    files : dict
        (table, index) -> the file that they are from, None of an appliance.
    """

    data: dict
    keys: dict[tuple[str, int], set[str]] = field(default_factory=dict)
    files: dict[tuple[str, int], Path | None] = field(default_factory=dict)

    def fill(self, table: str, index: int, stated: dict, known: dict, file: Path | None) -> dict:
        """A table with what is known filled in below what is stated."""
        self.keys[table, index] = set(known) - set(stated)
        self.files[table, index] = file
        return _merged(known, stated)

    def mark(self, site) -> None:
        """Take what was filled in for a default of the nouns: it is listed as one and left out of what was stated."""
        for (table, index), keys in self.keys.items():
            noun = getattr(site, table) if index < 0 else getattr(site, table)[index]
            noun.__pydantic_fields_set__.difference_update(keys)

    def of_source(self, error: BadInput) -> BadInput:
        """A refusal of a key that came from a file, naming that file and the key as it stands there."""
        for (table, index), path in self.files.items():
            if path is None:
                continue
            name = "" if index < 0 else self.data[table][index].get("name") or f"battery {index + 1}"
            prefix = f"{table}." if index < 0 else f'{table} "{name}".'
            own = error.key.removeprefix(prefix)
            if own != error.key and own.split(".")[0].split("[")[0] in self.keys[table, index]:
                return BadInput(error.rule, file=path, key=own, value=error.value, way_out=error.way_out)
        return error


def filled(data: dict, folder: Path, file: str) -> Filled:
    """The tables of a site file with its circuit file, counts, appliances and sources filled in.

    Parameters
    ----------
    data : dict
        As the parser gave them.
    folder : Path
        That files are relative to.
    file : str
        The site file, for refusals.

    Raises
    ------
    BadInput
        An appliance that the library does not hold, a file that cannot be read or holds another key.
    """
    out = Filled(dict(data))
    if "circuit_file" in data:
        rows = circuit_rows(_path(data["circuit_file"], folder, file, "circuit_file"))
        out.data["circuit"] = [*_tables(data.get("circuit")), *rows]
        del out.data["circuit_file"]
    if isinstance(out.data.get("circuit"), list | tuple):
        every = [one for table in out.data["circuit"] for one in _counted(table, file)]
        out.data["circuit"] = [_with_appliance(out, k, table, file) for k, table in enumerate(every)]
    if isinstance(data.get("battery"), list | tuple):
        out.data["battery"] = [
            _with_source(out, "battery", k, table, folder, file) for k, table in enumerate(data["battery"])
        ]
    if isinstance(data.get("subpanel"), dict):
        out.data["subpanel"] = _with_source(out, "subpanel", -1, data["subpanel"], folder, file)
    return out


def _tables(value: Any) -> list:
    return list(value) if isinstance(value, list | tuple) else []


def _counted(table: Any, file: str) -> Iterator[Any]:
    """Equal circuits of one table: "Lights 1", "Lights 2", ..."""
    if not isinstance(table, dict) or "count" not in table:
        yield table
        return
    n, rest = table["count"], {key: value for key, value in table.items() if key != "count"}
    if type(n) is not int or not 1 <= n <= MOST_EQUAL:
        key = f'circuit "{table.get("name", "")}".count'
        way_out = "write how many equal circuits it stands for"
        raise BadInput(f"must be a whole number from 1 to {MOST_EQUAL}", file=file, key=key, value=n, way_out=way_out)
    for k in range(1, n + 1):
        yield rest if n == 1 else {**rest, "name": f"{rest.get('name', 'circuit')} {k}"}


@cache
def circuit_templates() -> dict[str, dict]:
    """Circuits to start from by the name of their appliance: kind, breaker, watts, motor, load.

    Examples
    --------
    >>> circuit_templates()["sump-pump"]["if_lost"], circuit_templates()["sump-pump"]["running_w"]
    ('flood', 800.0)
    """
    text = (resources.files(LIBRARY_FILES) / "circuits.toml").read_text(encoding="utf-8")
    return {name: _template(name, table) for name, table in tomllib.loads(text).items()}


def _template(name: str, table: dict) -> dict:
    known = appliances().get(name)
    if known is None:
        return table
    out = {"running_w": known.running_w, "largest_w": known.running_w, **table}
    if known.start_va_range is not None and known.volts is not None:
        out.setdefault("motor", {"start_va_range": list(known.start_va_range), "at_volts": known.volts})
    return out


def _with_appliance(out: Filled, k: int, table: Any, file: str) -> Any:
    if not isinstance(table, dict) or "appliance" not in table:
        return table
    name = table["appliance"]
    if not isinstance(name, str) or name not in circuit_templates():
        raise BadInput(
            "must be an appliance with a circuit in the library",
            file=file,
            key=f'circuit "{table.get("name", "")}".appliance',
            value=name,
            way_out=nearest(str(name), list(circuit_templates())),
        )
    known = dict(circuit_templates()[name])
    if table.get("leg") is not None and "poles" not in table and known.get("poles") == 2:
        raise BadInput(
            "must be left out: this appliance needs both legs",
            file=file,
            key=f'circuit "{table.get("name", "")}".leg',
            value=table["leg"],
            way_out="or write poles = 1",
        )
    load = {"load": known.pop("load")} if "load" not in table else {}
    known.pop("load", None)
    return out.fill("circuit", k, table, known | load, None)


def _with_source(out: Filled, table: str, k: int, stated: Any, folder: Path, file: str) -> Any:
    if not isinstance(stated, dict) or "source" not in stated:
        return stated
    noun: type[Noun] = Battery if table == "battery" else Subpanel
    key = f"{table}.source" if k < 0 else f'{table} "{stated.get("name", f"battery {k + 1}")}".source'
    path = _path(stated["source"], folder, file, key)
    known = read_toml(path, file=file, key=key)
    for name in known:
        if name not in noun.model_fields or name == "source":
            raise BadInput(
                f"is not a key of [{table}]", file=path, key=name, way_out=nearest(name, list(noun.model_fields))
            )
    return out.fill(table, k, stated, known, path)


def _path(name: Any, folder: Path, file: str, key: str) -> Path:
    """The file that a key names, or one that comes along ("library:NAME")."""
    if not isinstance(name, str):
        raise BadInput("must be the path of a file", file=file, key=key, value=name, way_out='write "unit.toml"')
    if name.startswith("library:"):
        path = Path(str(resources.files(LIBRARY_FILES) / f"{name.removeprefix('library:')}.toml"))
        known = [f"library:{one}" for one in library_sources()]
        if path.stem not in library_sources():
            raise BadInput("does not come along", file=file, key=key, value=name, way_out=nearest(name, known))
        return path
    path = folder / name
    if not path.exists():
        raise BadInput("is not there", file=file, key=key, value=name, way_out="paths are relative to the site file")
    return path


@cache
def library_sources() -> tuple[str, ...]:
    """Units and panels that come along, all invented.

    Examples
    --------
    >>> library_sources()
    ('panel_10_spaces', 'unit_10kwh_240v', 'unit_5kwh_120v')
    """
    names = (Path(one.name).stem for one in resources.files(LIBRARY_FILES).iterdir())
    return tuple(sorted(name for name in names if name.startswith(("unit_", "panel_"))))


def circuit_rows(path: Path) -> list[dict]:
    """Circuits of a CSV file: a circuit a row, keys as columns ("name", "load.kw"); empty cells are not given.

    Raises
    ------
    BadInput
        No header, a column that is no key of a circuit, a row that is longer than the header.
    """
    try:
        text = plain_file(path, CSV_MB).read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(f"is not UTF-8 text (byte {error.start})", file=path, way_out="save it as UTF-8") from None
    rows = list(csv.reader(io.StringIO(text)))
    header = [one.strip() for one in rows[0]] if rows else []
    known = [*Circuit.model_fields, "count"]
    for name in header:
        if name.split(".")[0] not in known:
            way_out = nearest(name, known)
            raise BadInput("is not a key of a circuit", file=path, line=1, key=name, way_out=way_out)
    if "name" not in header:
        raise BadInput("needs a column name", file=path, line=1, way_out="the first line holds the keys of a circuit")
    return [_row(path, number, header, row) for number, row in enumerate(rows[1:], 2) if any(map(str.strip, row))]


def _row(path: Path, number: int, header: list[str], row: list[str]) -> dict:
    if len(row) > len(header):
        raise BadInput("has more cells than the first line", file=path, line=number, value=len(row))
    out: dict = {}
    for key, cell in zip(header, row, strict=False):
        if cell.strip():
            at = out
            *parents, last = key.split(".")
            for part in parents:
                at = at.setdefault(part, {})
            at[last] = _value(last, cell.strip())
    if "name" not in out:
        raise BadInput("is missing", file=path, line=number, key="name", way_out="every circuit has a name")
    return out


TEXTS = ("name", "on", "kind", "leg", "if_lost", "room", "appliance", "awg", "multiwire_with", "also_on_wire", "shape")
"""Columns that are text even where they look like a number."""


def _value(key: str, cell: str) -> Any:
    if key in TEXTS:
        return cell
    if cell.lower() in ("true", "false"):
        return cell.lower() == "true"
    for kind in (int, float):
        try:
            return kind(cell)
        except ValueError:
            continue
    return cell


def _merged(known: dict, stated: dict) -> dict:
    """What is known below what is stated; tables are merged key by key."""
    out = dict(known)
    for key, value in stated.items():
        both = isinstance(value, dict) and isinstance(out.get(key), dict) and key not in ("load", "motor")
        out[key] = _merged(out[key], value) if both else value
    return out


def is_filled(noun: Noun, name: str) -> bool:
    """A key of a noun was filled in from an appliance or a file: it was not stated and is not the default."""
    if not (getattr(noun, "appliance", None) or getattr(noun, "source", None)) or name in noun.model_fields_set:
        return False
    return getattr(noun, name) != type(noun).model_fields[name].get_default()


def filled_from(noun: Noun) -> str:
    """Where the keys of a noun were filled in from."""
    appliance = getattr(noun, "appliance", None)
    return f'appliance "{appliance}"' if appliance else str(noun.source)
