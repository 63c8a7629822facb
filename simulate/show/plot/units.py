"""How many units: what each further one adds, and what saving a higher reserve gives up."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simulate.show.plot.paper import DARK, INK, LIGHT, LINES, MARKERS, TEXT_PT, key_above, name_axes, paper

LEAST_SPAN_H = 2.0


def marginal_hours(n_units, hours_p10, *, hours_p50=None, ax: Axes | None = None) -> Axes:
    """Hours that each further unit adds, nine times in ten, on top of what was there.

    Parameters
    ----------
    n_units : array_like of int, shape (n_designs,)
        Rising; before one unit there was nothing, and before a larger first number it is not known.
    hours_p10, hours_p50 : array_like, shape (n_designs,)
        Hours survived nine times in ten; what half of the outages last at least as a line. [h]
    ax : Axes, optional
    """
    ax = paper(margins_in=(0.75, 0.15, 0.7, 0.4)) if ax is None else ax
    n_units, hours = np.asarray(n_units), np.asarray(hours_p10, dtype=float)
    before = np.r_[0.0 if n_units[0] == 1 else hours[0], hours[:-1]]
    low, gains = np.minimum(before, hours), hours >= before
    steps = set(np.diff(n_units).tolist())
    one, fewer = ("the last of them", "one unit less") if steps <= {1} else ("the last step", "fewer units")
    at, most = np.arange(len(n_units)), float(np.maximum(hours, before).max())
    ax.bar(at, low, 0.6, color=LIGHT, edgecolor=INK, linewidth=0.5, label=f"with {fewer}")
    kinds = ((gains, DARK, "", "added, nine times in ten"), (~gains, "white", "///", "lost"))
    for chosen, color, hatch, label in kinds:
        if chosen.any():
            ax.bar(
                at[chosen],
                np.abs(hours - before)[chosen],
                0.6,
                bottom=low[chosen],
                color=color,
                hatch=hatch,
                edgecolor=INK,
                linewidth=0.5,
                label=label,
            )
    if hours_p50 is not None:
        ax.plot(at, hours_p50, marker="s", markersize=5, label="half last at least", **LINES[1])
        most = max(most, float(np.max(hours_p50)))
    known = [n_units[0] == 1, *[True] * (len(n_units) - 1)]
    adds = [f"\n{more:+.1f} h" if told else "" for more, told in zip(hours - before, known, strict=True)]
    ax.set_xticks(at, [f"{n}{text}" for n, text in zip(n_units, adds, strict=True)])
    ax.set_ylim(0.0, 1.18 * most or 1.0)
    name_axes(ax, f"battery units, and what {one} adds [h]", "hours survived [h]")
    key_above(ax)
    return ax


def frontier(
    hours_p10,
    saving,
    *,
    labels=None,
    name: str = "one reserve all year",
    currency: str = "USD",
    others: dict | None = None,
    ax: Axes | None = None,
) -> Axes:
    """What a reserve costs: bill saving against the hours that nine in ten outages reach.

    Parameters
    ----------
    hours_p10, saving : array_like, shape (n,)
        [h], [currency a year]
    labels : sequence of str, optional
        Printed beside the points, such as the reserve; "" prints none. A long curve has a mark at every tenth of it.
    others : dict, optional
        Further curves, name -> (hours_p10, saving), such as a reserve by month.
    """
    ax = paper() if ax is None else ax
    curves = {name: (hours_p10, saving), **(others or {})}
    for k, (label, (hours, money)) in enumerate(curves.items()):
        every = max((len(hours) - 1) // 10, 1)
        marks = {"marker": MARKERS[k % len(MARKERS)], "markevery": every, "markersize": 5}
        ax.plot(hours, money, linewidth=1.6, label=label, **marks, **LINES[k])
    for x, y, text in zip(hours_p10, saving, labels or (), strict=False):
        if text:
            ax.annotate(
                text,
                (x, y),
                xytext=(5, 4),
                textcoords="offset points",
                fontsize=TEXT_PT - 0.5,
                color=INK,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
            )
    ax.axhline(0.0, color=INK, linewidth=0.8)
    ax.margins(x=0.16, y=0.14)
    low, high = ax.get_xlim()
    if high - low < LEAST_SPAN_H:  # minutes are no difference worth a drawing
        ax.set_xlim((low + high - LEAST_SPAN_H) / 2.0, (low + high + LEAST_SPAN_H) / 2.0)
    name_axes(ax, "hours survived, nine times in ten [h]", f"bill saving [{currency} a year]")
    key_above(ax)
    return ax
