"""A changed copy of a site file with its comments kept."""

from __future__ import annotations

from pathlib import Path

from profiles.files import written
from profiles.noun import BadInput
from simulate.panel.legs.balance import Assignment


def write_legs(site_path: str | Path, assignment: Assignment, out_path: str | Path) -> Path:
    """Write a copy of a site file with the legs of an assignment; comments and order stay as they are.

    Parameters
    ----------
    site_path : path
        The site file that the assignment was made for.
    assignment : Assignment
    out_path : path
        Written beside and renamed, so that it is there whole or not at all.

    Returns
    -------
    Path
        `out_path`.

    Raises
    ------
    BadInput
        A circuit of the assignment that the file does not hold, or a file that cannot be written.
    """
    import tomlkit

    document = tomlkit.parse(Path(site_path).read_bytes().decode("utf-8-sig"))
    tables = {str(table["name"]): table for table in document.get("circuit", ())}
    for name, leg in assignment.legs.items():
        if name not in tables:
            raise BadInput("is not a circuit of the file", file=site_path, key="circuit.name", value=name)
        if tables[name].get("leg") != leg:
            _put_leg(tables[name], leg)
    try:
        with written(out_path) as beside:
            beside.write_bytes(tomlkit.dumps(document).encode("utf-8"))
    except OSError as error:
        raise BadInput(
            f"cannot be written: {error.strerror}", key="--copy", value=str(out_path), way_out="name another file"
        ) from None
    return Path(out_path)


def check_copy(site_path: str | Path, out_path: str | Path) -> None:
    """Refuse a place for the changed copy before anything is worked out.

    Raises
    ------
    BadInput
        The site file itself, a folder, or a file in a folder that is not there.
    """
    out = Path(out_path)
    asked = {"key": "--copy", "value": str(out_path)}
    if out.exists() and out.samefile(site_path):
        raise BadInput("must not be the site file, which stays as it is", **asked, way_out="name another file")
    if out.is_dir():
        raise BadInput("is a folder", **asked, way_out="name a file")
    if not out.parent.is_dir():
        raise BadInput("lies in a folder that is not there", **asked, way_out=f"make {out.parent} first")


def _put_leg(table, leg: str) -> None:
    """Change the leg in place, or insert it after the breaker: appended, it would land below remarks on the next table.

    tomlkit has no public insertion; without the private one the leg is appended, which reads the same.
    """
    import tomlkit

    insert = getattr(table.value, "_insert_after", None)
    if "leg" in table or insert is None or "breaker_a" not in table:
        table["leg"] = leg
    else:
        insert("breaker_a", "leg", tomlkit.item(leg))
