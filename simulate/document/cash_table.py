"""The cash flow as it is printed: cells in cents that add up in both directions, for terminal, report and sentence."""

from __future__ import annotations

COLUMNS = {
    "saving_rate": "saving by the rate",
    "saving_solar": "by solar",
    "saving_battery": "by the battery",
    "yearly_cost": "yearly cost",
    "investment": "investment",
    "incentive": "incentive",
    "replacement": "replacement",
    "loan": "loan",
}
"""Parts of a year's net, in the order of their columns."""


def printed_years(by_year: list[dict]) -> tuple[list[str], list[dict]]:
    """The columns that occur, and a row a year: each cell rounded, `net` their sum, `so_far` the sum of nets.

    Parameters
    ----------
    by_year : list of dict
        `money.by_year` of the document.

    Notes
    -----
    A cell is rounded for itself, so that equal payments are printed equal; what is rounded is then added.

    Examples
    --------
    >>> rows = [{"year": y, "saving_battery": s, "investment": i, "discounted_cumulative": 0.0, "capacity_frac": 1.0}
    ...         for y, s, i in ((0, 0.0, -10.0), (1, 3.333, 0.0), (2, 3.333, 0.0))]
    >>> columns, printed = printed_years(rows)
    >>> columns, [row["net"] for row in printed], printed[-1]["so_far"]
    (['saving_battery', 'investment'], [-10.0, 3.33, 3.33], -3.34)
    """
    columns = [name for name in COLUMNS if any(row.get(name) for row in by_year)]
    rows, so_far = [], 0.0
    for row in by_year:
        cells = {name: _cents(row[name]) for name in columns}
        net = _cents(sum(cells.values()))
        so_far = _cents(so_far + net)
        discounted = _cents(row["discounted_cumulative"])
        rows.append(
            {"year": row["year"], **cells, "net": net, "so_far": so_far, "discounted": discounted}
            | {"capacity_frac": row["capacity_frac"]}
        )
    return columns, rows


def cash_cells(by_year: list[dict]) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Header and rows of the cash flow as text; a part that never occurs is left out.

    Examples
    --------
    >>> cash_cells([])
    (('year', 'net', 'sum so far', 'sum, discounted', 'capacity'), [])
    """
    columns, rows = printed_years(by_year)
    header = ("year", *(COLUMNS[name] for name in columns), "net", "sum so far", "sum, discounted", "capacity")
    amounts = (*columns, "net", "so_far", "discounted")
    cells = lambda row: [f"{row[name]:,.2f}" if row[name] or name not in columns else "none" for name in amounts]
    return header, [(f"{row['year']}", *cells(row), f"{row['capacity_frac']:.0%}") for row in rows]


def _cents(amount: float) -> float:
    return round(amount, 2) + 0.0
