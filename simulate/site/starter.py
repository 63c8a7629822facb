"""Starter site files: a small commented job, one of so many circuits, one from a panel's directory."""

from __future__ import annotations

import csv
import io
import json
from importlib import resources
from pathlib import Path

from profiles.files import CSV_MB, plain_file, written
from profiles.noun import BadInput
from simulate.site.templates import circuit_templates

TYPICAL = (
    "refrigerator",
    "furnace-blower",
    "sump-pump",
    "lights",
    "well-pump",
    "router",
    "kitchen-counter",
    "freezer",
    "living-room",
    "bedroom",
    "office",
    "microwave",
    "bathroom",
    "garage",
    "boiler",
    "dehumidifier",
    "window-air-conditioner",
    "mini-split",
    "dishwasher",
    "clothes-washer",
    "clothes-dryer",
    "water-heater",
)
"""Appliances of a starter of so many circuits, in the order in which they are usually asked for (our order)."""
LATER = {"freezer": 2, "living-room": 2, "bedroom": 2, "office": 2, "kitchen-counter": 2, "well-pump": 2}
"""Priorities below the first."""
WORDS = {
    "refrigerator": ("refrigerator", "fridge"),
    "furnace-blower": ("furnace", "blower", "air handler"),
    "sump-pump": ("sump", "pit"),
    "well-pump": ("well", "jet pump"),
    "boiler": ("boiler", "hydronic", "circulator"),
    "freezer": ("freezer",),
    "router": ("router", "modem", "network", "internet"),
    "lights": ("light", "ltg"),
    "microwave": ("microwave",),
    "kitchen-counter": ("kitchen", "counter"),
    "living-room": ("living", "family room", "television", "tv", "den"),
    "bedroom": ("bedroom", "bed "),
    "office": ("office", "study", "desk"),
    "bathroom": ("bath",),
    "garage": ("garage",),
    "dehumidifier": ("dehumidifier",),
    "window-air-conditioner": ("window a",),
    "mini-split": ("mini-split", "mini split", "heat pump"),
    "dishwasher": ("dishwasher",),
    "clothes-washer": ("washer", "laundry"),
    "clothes-dryer": ("dryer",),
    "water-heater": ("water heater",),
    "pap-machine": ("cpap", "bipap", "pap "),
    "oxygen-concentrator": ("oxygen", "concentrator"),
}
"""Words of a directory by which an appliance is guessed; the file says that it was guessed."""
ROOMS = ("kitchen-counter", "living-room", "bedroom", "office", "bathroom", "garage", "lights")
"""Guessed only where no appliance is named."""


def starter_text() -> str:
    """The starter site file: a small job to edit."""
    return (resources.files("profiles.library") / "starter_site.toml").read_text("utf-8")


def asked_starter(circuits: int | None = None, directory: Path | None = None) -> str:
    """The starter that `keeplit new` is asked for: plain, of so many circuits, or from a directory."""
    if circuits is not None and directory is not None:
        raise BadInput("goes without --from-directory", key="--circuits", value=circuits, way_out="name one of them")
    if directory is not None:
        return starter_from(directory)
    return starter_text() if circuits is None else starter_of(circuits)


def starter_of(n_circuits: int) -> str:
    """A starter site file of so many circuits, each from its appliance.

    Parameters
    ----------
    n_circuits : int

    Raises
    ------
    BadInput
        Fewer than one, or more than there are typical circuits.

    Examples
    --------
    >>> starter_of(10).count("[[circuit]]")
    10
    """
    if type(n_circuits) is not int or not 1 <= n_circuits <= len(TYPICAL):
        raise BadInput(
            f"must be a whole number from 1 to {len(TYPICAL)}",
            key="--circuits",
            value=n_circuits,
            way_out="further circuits: copy a [[circuit]] table, or write them in a file (--from-directory)",
        )
    legs, tables = 0, []
    for name in TYPICAL[:n_circuits]:
        is_two_pole = circuit_templates()[name].get("poles") == 2
        tables.append(_table(name.replace("-", " ").capitalize(), name, None if is_two_pole else "AB"[legs % 2]))
        legs += not is_two_pole
    return _whole(f"{n_circuits} circuits", "\n".join(tables))


