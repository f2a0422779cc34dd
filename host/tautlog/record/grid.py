"""Grid: the place of each received sample on the uniform grid of a trace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from tautlog.firmware import wire

# Flags of a block whose samples have unknown places.
MISPLACED_FLAGS = wire.FLAG_CONVERTER_OVERRUN | wire.FLAG_LATE
# Longest trace to lay out on its grid: 2 GiB of force. A block number beyond it is damage,
# not a gap.
MAX_TRACE_SAMPLES = 1 << 28
Sample = TypeVar("Sample", np.float64, np.bool_)


@dataclass(frozen=True)
class Grid:
    """The uniform grid of one trace; `grid_of` makes it.

    Attributes
    ----------
    size : int
        Samples of the grid.
    places : ndarray of int64, shape (rows,), or None
        Place of each row of the counts; None if every row is good and in its own place.
    known : ndarray of bool, shape (rows,)
        Rows with a known place.
    """

    size: int
    places: npt.NDArray[np.int64] | None
    known: npt.NDArray[np.bool_]

    def placed(self, rows: npt.NDArray[Sample], missing: float | bool) -> npt.NDArray[Sample]:
        """Lay out one value of each row; `missing` where no row has a place."""
        if self.places is None:
            return rows
        grid = np.full(self.size, missing, dtype=rows.dtype)
        grid[self.places[self.known]] = rows[self.known]
        return grid


def grid_of(table: npt.NDArray[np.void], rows: int, samples_per_block: int) -> Grid:
    """Find the place of each row of the counts; ValueError if the blocks make no sense.

    Parameters
    ----------
    table : ndarray of BLOCK_DTYPE
        The table of blocks.
    rows, samples_per_block : int
        Rows of the counts; samples of a full block.
    """
    if not table.size:
        if rows:
            raise ValueError(f"{rows} samples but no blocks")
        return Grid(0, None, np.zeros(0, dtype=bool))
    start = table["row"].astype(np.int64)
    lengths = np.diff(start, append=rows)
    numbers = table["block"].astype(np.int64)
    if start[0] != 0 or lengths.min() < 1 or lengths.max() > samples_per_block:
        raise ValueError("the table of blocks does not fit the samples")
    if np.any(np.diff(numbers) < 1):
        raise ValueError("the block numbers do not ascend")
    # In Python integers, which do not overflow.
    size = int(numbers[-1] - numbers[0]) * samples_per_block + int(lengths[-1])
    if size > MAX_TRACE_SAMPLES:
        raise ValueError(f"block numbers {numbers[0]} to {numbers[-1]} span too long a trace")
    first = (numbers - numbers[0]) * samples_per_block
    good = (table["lost"] == 0) & (table["flags"] & MISPLACED_FLAGS == 0)
    if size == rows and good.all():
        return Grid(size, None, np.ones(rows, dtype=bool))
    places = np.arange(rows) + np.repeat(first - start, lengths)
    return Grid(size, places, np.repeat(good, lengths))
