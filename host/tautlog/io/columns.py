"""Columns: the columns of a text file, found by name or number.

Lines before the header, and one line of units after it, are skipped. A decimal comma is
understood unless commas separate the columns.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import islice

import numpy as np
import numpy.typing as npt

from tautlog.errors import TraceImportError
from tautlog.io.text_file import Row, TextFile

FloatArray = npt.NDArray[np.float64]

_LARGEST = 1e100  # no measured value is larger, and sums would overflow
_HEAD_ROWS = 10_000  # in which the first row of numbers is looked for; own choice
_ROWS_AT_ONCE = 20_000

Chosen = str | int | Sequence[str | int]  # columns, by name or by number from 1


def listed(columns: Chosen | None) -> list[str]:
    """Columns as a list of names or numbers."""
    if columns is None:
        return []
    if isinstance(columns, (str, int)):
        return [str(columns).strip()]
    return [str(column).strip() for column in columns]


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return "_" not in cell


class Columns:
    """The columns of a text file, found by name or number.

    Parameters
    ----------
    text : TextFile
        The file.
    wanted : list of str
        Column names by which to recognize the header.

    Attributes
    ----------
    header : list of str
        Names of the columns; empty if the file has no header.
    """

    def __init__(self, text: TextFile, wanted: list[str]) -> None:
        self.text, self.path, self.wanted = text, text.path, wanted
        self.header: list[str] = []
        # A comma that does not separate columns can only be a decimal comma.
        self._decimal_comma = text.delimiter != ","
        rows = list(islice(text.rows(), _HEAD_ROWS))
        if not rows:
            raise TraceImportError(f"{self.path} is empty, expected a text file of columns")
        self._start = self._find_header(rows)
        self._width = max((len(cells) for _, cells in rows[self._start :]), default=0)

    def find_all(self, columns: Chosen) -> list[int]:
        """Indices of the columns to sum; ``"a+b"`` means two, unless a column has that name."""
        places = []
        for name in listed(columns):
            parts = [name] if name in self.header else name.split("+")
            places += [self.find(part) for part in parts]
        if not places:
            raise TraceImportError("the force column is missing: give its name or number")
        if len(set(places)) < len(places):
            raise TraceImportError(f"a force column is named twice in {columns!r}")
        return places

    def find(self, column: str | int) -> int:
        """Index of one column, from 0."""
        name = str(column).strip()
        if self.header.count(name) > 1:
            places = [i + 1 for i, other in enumerate(self.header) if other == name]
            raise TraceImportError(
                f"{self.path} has several columns {name!r}: give one of the numbers {places}"
            )
        if name in self.header:
            return self.header.index(name)
        if name.isdecimal() and 1 <= int(name) <= self._width:
            return int(name) - 1
        have = ", ".join(f"{i + 1} {title!r}" for i, title in enumerate(self.header[:30]))
        raise TraceImportError(
            f"{self.path} has no column {name!r}; it has "
            f"{have or f'no header and {self._width} column(s): give the number'}"
        )

    def named(self, place: int) -> str:
        """Name of a column, or its number."""
        return self.header[place] if place < len(self.header) else str(place + 1)

    def numbers(self, summed: Sequence[int], alone: int | None) -> tuple[FloatArray, FloatArray]:
        """The sum of some columns, and another column, if any; NaN where a cell is empty.

        Raises
        ------
        TraceImportError
            If a cell is not a number; it names the line of the first.
        """
        values = np.empty(self.text.lines)
        others = np.empty(0 if alone is None else self.text.lines)
        stop = 0
        for rows in self._batches():
            start, stop = stop, stop + len(rows)
            values[start:stop] = self._column(rows, summed[0])
            for place in summed[1:]:
                values[start:stop] += self._column(rows, place)
            if alone is not None:
                others[start:stop] = self._column(rows, alone)
        return values[:stop], others[:stop]

    def line_of(self, row: int) -> int:
        """Line in the file of a row of data, both counted; the row from 0."""
        return next(islice(self.text.rows(), self._start + row, None))[0]

    def _batches(self) -> Iterator[list[Row]]:
        """The rows of data, some at a time."""
        rows = islice(self.text.rows(), self._start, None)
        while some := list(islice(rows, _ROWS_AT_ONCE)):
            yield some

    def _column(self, rows: Sequence[Row], place: int) -> FloatArray:
        """A column of some rows as numbers, NaN where a cell is empty."""
        cells: list[str] = []
        try:
            cells = [cells[place] for _, cells in rows]
            if self._decimal_comma:
                cells = [cell.replace(",", ".") for cell in cells]
            values = np.array([float(cell) if cell.strip() else np.nan for cell in cells])
        except (IndexError, ValueError):
            values = np.array([np.inf])
        if np.any(np.abs(values) > _LARGEST) or "_" in "".join(cells):
            self._refuse_cell(rows, place)
        return values

    def _refuse_cell(self, rows: Sequence[Row], place: int) -> None:
        """Refuse the first cell that is not a number."""
        for line, cells in rows:
            if len(cells) <= place:
                raise TraceImportError(
                    f"{self.path} line {line} has {len(cells)} column(s), expected a number in "
                    f"column {self.named(place)!r} (number {place + 1})"
                )
            cell = cells[place].replace(",", ".") if self._decimal_comma else cells[place]
            if cell.strip() and (not _is_number(cell) or abs(float(cell)) > _LARGEST):
                raise TraceImportError(
                    f"{self.path} line {line}, column {self.named(place)!r}: expected a number, "
                    f"found {cells[place][:40]!r}"
                )

    def _numeric(self, cells: list[str]) -> int:
        """How many cells are numbers."""
        if self._decimal_comma:
            cells = [cell.replace(",", ".") for cell in cells]
        return sum(map(_is_number, cells))

    def _find_header(self, rows: list[tuple[int, list[str]]]) -> int:
        """Find the header; return the index of the first row of numbers."""
        width = Counter(len(cells) for _, cells in rows).most_common(1)[0][0]
        preface = 0
        for _, cells in rows:
            filled = sum(1 for cell in cells if cell.strip())
            if len(cells) >= width and self._numeric(cells) == filled:
                break
            preface += 1
        if preface == len(rows):
            preface = min(preface, 1)  # there is no row of numbers: `numbers` says so
        names = {part.strip() for name in self.wanted for part in (name, *name.split("+"))}
        found = self._named_row(rows[:preface], names, width)
        if found is None:
            # Skip only rows that cannot be data; text in a row of data is an error.
            while (
                preface
                and len(rows[preface - 1][1]) == width
                and self._numeric(rows[preface - 1][1])
            ):
                preface -= 1
            return preface
        self.header = [cell.strip().lstrip("#").strip() for cell in rows[found][1]]
        units = found + 1
        if units < len(rows) and not self._numeric(rows[units][1]) and units < preface:
            return units + 1
        return units

    def _named_row(
        self, preface: list[tuple[int, list[str]]], names: set[str], width: int
    ) -> int | None:
        """Index of the last row with most of the wanted names, or the last possible header."""
        best, most = None, -1
        for place, (_, cells) in enumerate(preface):
            if len(cells) < width or self._numeric(cells):
                continue
            have = sum(cell.strip().lstrip("#").strip() in names for cell in cells)
            if have >= most:
                best, most = place, have
        return best
