"""Designs side by side: their survival curves on one pair of axes, and what each further unit adds."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from profiles.files import folder_for, plain_table, written
from simulate.show.plot.paper import as_svg, drawing, write_png
from simulate.show.plot.survival import survival_curves
from simulate.show.plot.units import marginal_hours

if TYPE_CHECKING:
    from simulate.designs.compare import Comparison

MOST_CURVES = 6
"""As many lines as are told apart on a grey print."""
LABEL_CHARS = 44
WORDS = {
    "survival-curves": (
        "Share of outages still fully served, by design",
        "A falling curve of modelled outages for each design; lines mark 4, 12, 24 and 72 hours. A design that carries "
        "not all circuits of the first priority serves none fully.",
    ),
    "marginal-hours": (
        "What each further battery unit adds",
        "Bars of hours survived nine times in ten by number of units, the part that the last of them adds dark; "
        "what half of the outages last at least as a line.",
    ),
}
"""Title and description of each figure."""


def shown_designs(n_designs: int) -> list[int]:
    """Designs whose curves are drawn: all, or the first, the last and some between.

    Examples
    --------
    >>> shown_designs(3), shown_designs(11)
    ([0, 1, 2], [0, 2, 4, 6, 8, 10])
    """
    most = min(n_designs, MOST_CURVES)
    return [int(k) for k in np.round(np.linspace(0, n_designs - 1, most))]


def fully_served_h(design) -> np.ndarray:
    """Hours survived, none where a circuit of the first priority is never carried, shape (n_outages,). [h]"""
    return design.ride.hours * design.row["carries_first_priority"]


def comparison_figures(comparison: Comparison) -> dict[str, Figure]:
    """Figures of a comparison by name: "survival-curves", and "marginal-hours" where units were compared.

    Parameters
    ----------
    comparison : Comparison

    Examples
    --------
    >>> from simulate.designs.compare import compare_units
    >>> from simulate.site.site import read_site
    >>> list(comparison_figures(compare_units(read_site(), [1, 2])))
    ['survival-curves', 'marginal-hours']
    """
    with drawing():
        out = {"survival-curves": _survival(comparison)}
        if comparison.compared == "battery units" and len(comparison.designs) > 1:
            out["marginal-hours"] = _marginal(comparison)
    return out


def _survival(comparison: Comparison) -> Figure:
    curves = {}
    for k in shown_designs(len(comparison.designs)):
        design = comparison.designs[k]
        name = design.label + ("" if design.row["carries_first_priority"] else ", not all carried")
        curves[textwrap.fill(name, LABEL_CHARS)] = fully_served_h(design)
    return survival_curves(curves, horizon_h=comparison.designs[0].ride.horizon_h).figure


def _marginal(comparison: Comparison) -> Figure:
    designs = sorted(comparison.designs, key=lambda design: design.row["n_units"])
    hours = [fully_served_h(design) for design in designs]
    p10, p50 = (np.array([np.quantile(h, q, method="lower") for h in hours]) for q in (0.1, 0.5))
    return marginal_hours([design.row["n_units"] for design in designs], p10, hours_p50=p50).figure


def svg_text(figure: Figure, name: str) -> str:
    """A figure as an SVG file with its title and description."""
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{as_svg(figure, name, *WORDS[name])}'


def write_comparison(comparison: Comparison, folder: str | Path) -> list[Path]:
    """Write compare.csv, compare.json and the figures (SVG and PNG), each beside its place and renamed.

    Parameters
    ----------
    comparison : Comparison
    folder : path
        Made where it is not there yet.
    """
    out, paths = folder_for(folder), []

    def put(name: str, write) -> None:
        with written(out / name) as beside:
            write(beside)
        paths.append(out / name)

    said = json.dumps(comparison.document(), allow_nan=False, indent=1)
    put("compare.json", lambda to: to.write_text(said, "utf-8"))
    put("compare.csv", lambda to: plain_table(comparison.to_frame()).to_csv(to, index=False, lineterminator="\n"))
    for name, figure in comparison_figures(comparison).items():
        put(f"{name}.png", lambda to, figure=figure: write_png(figure, to))
        put(f"{name}.svg", lambda to, figure=figure, name=name: to.write_text(svg_text(figure, name), "utf-8"))
    return paths
