"""A table of the report."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Table:
    """A table of texts; the first cell of a row names the row, `total` marks the last row as a sum."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: bool = False
