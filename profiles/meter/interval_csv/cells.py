"""The bytes of a CSV file cut into lines and cells at once, and its columns as arrays: nothing is done cell by cell."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from profiles.meter.readings.column import Column
from profiles.noun import BadInput

QUOTE, APOSTROPHE, EQUALS, SPACE, NEWLINE, RETURN = 34, 39, 61, 32, 10, 13
_SHELLS, TOO_LONG = 5, ord("?")
MOST_LINES, MOST_CELLS, MOST_IN_A_LINE, LONGEST_CELL = 5_000_000, 20_000_000, 3000, 400
LONGEST_LINE = 200_000


@dataclass(frozen=True, eq=False)
class Cut:
    """Where the cells of a file begin and end.

    Attributes
    ----------
    data : ndarray of uint8
        The file, and zeros behind it as long as the longest cell.
    first, count : ndarray of int, shape (n_lines,)
        Number of each line's first separator, and how many cells it has.
    begin, end : ndarray of int, shape (n_lines,)
        Of each line, its line break left out.
    separators : ndarray of int
        Of the whole file, those inside quotes left out.
    delimiter : str
    """

    data: np.ndarray
    first: np.ndarray
    count: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    separators: np.ndarray
    delimiter: str

    def __len__(self) -> int:
        return len(self.begin)

    def column(self, k: int, lines: np.ndarray) -> Column:
        """One column of some lines; a line that is too short has an empty cell there."""
        return self._gathered(*self._bounds(k, lines))

    def block(self, ks: tuple[int, ...], lines: np.ndarray) -> Column:
        """Several columns of some lines, line by line, as one."""
        bounds = [self._bounds(k, lines) for k in ks]
        return self._gathered(*(np.column_stack(one).ravel() for one in zip(*bounds, strict=True)))

    def row(self, line: int) -> list[str]:
        """Cells of one line."""
        text = self.data[self.begin[line] : self.end[line]].tobytes().decode()
        try:
            cells = next(csv.reader([text], delimiter=self.delimiter), [])
        except csv.Error:
            cells = text.split(self.delimiter)
        return [_bare(cell) for cell in cells]

    def _gathered(self, begin: np.ndarray, end: np.ndarray) -> Column:
        begin, end = self._bare(begin, end)
        width = min(int((end - begin).max()) if len(begin) else 0, LONGEST_CELL)
        if not width:
            return Column(np.zeros(len(begin), "S1"))
        cells = sliding_window_view(self.data, width)[begin]
        length = end - begin
        if (length != width).any():
            cells[np.arange(width) >= length[:, None]] = 0
        if (length > width).any():
            cells[length > width, 0] = TOO_LONG  # what is cut off could be digits: it must not read as a number
        return Column(np.ascontiguousarray(cells).view(f"S{width}").ravel())

    def _bounds(self, k: int, lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        first, count = self.first[lines], self.count[lines]
        there = count > k
        line_end = self.end[lines]
        if not len(self.separators):
            return np.where(there, self.begin[lines], line_end), line_end
        last = len(self.separators) - 1
        before = self.separators[np.minimum(first + k - 1, last)] + 1 if k else self.begin[lines]
        after = np.where(count > k + 1, self.separators[np.minimum(first + k, last)], line_end)
        return np.where(there, before, line_end), np.where(there, after, line_end)

    def _bare(self, begin: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Without spaces and quotes around; spreadsheets keep text as text by ="..." or a leading apostrophe."""
        for _ in range(_SHELLS):
            begin, end = self._stripped(begin, end, SPACE)
            begins = self.data[begin]
            ends = self.data[np.maximum(end - 1, 0)]
            there = end > begin
            lead = there & ((begins == APOSTROPHE) | (begins == EQUALS) & (ends == QUOTE))
            quoted = (begins == QUOTE) & (ends == QUOTE) & (end > begin + 1)
            if not (lead.any() or quoted.any()):
                break
            begin, end = begin + (lead | quoted), end - quoted
        return begin, end

    def _stripped(self, begin: np.ndarray, end: np.ndarray, sign: int) -> tuple[np.ndarray, np.ndarray]:
        for _ in range(LONGEST_CELL):
            lead = (end > begin) & (self.data[begin] == sign)
            if not lead.any():
                break
            begin = begin + lead
        for _ in range(LONGEST_CELL):
            trail = (end > begin) & (self.data[np.maximum(end - 1, 0)] == sign)
            if not trail.any():
                break
            end = end - trail
        return begin, end


def _bare(cell: str) -> str:
    """A cell without what a spreadsheet puts around text: ="2025-07-01", '2025-07-01."""
    cell = cell.strip()
    return cell[2:-1].strip() if cell.startswith('="') and cell.endswith('"') else cell.removeprefix("'")


def cut(content: bytes, delimiter: str, *, file: object) -> Cut:
    """Lines and cells of a file; separators and line breaks inside quotes are neither.

    Raises
    ------
    BadInput
        More lines or cells, or longer lines, than any meter file has.

    Examples
    --------
    >>> found = cut(b'a,"b, c"\\n1,2\\n', ",", file="x.csv")
    >>> found.row(0), found.row(1)
    (['a', 'b, c'], ['1', '2'])
    """
    sign = delimiter.encode()
    n_lines, n_cells = content.count(b"\n") + 1, content.count(sign)
    if n_lines > MOST_LINES or n_cells > MOST_CELLS or n_cells > MOST_IN_A_LINE * n_lines:
        raise BadInput(
            f"has {n_lines:,} lines and {n_cells:,} separators: no table of readings has so many",
            file=file,
            way_out="download the interval data again",
        )
    data = np.frombuffer(content + bytes(LONGEST_CELL), np.uint8)
    breaks, separators = np.flatnonzero(data == NEWLINE), np.flatnonzero(data == sign[0])
    if b'"' in content and content.count(b'"') % 2 == 0:
        quotes = np.flatnonzero(data == QUOTE)
        breaks = breaks[np.searchsorted(quotes, breaks) % 2 == 0]
        separators = separators[np.searchsorted(quotes, separators) % 2 == 0]
    begin = np.concatenate(([0], breaks + 1))
    end = np.concatenate((breaks, [len(content)]))
    if b"\r" in content:
        end = end - ((end > begin) & (data[np.maximum(end - 1, 0)] == RETURN))
    if int((end - begin).max()) > LONGEST_LINE:
        raise BadInput(
            f"has a line of {int((end - begin).max()):,} signs: no table of readings has such",
            file=file,
            way_out="download the interval data again",
        )
    first = np.searchsorted(separators, begin)
    count = np.diff(np.concatenate((first, [len(separators)]))) + 1
    return Cut(data, first, np.where(end > begin, count, 0), begin, end, separators, delimiter)
