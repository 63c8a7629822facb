"""A fleet: a file with a home in each row, and what a sweep over it comes to by group."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from profiles.files import CSV_MB, plain_file
from profiles.noun import BadInput

SUMMED = ("out_saving", "out_import_kwh", "out_throughput_kwh")
SPREAD = ("out_saving", "out_hours_min", "out_hours_p10", "out_hours_p50")


LABEL = "label_"
"""How the columns of labels begin in the table of a sweep."""


@dataclass(frozen=True, eq=False)
class Fleet:
    """Homes of a file; `sweep(site, fleet)` runs them.

    Attributes
    ----------
    designs : DataFrame
        A row a home; every column is a site key.
    labels : DataFrame
        The columns that are no site keys, such as a home's name or its group, in the same order.
    """

    designs: object
    labels: object


def read_fleet(path: str | Path) -> Fleet:
    """Read a fleet from CSV or Parquet.

    Parameters
    ----------
    path : str or Path
        A row a home. A column whose name has a dot, such as `battery.count`, `service.whole_house.meter` or
        `circuit["Jet pump"].priority`, is a site key; any other is a label and is kept as it is written. An empty cell
        leaves the site's own value. Paths in it are relative to the folder of the site file.

    Raises
    ------
    BadInput
        A file that cannot be read, has no rows, no site key, or a column twice.
    """
    path = Path(path)
    names, frame = _read(path)
    twice = [name for name in names if names.count(name) > 1 or not name.strip()]
    if twice:
        raise BadInput("must stand there once, with a name", file=path, key=f'column "{twice[0]}"')
    keys = [name for name in names if "." in name]
    if not keys or frame.empty:
        raise BadInput(
            "must have a row for each home and a column for each site key",
            file=path,
            value=tuple(names),
            way_out="name columns such as battery.count",
        )
    return Fleet(_whole(frame[keys]), frame.drop(columns=keys))


def _read(path: Path):
    """Names of the columns as they stand there, and the table; labels of a CSV file stay text."""
    import pandas as pd

    try:
        plain_file(path, CSV_MB)
        if path.suffix.lower() == ".parquet":
            frame = pd.read_parquet(path)
            return [str(name) for name in frame.columns], frame
        head = pd.read_csv(
            path, compression=None, header=None, nrows=1, dtype=str, keep_default_na=False, encoding="utf-8-sig"
        )
        names = head.iloc[0].tolist()
        texts = {name: str for name in names if "." not in name}
        only_empty = {
            "compression": None,
            "keep_default_na": False,
            "na_values": [""],
            "index_col": False,
            "encoding": "utf-8-sig",
        }
        frame = pd.read_csv(path, dtype=texts, on_bad_lines="error", **only_empty)
    except BadInput:
        raise
    except (OSError, ValueError, TypeError) as error:
        told = " ".join(str(error).split())
        raise BadInput(f"cannot be read: {told}", file=path, way_out="give a CSV or Parquet file in UTF-8") from None
    return names, frame


def _whole(frame):
    """Whole numbers stay whole where an empty cell made pandas read them as floats."""
    import pandas as pd

    out = frame.copy()
    for name in out.columns:
        column = out[name]
        filled = column.dropna()
        if pd.api.types.is_float_dtype(column) and column.isna().any() and (filled == filled.round()).all():
            out[name] = pd.Series([None if v != v else int(v) for v in column], index=column.index, dtype=object)
    return out


def by_group(table, group: str):
    """What a sweep over a fleet comes to, one row a group.

    Parameters
    ----------
    table : DataFrame
        From `sweep(site, fleet)`.
    group : str
        A label of the fleet; homes without it form a group of their own.

    Returns
    -------
    DataFrame
        Homes, homes refused, sums of saving and energy, and the middle and least of saving and hours, by group.

    Raises
    ------
    BadInput
        A label that the fleet does not have.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"label_street": ["Elm", "Elm"], "out_saving": [10.0, 30.0], "error": [None, None]})
    >>> by_group(table, "street")["out_saving_sum"].tolist()
    [40.0]
    """
    import pandas as pd

    known = [str(name).removeprefix(LABEL) for name in table.columns if str(name).startswith(LABEL)]
    if group not in known:
        raise BadInput(
            "is not a label of the fleet", key="group", value=group, way_out="known: " + ", ".join(known or ["none"])
        )
    grouped = table.groupby(table[f"{LABEL}{group}"].rename(group), sort=True, dropna=False)
    out = {"homes": grouped.size(), "refused": grouped["error"].count()}
    for name in SUMMED:
        if name in table:
            out[f"{name}_sum"] = grouped[name].sum()
    for name in SPREAD:
        if name in table:
            out[f"{name}_median"], out[f"{name}_least"] = grouped[name].median(), grouped[name].min()
    return pd.DataFrame(out).reset_index()
