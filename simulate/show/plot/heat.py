"""Heat maps of month against local hour: hours survived, and price."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import PowerNorm

from profiles.noun import BadInput
from simulate.document.words import hours_text
from simulate.physics.outages.spread import nine_in_ten
from simulate.show.plot.paper import GREY, INK, MONTHS, TEXT_PT, name_axes, paper

SHADES = "cividis"
"""Lightness rises evenly along it and the common colour deficiencies see the same order (Nunez, Anderton & Renslow
2018, doi:10.1371/journal.pone.0199239)."""


WIDE = 8.0
"""Beyond this ratio of the highest to the lowest cell the shades go with the square root."""


def by_month_and_hour(values, month, hour, of=np.mean) -> np.ndarray:
    """One figure for each month and local hour.

    Parameters
    ----------
    values : array_like, shape (n_steps,)
    month, hour : array_like of int, shape (n_steps,)
        1 to 12, and 0 to 23 of the local clock.
    of : callable
        What is made of the values of one cell.

    Returns
    -------
    ndarray, shape (12, 24)
        NaN where the year has no such hour.

    Examples
    --------
    >>> float(by_month_and_hour([1.0, 3.0], [1, 1], [18, 18])[0, 18])
    2.0
    """
    values, cell = np.asarray(values, dtype=float), (np.asarray(month) - 1) * 24 + np.asarray(hour)
    order = np.argsort(cell, kind="stable")
    cells, first = np.unique(cell[order], return_index=True)
    grid = np.full(288, np.nan)
    for k, part in zip(cells, np.split(values[order], first[1:]), strict=True):
        grid[k] = of(part)
    return grid.reshape(12, 24)


def hours_map(grid, *, what: str = "survived nine times in ten [h]", ax: Axes | None = None) -> Axes:
    """Hours survived by month and local hour at which the power fails; the worst cell is named.

    Parameters
    ----------
    grid : array_like, shape (12, 24)
        Such as `by_month_and_hour(hours, month, hour, nine_in_ten)`. [h]
    what : str
        What a cell shows, with its unit.
    ax : Axes, optional
    """
    ax = _map(grid, what, ax, SHADES)
    month, hour = (int(k) for k in np.unravel_index(np.nanargmin(grid), (12, 24)))
    _frame(ax, month, hour)
    text = f"worst cell: {MONTHS[month]} {hour:02d}:00, {hours_text(float(np.asarray(grid)[month, hour]))}"
    ax.set_title(text, loc="left", fontsize=TEXT_PT, color=INK)
    return ax


def price_map(grid, *, currency: str = "USD", ax: Axes | None = None) -> Axes:
    """Price of energy by month and local hour; the dearest cell is named and the darkest.

    Parameters
    ----------
    grid : array_like, shape (12, 24)
        [currency per kWh]
    """
    ax = _map(grid, f"price, mean of the days [{currency} per kWh]", ax, f"{SHADES}_r")
    month, hour = (int(k) for k in np.unravel_index(np.nanargmax(grid), (12, 24)))
    text = f"dearest: {MONTHS[month]} {hour:02d}:00, {np.asarray(grid)[month, hour]:.3f} {currency} per kWh"
    ax.set_title(text, loc="left", fontsize=TEXT_PT, color=INK)
    return ax


def _map(grid, what: str, ax: Axes | None, shades: str) -> Axes:
    grid = np.asarray(grid, dtype=float)
    if grid.shape != (12, 24) or not np.isfinite(grid).any():
        raise BadInput("must have shape (12, 24) and a finite cell", key="grid", value=grid.shape)
    if ax is None:
        ax = paper(height_in=3.6, margins_in=(0.6, 0.05, 0.55, 0.35))
    ax.grid(False)
    whole, norm = np.ma.masked_invalid(grid), None
    if whole.max() > WIDE * whole.min() and whole.max() > WIDE:  # short outages would all be one shade
        norm, what = PowerNorm(0.5, 0.0, float(whole.max())), what.replace("]", ", square root]")
    shown = ax.pcolormesh(np.arange(25), np.arange(13), whole, cmap=shades, norm=norm, edgecolors="face", linewidth=0.5)
    ax.set_xticks(np.arange(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
    ax.set_yticks(np.arange(12) + 0.5, MONTHS)
    ax.set_ylim(12, 0)
    ax.tick_params(length=0)
    bar = ax.figure.colorbar(shown, ax=ax, fraction=0.14, pad=0.02, aspect=18, anchor=(0.0, 0.5), shrink=1.0)
    bar.ax.tick_params(labelsize=TEXT_PT, colors=INK)
    bar.set_label(what, fontsize=TEXT_PT, color=INK)
    bar.outline.set_edgecolor(GREY)
    name_axes(ax, "local hour [h]", "month")
    return ax


def _frame(ax: Axes, month: int, hour: int) -> None:
    from matplotlib.patches import Rectangle

    ax.add_patch(Rectangle((hour, month), 1, 1, fill=False, edgecolor="white", linewidth=2.6, clip_on=False))
    ax.add_patch(Rectangle((hour, month), 1, 1, fill=False, edgecolor="#b3001b", linewidth=1.4, clip_on=False))


def hours_grid(ride) -> np.ndarray:
    """Nine-in-ten hours of a `RideThrough` by month and local hour at which the power fails, shape (12, 24). [h]"""
    axis = ride.house.hours
    return by_month_and_hour(ride.hours, axis.month, axis.minute // 60, nine_in_ten)
