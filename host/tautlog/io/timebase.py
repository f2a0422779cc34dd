"""Timebase: the unit of the times in a foreign trace, and the plausible sample rates.

A time column does not state its unit. Milliseconds read as seconds turn a pull of 40 ms into
one of 40 s, and every figure after it is silently wrong.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from tautlog.errors import TraceImportError

FloatArray = npt.NDArray[np.float64]

SECONDS_PER_UNIT = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
# Sample rates in use for drop tests (common practice). Outside these bounds the user must state
# the rate; a stated rate is believed up to `FASTEST_HZ`.
LEAST_HZ, MOST_HZ = 1000.0, 5e6
FASTEST_HZ = 1e8
# A step between two times may differ from the median step, and a time from the uniform grid, by
# this fraction of the sample interval: printed times are rounded.
TIME_TOLERANCE = 0.25


def seconds_per(unit: str | None) -> float:
    """Seconds in one unit of time; None (not stated) means seconds.

    Raises
    ------
    TraceImportError
        If the unit is unknown.
    """
    if unit is not None and unit not in SECONDS_PER_UNIT:
        allowed = ", ".join(SECONDS_PER_UNIT)
        raise TraceImportError(f"the time unit {unit!r} is unknown: choose from {allowed}")
    return SECONDS_PER_UNIT[unit or "s"]


def check_rate(sample_rate_hz: float, *, stated: bool) -> float:
    """Return a sample rate, or refuse it.

    Parameters
    ----------
    sample_rate_hz : float
        Samples per second.
    stated : bool
        The user stated the rate, or the unit of the times behind it.

    Raises
    ------
    TraceImportError
        If the rate is impossible, or if it is implausible for a drop and was not stated.
    """
    if not (0.0 < sample_rate_hz < math.inf):
        raise TraceImportError(f"the sample rate must be > 0 Hz, was {sample_rate_hz:g}")
    if sample_rate_hz > FASTEST_HZ:
        raise TraceImportError(
            f"the sample rate must be at most {FASTEST_HZ:g} Hz, was {sample_rate_hz:g}"
        )
    if not stated and not LEAST_HZ <= sample_rate_hz <= MOST_HZ:
        raise TraceImportError(
            f"times in seconds would mean {sample_rate_hz:g} samples/s, expected {LEAST_HZ:g} to "
            f"{MOST_HZ:g}: are they in ms or us? State the unit with --time-unit, even if it is s"
        )
    return sample_rate_hz


def even_rate_hz(time_s: FloatArray, place: Callable[[int], str]) -> float:
    """Sample rate of evenly spaced times.

    Parameters
    ----------
    time_s : ndarray of float64, shape (n,)
        Two or more times, in seconds.
    place : callable
        Names the place of a row, such as "trace.csv line 7".

    Raises
    ------
    TraceImportError
        If a row is not evenly spaced; the message names the first.
    """

    def refuse(row: int, what: str) -> TraceImportError:
        return TraceImportError(
            f"{place(row)}: the time {time_s[row]:g} s {what}; "
            "if only the printed times are bad, give the sample rate instead"
        )

    missing = np.flatnonzero(np.isnan(time_s))
    if missing.size:
        raise TraceImportError(f"{place(int(missing[0]))}: the time is missing")
    odd = _first_odd_step(time_s) or _first_off_grid(time_s)
    if odd is not None:
        raise refuse(*odd)
    sample_rate_hz = (time_s.size - 1) / float(time_s[-1] - time_s[0])
    if not 0 < sample_rate_hz < math.inf:
        raise refuse(1, "is too close to the one before it")
    # Printed times have few digits: 9999.999999999998 Hz means 10 kHz.
    return float(f"{sample_rate_hz:.9g}")


def _first_odd_step(time_s: FloatArray) -> tuple[int, str] | None:
    """The first row with an odd step from the row before, and what is odd."""
    steps = np.diff(time_s)
    backward = np.flatnonzero(steps <= 0)
    if backward.size:
        before = time_s[backward[0]]
        return int(backward[0]) + 1, f"is not after the one before it ({before:g} s)"
    usual_s = float(np.median(steps))
    uneven = np.flatnonzero(np.abs(steps - usual_s) > TIME_TOLERANCE * usual_s)
    if not uneven.size:
        return None
    row = int(uneven[0]) + 1
    return row, (
        f"comes {steps[row - 1]:g} s after the one before it, expected {usual_s:g} s "
        f"within {TIME_TOLERANCE:.0%}"
    )


def _first_off_grid(time_s: FloatArray) -> tuple[int, str] | None:
    """The first row off the even grid from the first time to the last, and how far."""
    interval_s = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    grid_s = time_s[0] + np.arange(time_s.size) * interval_s
    usual_s = float(np.median(np.diff(time_s)))
    off = np.flatnonzero(np.abs(time_s - grid_s) > TIME_TOLERANCE * usual_s)
    if not off.size:
        return None
    row = int(off[0])
    return row, f"is off the even grid of the other times ({grid_s[row]:g} s)"
