"""Filters: channel frequency classes of impact instrumentation.

A peak means nothing without its bandwidth. The classes of SAE J211-1 and
ISO 6487 name it: class C passes C hertz within 1 dB and is 3 dB down near
5/3 x C.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

CLASSES = (60, 180, 600, 1000)
RATE_PER_CLASS = 10  # least sampling rate over class, SAE J211-1
# Design corner of each of the two passes over the class. Both passes together are
# 3 dB down where one pass is 1.5 dB down, at 0.80224 of its corner; 2.0775 puts that
# at 5/3 of the class. SAE J211-1, appendix C (as transcribed by public libraries).
CORNER_PER_CLASS = 2.0775
MINUS_3_DB_PER_CLASS = 5.0 / 3.0
# ISO 6487, annex A: at least 10 ms and 100 samples are added at both ends by point
# reflection (as transcribed by public libraries).
_END_S = 0.01
_END_SAMPLES = 100


def require_class(cfc: int) -> None:
    """Raise ValueError if there is no such channel frequency class."""
    if cfc not in CLASSES:
        raise ValueError(f"`cfc` must be one of {', '.join(map(str, CLASSES))}, was {cfc!r}")


def cfc_filter(force: npt.ArrayLike, sample_rate_hz: float, cfc: int) -> FloatArray:
    """Low-pass a force with a channel frequency class, without phase shift.

    Parameters
    ----------
    force : array_like of float, shape (n_samples,)
        Any unit; NaN where a sample is missing.
    sample_rate_hz : float
        Samples per second; above twice the corner, 4.155 x class.
    cfc : int
        60, 180, 600 or 1000.

    Returns
    -------
    ndarray of float64, shape (n_samples,)
        A new array, NaN where `force` was. Each stretch between missing samples is filtered
        by itself; one of fewer than three samples is left as it is.

    Raises
    ------
    ValueError
        If the class is unknown, the rate too low, or `force` has not one axis.

    Notes
    -----
    A second-order Butterworth low-pass runs forward and back: four poles, zero phase, gain 1
    at 0 Hz, so that an impulse keeps its value. A constant comes back as it was, to its ends.

    References
    ----------
    .. [1] SAE J211-1, Instrumentation for Impact Test, appendix C.
    .. [2] ISO 6487, Road vehicles: measurement techniques in impact tests, annex A.
    """
    values = np.asarray(force, dtype=np.float64)
    if values.ndim != 1:
        raise ValueError(f"`force` must have one axis, had {values.ndim}")
    require_class(cfc)
    corner_hz = CORNER_PER_CLASS * cfc
    if not sample_rate_hz > 2 * corner_hz:
        raise ValueError(
            f"`sample_rate_hz` must be > {2 * corner_hz:g} for class {cfc}, was {sample_rate_hz!r}"
        )
    runs = finite_runs(values)
    if runs == [(0, values.size)]:  # as most are: spare the copy
        return _passed(values, sample_rate_hz, corner_hz)
    filtered = values.copy()
    for start, stop in runs:
        filtered[start:stop] = _passed(values[start:stop], sample_rate_hz, corner_hz)
    return filtered


def _passed(run: FloatArray, rate_hz: float, corner_hz: float) -> FloatArray:
    """One stretch without gaps, through the filter and back."""
    # Half a second to import, and who plans, arms or lists filters nothing.
    from scipy.signal import butter, sosfiltfilt

    if run.size < 3:
        return run.copy()
    sections = butter(2, corner_hz, fs=rate_hz, output="sos")
    padding = min(max(int(_END_S * rate_hz), _END_SAMPLES), run.size - 1)
    return np.asarray(sosfiltfilt(sections, run, padtype="odd", padlen=padding))


def finite_runs(values: FloatArray) -> list[tuple[int, int]]:
    """Half-open index ranges of the stretches without NaN or infinity."""
    finite = np.isfinite(values)
    if finite.all():
        return [(0, values.size)] if values.size else []
    edges = np.flatnonzero(np.diff(finite.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def highest_class_for(sample_rate_hz: float) -> int | None:
    """The highest class that a sampling rate allows, or None below 600 samples/s."""
    allowed = [cfc for cfc in CLASSES if sample_rate_hz >= RATE_PER_CLASS * cfc]
    return allowed[-1] if allowed else None
