"""Before the pull: whether the line came taut from the zero that was taken, and where it began.

A line that a falling sled pulls taut rises at once. A force that lies at a level first, before
it rises, is none of the line: a cable that tugs, an offset that steps. And a rope whose knots
and strands pull tight first begins so softly that a share of its peak finds it late.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

BEFORE_S, APART_S = 0.02, 0.003  # right before the onset, and clear of it; own choice
# Of the peak, and of the noise of the mean, that a level right before the onset may be off the
# zero: half of what makes a record invalid (`judge_record.ZERO_INVALID`); own choice.
STEP_SHARE, STEP_SIGMAS = 0.01, 6.0
# Below a tenth of the peak, times as long as from there to the peak: rope with a toe takes half
# of it at the most, F = k x**3 and a line that stiffens without end alike (own calculation).
LOW, LOW_TIMES, LOW_LEAST_S = 0.1, 2.0, 0.01
TOE_S, TOE_SIGMAS = 0.002, 3.0  # mean that a soft begin is told from, and its noise; own choice
TOE_MOST_S = 0.1  # before the onset, that a toe is looked for; own choice


def level_before(force_n: FloatArray, rate_hz: float, onset: float, noise_n: float) -> float | None:
    """Level right before the onset, where it is off the zero by more than it may; else None."""
    stop = int(onset - APART_S * rate_hz)
    piece = force_n[max(stop - int(BEFORE_S * rate_hz), 0) : max(stop, 0)]
    if piece.size < 4:
        return None
    level_n, top_n = float(piece.mean()), float(force_n[int(onset) :].max(initial=0.0))
    least_n = max(STEP_SHARE * top_n, STEP_SIGMAS * noise_n / float(np.sqrt(piece.size)))
    return level_n if abs(level_n) > least_n else None


def lies_low_s(even_n: FloatArray, rate_hz: float, onset: float, peak: int) -> float | None:
    """Seconds that the force lies low after the onset, where that is longer than lines take."""
    first = int(np.ceil(onset))
    rising = even_n[first : peak + 1]
    below = np.flatnonzero(rising < LOW * even_n[peak])
    if not below.size:
        return None
    low_s, rest_s = (below[-1] + 1) / rate_hz, (rising.size - below[-1] - 1) / rate_hz
    return float(low_s) if low_s > max(LOW_TIMES * rest_s, LOW_LEAST_S) else None


def toe_s(force_n: FloatArray, rate_hz: float, onset: float, noise_n: float) -> float:
    """Seconds before the onset at which the force already stood above the noise.

    By a mean over what lies before a sample: it sees nothing too early.
    """
    size, stop = max(int(TOE_S * rate_hz), 2), int(onset)
    start = max(stop - int(TOE_MOST_S * rate_hz), size)
    if stop <= start:
        return 0.0
    total = np.concatenate(([0.0], np.cumsum(force_n[start - size : stop])))
    means = (total[size:] - total[:-size]) / size
    quiet = np.flatnonzero(means <= TOE_SIGMAS * noise_n / np.sqrt(size))
    if not quiet.size:
        return float(stop - start) / rate_hz
    return float(means.size - 1 - quiet[-1]) / rate_hz
