"""Heat maps of month against local hour: hours survived, and price."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, Normalize, PowerNorm

from profiles.noun import BadInput
from simulate.document.words import hours_text
from simulate.physics.outages.spread import nine_in_ten
from simulate.show.plot.paper import GREY, INK, MONTHS, TEXT_PT, is_narrow, name_axes, paper

SHADES = "cividis"
"""Lightness rises evenly along it and the common colour deficiencies see the same order (Nunez, Anderton & Renslow
2018, doi:10.1371/journal.pone.0199239)."""


PALE = LinearSegmentedColormap.from_list("pale", ["#7d95b8", "#b4c0cc", "#fff3c4"])
"""Dark to pale for cells with figures in them: the darkest still stands 4.5 to 1 behind our ink."""
SCALES_H = (48.0, 336.0)
"""Ends of the scale of hours: the first that holds the map. [h]"""


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
    """Hours survived by month and local hour at which the power fails; every cell says its hours, the worst is framed.

    The shades run from 0 to 48 h on every site, beyond that from 0 to 336 h, so that maps can be held side by side.

    Parameters
    ----------
    grid : array_like, shape (12, 24)
        Such as `by_month_and_hour(hours, month, hour, nine_in_ten)`. [h]
    what : str
        What a cell shows, with its unit.
    ax : Axes, optional
    """
    grid = _checked(grid)
    top_h = next((top for top in SCALES_H if np.nanmax(grid) <= top), SCALES_H[-1])
    norm = Normalize(0.0, top_h) if top_h == SCALES_H[0] else PowerNorm(0.5, 0.0, top_h)
    shown = what if top_h == SCALES_H[0] else what.replace("]", ", square root]")
    ax = _map(grid, shown, ax, PALE, norm)
    _write_cells(ax, grid)
    month, hour = (int(k) for k in np.unravel_index(np.nanargmin(grid), (12, 24)))
    _frame(ax, *((hour, month) if is_narrow() else (month, hour)))
    text = f"shortest: {MONTHS[month]} {hour:02d}:00, {hours_text(float(grid[month, hour]))}"
    ax.set_title(text, loc="left", fontsize=TEXT_PT, color=INK)
    return ax


def _write_cells(ax: Axes, grid: np.ndarray) -> None:
    """The hours of each cell, rounded down: every shade is pale enough for dark figures on it."""
    size = 6.0
    for month, hour in np.ndindex(grid.shape):
        value = grid[month, hour]
        if np.isfinite(value):
            x, y = (month, hour) if is_narrow() else (hour, month)
            ax.text(x + 0.5, y + 0.5, f"{int(value + 1e-9)}", ha="center", va="center", fontsize=size, color=INK)


def price_map(grid, *, currency: str = "USD", ax: Axes | None = None) -> Axes:
    """Price of energy by month and local hour; the dearest cell is named and the darkest.

    Parameters
    ----------
    grid : array_like, shape (12, 24)
        [currency per kWh]
    """
    ax = _map(_checked(grid), f"price, mean of the days [{currency} per kWh]", ax, f"{SHADES}_r", None)
    month, hour = (int(k) for k in np.unravel_index(np.nanargmax(grid), (12, 24)))
    text = f"dearest: {MONTHS[month]} {hour:02d}:00, {np.asarray(grid)[month, hour]:.3f} {currency} per kWh"
    ax.set_title(text, loc="left", fontsize=TEXT_PT, color=INK)
    return ax


def _checked(grid) -> np.ndarray:
    grid = np.asarray(grid, dtype=float)
    if grid.shape != (12, 24) or not np.isfinite(grid).any():
        raise BadInput("must have shape (12, 24) and a finite cell", key="grid", value=grid.shape)
    return grid


def _map(grid: np.ndarray, what: str, ax: Axes | None, shades, norm) -> Axes:
    """Cells of a grid: hours run across; on a telephone months run across and hours down."""
    upright = is_narrow()
    if ax is None:
        ax = paper(height_in=5.6 if upright else 3.6, margins_in=(0.6, 0.3 if upright else 0.05, 0.55, 0.35))
    ax.grid(False)
    whole = np.ma.masked_invalid(grid.T if upright else grid)
    rows, columns = whole.shape
    edges = np.arange(columns + 1), np.arange(rows + 1)
    shown = ax.pcolormesh(*edges, whole, cmap=shades, norm=norm, edgecolors="face", linewidth=0.5)
    hours = np.arange(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)]
    months = np.arange(12) + 0.5, [name[0] for name in MONTHS] if upright else MONTHS
    ax.set_xticks(*(months if upright else hours))
    ax.set_yticks(*(hours if upright else months))
    ax.set_ylim(rows, 0)
    ax.tick_params(length=0)
    bar = ax.figure.colorbar(shown, ax=ax, fraction=0.14, pad=0.02, aspect=18, anchor=(0.0, 0.5), shrink=1.0)
    bar.ax.tick_params(labelsize=TEXT_PT, colors=INK)
    if not upright:
        bar.set_label(what, fontsize=TEXT_PT, color=INK)
    bar.outline.set_edgecolor(GREY)
    name_axes(ax, *(("month", "local hour [h]") if upright else ("local hour [h]", "month")))
    return ax


def _frame(ax: Axes, month: int, hour: int) -> None:
    from matplotlib.patches import Rectangle

    ax.add_patch(Rectangle((hour, month), 1, 1, fill=False, edgecolor="white", linewidth=2.6, clip_on=False))
    ax.add_patch(Rectangle((hour, month), 1, 1, fill=False, edgecolor="#b3001b", linewidth=1.4, clip_on=False))


def hours_grid(ride) -> np.ndarray:
    """Nine-in-ten hours of a `RideThrough` by month and local hour at which the power fails, shape (12, 24). [h]"""
    axis = ride.house.hours
    return by_month_and_hour(ride.hours, axis.month, axis.minute // 60, nine_in_ten)
