"""Survival curves: which share of outages is still fully served after so many hours."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from profiles.noun import BadInput
from simulate.show.plot.paper import GREY, HEIGHT_IN, KEY_LINE_IN, LINES, is_narrow, key_above, name_axes, paper

MARKS_H = (4.0, 12.0, 24.0, 72.0)
LINEAR_TO_H = 100.0
LEAST_H = 4.0
"""The axis ends where the data end, but holds the first mark. [h]"""
KEY_CHARS = 100
"""Characters that fit side by side above the axes, strokes beside them."""


def survival_steps(hours, horizon_h: float) -> tuple[np.ndarray, np.ndarray]:
    """Corners of a survival curve: share of outages that reach or exceed each duration that occurred.

    Parameters
    ----------
    hours : array_like, shape (n_outages,)
        Hours survived, the horizon where an outage outlived it. [h]
    horizon_h : float
        [h]

    Returns
    -------
    at_h, share : ndarray
        From (0, 1) on; the share holds up to and including its hour. [h], [0 to 1]

    Examples
    --------
    >>> at_h, share = survival_steps([2.0, 4.0, 4.0, 8.0], 336.0)
    >>> at_h.tolist(), share.tolist()
    ([0.0, 2.0, 4.0, 8.0, 8.0], [1.0, 1.0, 0.75, 0.25, 0.0])
    """
    hours = np.sort(np.asarray(hours, dtype=float))
    if not (len(hours) and np.isfinite(hours).all() and hours[0] >= 0.0):
        raise BadInput("must be finite hours, one or more", key="hours")
    at_h, first = np.unique(hours, return_index=True)
    share = 1.0 - first / len(hours)
    if at_h[0] > 0.0:
        at_h, share = np.r_[0.0, at_h], np.r_[1.0, share]
    if at_h[-1] < horizon_h:  # nothing outlived the horizon: the curve comes down
        at_h, share = np.r_[at_h, at_h[-1]], np.r_[share, 0.0]
    return at_h, share


def survival_curve(hours, *, horizon_h: float = 336.0, name: str = "modelled outages", ax: Axes | None = None) -> Axes:
    """Share of outages still fully served against hours, one line.

    Parameters
    ----------
    hours : array_like, shape (n_outages,)
        Hours survived. [h]
    horizon_h : float
        Outages are followed for so long; those that outlive it get an open end mark. [h]
    name : str
    ax : Axes, optional
    """
    return survival_curves({name: hours}, horizon_h=horizon_h, ax=ax)


def survival_curves(designs: dict, *, horizon_h: float = 336.0, ax: Axes | None = None) -> Axes:
    """Survival curves of several designs or load cases on one pair of axes.

    Parameters
    ----------
    designs : dict
        Name -> hours survived, shape (n_outages,). [h]

    Examples
    --------
    >>> ax = survival_curves({"1 unit": [2.0, 4.0], "2 units": [4.0, 9.0]})
    >>> [line.get_label() for line in ax.lines][-2:]
    ['1 unit', '2 units']
    """
    steps = {name: survival_steps(hours, horizon_h) for name, hours in designs.items()}
    key_lines, columns = _key_of(steps, horizon_h)
    if ax is None:
        top_in = 0.2 + KEY_LINE_IN * key_lines
        ax = paper(height_in=HEIGHT_IN + max(0.0, top_in - 0.5), margins_in=(0.75, 0.15, 0.55, top_in))
    most_h = max([LEAST_H, *(at_h[-1] * 1.03 for at_h, _ in steps.values())])
    _hour_axis(ax, min(most_h, horizon_h * 1.03))
    for k, (name, (at_h, share)) in enumerate(steps.items()):
        style = LINES[k % len(LINES)]
        lived = f"{name}, {100.0 * share[-1]:.0f}% at least {horizon_h:g} h" if at_h[-1] >= horizon_h else name
        ax.plot(at_h, 100.0 * share, drawstyle="steps-pre", linewidth=1.8, label=lived, **style)
        if at_h[-1] >= horizon_h:
            ax.plot(at_h[-1], 100.0 * share[-1], ">", color=style["color"], markersize=7, clip_on=False, label="_lived")
    key_above(ax, columns=columns)
    return ax


def _key_of(steps: dict, horizon_h: float) -> tuple[int, int]:
    """Lines that the key takes above the axes, and its columns, by its longest line."""
    lived = any(at_h[-1] >= horizon_h for at_h, _ in steps.values())
    longest = max(len(line) for name in steps for line in name.split("\n")) + 25 * lived
    columns = max(1, min(3, KEY_CHARS // max(longest, 1)))
    rows = -(-len(steps) // columns)
    return rows * max(name.count("\n") + 1 for name in steps), columns


def _hour_axis(ax: Axes, most_h: float) -> None:
    ticks = [0.0, *MARKS_H, 168.0, 336.0]
    if most_h > LINEAR_TO_H:
        ax.set_xscale("function", functions=(lambda x: np.sqrt(np.maximum(x, 0.0)), np.square))
        note = ", square-root scale"
    else:
        ticks, note = [0.0, 4.0, 12.0, 24.0, 36.0, 48.0, 60.0, 72.0, 96.0], ""
    ax.set_xlim(0.0, most_h)
    ax.set_ylim(0.0, 104.0)
    crowded = (4.0,) if is_narrow() else ()
    ax.set_xticks([tick for tick in ticks if tick <= most_h and not (tick in crowded and most_h > 24.0)])
    ax.xaxis.set_major_formatter("{x:g}")
    ax.xaxis.set_minor_locator(_none())
    for mark in MARKS_H:
        if mark <= most_h:
            ax.axvline(mark, color=GREY, linewidth=0.8, linestyle=(0, (2, 3)), label="_mark")
    name_axes(ax, f"hours after the power fails [h{note}]", "outages still fully served [%]")


def _none():
    from matplotlib.ticker import NullLocator

    return NullLocator()
