"""A table of the report."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Table:
    """A table of texts; the first cell of a row names the row.

    Attributes
    ----------
    caption : str
    header : tuple of str
    rows : tuple of tuples of str
    total : bool
        The last row is a sum.
    form : bool
        An empty cell is filled in by hand.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: bool = False
    form: bool = False
