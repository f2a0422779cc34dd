"""Grid: the place of each received sample on the uniform grid of a trace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from tautlog.firmware import wire
from tautlog.model.excerpt import Span

# Flags of a block whose samples have unknown places.
MISPLACED_FLAGS = wire.FLAG_CONVERTER_OVERRUN | wire.FLAG_LATE
# Longest trace to lay out on its grid: 2 GiB of force. A block number beyond it is damage,
# not a gap.
MAX_TRACE_SAMPLES = 1 << 28
Sample = TypeVar("Sample", np.float64, np.bool_)


@dataclass(frozen=True)
class Grid:
    """The uniform grid of one trace, or of a stretch of it; `grid_of` makes it.

    Attributes
    ----------
    size, whole : int
        Samples of the grid; of the grid of the whole trace.
    rows : slice
        Rows of the counts that lie on it.
    places : ndarray of int64, shape (rows,), or None
        Place of each of these rows; None if every row is good and in its own place.
    known : ndarray of bool, shape (rows,)
        Rows with a known place.
    """

    size: int
    whole: int
    rows: slice
    places: npt.NDArray[np.int64] | None
    known: npt.NDArray[np.bool_]

    def placed(self, rows: npt.NDArray[Sample], missing: float | bool) -> npt.NDArray[Sample]:
        """Lay out one value of each row; `missing` where no row has a place."""
        if self.places is None:
            return rows
        grid = np.full(self.size, missing, dtype=rows.dtype)
        grid[self.places[self.known]] = rows[self.known]
        return grid


def grid_of(
    table: npt.NDArray[np.void], rows: int, samples_per_block: int, span: Span | None = None
) -> Grid:
    """Find the place of each row of the counts; ValueError if the blocks make no sense.

    Parameters
    ----------
    table : ndarray of BLOCK_DTYPE
        The table of blocks.
    rows, samples_per_block : int
        Rows of the counts; samples of a full block.
    span : Span or None
        The stretch of the trace that is wanted; None: all of it.
    """
    if not table.size:
        if rows:
            raise ValueError(f"{rows} samples but no blocks")
        return Grid(0, 0, slice(0, 0), None, np.zeros(0, dtype=bool))
    start = table["row"].astype(np.int64)
    lengths = np.diff(start, append=rows)
    numbers = table["block"].astype(np.int64)
    if start[0] != 0 or lengths.min() < 1 or lengths.max() > samples_per_block:
        raise ValueError("the table of blocks does not fit the samples")
    if np.any(np.diff(numbers) < 1):
        raise ValueError("the block numbers do not ascend")
    # In Python integers, which do not overflow.
    whole = int(numbers[-1] - numbers[0]) * samples_per_block + int(lengths[-1])
    require_length(whole, f"block numbers {numbers[0]} to {numbers[-1]}")
    span = span or Span(0, whole)
    first = (numbers - numbers[0]) * samples_per_block
    good = (table["lost"] == 0) & (table["flags"] & MISPLACED_FLAGS == 0)
    # The blocks that reach into the span, the first and the last of them cut at its ends.
    low = int(np.searchsorted(first + lengths, span.start, side="right"))
    high = int(np.searchsorted(first, span.stop, side="left"))
    if low >= high:
        return Grid(span.size, whole, slice(0, 0), np.zeros(0, np.int64), np.zeros(0, dtype=bool))
    row = int(start[low]) + max(span.start - int(first[low]), 0)
    beyond = max(int(first[high - 1] + lengths[high - 1]) - span.stop, 0)
    stop = int(start[high - 1] + lengths[high - 1]) - beyond
    if stop - row == span.size and good[low:high].all():
        return Grid(span.size, whole, slice(row, stop), None, np.ones(span.size, dtype=bool))
    counted = np.diff(np.concatenate(([row], start[low + 1 : high], [stop])))
    places = np.arange(row, stop) + np.repeat((first - start)[low:high] - span.start, counted)
    return Grid(span.size, whole, slice(row, stop), places, np.repeat(good[low:high], counted))


def require_length(samples: int, what: str) -> None:
    """Refuse a trace that is too long to be one: damage, or more than can be judged.

    Raises
    ------
    ValueError
        It says how long, and the limit.
    """
    if samples > MAX_TRACE_SAMPLES:
        raise ValueError(
            f"{what} span too long a trace: {samples} samples, at most {MAX_TRACE_SAMPLES} are read"
        )
