"""The average day of a season: what the house buys hour by hour, before and after."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simulate.show.plot.paper import LIGHT, LINES, is_narrow, key_above, name_axes, paper


def average_by_hour(kw, hours, months, days: str = "weekday", holidays=()) -> np.ndarray:
    """Mean power by local hour over some months and kinds of day.

    Parameters
    ----------
    kw : ndarray, shape (n_steps,)
        [kW]
    hours : Hours
    months : sequence of int
        1 to 12.
    days : "all", "weekday" or "weekend"
    holidays : iterable of date
        Count as weekend.

    Returns
    -------
    ndarray, shape (24,)
        [kW]

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> axis = hours_of_year(2025, "UTC")
    >>> float(average_by_hour(axis.minute / 60.0, axis, (6, 7, 8))[17])
    17.0
    """
    at = np.isin(hours.month, months) & hours.on_days(days, tuple(holidays))
    hour = hours.minute[at] // 60
    return np.bincount(hour, np.asarray(kw)[at], 24) / np.maximum(np.bincount(hour, minlength=24), 1)


def average_day(before_kw, after_kw, *, dear=None, title: str = "", ax: Axes | None = None) -> Axes:
    """Mean power bought from the utility by local hour, without and with the battery.

    Parameters
    ----------
    before_kw, after_kw : array_like, shape (24,)
        [kW]
    dear : array_like of bool, shape (24,), optional
        Hours of the higher prices, shaded.
    title : str
    ax : Axes, optional
    """
    ax = paper() if ax is None else ax
    edges = np.arange(25)
    top = 1.12 * max(float(np.max(before_kw)), float(np.max(after_kw)), 0.1)
    if dear is not None and np.any(dear):
        ax.stairs(
            np.where(dear, 1.0, 0.0),
            edges,
            fill=True,
            facecolor=LIGHT,
            alpha=0.55,
            label="dearer hours",
            transform=ax.get_xaxis_transform(),
        )
    for values, label, style in ((before_kw, "without battery", LINES[1]), (after_kw, "with battery", LINES[0])):
        ax.stairs(values, edges, label=label, linewidth=1.8, baseline=None, **style)
    ax.set_xlim(0, 24)
    ax.set_ylim(0.0, top)
    ax.set_xticks(range(0, 24, 3), [f"{h:02d}:00" if h % 6 == 0 else "" for h in range(0, 24, 3)])
    name_axes(ax, f"local hour, {title} [h]" if title else "local hour [h]", "bought, mean [kW]")
    key_above(ax)
    return ax


def two_days(days: dict) -> np.ndarray:
    """Average days side by side on one scale.

    Parameters
    ----------
    days : dict
        Title -> (before_kw, after_kw, dear), each of shape (24,).

    Returns
    -------
    ndarray of Axes, shape (n,)
    """
    down = is_narrow()
    panels = np.ravel(
        paper(len(days), 1, height_in=4.6, gap=0.35) if down else paper(1, len(days), height_in=3.0, gap=0.08)
    )
    for ax, (title, (before, after, dear)) in zip(panels, days.items(), strict=True):
        average_day(before, after, dear=dear, title=title, ax=ax)
    top = max(ax.get_ylim()[1] for ax in panels)
    for ax in panels:
        ax.set_ylim(0.0, top)
    for ax in panels[1:]:
        if not down:
            ax.set_ylabel("")
            ax.tick_params(labelleft=False)
        ax.get_legend().remove()
    return panels
