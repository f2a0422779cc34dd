"""Columns: the columns of a text file, found by name or number.

Lines before the header, and one line of units after it, are skipped. A decimal comma is
understood unless commas separate the columns.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tautlog.errors import TraceImportError

_DELIMITERS = ("\t", ";", ",")
_LINES_LOOKED_AT = 200
_LARGEST = 1e100  # no measured value is larger, and sums would overflow
_BOMS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))

Chosen = str | int | Sequence[str | int]  # columns, by name or by number from 1


def read_bytes(path: Path) -> bytes:
    """All bytes of a file; refuse an empty file."""
    try:
        data = path.read_bytes()
    except FileNotFoundError as problem:
        raise TraceImportError(f"{path} does not exist: check the name") from problem
    except IsADirectoryError as problem:
        raise TraceImportError(f"{path} is a folder, expected a text file of columns") from problem
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise TraceImportError(f"{path} cannot be read: {reason}") from problem
    if not data.strip():
        raise TraceImportError(f"{path} is empty, expected a text file of columns")
    return data


def _decoded(path: Path, data: bytes) -> str:
    """Decode a file by its byte order mark, else as UTF-8, else as Latin-1."""
    encoding = next((name for mark, name in _BOMS if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("latin-1")  # units and names from old programs; digits are the same
    if "\0" in text:
        raise TraceImportError(f"{path} is not a text file: it contains NUL bytes")
    return text.lstrip("\ufeff")


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


@dataclass
class Columns:
    """The columns of a text file, found by name or number.

    Attributes
    ----------
    path, data : Path, bytes
        The file, and its bytes.
    wanted : list of str
        Column names by which to recognize the header.
    header : list of str
        Names of the columns; empty if the file has no header.
    rows : list of (int, list of str)
        Line number in the file, from 1, and cells.
    """

    path: Path
    data: bytes
    wanted: list[str]
    header: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        text = _decoded(self.path, self.data)
        delimiter = _delimiter(text)
        # A comma that does not separate columns can only be a decimal comma.
        self._decimal_comma = delimiter != ","
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        try:
            rows = [(reader.line_num, cells) for cells in reader if any(map(str.strip, cells))]
        except csv.Error as problem:
            raise TraceImportError(
                f"{self.path} line {reader.line_num} cannot be split into columns: {problem}"
            ) from problem
        if not rows:
            raise TraceImportError(f"{self.path} is empty, expected a text file of columns")
        start = self._find_header(rows)
        self.rows = rows[start:]
        self._width = max((len(cells) for _, cells in self.rows), default=0)

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

    def numbers(self, place: int) -> npt.NDArray[np.float64]:
        """A column as numbers, NaN where a cell is empty."""
        try:
            cells = [cells[place] for _, cells in self.rows]
            if self._decimal_comma:
                cells = [cell.replace(",", ".") for cell in cells]
            values = np.array([float(cell) if cell.strip() else np.nan for cell in cells])
        except (IndexError, ValueError):
            values = np.array([np.inf])
        if np.any(np.abs(values) > _LARGEST) or any("_" in cell for cell in cells):
            self._refuse_cell(place)
        return values

    def _refuse_cell(self, place: int) -> None:
        """Refuse the first cell that is not a number."""
        for line, cells in self.rows:
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
        width = Counter(len(cells) for _, cells in rows[:100_000]).most_common(1)[0][0]
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


def _delimiter(text: str) -> str:
    """The first of tab, semicolon and comma that most lines contain."""
    lines = [line for line in io.StringIO(text) if line.strip()]
    step = max(1, len(lines) // _LINES_LOOKED_AT)
    looked_at = lines[::step]
    for delimiter in _DELIMITERS:
        if sum(delimiter in line for line in looked_at) * 2 > len(looked_at):
            return delimiter
    return ","
