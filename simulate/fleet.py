"""A fleet: a file with a home in each row, and what a sweep over it comes to by group."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from profiles.noun import BadInput

SUMMED = ("out_saving", "out_import_kwh", "out_throughput_kwh")
SPREAD = ("out_saving", "out_hours_min", "out_hours_p10", "out_hours_p50")


@dataclass(frozen=True, eq=False)
class Fleet:
    """Homes of a file.

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
        A row a home. A column whose name has a dot, such as `battery.count` or `circuit["Jet pump"].priority`, is a
        site key; any other is a label. An empty cell leaves the site's own value.

    Raises
    ------
    BadInput
        A file that cannot be read, has no rows, no site key, or a column twice.
    """
    import pandas as pd

    path = Path(path)
    try:
        frame = pd.read_parquet(path) if path.suffix == ".parquet" else pd.read_csv(path)
    except (OSError, ValueError) as error:
        raise BadInput(f"cannot be read: {error}", file=path, way_out="give a CSV or Parquet file") from None
    keys = [name for name in frame.columns if "." in str(name)]
    twice = [name for name in keys if str(name).rpartition(".")[2].isdigit()]
    if twice:
        raise BadInput("stands there twice", file=path, key=str(twice[0]).rpartition(".")[0])
    if not keys or frame.empty:
        raise BadInput("must have a row for each home and a column for each site key", file=path,
                       value=tuple(map(str, frame.columns)), way_out="name columns such as battery.count")
    return Fleet(_whole(frame[keys]), frame.drop(columns=keys))


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


def by_group(table, labels, group: str):
    """What a sweep over a fleet comes to, one row a group.

    Parameters
    ----------
    table : DataFrame
        From `sweep(site, fleet.designs)`.
    labels : DataFrame
        Of the same fleet.
    group : str
        Column of `labels`.

    Returns
    -------
    DataFrame
        Homes, homes refused, sums of saving and energy, and the middle and least of saving and hours, by group.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"design": [0, 1], "out_saving": [10.0, 30.0], "error": [None, None]})
    >>> by_group(table, pd.DataFrame({"street": ["Elm", "Elm"]}), "street")["out_saving_sum"].tolist()
    [40.0]
    """
    import pandas as pd

    if group not in labels.columns:
        raise BadInput("is not a label of the fleet", key="group", value=group,
                       way_out="known: " + ", ".join(map(str, labels.columns)))
    if len(labels) != len(table):
        raise BadInput("must have a row for each design", key="labels", value=len(labels))
    table = table.sort_values("design", ignore_index=True)
    grouped = table.groupby(labels[group].reset_index(drop=True), sort=True)
    out = {"homes": grouped.size(), "refused": grouped["error"].count()}
    for name in SUMMED:
        if name in table:
            out[f"{name}_sum"] = grouped[name].sum()
    for name in SPREAD:
        if name in table:
            out[f"{name}_median"], out[f"{name}_least"] = grouped[name].median(), grouped[name].min()
    return pd.DataFrame(out).reset_index()
