"""One figure with its title, its description in words and its table twin."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from simulate.show.plot.paper import as_svg, write_png


@dataclass(frozen=True, eq=False)
class Plate:
    """One figure with its words and its table twin.

    Attributes
    ----------
    name : str
        File name and id.
    title, text : str
        What it shows, and what is to be seen in it.
    header : tuple of str
    rows : tuple of tuple of str
        The same figures as a table.
    svg : str
        The drawing, a whole SVG document.
    figure : Figure
    """

    name: str
    title: str
    text: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    svg: str
    figure: Figure

    def _repr_png_(self) -> bytes:
        """What a notebook shows: the figure under its title."""
        made = io.BytesIO()
        write_png(self.figure, made, title=self.title)
        return made.getvalue()


def plate(name: str, title: str, text: str, axes, header, rows) -> Plate:
    """A plate from the axes of its figure."""
    figure = np.ravel(axes)[0].figure
    rows = tuple(tuple(_no_minus_zero(cell) for cell in row) for row in rows)
    return Plate(name, title, text, tuple(header), rows, as_svg(figure, name, title, text), figure)


def _no_minus_zero(cell: str) -> str:
    return cell[1:] if re.fullmatch(r"-0(\.0*)?", cell) else cell
