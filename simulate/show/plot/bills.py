"""Bills by month: before and after, and by line item."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simulate.bill.bill import Bill
from simulate.show.plot.paper import DARK, INK, LIGHT, MIDDLE, bars, is_narrow, key_above, month_name, name_axes, paper

BARS = {
    "today": (LIGHT, "", "today"),
    "without_battery": (MIDDLE, "///", "without battery"),
    "with_battery": (DARK, "", "with battery"),
}
ITEMS = (DARK, MIDDLE, LIGHT, "#5aa6a0", "#8a8f98", "#c46a8f", "#aebac6", "#d9dde2")
HATCHES = ("", "///", "", "\\\\\\", "xx", "---", "++", "||")
MOST_ITEMS = 7
KINDS = ("fixed", "nonbypassable", "rider", "demand", "export", "carried", "minimum", "tax", "credit", "true-up")


def monthly_bills(months, *, currency: str = "USD", ax: Axes | None = None, **amounts) -> Axes:
    """Bills by month side by side.

    Parameters
    ----------
    months : sequence of str
        Such as "2025-01".
    currency : str
    ax : Axes, optional
    **amounts : array_like, shape (n_months,)
        Any of `today`, `without_battery`, `with_battery`, in this order. [currency a month]
    """
    ax = paper(margins_in=(0.9, 0.15, 0.55, 0.4)) if ax is None else ax
    at, width = np.arange(len(months)), 0.8 / len(amounts)
    for k, (name, values) in enumerate(amounts.items()):
        color, hatch, label = BARS[name]
        bars(ax, at + (k - (len(amounts) - 1) / 2) * width, values, width, color=color, hatch=hatch, label=label)
    _month_axis(ax, months, currency)
    return ax


def _month_axis(ax: Axes, months, currency: str) -> None:
    ax.axhline(0.0, color=INK, linewidth=0.8)
    names = [month_name(month) for month in months]
    short = is_narrow() and all(len(name) == 3 for name in names)
    ax.set_xticks(np.arange(len(months)), [name[0] for name in names] if short else names)
    ax.set_xlim(-0.6, len(months) - 0.4)
    ax.tick_params(axis="x", length=0)
    name_axes(ax, "month", f"bill [{currency} a month]")
    key_above(ax)


def items_by_month(bill: Bill, months) -> dict[str, np.ndarray]:
    """Amounts of a bill by item and month: energy by its period, the rest by kind. [currency]

    Examples
    --------
    >>> from simulate.bill.bill import Line
    >>> bill = Bill("USD", (Line("2025-01", "energy", "on-peak", 2.0, "kWh", 0.5, 1.0),))
    >>> items_by_month(bill, ["2025-01"])
    {'on-peak': array([1.])}
    """
    index, rows = {month: k for k, month in enumerate(months)}, {}
    for line in bill.lines:
        if line.month in index:
            item = line.name if line.kind == "energy" else line.kind
            rows.setdefault(item, np.zeros(len(index)))[index[line.month]] += line.amount
    return rows


def stacked_bills(bills: dict, *, ax: Axes | None = None) -> Axes:
    """Bills by month as bars stacked by line item, one bar a bill; credits hang below zero.

    Parameters
    ----------
    bills : dict
        Name -> Bill, drawn from left to right in each month.
    """
    ax = paper(height_in=3.8, margins_in=(0.9, 0.15, 0.55, 0.75)) if ax is None else ax
    months = list(next(iter(bills.values())).by_month)
    tables = {name: items_by_month(bill, months) for name, bill in bills.items()}
    items = _most(tables)
    at, width = np.arange(len(months)), 0.84 / len(tables)
    for k, table in enumerate(tables.values()):
        up, down = np.zeros(len(months)), np.zeros(len(months))
        for i, amounts in enumerate(_folded(table, items)):
            base = np.where(amounts >= 0.0, up, down)
            bars(
                ax,
                at + (k - (len(tables) - 1) / 2) * width,
                amounts,
                width * 0.92,
                bottom=base,
                color=ITEMS[i],
                hatch=HATCHES[i],
                label="_" if k else items[i],
            )
            up, down = up + np.maximum(amounts, 0.0), down + np.minimum(amounts, 0.0)
    _month_axis(ax, months, next(iter(bills.values())).currency)
    return ax


def _most(tables: dict) -> list[str]:
    """Items in order of their weight; beyond the seventh they are "other"."""
    weight: dict[str, float] = {}
    for table in tables.values():
        for item, amounts in table.items():
            weight[item] = weight.get(item, 0.0) + float(np.abs(amounts).sum())
    items = sorted(weight, key=lambda item: (item in KINDS, -weight[item]))
    return items if len(items) <= MOST_ITEMS + 1 else [*items[:MOST_ITEMS], "other"]


def _folded(table: dict, items: list[str]) -> list[np.ndarray]:
    none = np.zeros(len(next(iter(table.values())))) if table else np.zeros(0)
    own = [table.get(item, none) for item in items if item != "other"]
    rest = [amounts for item, amounts in table.items() if item not in items]
    return [*own, sum(rest, none)] if "other" in items else own
