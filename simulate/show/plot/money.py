"""Money: cash flow by year, and how far one uncertain input moves a result."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from profiles.noun import BadInput
from simulate.show.plot.paper import (
    DARK,
    INK,
    LINES,
    MIDDLE,
    TEXT_PT,
    is_narrow,
    key_above,
    name_axes,
    named_bar,
    paper,
)


def cash_flow(net, *, currency: str = "USD", ax: Axes | None = None) -> Axes:
    """Cash flow by year as bars, its running sum as a line; year 0 is the installation.

    Parameters
    ----------
    net : array_like, shape (n_years + 1,)
        What is paid is negative. [currency]
    currency : str
    ax : Axes, optional

    Examples
    --------
    >>> cash_flow([-100.0, 60.0, 60.0]).lines[-1].get_ydata().tolist()
    [-100.0, -40.0, 20.0]
    """
    ax = paper(margins_in=(0.95, 0.15, 0.55, 0.4)) if ax is None else ax
    net = np.asarray(net, dtype=float)
    year = np.arange(len(net))
    for chosen, color, hatch, label in ((net < 0.0, MIDDLE, "///", "paid"), (net >= 0.0, DARK, "", "saved")):
        ax.bar(year[chosen], net[chosen], 0.7, color=color, hatch=hatch, edgecolor=INK, linewidth=0.5, label=label)
    ax.axhline(0.0, color=INK, linewidth=0.8)
    style = {"color": INK, "linestyle": LINES[3]["linestyle"]}
    ax.plot(year, np.cumsum(net), marker="o", markersize=3.5, label="sum so far", **style)
    ax.set_xlim(-0.7, len(net) - 0.3)
    most = 8 if is_narrow() else 16
    ax.set_xticks(year if len(net) <= most else year[:: int(np.ceil(len(net) / most))])
    name_axes(ax, "year, 0 is the installation", f"cash flow [{currency}]")
    ax.yaxis.set_major_formatter("{x:,.0f}")
    ax.margins(y=0.12)
    for k in {0, 1, len(net) - 1} if len(net) > 1 else {0}:
        named_bar(ax, year[k], max(net[k], 0.0), f"{net[k]:,.0f}", side="above")
    named_bar(ax, year[-1], np.cumsum(net)[-1], f"{np.cumsum(net)[-1]:,.0f}", side="left")
    key_above(ax)
    return ax


def tornado(rows, *, what: str, ax: Axes | None = None) -> Axes:
    """What each uncertain input does to a result, the widest on top.

    Parameters
    ----------
    rows : sequence
        Of (name, at_low, at_mid, at_high), or of objects with these attributes such as
        `simulate.document.ranges.Range`.
    what : str
        The result with its unit.
    ax : Axes, optional
    """
    rows = [_plain_row(row) for row in rows]
    if not rows:
        raise BadInput("must not be empty", key="rows", way_out="vary one input or more")
    rows.sort(key=lambda row: -abs(row[3] - row[1]))
    if ax is None:
        ax = paper(height_in=1.0 + 0.4 * len(rows), margins_in=(1.75, 0.25, 0.55, 0.35))
    mid = rows[0][2]
    for k, (_, low, _, high) in enumerate(rows):
        for value, color, hatch, label in ((low, MIDDLE, "///", "input low"), (high, DARK, "", "input high")):
            ax.barh(
                k,
                value - mid,
                left=mid,
                height=0.62,
                color=color,
                hatch=hatch,
                edgecolor=INK,
                linewidth=0.5,
                label="_" if k else label,
            )
        for value in {low, high} - {mid}:
            named_bar(ax, value, k, f"{value:,.0f}" if abs(value) >= 100.0 else f"{value:.3g}", side=_side(value, mid))
    ax.axvline(mid, color=INK, linewidth=1.0)
    ends = [value for row in rows for value in row[1:]]
    room = (0.42 if is_narrow() else 0.14) * ((max(ends) - min(ends)) or 1.0)
    ax.set_xlim(min(ends) - room, max(ends) + room)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_yticks(range(len(rows)), [row[0] for row in rows])
    ax.tick_params(axis="y", length=0, labelsize=TEXT_PT - is_narrow())
    ax.xaxis.set_major_locator(MaxNLocator(3 if is_narrow() else 7))
    ax.xaxis.set_major_formatter("{x:,g}")
    ax.grid(False, axis="y")
    name_axes(ax, what, "")
    key_above(ax)
    return ax


def _side(value: float, mid: float) -> str:
    return "right" if value > mid else "left"


def _plain_row(row) -> tuple[str, float, float, float]:
    if isinstance(row, tuple | list):
        name, low, mid, high = row
        return name, float(low), float(mid), float(high)
    return row.name, float(row.at_low), float(row.at_mid), float(row.at_high)
