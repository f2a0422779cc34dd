"""Importer: a trace of another instrument, from a text file of columns.

The values are kept as they came; only the sum of several columns is formed (two
force plates side by side). Unit, polarity and rate are noted beside them.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tautlog import record
from tautlog.errors import TraceImportError
from tautlog.io.timebase import check_rate, seconds_per
from tautlog.model.calibration import Calibration
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2, DropSetup, Trace

# Newtons of one unit. The pound-force is 0.45359237 kg (international yard and pound
# agreement of 1959) x 9.80665 m/s2 (3rd CGPM, 1901), both by definition.
NEWTON_PER_UNIT = {
    "N": 1.0,
    "kN": 1000.0,
    "lbf": 4.4482216152605,
    "kgf": STANDARD_GRAVITY_M_PER_S2,
}
# A step between two times may differ from the usual step, and a time from its place
# on the uniform grid, by this part of the sample interval: rounding of printed times.
TIME_TOLERANCE = 0.25
_DELIMITERS = ("\t", ";", ",")
_LINES_LOOKED_AT = 200
_LARGEST = 1e100  # beyond it nothing was measured, and sums would overflow
_BOMS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))


@dataclass(frozen=True)
class ImportedTrace:
    """A trace as it came from elsewhere.

    Attributes
    ----------
    values : ndarray of float64, shape (samples,)
        In `unit`, polarity as in the source, NaN where a cell was empty.
    unit : str
        One of `NEWTON_PER_UNIT`.
    polarity : int
        1, or -1 where tension is negative in the source.
    sample_rate_hz : float
        Samples per second.
    first_time_s : float
        Time of the first value in the source; 0 without a time column.
    columns : tuple of str
        Force columns that were summed, by name, or by number where they have none.
    time_column : str
        Likewise, or "" without one.
    file, sha256 : str
        Name of the source file, and the SHA-256 of its bytes.
    """

    values: npt.NDArray[np.float64]
    unit: str
    polarity: int
    sample_rate_hz: float
    first_time_s: float
    columns: tuple[str, ...]
    time_column: str
    file: str
    sha256: str

    def trace(self) -> Trace:
        """Return the force in newtons, positive in tension."""
        factor = NEWTON_PER_UNIT[self.unit] * self.polarity
        return Trace(force_n=self.values * factor, sample_rate_hz=self.sample_rate_hz)


def import_csv(
    path: str | os.PathLike[str],
    *,
    force_column: str | int | Sequence[str | int],
    time_column: str | int | None = None,
    sample_rate_hz: float | None = None,
    time_unit: str | None = None,
    unit: str = "N",
    invert: bool = False,
) -> ImportedTrace:
    """Read a trace from a text file of columns.

    Parameters
    ----------
    path : path
        The file: columns parted by commas, semicolons or tabs; with the latter two
        a decimal comma is understood. Lines before the header, and one line of units
        after it, are passed over.
    force_column : str, int or several
        Name, or number counted from 1. Several are summed; ``"a+b"`` means two.
    time_column : str or int, optional
        Column of times, even within `TIME_TOLERANCE`.
    sample_rate_hz : float, optional
        Samples per second, instead of a time column.
    time_unit : str, optional
        Of the times: s, ms or us; without one, seconds if that gives a likely rate.
    unit : str
        Unit of the force: N, kN, lbf or kgf.
    invert : bool
        Tension is negative in the file.

    Raises
    ------
    TraceImportError
        If the file cannot be understood; says where and what was expected.
    """
    if unit not in NEWTON_PER_UNIT:
        raise TraceImportError(
            f"the unit {unit!r} is unknown: allowed are {', '.join(NEWTON_PER_UNIT)}"
        )
    _check_rate(time_column, sample_rate_hz)
    second = seconds_per(time_unit)
    where = Path(path)
    data = _read(where)
    table = _Table(where, _decoded(where, data), [*_listed(force_column), *_listed(time_column)])
    force = table.find_all(force_column)
    times = None if time_column is None else table.find(time_column)
    columns = [table.numbers(column) for column in force]
    if len(columns[0]) < 2:
        raise TraceImportError(f"{where} has {len(columns[0])} row(s) of data, expected 2 or more")
    values = np.sum(columns, axis=0)
    if np.isnan(values).all():
        raise TraceImportError(f"{where} has no number in column {table.named(force[0])}")
    first_time_s = 0.0
    if times is not None:
        time_s = table.numbers(times) * second
        sample_rate_hz = check_rate(_rate(table, time_s), stated=time_unit is not None)
        first_time_s = float(time_s[0])
    assert sample_rate_hz is not None
    return ImportedTrace(
        values=values,
        unit=unit,
        polarity=-1 if invert else 1,
        sample_rate_hz=float(sample_rate_hz),
        first_time_s=first_time_s,
        columns=tuple(table.named(column) for column in force),
        time_column="" if times is None else table.named(times),
        file=where.name,
        sha256=hashlib.sha256(data).hexdigest(),
    )


def write_record(
    path: str | os.PathLike[str],
    imported: ImportedTrace,
    *,
    setup: DropSetup,
    calibration: Calibration | None = None,
    campaign: str = "",
    utc: str = "",
) -> None:
    """Make a record from an imported trace.

    Parameters
    ----------
    path : path
        File to make.
    imported : ImportedTrace
        The trace.
    setup : DropSetup
        What is known of the drop.
    calibration : Calibration, optional
        For its uncertainty; the default is that of `Calibration`.
    campaign, utc : str
        As in `record.RecordWriter.create`.

    Raises
    ------
    RecordExistsError, RecordError
        If the record cannot be written.
    """
    values = record.ImportedValues(
        imported.values,
        unit=imported.unit,
        newton_per_unit=NEWTON_PER_UNIT[imported.unit],
        polarity=imported.polarity,
        sample_rate_hz=imported.sample_rate_hz,
        first_time_s=imported.first_time_s,
        source={
            name: getattr(imported, name) for name in ("file", "sha256", "columns", "time_column")
        },
    )
    record.write_values(
        path,
        values,
        setup=setup,
        calibration=calibration or Calibration(),
        campaign=campaign,
        utc=utc,
    )


def _check_rate(time_column: object, sample_rate_hz: float | None) -> None:
    if (time_column is None) == (sample_rate_hz is None):
        seen = "neither" if time_column is None else "both"
        raise TraceImportError(
            f"{seen} of time column and sample rate given: give either one, not {seen}"
        )
    if sample_rate_hz is not None:
        check_rate(sample_rate_hz, stated=True)


def _read(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except FileNotFoundError as problem:
        raise TraceImportError(f"{path} is not there") from problem
    except IsADirectoryError as problem:
        raise TraceImportError(f"{path} is a folder, expected a text file of columns") from problem
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise TraceImportError(f"{path} cannot be read: {reason}") from problem
    if not data.strip():
        raise TraceImportError(f"{path} is empty, expected a text file of columns")
    return data


def _decoded(path: Path, data: bytes) -> str:
    encoding = next((name for mark, name in _BOMS if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("latin-1")  # units and names of old programs; digits are the same
    if "\0" in text:
        raise TraceImportError(f"{path} is no text file (it holds NUL bytes)")
    return text.lstrip("\ufeff")


def _listed(columns: str | int | Sequence[str | int] | None) -> list[str]:
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
class _Table:
    """Cells of a text file; its columns are found by name or number.

    Attributes
    ----------
    header : list of str
        Names of the columns; empty when the file has none.
    rows : list of (int, list of str)
        Line in the file, counted from 1, and cells.
    """

    path: Path
    text: str
    wanted: list[str]
    header: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        delimiter = _delimiter(self.text)
        # A comma that does not part columns can only be a decimal one.
        self._decimal_comma = delimiter != ","
        reader = csv.reader(io.StringIO(self.text, newline=""), delimiter=delimiter)
        try:
            rows = [(reader.line_num, cells) for cells in reader if any(map(str.strip, cells))]
        except csv.Error as problem:
            raise TraceImportError(
                f"{self.path} line {reader.line_num} cannot be parted into columns: {problem}"
            ) from problem
        if not rows:
            raise TraceImportError(f"{self.path} is empty, expected a text file of columns")
        start = self._find_header(rows)
        self.rows = rows[start:]
        self._width = max((len(cells) for _, cells in self.rows), default=0)

    def find_all(self, columns: str | int | Sequence[str | int]) -> list[int]:
        """Return the places of columns to be summed; ``"a+b"`` is two, unless one is named so."""
        places = []
        for name in _listed(columns):
            parts = [name] if name in self.header else name.split("+")
            places += [self.find(part) for part in parts]
        if not places:
            raise TraceImportError("no force column given: give its name or number")
        if len(set(places)) < len(places):
            raise TraceImportError(f"a force column is named twice in {columns!r}")
        return places

    def find(self, column: str | int) -> int:
        """Return the place of one column, from 0."""
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
        have = ", ".join(f"{i + 1} {one!r}" for i, one in enumerate(self.header[:30]))
        raise TraceImportError(
            f"{self.path} has no column {name!r}; it has "
            f"{have or f'no header and {self._width} column(s), to be given by number'}"
        )

    def named(self, place: int) -> str:
        """Return the name of a column, or its number."""
        return self.header[place] if place < len(self.header) else str(place + 1)

    def numbers(self, place: int) -> npt.NDArray[np.float64]:
        """Return a column as numbers, NaN where a cell is empty."""
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
        """Name the first cell that is no number."""
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
        """Find the names of the columns; the row where the numbers begin."""
        width = Counter(len(cells) for _, cells in rows[:100_000]).most_common(1)[0][0]
        preface = 0
        for _, cells in rows:
            filled = sum(1 for cell in cells if cell.strip())
            if len(cells) >= width and self._numeric(cells) == filled:
                break
            preface += 1
        if preface == len(rows):
            preface = min(preface, 1)  # no row of numbers at all: `numbers` will say where
        names = {part.strip() for name in self.wanted for part in (name, *name.split("+"))}
        found = self._named_row(rows[:preface], names, width)
        if found is None:
            # Only rows that can be no data are passed over; text in a row of data is an error.
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
        """Return the last row with the most of the wanted names, or the last that may be one."""
        best, most = None, -1
        for place, (_, cells) in enumerate(preface):
            if len(cells) < width or self._numeric(cells):
                continue
            have = sum(cell.strip().lstrip("#").strip() in names for cell in cells)
            if have >= most:
                best, most = place, have
        return best


def _delimiter(text: str) -> str:
    """Return the first of tab, semicolon, comma that stands in most of the lines."""
    lines = [line for line in io.StringIO(text) if line.strip()]
    step = max(1, len(lines) // _LINES_LOOKED_AT)
    looked_at = lines[::step]
    for delimiter in _DELIMITERS:
        if sum(delimiter in line for line in looked_at) * 2 > len(looked_at):
            return delimiter
    return ","


def _rate(table: _Table, time_s: npt.NDArray[np.float64]) -> float:
    """Return the rate of even times, or say which line is not even."""

    def refuse(place: int, what: str) -> TraceImportError:
        return TraceImportError(
            f"{table.path} line {table.rows[place][0]}: the time {time_s[place]:g} s {what}; "
            "if the times are only printed badly, give the sample rate instead"
        )

    missing = np.flatnonzero(np.isnan(time_s))
    if missing.size:
        line = table.rows[missing[0]][0]
        raise TraceImportError(f"{table.path} line {line}: the time is missing")
    steps = np.diff(time_s)
    backward = np.flatnonzero(steps <= 0)
    if backward.size:
        before = time_s[backward[0]]
        raise refuse(int(backward[0]) + 1, f"is not after the one before it ({before:g} s)")
    usual_s = float(np.median(steps))
    uneven = np.flatnonzero(np.abs(steps - usual_s) > TIME_TOLERANCE * usual_s)
    if uneven.size:
        place = int(uneven[0]) + 1
        raise refuse(
            place,
            f"comes {steps[place - 1]:g} s after the one before it, expected {usual_s:g} s "
            f"within {TIME_TOLERANCE:.0%}",
        )
    span_s = float(time_s[-1] - time_s[0])
    grid_s = time_s[0] + np.arange(time_s.size) * (span_s / steps.size)
    off = np.flatnonzero(np.abs(time_s - grid_s) > TIME_TOLERANCE * usual_s)
    if off.size:
        place = int(off[0])
        raise refuse(place, f"is off the even grid ({grid_s[place]:g} s) that most times keep")
    rate_hz = steps.size / span_s
    if not 0 < rate_hz < np.inf:
        raise refuse(1, "is too close to the one before it")
    # Printed times have few digits: 9999.999999999998 Hz is 10 kHz.
    return float(f"{rate_hz:.9g}")
