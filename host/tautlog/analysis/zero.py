"""Zero: what the cell reads when the line carries nothing.

The best zero of a drop is its own free fall: right time, right temperature, nobody
touching (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.model.limits import PULL_SHARE, ZERO_SAMPLES
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

FloatArray = npt.NDArray[np.float64]

BLOCKS = 8  # that a slope and a scatter are taken from: seven degrees of freedom; own choice
STILL_BLOCK_S = 0.02  # one period of 50 Hz, so that hum is in no mean
STILL_SIGMAS = 3.0  # of one sample, that means may differ: drift, and no hand; own choice
FLOOR_BLOCK_S = 0.01  # three of them are still: shorter than a flight; own choice
FLOOR_SIGMAS = 4.0  # of the smoothed noise, that a still block may scatter; own choice
REST_S = (1.0, 0.4)  # that all hangs still at the end, the longer first; common practice
REST_MOST = 0.8  # of the samples after the pull, that may be taken for rest; own choice
# Of a fall or a flight: middle part, away from the swing after it and the onset (common practice).
MIDDLE_FROM, MIDDLE_TO = 0.3, 0.1


@dataclass(frozen=True)
class Zero:
    """Reading of a slack line over a window.

    Attributes
    ----------
    value_n, noise_n : float
        Mean and rms of the samples.
    slope_n_per_s : float
        By a straight line through the means of eight blocks; 0 for a short window.
    u_n : float
        Standard uncertainty of the mean, type A: the scatter of the blocks' means over
        the square root of their number. Noise that is slower than a block counts in full.
    """

    value_n: float
    noise_n: float
    slope_n_per_s: float = 0.0
    u_n: float = 0.0


def zero_of(force_n: FloatArray, rate_hz: float) -> Zero:
    """Return the zero of a window, shape (n_samples,), n_samples >= 1."""
    value, noise = float(np.mean(force_n)), float(np.std(force_n))
    size = force_n.size // BLOCKS
    if size < 4:
        return Zero(value, noise, 0.0, noise / float(np.sqrt(force_n.size)))
    means = force_n[: size * BLOCKS].reshape(BLOCKS, size).mean(axis=1)
    slope = float(np.polyfit(np.arange(BLOCKS) * (size / rate_hz), means, 1)[0])
    return Zero(value, noise, slope, float(np.std(means, ddof=1) / np.sqrt(BLOCKS)))


def slack_window(onset: float, release: float | None) -> slice | None:
    """Samples of the free fall: release + 30 % to onset - 10 % of it (common practice).

    Parameters
    ----------
    onset : float
        Sample at which the line came taut.
    release : float or None
        Sample of the release; without it all that comes before the last tenth counts.

    Returns
    -------
    slice or None
        None when fewer than eight samples are left.
    """
    start = 0.0 if release is None else release
    fall = onset - start
    window = slice(
        max(int(start + (MIDDLE_FROM * fall if release is not None else 0.0)), 0),
        int(onset - MIDDLE_TO * fall),
    )
    return window if window.stop - window.start >= ZERO_SAMPLES else None


def still_level(force_n: FloatArray, rate_hz: float, noise_n: float) -> float | None:
    """Mean of a stretch before the release, or None where it was not still.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Up to the release.
    rate_hz : float
        Samples per second.
    noise_n : float
        Rms of the slack line in the fall: the means of 20 ms, one period of hum, stay within
        a few times of it while nobody touches the line.
    """
    size = max(int(STILL_BLOCK_S * rate_hz), 4)
    if force_n.size < 2 * size:
        return float(force_n.mean()) if force_n.size else None
    means = force_n[force_n.size % size :].reshape(-1, size).mean(axis=1)
    if float(np.ptp(means)) > STILL_SIGMAS * noise_n:
        return None
    return float(force_n.mean())


def flight_window(slack: float, onset: float) -> slice | None:
    """Samples of a flight between two pulls: its middle, from 30 to 90 %."""
    flight = onset - slack
    window = slice(int(slack + MIDDLE_FROM * flight), int(onset - MIDDLE_TO * flight))
    return window if window.stop - window.start >= ZERO_SAMPLES else None


def false_floor(
    even_n: FloatArray,
    rate_hz: float,
    noise_n: float,
    peak: int,
    least_n: float,
    least_rise_n: float = 0.0,
) -> float | None:
    """Level at which a line is slack that never reads zero again, or None.

    After the peak the force lies still for 30 ms, above `least_n`, and rises again later by
    as much as a twentieth of the peak and by `least_rise_n`, which a sled that swings on a
    taut line does not reach: between two bounces a line is slack, whatever the
    cell reads. A sled at rest is still, too, but nothing comes after it.
    """
    size = max(int(FLOOR_BLOCK_S * rate_hz), 4)
    after = even_n[peak:]
    blocks = after[: after.size // size * size].reshape(-1, size)
    if blocks.shape[0] < 4:
        return None
    means, scatter = blocks.mean(axis=1), blocks.std(axis=1)
    still = scatter < FLOOR_SIGMAS * noise_n
    still[:-1] &= np.abs(np.diff(means)) < FLOOR_SIGMAS * noise_n
    highest_later = np.maximum.accumulate(means[::-1])[::-1]
    rises = highest_later > means + max(PULL_SHARE * float(even_n[peak]), least_rise_n)
    fits = still & rises & (means > least_n)
    together = fits[:-2] & fits[1:-1] & fits[2:]
    return float(means[int(np.argmax(together)) + 1]) if together.any() else None


def rest_of(
    filtered_n: FloatArray,
    rate_hz: float,
    *,
    after: float,
    last_slack: float,
    still_n: float,
    taut_speed_m_s: float | None,
) -> float | None:
    """Mean of the last second, or 0.4 s, when everything hangs still.

    Parameters
    ----------
    filtered_n : ndarray of float64, shape (n_samples,)
        Zero removed.
    rate_hz : float
        Samples per second.
    after : float
        Sample from which on rest may begin.
    last_slack : float
        Last sample of the last pull.
    still_n : float
        Rms, and difference of both halves, below which it is still.
    taut_speed_m_s : float or None
        No rebound is faster than the fall, so no flight lasts longer than 2 v / g:
        until then a line that carries nothing may be that of a sled in the air.
    """
    for span_s in REST_S:
        count = int(span_s * rate_hz)
        if count < ZERO_SAMPLES or count > REST_MOST * (filtered_n.size - after):
            continue
        piece = filtered_n[-count:]
        halves = abs(float(piece[: count // 2].mean() - piece[count // 2 :].mean()))
        if float(piece.std()) < still_n and halves < still_n:
            mean_n = float(piece.mean())
            if abs(mean_n) > still_n:
                return mean_n
            if taut_speed_m_s is None:
                return None
            flight = 2.0 * taut_speed_m_s / STANDARD_GRAVITY_M_PER_S2 * rate_hz
            return mean_n if filtered_n.size - count >= last_slack + flight else None
    return None
