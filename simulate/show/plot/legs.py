"""What the backed-up circuits ask of the units: load-duration curve, and each leg against its limit."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simulate.show.plot.paper import DARK, INK, LIGHT, LINES, MIDDLE, key_above, name_axes, named_bar, paper

LEG_BARS = ((DARK, ""), (MIDDLE, "///"), (LIGHT, ""))


def load_duration(load_kw, *, limits: dict | None = None, ax: Axes | None = None) -> Axes:
    """Power of the backed-up circuits in falling order, with the limits that it must stay under.

    Parameters
    ----------
    load_kw : array_like, shape (n_steps,)
        Mean of each step. [kW]
    limits : dict, optional
        Name with its unit -> value, such as {"continuous [kW]": 6.0, "motor start [kVA]": 12.0}.
    ax : Axes, optional

    Examples
    --------
    >>> ax = load_duration([1.0, 3.0, 2.0])
    >>> ax.lines[0].get_ydata().tolist()
    [3.0, 2.0, 1.0]
    """
    ax = paper(margins_in=(0.75, 0.15, 0.55, 0.6)) if ax is None else ax
    falling = np.sort(np.asarray(load_kw, dtype=float))[::-1]
    share = 100.0 * (np.arange(len(falling)) + 0.5) / len(falling)
    ax.plot(share, falling, label="backed-up circuits, mean of each step", linewidth=1.8, **LINES[0])
    for k, (name, value) in enumerate((limits or {}).items(), start=1):
        ax.axhline(value, linewidth=1.4, label=f"{name}: {value:.2f}", **LINES[k])
    ax.set_xlim(0.0, 100.0)
    most = max([falling[0], 0.1, *(limits or {}).values()])
    ax.set_ylim(0.0, 1.1 * most)
    for at in (len(falling) // 20, len(falling) // 2):
        named_bar(ax, share[at], falling[at], f"{falling[at]:.2f} kW", side="above")
    name_axes(ax, "share of the year [%]", "power [kW]")
    key_above(ax, columns=2)
    return ax


def leg_bars(measures: dict, limits_kw: dict, *, ax: Axes | None = None) -> Axes:
    """Power on each leg beside the limit of its units.

    Parameters
    ----------
    measures : dict
        Name -> {leg: kW}, such as {"everything on": {"A": 2.1, "B": 1.4}}.
    limits_kw : dict
        Leg -> continuous output. [kW]
    ax : Axes, optional
    """
    ax = paper(height_in=2.9, margins_in=(1.15, 0.2, 0.55, 0.6)) if ax is None else ax
    legs, height = list(limits_kw), 0.8 / max(len(measures), 1)
    at = np.arange(len(legs))
    for k, (name, by_leg) in enumerate(measures.items()):
        color, hatch = LEG_BARS[k % len(LEG_BARS)]
        ax.barh(
            at - 0.4 + (k + 0.5) * height,
            [by_leg.get(leg, 0.0) for leg in legs],
            height * 0.9,
            color=color,
            hatch=hatch,
            edgecolor=INK,
            linewidth=0.5,
            label=name,
        )
        for j, leg in enumerate(legs):
            if leg in by_leg:
                named_bar(ax, by_leg[leg], j - 0.4 + (k + 0.5) * height, f"{by_leg[leg]:.2f}")
    for k, leg in enumerate(legs):
        ax.plot(
            [limits_kw[leg]] * 2,
            [k - 0.46, k + 0.46],
            color=INK,
            linewidth=2.4,
            linestyle="-",
            label="continuous limit" if k == 0 else "_limit",
        )
    most = max([*limits_kw.values(), *(kw for row in measures.values() for kw in row.values())])
    ax.set_xlim(0.0, 1.14 * most)
    ax.set_ylim(len(legs) - 0.5, -0.5)
    ax.set_yticks(at, [f"leg {leg}\nlimit {limits_kw[leg]:.2f} kW" for leg in legs])
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="x", color="#c9d0d8", linewidth=0.6)
    ax.grid(False, axis="y")
    name_axes(ax, "power [kW]", "")
    key_above(ax, columns=2)
    return ax
