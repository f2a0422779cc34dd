"""Loss of load: a fall of force far faster than elastic unloading.

Definition (own, after common practice): the force falls by more than three times
the pulse's own steepest unloading would let it, and less than half of it is left
within 2 ms. The pulse's own slope is taken from its loading between 20 and 80 % of
the peak, which a break cannot have touched.

A loss is final. The beam rings about no force after one; a fixture that rings while the
line holds swings about the force of the line. The mean over some periods of the ringing
tells them apart, and nothing else does: both fall as steeply.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from tautlog.analysis.find_contacts import Contact, rise_through

FloatArray = npt.NDArray[np.float64]

LEAST_RATE_HZ = 4000.0  # below it a fall of half a millisecond cannot be told apart; own choice
# The definition above; own, after common practice.
WINDOW_S, STEEPER, LEFT_AFTER_S, LEFT_FRACTION = 0.001, 3.0, 0.002, 0.5
# Of the peak and of the noise: below them slack lines and noise look alike; own choice.
LEAST_FRACTION, LEAST_SIGMAS = 0.15, 15.0
RISE_FROM, RISE_TO = 0.2, 0.8  # of the peak: between them its loading is nearly straight
AT_TOP = 0.97  # of the force before a fall: its last high sample; own choice
_SMOOTH_S = 0.0002  # half of `limits.SMOOTH_S`: a break is steeper than an onset; own choice
# A Hann window of 40 ms leaves 3 % of a ringing of 50 Hz and less of any faster one (its
# sidelobes, e.g. F. J. Harris, Proc. IEEE 66 (1978) 51): fixtures ring at 80 Hz and more.
FINAL_S = 0.04
LEAST_FINAL_S = 0.008  # of trace after a loss: without it nobody knows what followed; own choice
# Of the force; of the time that a ringing is cut off below; own choice.
FLOOR, FLOOR_SHARE = 0.01, 0.2
COMES_BACK = 0.1  # of the force at the loss: a mean of more is a line that holds; own choice


@dataclass(frozen=True)
class Loss:
    """Sample (with a fraction) and force, in newtons, at which the force collapsed."""

    index: float
    force_n: float


def find_loss(
    force_n: FloatArray, sample_rate_hz: float, contact: Contact, peak: int, noise_n: float
) -> Loss | None:
    """Return the first loss of load from a contact on, or None.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Finite, zero removed, positive in the contact, without glitches; not filtered.
    sample_rate_hz : float
        Nothing is found below `LEAST_RATE_HZ`.
    contact : Contact
        The contact that carries the peak.
    peak : int
        Sample of the peak.
    noise_n : float
        Rms of the slack line.
    """
    if sample_rate_hz < LEAST_RATE_HZ or not contact.start < peak < force_n.size:
        return None
    smooth = uniform_filter1d(force_n, max(1, round(_SMOOTH_S * sample_rate_hz)), mode="nearest")
    window = max(2, round(WINDOW_S * sample_rate_hz))
    slope = _loading_slope(smooth, contact.start, peak)
    if slope is None or smooth.size <= window:
        return None
    fall = smooth[:-window] - smooth[window:]
    least = max(LEAST_FRACTION * smooth[peak], LEAST_SIGMAS * noise_n)
    # A break before the smoothing window has passed halves what it shows: hence `least`.
    steep = fall > max(STEEPER * slope * window, LEAST_SIGMAS * noise_n)
    steep &= smooth[:-window] > least
    steep[: contact.start] = False
    found = _first_real(smooth, np.flatnonzero(steep), window, sample_rate_hz)
    return None if found is None else _sharpened(force_n, found, sample_rate_hz)


def is_final(force_n: FloatArray, sample_rate_hz: float, index: int, lost_n: float) -> bool:
    """Whether nothing is left after a fall of force, but a ringing about no force.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        As for `find_loss`.
    sample_rate_hz : float
        Samples per second.
    index : int
        Sample from which the force fell.
    lost_n : float
        Force there.
    """
    after = force_n[index + 1 : index + 1 + round(FINAL_S * sample_rate_hz)]
    if after.size < LEAST_FINAL_S * sample_rate_hz:
        return False
    floor_n = float(after.min())
    cut = float(np.mean(after <= floor_n + FLOOR * lost_n))
    if floor_n < -FLOOR * lost_n and cut > FLOOR_SHARE:
        return True  # it rings, and the converter does not go further down: no mean tells
    weights = np.hanning(after.size + 2)[1:-1]
    return float(np.average(after, weights=weights)) < COMES_BACK * lost_n


def _sharpened(force_n: FloatArray, loss: Loss, sample_rate_hz: float) -> Loss:
    """Move a loss to the highest sample near it: smoothing has rounded its edge."""
    reach = max(1, round(_SMOOTH_S * sample_rate_hz))
    start = max(int(loss.index) - reach, 0)
    near = force_n[start : int(loss.index) + reach + 1]
    at = start + int(np.argmax(near))
    return Loss(float(at), float(force_n[at]))


def find_collapse(
    force_n: FloatArray, sample_rate_hz: float, contact: Contact, noise_n: float
) -> Loss | None:
    """Return the first fall to less than half within 2 ms in a contact, however steep.

    A short, whole contact falls like that, too: whoever calls must know more.
    Arguments as for `find_loss`.
    """
    if sample_rate_hz < LEAST_RATE_HZ:
        return None
    stop = min(contact.stop + round(LEFT_AFTER_S * sample_rate_hz) + 1, force_n.size)
    piece = force_n[contact.start : stop]
    window = max(2, round(WINDOW_S * sample_rate_hz))
    if piece.size <= window:
        return None
    least = max(LEAST_FRACTION * float(piece.max()), LEAST_SIGMAS * noise_n)
    steep = (piece[:-window] - piece[window:] > least) & (piece[:-window] > 2.0 * least)
    candidates = contact.start + np.flatnonzero(steep)
    return _first_real(force_n, candidates, window, sample_rate_hz)


def _loading_slope(smooth: FloatArray, start: int, peak: int) -> float | None:
    """Newtons per sample between 20 and 80 % of the peak, on the way up."""
    top = smooth[peak]
    low = rise_through(smooth, RISE_FROM * top, start, peak)
    high = rise_through(smooth, RISE_TO * top, start, peak)
    if low is None or high is None:
        return None
    return float(0.6 * top / max(high - low, 1.0))


def _first_real(
    smooth: FloatArray, candidates: npt.NDArray[np.intp], window: int, sample_rate_hz: float
) -> Loss | None:
    after = max(window, round(LEFT_AFTER_S * sample_rate_hz))
    index = 0
    while index < candidates.size:
        first = int(candidates[index])
        # The fall lies somewhere in the window: its top is the last high sample.
        piece = smooth[first : first + window + 1]
        force = float(piece.max())
        begin = first + int(np.flatnonzero(piece >= AT_TOP * force)[-1])
        left = smooth[begin : begin + after + 1]
        fell = left.min() < LEFT_FRACTION * force
        if fell and is_final(smooth, sample_rate_hz, begin, force):
            return Loss(float(begin), force)
        index = int(np.searchsorted(candidates, first + window))
    return None
