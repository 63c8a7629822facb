"""A design written down: a new site file beside the old one with its comments kept, and the folder of a study."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import tomlkit

from profiles.files import written
from profiles.noun import BadInput
from simulate.designs.draft import Draft
from simulate.show.report.outputs import write_study
from simulate.site.site import Site, read_site

MOST_NAMES = 999


@dataclass(frozen=True)
class Texts:
    """A design as files: the site file, and its circuit file where it names one ("" where it does not)."""

    site: str
    circuits: str = ""


def texts_of(draft: Draft, text: str, rows: str = "", rows_name: str = "") -> Texts:
    """The texts of a site file, and of its circuit file, with what a draft changed; comments and order stay.

    Parameters
    ----------
    draft : Draft
    text : str
        The site file that the draft was made from.
    rows : str
        Its circuit file.
    rows_name : str
        What the new circuit file will be called.

    Raises
    ------
    BadInput
        A table that stands for several equal circuits of which only some are moved.
    """
    document, on = tomlkit.parse(text), {circuit.name: circuit.on for circuit in draft.site.circuit}
    for table in document.get("circuit", []):
        _move(table, on)
    counts = {group.name: group.count for group in draft.site.battery}
    for k, table in enumerate(document["battery"]):
        name = str(table.get("name", f"battery {k + 1}"))
        if table.get("count", 1) != counts[name]:
            table["count"] = counts[name]
    operation = draft.site.operation
    _put(document, "operation", {"plan": operation.plan, "reserve": operation.reserve})
    _put(document, "outage", {"load_case": draft.site.outage.load_case}, {"load_case": "usual"})
    if rows:
        document["circuit_file"] = rows_name
    return Texts(tomlkit.dumps(document), _moved_rows(rows, on) if rows else "")


def _move(table, on: dict[str, str]) -> None:
    """State where a circuit, or the equal circuits of one table, are now."""
    places = {on[name] for name in _names(table)}
    if len(places) > 1:
        raise BadInput(
            "stands for several circuits that this design treats differently",
            key=f'circuit "{table["name"]}".count',
            value=int(table["count"]),
            way_out="give each of them a table of its own",
        )
    place = places.pop()
    if (table.get("on") or "sub-panel") != place:
        table["on"] = place


def _names(table) -> Iterator[str]:
    """Circuits that a table stands for, as the site reader names them."""
    n, name = int(table.get("count") or 1), str(table["name"])
    yield from [name] if n == 1 else [f"{name} {k}" for k in range(1, n + 1)]


def _moved_rows(rows: str, on: dict[str, str]) -> str:
    """A circuit file with the places of a design."""
    header, *lines = list(csv.reader(io.StringIO(rows)))
    header = [one.strip() for one in header]
    more = [] if "on" in header else ["on"]
    out = io.StringIO()
    writer = csv.DictWriter(out, [*header, *more], restval="", lineterminator="\n")
    writer.writeheader()
    for line in lines:
        if any(map(str.strip, line)):
            row = dict(zip(header, map(str.strip, line), strict=False))
            _move(row, on)
            writer.writerow(row)
    return out.getvalue()


def _put(document, name: str, values: dict, defaults: dict | None = None) -> None:
    """State values in a table, or take them out where they are left to their default."""
    now = document.get(name, {})
    for key, value in values.items():
        value = list(value) if isinstance(value, tuple) else value
        if value is None and key in now:
            del document[name][key]
        elif value is not None and now.get(key, (defaults or {}).get(key)) != value:
            if name not in document:
                document[name] = tomlkit.table()
            document[name][key] = value


def site_text(site: Site) -> str:
    """The text of the file that a site was read from, that of the demo where it was none."""
    path = Path(site.file)
    if path.is_file():
        return path.read_bytes().decode("utf-8-sig")
    return (resources.files("profiles.library") / "demo_site.toml").read_text("utf-8")


def write_design(draft: Draft, folder: Path | None = None) -> tuple[Path, Path]:
    """Write a draft as a new site file and its study's folder, under names that nothing has yet.

    Parameters
    ----------
    draft : Draft
    folder : Path, optional
        Where they go; beside the site file without one, for the demo site in the folder that one is in.

    Returns
    -------
    tuple of Path
        The site file, and the folder.

    Raises
    ------
    BadInput
        A place that cannot be written to, or a site file that has been changed meanwhile.
    """
    site, path = draft.site, Path(draft.site.file)
    place, stem = (path.parent, path.stem) if path.is_file() else (Path.cwd(), "demo")
    if path.is_file() and read_site(path) != draft.origin:
        way_out = "start keeplit page again"
        raise BadInput("is no longer the file that this page was made from", file=site.file, way_out=way_out)
    out = _free_name(folder or place, stem)
    text = site_text(site)
    rows_path = tomlkit.parse(text).get("circuit_file")
    rows = "" if rows_path is None else (site.folder / rows_path).read_bytes().decode("utf-8-sig")
    texts = texts_of(draft, text, rows, f"{out.stem}.csv")
    try:
        if texts.circuits:
            _text(out.with_suffix(".csv"), texts.circuits)
        _text(out, texts.site)
        write_study(draft.study, out.with_suffix(""))
    except OSError as error:
        raise BadInput(f"cannot be written: {error.strerror}", key="design", value=str(out)) from None
    return out, out.with_suffix("")


def _free_name(place: Path, stem: str) -> Path:
    for k in range(1, MOST_NAMES + 1):
        out = place / f"{stem}-design-{k}.toml"
        if not any(one.exists() for one in (out, out.with_suffix(""), out.with_suffix(".csv"))):
            return out
    raise BadInput("has no name left", key="design", value=str(place))


def _text(path: Path, text: str) -> None:
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")