def starter_from(directory: str | Path) -> str:
    """A starter site file from the directory of a panel: a CSV file with a circuit a row.

    Parameters
    ----------
    directory : str or Path
        Its first line names the columns: `name`, and what is known of breaker_a, poles, leg, appliance, on.

    Raises
    ------
    BadInput
        A file that cannot be read or has no column `name`.

    Notes
    -----
    Where the file names no appliance one is guessed by words of the name; the site file says which were guessed. A row
    that tells nothing stands in it as a comment, to be finished by hand. Circuits are candidates unless the row has
    `on`: `keeplit design` says which of them to back up.
    """
    try:
        text = plain_file(directory, CSV_MB).read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror or error}", file=directory, way_out="check the path") from None
    except UnicodeDecodeError as error:
        raise BadInput(f"is not UTF-8 text (byte {error.start})", file=directory, way_out="save it as UTF-8") from None
    rows = list(csv.DictReader(io.StringIO(text), skipinitialspace=True))
    if not rows or "name" not in rows[0]:
        way_out = "the first line names the columns: name, breaker_a, poles, leg, appliance, on"
        raise BadInput("needs a column name and a row", file=directory, line=1, way_out=way_out)
    return _whole("From a panel's directory", "\n".join(_from_row(row) for row in rows))


def guessed(name: str) -> str | None:
    """The appliance that a circuit's name speaks of, rooms last, the longest word first; None where it speaks of none.

    Examples
    --------
    >>> guessed("Sump pit, basement"), guessed("Kitchen fridge"), guessed("Spare 3")
    ('sump-pump', 'refrigerator', None)
    """
    pairs = ((word, one) for one, known in WORDS.items() for word in known)
    words = sorted(pairs, key=lambda pair: (pair[1] in ROOMS, -len(pair[0])))
    return next((one for word, one in words if word in f"{name.lower()} "), None)


def _from_row(row: dict) -> str:
    told = {key: value.strip() for key, value in row.items() if key and isinstance(value, str) and value.strip()}
    name = told.pop("name", "")
    appliance = told.pop("appliance", None) or guessed(name)
    lines = ["[[circuit]]", f"name = {json.dumps(name, ensure_ascii=False)}"]
    guess = "" if row.get("appliance") else "   # guessed from its name"
    lines += [f"appliance = {json.dumps(appliance)}{guess}"] if appliance else []
    told.setdefault("on", "candidate")
    for key in ("on", "leg", "breaker_a", "poles", "priority"):
        if key in told:
            lines.append(f"{key} = {json.dumps(told[key]) if key in ('on', 'leg') else told[key]}")
    if not appliance:
        lines.append("load = { kw = 0.0 }   # nothing is known of it: give its kind and its load")
        return "\n".join(f"# {line}" for line in lines) + "\n"
    return "\n".join(lines) + "\n"


def _table(name: str, appliance: str, leg: str | None) -> str:
    lines = ["[[circuit]]", f'name = "{name}"', f'appliance = "{appliance}"']
    lines += [f'leg = "{leg}"'] if leg else []
    lines += [f"priority = {LATER[appliance]}"] if appliance in LATER else []
    return "\n".join(lines) + "\n"


def _whole(name: str, circuits: str) -> str:
    """The starter with other circuits and with units of the library."""
    head, rest = starter_text().split("[[circuit]]", 1)
    head = head.replace("My first job", name)
    units = "".join(
        f'[[battery]]\nname = "Leg {leg} unit"\nleg = "{leg}"\nsource = "library:unit_5kwh_120v"\n'
        f'locked_with = "Leg {other} unit"\n\n'
        for leg, other in ("AB", "BA")
    )
    return f"{head}{circuits}\n{units}[rate]{rest.split('[rate]', 1)[1]}"


def write_starter(path: Path, text: str | None = None) -> None:
    """Write a starter site file; a file that is there already is not overwritten."""
    if path.exists():
        raise BadInput("is there already", key="FILE", value=str(path), way_out="name a new file")
    if not path.parent.is_dir():
        raise BadInput("is in a folder that is not there", key="FILE", value=str(path), way_out="make the folder first")
    with written(path) as beside:
        beside.write_text(starter_text() if text is None else text, encoding="utf-8")
