"""A column of a file as one array of bytes."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Column:
    """Cells of one column, shape (n_rows,), as bytes in UTF-8 without the spaces and quotes around them."""

    raw: np.ndarray

    def __len__(self) -> int:
        return len(self.raw)

    @classmethod
    def of(cls, cells: list[str]) -> Column:
        return cls(np.array([cell.encode() for cell in cells] or [b""], dtype="S")[: len(cells)])

    @functools.cached_property
    def cells(self) -> list[str]:
        return [cell.decode() for cell in self.raw.tolist()]

    @functools.cached_property
    def matrix(self) -> np.ndarray:
        """Bytes of each cell, zero behind its end, shape (n_rows, width)."""
        raw = np.ascontiguousarray(self.raw)
        return raw.view(np.uint8).reshape(len(raw), raw.dtype.itemsize)

    @functools.cached_property
    def distinct(self) -> list[str]:
        """Texts that occur, in the order in which they first do."""
        if len(self.raw) and (self.raw == self.raw[0]).all():
            return [self.raw[0].decode()]
        return [cell.decode() for cell in dict.fromkeys(self.raw.tolist())]

    @functools.cached_property
    def filled(self) -> np.ndarray:
        """True where a cell holds anything, shape (n_rows,)."""
        return self.matrix[:, 0] != 0 if len(self.raw) else np.zeros(0, bool)

    def sample(self, most: int) -> list[str]:
        """Some cells that hold anything: from the beginning, the middle and the end of the column."""
        index = np.flatnonzero(self.filled)
        if len(index) > most:
            index = index[np.linspace(0, len(index) - 1, most).astype(int)]
        return [cell.decode() for cell in self.raw[index].tolist()]

    def at(self, index: np.ndarray) -> Column:
        return self if len(index) == len(self.raw) else Column(self.raw[index])
