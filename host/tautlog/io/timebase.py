"""Timebase: what the times of a foreign trace are counted in, and which rates can be.

A column of times does not say its unit. Milliseconds that are read as seconds make a pull
of 40 ms one of 40 s, and every figure that follows is wrong without a word.
"""

from __future__ import annotations

import math

from tautlog.errors import TraceImportError

SECONDS_PER_UNIT = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
# No force of a drop is recorded more slowly, or faster; common practice. Beyond these bounds
# people are asked; a rate that they state is believed up to `FASTEST_HZ`.
LEAST_HZ, MOST_HZ = 1000.0, 5e6
FASTEST_HZ = 1e8


def seconds_per(unit: str | None) -> float:
    """Seconds of one unit of time; None is seconds that nobody has stated.

    Raises
    ------
    TraceImportError
        If the unit is unknown.
    """
    if unit is not None and unit not in SECONDS_PER_UNIT:
        allowed = ", ".join(SECONDS_PER_UNIT)
        raise TraceImportError(f"the unit of time {unit!r} is unknown: allowed are {allowed}")
    return SECONDS_PER_UNIT[unit or "s"]


def check_rate(rate_hz: float, *, stated: bool) -> float:
    """Return a sample rate that can be, or ask.

    Parameters
    ----------
    rate_hz : float
        Samples per second.
    stated : bool
        Somebody stated it, or the unit of the times that it is from.

    Raises
    ------
    TraceImportError
        If it is no rate, or none that a drop is recorded with and nobody stated it.
    """
    if not (0.0 < rate_hz < math.inf):
        raise TraceImportError(f"the sample rate must be > 0 Hz, was {rate_hz:g}")
    if rate_hz > FASTEST_HZ:
        raise TraceImportError(
            f"the sample rate must be at most {FASTEST_HZ:g} Hz, was {rate_hz:g}"
        )
    if not stated and not LEAST_HZ <= rate_hz <= MOST_HZ:
        raise TraceImportError(
            f"times in seconds would mean {rate_hz:g} samples/s, expected {LEAST_HZ:g} to "
            f"{MOST_HZ:g}: are they in ms or us? State it with --time-unit; s too, if it is so"
        )
    return rate_hz
