"""Importer: a trace of another instrument, from a text file of columns.

The values are kept as they came, except that several columns are summed (two force plates
side by side). Unit, polarity and rate are kept with them.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tautlog import record
from tautlog.errors import TraceImportError
from tautlog.io.columns import Chosen, Columns, listed
from tautlog.io.text_file import text_file
from tautlog.io.timebase import check_rate, even_rate_hz, seconds_per
from tautlog.model.calibration import Calibration
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2, DropSetup, Trace

FloatArray = npt.NDArray[np.float64]

# Newtons in one unit. The pound-force is 0.45359237 kg (international yard and pound
# agreement of 1959) x 9.80665 m/s2 (3rd CGPM, 1901), both by definition.
NEWTON_PER_UNIT = {
    "N": 1.0,
    "kN": 1000.0,
    "lbf": 4.4482216152605,
    "kgf": STANDARD_GRAVITY_M_PER_S2,
}


@dataclass(frozen=True)
class ImportedTrace:
    """A trace as another instrument gave it.

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
    columns : tuple of str
        Force columns that were summed, by name, or by number if they have no name.
    file, sha256 : str
        Name of the source file, and the SHA-256 of its bytes.
    first_time_s : float
        Time of the first value in the source; 0 if there is no time column.
    time_column : str
        The time column, named like `columns`; "" if there is none.
    """

    values: FloatArray
    unit: str
    polarity: int
    sample_rate_hz: float
    columns: tuple[str, ...]
    file: str
    sha256: str
    first_time_s: float = 0.0
    time_column: str = ""

    def trace(self) -> Trace:
        """Return the force in newtons, positive in tension."""
        factor = NEWTON_PER_UNIT[self.unit] * self.polarity
        return Trace(force_n=self.values * factor, sample_rate_hz=self.sample_rate_hz)


def import_csv(
    path: str | os.PathLike[str],
    *,
    force_column: Chosen,
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
        The file: columns separated by commas, semicolons or tabs; see `columns`.
    force_column : str, int or several
        Name, or number from 1. Several columns are summed; ``"a+b"`` means two.
    time_column : str or int, optional
        Column of times, evenly spaced within `TIME_TOLERANCE`.
    sample_rate_hz : float, optional
        Samples per second, instead of a time column.
    time_unit : str, optional
        Unit of the times: s, ms or us; default: seconds, if that gives a plausible rate.
    unit : str
        Unit of the force: N, kN, lbf or kgf.
    invert : bool
        Tension is negative in the file.

    Raises
    ------
    TraceImportError
        If the file cannot be understood; the message says where and what was expected.
    """
    _check_asked(unit, time_column, sample_rate_hz, time_unit)
    with text_file(Path(path)) as text:
        columns = Columns(text, [*listed(force_column), *listed(time_column)])
        force = columns.find_all(force_column)
        at = None if time_column is None else columns.find(time_column)
        values, times = _numbers(columns, force, at)
        trace = ImportedTrace(
            values=values,
            unit=unit,
            polarity=-1 if invert else 1,
            sample_rate_hz=float(sample_rate_hz or 0.0),
            columns=tuple(columns.named(place) for place in force),
            file=Path(path).name,
            sha256=text.sha256,
        )
        return trace if at is None else _timed(trace, columns, times, columns.named(at), time_unit)


def _numbers(columns: Columns, force: list[int], at: int | None) -> tuple[FloatArray, FloatArray]:
    """Force of every row, summed over its columns, and its time, or nothing."""
    values, times = columns.numbers(force, at)
    if values.size < 2:
        raise TraceImportError(
            f"{columns.path} has {values.size} row(s) of data, expected 2 or more"
        )
    if np.isnan(values).all():
        raise TraceImportError(f"{columns.path} has no number in column {columns.named(force[0])}")
    return values, times


def _timed(
    trace: ImportedTrace, columns: Columns, time_s: FloatArray, name: str, time_unit: str | None
) -> ImportedTrace:
    """The trace with rate and first time from a time column, which becomes seconds."""
    time_s *= seconds_per(time_unit)
    sample_rate_hz = even_rate_hz(time_s, lambda row: f"{columns.path} line {columns.line_of(row)}")
    return replace(
        trace,
        sample_rate_hz=check_rate(sample_rate_hz, stated=time_unit is not None),
        first_time_s=float(time_s[0]),
        time_column=name,
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
        The new file.
    imported : ImportedTrace
        The trace.
    setup : DropSetup
        The known set-up of the drop.
    calibration : Calibration, optional
        Supplies the uncertainty; default: that of `Calibration`.
    campaign, utc : str
        As in `record.RecordWriter.create`.

    Raises
    ------
    RecordExistsError, RecordError
        If the file exists, or cannot be written.
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


def _check_asked(
    unit: str, time_column: object, sample_rate_hz: float | None, time_unit: str | None
) -> None:
    """Refuse contradictory arguments before reading the file."""
    if unit not in NEWTON_PER_UNIT:
        allowed = ", ".join(NEWTON_PER_UNIT)
        raise TraceImportError(f"the unit {unit!r} is unknown: choose from {allowed}")
    seconds_per(time_unit)
    if (time_column is None) == (sample_rate_hz is None):
        seen = "neither" if time_column is None else "both"
        raise TraceImportError(f"{seen} of time column and sample rate given: give exactly one")
    if sample_rate_hz is not None:
        check_rate(sample_rate_hz, stated=True)
