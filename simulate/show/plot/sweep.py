"""Figures of a sweep: two varied keys as a map, survival curves side by side, the front, and how a sample settles."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from profiles.files import folder_for, written
from profiles.noun import BadInput
from simulate.designs.columns import label_of
from simulate.designs.influence import pareto
from simulate.physics.outages.spread import MARKS_H
from simulate.show.plot.heat import SHADES
from simulate.show.plot.paper import (
    DARK,
    GREY,
    INK,
    LIGHT,
    LINES,
    TEXT_PT,
    as_svg,
    drawing,
    key_above,
    name_axes,
    paper,
    write_png,
)

HOURS, SAVING, PRICE = "out_hours_p10", "out_saving", "out_installed_price"
MOST_CELL_TEXTS = 80
"""More cells than this carry no number: it would not be legible."""
MOST_TICKS = 14
MOST_LINES = 240
"""More designs than this are drawn as the band that holds eight in ten of them."""
BAND = (0.1, 0.9)
MOST_CURVES = 4000
"""Of more designs than this, evenly spaced ones are looked at, and the key says of how many."""
STEPS = 200


ON_ONE_POINT, APART = 0.03, 0.025
"""Shares of an axis: points nearer than the first hide one another, and are drawn the second apart."""


def design_map(
    table, *, x: str, y: str, value: str = HOURS, currency: str = "currency", ax: Axes | None = None
) -> Axes:
    """A result over two varied keys, a cell for each pair of values.

    Parameters
    ----------
    table : DataFrame
        From `sweep`. Where more keys vary, a cell is the mean of its designs; one without a result is hatched.
    x, y : str
        Columns of inputs, such as "in_battery.count".
    value : str
        Column of results.
    currency : str
        For the labels.
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"in_a.b": [1, 2], "in_c.d": [5, 5], "out_saving": [3.0, 4.0]})
    >>> design_map(table, x="in_a.b", y="in_c.d", value="out_saving").collections[0].get_array().data.tolist()
    [[3.0, 4.0]]
    """
    _check(table, x, y, value)
    grid = table.pivot_table(index=y, columns=x, values=value, aggfunc="mean", dropna=False, sort=True)
    cells = np.ma.masked_invalid(grid.to_numpy(dtype=float))
    if not cells.count():
        raise BadInput("has no result", key=value, way_out="see the column error")
    alike = int(table.groupby([x, y]).size().max())
    if ax is None:
        sides = 0.55 + 0.085 * max(len(_plain(one)) for one in grid.index), 0.05 + 0.25 * (alike > 1)
        height_in = max(3.5, 1.5 + 0.26 * min(len(grid.index), 18))
        ax = paper(height_in=height_in, margins_in=(*sides, 0.55, 0.2))
    ax.grid(False)
    ax.set_facecolor("white")
    ax.patch.set(hatch="////", edgecolor=GREY)
    shown = ax.pcolormesh(cells, cmap=SHADES, edgecolors="face", linewidth=0.5)
    _ticks(ax.set_xticks, list(grid.columns))
    _ticks(ax.set_yticks, list(grid.index))
    ax.tick_params(length=0)
    if cells.size <= MOST_CELL_TEXTS:
        _write_cells(ax, cells)
    text = label_of(value, currency)
    _bar(ax, shown, text if alike == 1 else f"{text}\nmean of up to {alike} designs")
    name_axes(ax, label_of(x, currency), label_of(y, currency))
    return ax


def _bar(ax: Axes, shown, text: str) -> None:
    """What the shades stand for, beside the axes."""
    bar = ax.figure.colorbar(shown, ax=ax, fraction=0.14, pad=0.02, aspect=18)
    bar.ax.tick_params(labelsize=TEXT_PT, colors=INK)
    bar.set_label(text, fontsize=TEXT_PT, color=INK)
    bar.outline.set_edgecolor(GREY)


def _check(table, *columns: str) -> None:
    for name in columns:
        if name not in table:
            raise BadInput("is not a column of the table", key="figure", value=name)


def _plain(value) -> str:
    return f"{value:g}" if isinstance(value, int | float | np.number) else str(value)


def _ticks(put, values: list) -> None:
    every = max(1, -(-len(values) // MOST_TICKS))
    put(np.arange(0, len(values), every) + 0.5, [_plain(one) for one in values[::every]])


def _write_cells(ax: Axes, cells) -> None:
    middle = 0.5 * (cells.min() + cells.max())
    for (row, column), value in np.ndenumerate(cells):
        if not np.ma.is_masked(value):
            ink = "white" if value < middle else "black"
            text = f"{value:.1f}" if np.abs(cells).max() < 1000.0 else f"{value:,.0f}"
            ax.text(column + 0.5, row + 0.5, text, ha="center", va="center", fontsize=TEXT_PT - 1.0, color=ink)


def parallel_survival(table, *, by: str | None = None, ax: Axes | None = None) -> Axes:
    """Survival curves of all designs side by side, with the middle one of each value of a key.

    Parameters
    ----------
    table : DataFrame
        From `sweep`. A curve joins what a row knows: the shortest outage, the hours that nine in ten, half and one in
        ten reach, the shares that last 4 to 168 h, and the longest.
    by : str, optional
        Column of inputs with up to six values: each gets its own stroke.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    good = table.dropna(subset=[HOURS])
    if not len(good):
        raise BadInput("has no outages", key="table", way_out="run the sweep with outages")
    groups = {"all designs": good} if by is None else {_plain(one): own for one, own in good.groupby(by, sort=True)}
    if len(groups) > len(LINES):
        raise BadInput(f"must have {len(LINES)} values or fewer", key=str(by), value=len(groups))
    if ax is None:
        ax = paper(margins_in=(0.75, 0.25, 0.55, 0.4 + 0.16 * ((len(groups) + 1) // 3) + 0.16 * (by is not None)))
    most_h = float(good["out_hours_max"].max())
    ax.set_xscale("function", functions=(lambda h: np.sqrt(np.maximum(h, 0.0)), np.square))
    for k, (name, own) in enumerate(groups.items()):
        looked_at = own.iloc[:: max(1, -(-len(own) // MOST_CURVES))]
        some = f"{len(looked_at):,}" + (f" out of {len(own):,}" if len(looked_at) < len(own) else "")
        _one_group(ax, looked_at, most_h, k, f"{name}, middle of {some}")
    ax.set_xlim(0.0, most_h * 1.03 or 1.0)
    ax.set_ylim(0.0, 104.0)
    ticks = [mark for mark in (0, *MARKS_H, 336) if mark <= most_h * 1.03]
    ax.set_xticks(ticks, [f"{mark:g}" for mark in ticks])
    title = None if by is None else f"by {label_of(by)}"
    key_above(ax, columns=3, title=title, title_fontsize=TEXT_PT - 0.5, alignment="left")
    name_axes(ax, "hours after the power fails [h, square-root scale]", "outages still fully served [%]")
    return ax


def known_points(row) -> tuple[np.ndarray, np.ndarray]:
    """What one row of a sweep knows of its survival curve.

    Parameters
    ----------
    row : mapping
        A row with outages.

    Returns
    -------
    at_h, share : ndarray
        Rising hours, and the share of outages that reach them. [h], [0 to 1]

    Examples
    --------
    >>> hours = {"out_hours_min": 2.0, "out_hours_p10": 3.0, "out_hours_p50": 5.0, "out_hours_p90": 8.0}
    >>> at_h, share = known_points(hours | {"out_hours_max": 9.0, "out_lasting_4_frac": 0.7, "out_censored_frac": 0.0})
    >>> at_h.tolist(), share.tolist()
    ([0.0, 2.0, 3.0, 4.0, 5.0, 8.0, 9.0], [1.0, 1.0, 0.9, 0.7, 0.5, 0.1, 0.0])
    """
    last_h, lived = row["out_hours_max"], row["out_censored_frac"]
    points = [(0.0, 1.0), (row["out_hours_min"], 1.0), (last_h, lived)]
    points += [(row[f"out_hours_{name}"], share) for name, share in QUANTILES if row[f"out_hours_{name}"] < last_h]
    marks = [(mark, row.get(f"out_lasting_{mark}_frac", np.nan)) for mark in MARKS_H]
    points += [(float(mark), share) for mark, share in marks if share == share and mark < last_h]
    at_h, share = np.array(sorted(points, key=lambda point: (point[0], -point[1]))).T
    return at_h, np.minimum.accumulate(share)


QUANTILES = (("p10", 0.9), ("p50", 0.5), ("p90", 0.1))


def _one_group(ax: Axes, own, most_h: float, k: int, name: str) -> None:
    curves = [known_points(row) for row in own.to_dict("records")]
    grid = np.linspace(0.0, np.sqrt(most_h), STEPS) ** 2
    shares = 100.0 * np.array([np.interp(grid, at_h, share, right=0.0) for at_h, share in curves])
    style = LINES[k]
    if len(own) > MOST_LINES:
        low, high = np.quantile(shares, BAND, axis=0)
        ax.fill_between(grid, low, high, color=style["color"], alpha=0.18, linewidth=0.0, label="_band")
        name += ", band: eight in ten"
    elif len(own) > 1:
        lines = [np.column_stack([at_h, 100.0 * share]) for at_h, share in curves]
        ax.add_collection(LineCollection(lines, colors=style["color"], linewidths=0.5, alpha=0.35, label="_each"))
    ax.plot(grid, np.median(shares, axis=0), linewidth=1.9, label=name, **style)


def pareto_plot(
    table,
    *,
    price: str = PRICE,
    hours: str = HOURS,
    saving: str = SAVING,
    currency: str = "currency",
    ax: Axes | None = None,
) -> Axes:
    """Price against hours, the saving as shade; designs that no other beats in all three are large and ringed.

    Parameters
    ----------
    table : DataFrame
        From `sweep`, with prices of the units.
    price, hours, saving : str
        Columns: less, more and more is better.
    currency : str
        For the labels.
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"p": [1.0, 2.0, 2.0], "h": [5.0, 9.0, 4.0], "s": [3.0, 3.0, 3.0]})
    >>> ax = pareto_plot(table, price="p", hours="h", saving="s")
    >>> ax.collections[-1].get_offsets().data.tolist()
    [[1.0, 5.0], [2.0, 9.0]]
    """
    front = pareto(table, least=(price,), most=(hours, saving))
    good = table.dropna(subset=[price, hours, saving])
    beaten = good.drop(index=front.index)
    if ax is None:
        ax = paper(height_in=3.8, margins_in=(0.75, 0.05, 0.55, 0.35))
    at = side_by_side(good[price].to_numpy(), good[hours].to_numpy())
    good = good.assign(**{price: at})
    front, beaten = good.loc[front.index], good.loc[beaten.index]
    low, high = float(good[saving].min()), float(good[saving].max())
    shade = {"cmap": SHADES, "vmin": low, "vmax": high if high > low else low + 1.0}
    if len(beaten):
        ax.scatter(
            beaten[price],
            beaten[hours],
            c=beaten[saving],
            s=14,
            linewidths=0.3,
            edgecolors=GREY,
            marker="s",
            label=f"beaten ({len(beaten):,})",
            **shade,
        )
    drawn = ax.scatter(
        front[price],
        front[hours],
        c=front[saving],
        s=70,
        linewidths=1.3,
        edgecolors=INK,
        label=f"beaten by none ({len(front):,})",
        **shade,
    )
    _bar(ax, drawn, label_of(saving, currency))
    ax.margins(0.06)
    ax.xaxis.set_major_formatter("{x:,.0f}")
    moved = ", those on one point side by side" if (at != table.loc[good.index, price].to_numpy()).any() else ""
    name_axes(ax, label_of(price, currency) + moved, label_of(hours, currency))
    key_above(ax)
    return ax


def side_by_side(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Places across for points that would hide one another: beside each other, around where they belong.

    Parameters
    ----------
    x, y : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,)

    Examples
    --------
    >>> side_by_side(np.array([0.0, 0.0, 100.0]), np.array([5.0, 5.0, 9.0])).tolist()
    [-1.25, 1.25, 100.0]
    """
    wide, high = (float(np.ptp(one)) or 1.0 for one in (x, y))
    cell = np.round(np.column_stack([x / wide, y / high]) / ON_ONE_POINT)
    out = np.asarray(x, dtype=float).copy()
    for place in np.unique(cell, axis=0):
        (mine,) = np.nonzero((cell == place).all(axis=1))
        out[mine] += (np.arange(len(mine)) - (len(mine) - 1) / 2.0) * APART * wide
    return out


def convergence(table, *, value: str = HOURS, currency: str = "currency", ax: Axes | None = None) -> Axes:
    """How the mean of a sample settles as designs are added, with twice its standard error.

    Parameters
    ----------
    table : DataFrame
        From `sweep` of a sample; rows without a result are left out.
    value : str
        Column of results.
    currency : str
        For the labels.
    ax : Axes, optional

    Returns
    -------
    Axes

    Notes
    -----
    The error is that of an independent sample; Latin hypercube and Sobol points do no worse as a whole.

    Examples
    --------
    >>> import pandas as pd
    >>> ax = convergence(pd.DataFrame({"design": [0, 1, 2], "out_saving": [1.0, 3.0, 5.0]}), value="out_saving")
    >>> ax.lines[0].get_ydata().tolist()
    [2.0, 3.0]
    """
    _check(table, "design", value)
    found = table.sort_values("design")[value].dropna().to_numpy(dtype=float)
    if len(found) < 3:
        raise BadInput("must have three designs or more", key=value, value=len(found))
    ax = paper() if ax is None else ax
    n = np.arange(2, len(found) + 1)
    mean = np.cumsum(found)[1:] / n
    centred = found - found.mean()
    spread = np.maximum(np.cumsum(centred**2)[1:] - np.cumsum(centred)[1:] ** 2 / n, 0.0) / (n - 1)
    error = np.sqrt(spread / n)
    ax.plot(n, mean, linewidth=1.8, label="mean so far", **LINES[0])
    ax.fill_between(
        n, mean - 2.0 * error, mean + 2.0 * error, color=LIGHT, linewidth=0.0, label="twice the standard error"
    )
    ax.axhline(mean[-1], color=DARK, linewidth=0.8, linestyle=(0, (2, 3)), label=f"all {len(found):,}: {mean[-1]:,.1f}")
    ax.set_xscale("log")
    doubled = 2 ** np.arange(1, int(np.log2(len(found))) + 1, max(1, int(np.log2(len(found))) // 8))
    ax.set_xticks(doubled, [f"{one:,}" for one in doubled])
    ax.minorticks_off()
    ax.set_xlim(2, len(found))
    key_above(ax)
    name_axes(ax, "designs so far [log scale]", label_of(value, currency))
    return ax


def write_sweep_figures(out: str | Path, folder: str | Path, *, currency: str = "currency") -> list[str]:
    """Draw what a sweep on disk can fill, as SVG and PNG, each beside its place and renamed.

    Parameters
    ----------
    out : path
        Folder of parts.
    folder : path
        Made where it is not there yet.
    currency : str
        For the labels.

    Returns
    -------
    list of str
        Names of the figures: "hours-map", "saving-map", "survival", "front", "convergence".
    """
    table, sampled = _read(Path(out))
    folder, names = folder_for(folder), []
    with drawing():
        for name, title, ax in _figures(table, sampled, currency):
            with written(folder / f"{name}.svg") as beside:
                svg = as_svg(ax.figure, name, title, CAUTION)
                beside.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{svg}', encoding="utf-8")
            with written(folder / f"{name}.png") as beside:
                write_png(ax.figure, beside)
            names.append(name)
    return names


CAUTION = "Modelled planning estimates of one year for each design, not guarantees."


def _read(out: Path):
    """The columns that figures need, and whether the designs were drawn."""
    import pandas as pd
    import pyarrow.dataset as ds

    known = ds.dataset(str(out), format="parquet").schema.names
    spread = [name for name in known if name.startswith(("out_hours", "out_lasting", "out_censored"))]
    wanted = ["design", SAVING, PRICE, "out_stands_apart", *spread]
    inputs = [name for name in known if name.startswith("in_")]
    told = json.loads((out / "_sweep.json").read_text("utf-8"))["vary"]
    return pd.read_parquet(out, columns=[*wanted, *inputs]), "sample" in told


def _figures(table, sampled: bool, currency: str):
    inputs = [name for name in table if name.startswith("in_")]
    counts = {name: table[name].nunique() for name in inputs}
    few = [name for name in inputs if 1 < counts[name] <= len(LINES)]
    has = {name: bool(table[name].notna().any()) for name in (HOURS, SAVING, PRICE)}
    varied = [name for name in inputs if counts[name] > 1]
    if len(varied) == 2 and not sampled:
        y, x = sorted(varied, key=counts.get)
        for value, name in ((HOURS, "hours-map"), (SAVING, "saving-map")):
            if has[value]:
                yield name, label_of(value, currency), design_map(table, x=x, y=y, value=value, currency=currency)
    if has[HOURS]:
        yield "survival", "Survival curves of the designs", parallel_survival(table, by=few[0] if few else None)
    if all(has.values()) and len(table) > 1:
        yield "front", "Price, hours and saving", pareto_plot(table, currency=currency)
    if sampled and len(table) >= 3:
        value = HOURS if has[HOURS] else SAVING
        if has[value]:
            yield "convergence", "How the mean settles", convergence(table, value=value, currency=currency)
