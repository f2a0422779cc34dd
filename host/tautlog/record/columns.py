"""Columns: volts of any channel of a record, at the times of the first."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tautlog.analysis.in_turn import on_time
from tautlog.record.grid import grid_of
from tautlog.record.parts import table
from tautlog.record.problems import error, reading
from tautlog.record.record import Record


def volts_of(record: Record, column: int) -> npt.NDArray[np.float64]:
    """Volts of a column, shape (n_samples,), NaN where a sample is missing.

    Raises
    ------
    RecordError
        If the record is imported or damaged.
    """
    instrument = record.instrument
    if instrument is None:
        raise error(record.path, "is an imported trace: it holds values, not volts")
    with reading(record.path) as file:
        counts = table(file, "trace/counts")[:, column]
        grid = grid_of(record.block_table, counts.size, instrument.samples_per_block)
    step_v = record.calibration.volt_per_count(instrument.reduction)
    return on_time(grid.placed(counts * step_v, np.nan), instrument.late_samples(column))
