"""A design written down: a new site file beside the old one with its comments kept, and the folder of a study."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from profiles.files import written
from profiles.noun import BadInput
from simulate.designs.draft import Draft
from simulate.show.report.outputs import write_study
from simulate.site.site import Site, read_site

MOST_NAMES = 999


def design_toml(draft: Draft, text: str) -> str:
    """The text of a site file with what a draft changed; comments and order stay as they are.

    Parameters
    ----------
    draft : Draft
    text : str
        The site file that the draft was made from.
    """
    import tomlkit

    document, site = tomlkit.parse(text), draft.site
    for table, circuit in zip(_tables(document, "circuit", site.circuit), site.circuit, strict=True):
        if table.get("on", "sub-panel") != circuit.on:
            table["on"] = circuit.on
    for table, group in zip(_tables(document, "battery", site.battery), site.battery, strict=True):
        if table.get("count", 1) != group.count:
            table["count"] = group.count
    stated = {"operation": {"plan": site.operation.plan, "reserve": site.operation.reserve}}
    stated["outage"] = {"load_case": site.outage.load_case}
    for name, values in stated.items():
        _put(document, name, values)
    return tomlkit.dumps(document)


def _tables(document, name: str, nouns) -> list:
    tables = document.get(name, [])
    if len(tables) != len(nouns):
        way_out = "write them as tables of the site file"
        raise BadInput(f"holds {len(tables)} of {len(nouns)} {name} tables", key=name, way_out=way_out)
    return tables


def _put(document, name: str, values: dict) -> None:
    import tomlkit

    now = document.get(name, {})
    plain = lambda value: list(value) if isinstance(value, tuple) else value
    for key, value in values.items():
        if value is None and key in now:
            del document[name][key]
        elif value is not None and now.get(key, "usual" if key == "load_case" else None) != plain(value):
            if name not in document:
                document[name] = tomlkit.table()
            document[name][key] = plain(value)


def site_text(site: Site) -> str:
    """The text of the file that a site was read from, that of the demo where it was none."""
    path = Path(site.file)
    if path.is_file():
        return path.read_bytes().decode("utf-8-sig")
    return (resources.files("profiles.library") / "demo_site.toml").read_text("utf-8")


def write_design(draft: Draft, folder: Path | None = None) -> tuple[Path, Path]:
    """Write a draft as a new site file and its study's folder, under names that nothing has yet.

    Returns
    -------
    tuple of Path
        The site file, and the folder.

    Raises
    ------
    BadInput
        A place that cannot be written to, or a file that no longer reads as the draft does.
    """
    site = draft.site
    path = Path(site.file)
    is_file = path.is_file()
    place, stem = (path.parent, path.stem) if is_file else (folder or Path.cwd(), "demo")
    place = folder or place
    text = design_toml(draft, site_text(site))
    for k in range(1, MOST_NAMES + 1):
        out, study_folder = place / f"{stem}-design-{k}.toml", place / f"{stem}-design-{k}"
        if not out.exists() and not study_folder.exists():
            break
    else:
        raise BadInput("has no name left", key="design", value=str(place))
    try:
        with written(out) as beside:
            beside.write_text(text, encoding="utf-8")
        read_site(out)
        write_study(draft.study, study_folder)
    except OSError as error:
        raise BadInput(f"cannot be written: {error.strerror}", key="design", value=str(out)) from None
    return out, study_folder
