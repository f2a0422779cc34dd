"""Damage: what the shape of the force says of what gave way, and when.

Forces here have their zero removed and are positive in the contact. One cell cannot
tell which part of the load path gave way; it tells how and when.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

SERRATION = 0.05  # of the peak, that the force falls; common practice
SERRATION_SIGMAS = 8.0  # of the smoothed noise: a fall is no noise; own choice
RIPPING = 3  # so many falls before the peak are no accident; own choice
SECOND_PEAK = 0.1  # prominence of a second peak, of the highest; own choice
# A fall low in the rise, of the force there and of the peak, and how long it takes: a leg that
# parts, not a toe, in which the slope only grows; own choice.
EARLY_FALL, EARLY_OF_PEAK, EARLY_S = 0.25, 0.015, 0.0005
# Times as long as that fall the rise before it takes: a knock of the fittings, as they come taut,
# rises as steeply as it falls; own choice.
SLOWER_RISE = 3
PEAKS_APART_S = 0.002  # closer ones are ringing, faster than any line; own choice
ENOUGH_HZ = 20_000.0  # samples a second: two milliseconds apart need no more
# A dead signal: it stays for so long, after a jump within so short a time, of so much of the
# range. No line does; own choice.
DEAD_S, DEAD_JUMP_S, DEAD_JUMP = 0.02, 0.001, 0.1
# Of the trace's span, that a dead signal's noise may have; of the jump, by which it has begun.
DEAD_BAND, JUMP_BEGINS = 0.01, 0.1


@dataclass(frozen=True)
class Serration:
    """Falls of the force before its peak.

    Attributes
    ----------
    count : int
        How many of more than 5 % of the peak.
    first : int or None
        Sample from which the first one fell.
    """

    count: int
    first: int | None = None


def find_serration(even_n: FloatArray, start: int, peak: int, noise_n: float) -> Serration:
    """Count how often the force falls by more than 5 % of the peak before it.

    Parameters
    ----------
    even_n : ndarray of float64, shape (n_samples,)
        Lightly smoothed.
    start, peak : int
        Samples of onset and peak.
    noise_n : float
        Rms of the slack line, smoothed alike.
    """
    rising = even_n[start : peak + 1]
    if rising.size < 3:
        return Serration(0)
    highest = np.maximum.accumulate(rising)
    deep = highest - rising > max(SERRATION * float(rising[-1]), SERRATION_SIGMAS * noise_n)
    if not deep.any():
        return Serration(0)
    tops = np.unique(highest[deep])  # each fall hangs below a top of its own
    return Serration(tops.size, start + int(np.argmax(rising == tops[0])))


def find_early_fall(
    force_n: FloatArray, rate_hz: float, start: int, peak: int, noise_n: float
) -> tuple[int, int] | None:
    """Samples between which the force falls once in its rise, by a quarter of itself and at once.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Not smoothed: what falls for a sample or two, and rises on, must not be evened out.
    rate_hz : float
        Samples per second.
    start, peak : int
        Samples of onset and peak.
    noise_n : float
        Rms of the slack line, not smoothed.

    Notes
    -----
    A fixture that rings makes several falls, of which none is taken for damage here, nor is a
    knock, whose rise is as short as its fall.
    """
    rising = force_n[start : peak + 1]
    if rising.size < 3:
        return None
    highest = np.maximum.accumulate(rising)
    least_n = max(EARLY_OF_PEAK * float(rising[-1]), SERRATION_SIGMAS * noise_n)
    below = np.flatnonzero((highest - rising > least_n) & (highest < 0.5 * float(rising[-1])))
    if not below.size or np.unique(highest[below]).size > 1:
        return None
    top = int(np.argmax(rising == highest[below[0]]))
    within = rising[top : top + max(int(EARLY_S * rate_hz), 2) + 1]
    falls = int(np.argmin(within))
    if float(rising[top] - within[falls]) < max(EARLY_FALL * float(rising[top]), least_n):
        return None
    return (start + top, start + top + falls) if top >= SLOWER_RISE * falls else None


def two_peaks(even_n: FloatArray, rate_hz: float, start: int, stop: int) -> tuple[int, int] | None:
    """Samples of the two highest peaks of one contact, where there are two."""
    from scipy.signal import find_peaks  # late: see `filters`

    piece = even_n[start:stop]
    few = max(int(rate_hz / ENOUGH_HZ), 1)
    thin = piece[::few]
    if thin.size < 5:
        return None
    top = float(thin.max())
    found, _ = find_peaks(
        np.concatenate([[0.0], thin, [0.0]]),
        prominence=SECOND_PEAK * top,
        distance=max(int(PEAKS_APART_S * rate_hz / few), 1),
    )
    if found.size < 2:
        return None
    found = found - 1
    highest = np.sort(found[np.argsort(thin[found])[-2:]])
    return start + int(highest[0]) * few, start + int(highest[1]) * few


def dead_from(
    force_n: FloatArray,
    clipped: npt.NDArray[np.bool_],
    rate_hz: float,
    quantum_n: float,
) -> int | None:
    """Sample from which on the signal is dead to the end, or None.

    Dead is a jump within a millisecond to a level that stays: at a limit, or with no noise
    at all where there was some before. A pulled cable looks so; a load path that parts
    does not. At a limit a converter still has its noise, so that not every sample is beyond.
    What an amplifier makes of the jump, on its way, is no force either.
    """
    least = max(int(DEAD_S * rate_hz), 8)
    if force_n.size < 3 * least:
        return None
    span_n, tail = float(np.ptp(force_n)), force_n[-least:]
    band_n = float(np.ptp(tail))
    at_limit = bool(clipped[-least:].any()) and band_n <= DEAD_BAND * span_n
    tail_clipped = at_limit or bool(clipped[-least:].all())
    still = np.abs(np.diff(force_n)) <= max(0.5 * quantum_n, 1e-12)
    if not tail_clipped and not still[-least:].all():
        return None
    near = np.abs(force_n - np.median(tail)) <= band_n if at_limit else False
    alive = ~(clipped | near) if tail_clipped else np.concatenate([[False], ~still])
    places = np.flatnonzero(alive)
    if places.size == 0:
        return None
    first = int(places[-1]) + (1 if tail_clipped else 0)
    if first < least or first > force_n.size - least:
        return None
    had_noise = tail_clipped or np.count_nonzero(still[:least]) < 0.5 * least
    before = max(first - 1 - int(DEAD_JUMP_S * rate_hz), 0)
    moved_n = np.abs(force_n[before : first + 1] - force_n[before])
    if not had_noise or moved_n[-1] <= DEAD_JUMP * span_n:
        return None
    return before + int(np.argmax(moved_n > JUMP_BEGINS * moved_n[-1]))
