"""Rates side by side: what the year costs on each, without and with the battery."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simulate.show.plot.paper import DARK, INK, MIDDLE, TEXT_PT, key_above, name_axes, paper


def rates_side_by_side(rows, *, today: float, currency: str = "USD", ax: Axes | None = None) -> Axes:
    """Two bars for each rate, and a line at what is paid today.

    Parameters
    ----------
    rows : sequence
        Of (rate, without the battery, with it). [currency a year]
    today : float
        [currency a year]
    currency : str
    ax : Axes, optional

    Examples
    --------
    >>> [text.get_text() for text in rates_side_by_side([("A", 900.0, 800.0)], today=850.0).get_yticklabels()]
    ['A']
    """
    ax = paper(height_in=1.3 + 0.55 * len(rows), margins_in=(2.4, 0.25, 0.55, 0.4)) if ax is None else ax
    at = np.arange(len(rows))
    for k, (color, hatch, label) in enumerate(((MIDDLE, "///", "without the battery"), (DARK, "", "with the battery"))):
        values = [row[1 + k] for row in rows]
        style = {"color": color, "hatch": hatch, "edgecolor": INK, "linewidth": 0.5}
        ax.barh(at + (k - 0.5) * 0.38, values, 0.36, label=label, **style)
    ax.axvline(today, color=INK, linewidth=1.2, linestyle="--", label="paid today")
    ax.axvline(0.0, color=INK, linewidth=0.8)
    ax.set_yticks(at, [_folded(row[0]) for row in rows], fontsize=TEXT_PT)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)
    name_axes(ax, f"bill [{currency} a year]", "")
    ax.xaxis.set_major_formatter("{x:,.0f}")
    key_above(ax)
    return ax


def _folded(name: str, most: int = 30) -> str:
    """A name in two lines where it is long; no letter is lost."""
    if len(name) <= most or " " not in name:
        return name
    cut = name.rfind(" ", 0, len(name) // 2 + 8)
    cut = name.find(" ") if cut < 0 else cut
    return f"{name[:cut]}\n{name[cut + 1 :]}"
