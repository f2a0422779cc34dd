"""Contacts: where in a trace the line is taut.

Arrays in, small frozen results out; forces here have their zero removed and
their sign turned so that the contact of interest is positive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter, uniform_filter1d

from tautlog.model.limits import GLITCH_SAMPLES, SIGMA_PER_MAD, SIGMAS, SMOOTH_S

FloatArray = npt.NDArray[np.float64]

MERGE_S = 0.001  # a slack shorter than this is noise, or a line that flutters; own choice
RING_GAP_S = (
    0.0125  # a period of 80 Hz, the slowest fixture that is no part of the line; common practice
)
# Of the first's peak: a fixture rings by less, what is left of a pull is more; own choice.
SAME_PULL = 0.5
RING_SWING = 0.25  # of the smaller contact: so far below zero no line pulls; own choice
GLITCH_RATE_HZ = 5000.0  # below it one sample may be a real peak; own choice
_GLITCH_WINDOW = 2 * int(GLITCH_SAMPLES) + 1  # of the median: it keeps a step, and no glitch
# Of the noise, and of the range: what stands out by less harms no peak; own choice.
_GLITCH_SIGMAS, _GLITCH_FRACTION = 12.0, 0.05


@dataclass(frozen=True)
class Contact:
    """A stretch in which the line is taut; half-open index range [start, stop)."""

    start: int
    stop: int


def without_glitches(
    force_n: FloatArray, sample_rate_hz: float
) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Replace one- and two-sample spikes by the median of their neighbourhood.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Finite.
    sample_rate_hz : float
        Below `GLITCH_RATE_HZ` nothing is replaced.

    Returns
    -------
    ndarray, ndarray
        A new trace, and the indices of what was replaced.

    Notes
    -----
    A median of five keeps a step and removes a spike of up to two samples. A spike
    counts only if it stands out by 12 times the noise and by 5 % of the range. The last
    samples before a break stand out as far: they go on straight from those before them.
    """
    if sample_rate_hz < GLITCH_RATE_HZ or force_n.size < 3 * _GLITCH_WINDOW:
        return force_n.copy(), np.zeros(0, dtype=np.intp)
    median = median_filter(force_n, size=_GLITCH_WINDOW, mode="nearest")
    away = np.abs(force_n - median)
    noise = SIGMA_PER_MAD * float(np.median(away))
    # The range of the medians: the spike itself must not hide behind its own height.
    span = float(np.ptp(median))
    least = max(_GLITCH_SIGMAS * noise, _GLITCH_FRACTION * span, 1e-9)
    spikes = np.flatnonzero((away > least) & ~_corners(force_n, least))
    clean = force_n.copy()
    clean[spikes] = median[spikes]
    return clean, spikes


def _corners(force_n: FloatArray, within_n: float) -> npt.NDArray[np.bool_]:
    """Whether each sample goes on straight from the three before it, or leads into those after.

    Two steps must be alike: the second of two samples of a spike also goes on from the first.
    """
    bent = np.full(force_n.size, np.inf)  # of the three samples that end here
    bent[2:] = np.abs(np.diff(force_n, 2))
    straight = (bent <= within_n) & (np.concatenate(([np.inf], bent[:-1])) <= within_n)
    ahead = np.zeros(force_n.size, dtype=np.bool_)
    ahead[:-3] = straight[3:]
    return straight | ahead


def smoothed(force_n: FloatArray, sample_rate_hz: float) -> FloatArray:
    """Moving mean over `SMOOTH_S`, at least one sample."""
    samples = max(1, round(SMOOTH_S * sample_rate_hz))
    return np.asarray(uniform_filter1d(force_n, samples, mode="nearest"), np.float64)


def find_contacts(smooth_n: FloatArray, sample_rate_hz: float, threshold_n: float) -> list[Contact]:
    """Stretches above a threshold; those parted by less than `MERGE_S` are one."""
    edges = np.flatnonzero(np.diff((smooth_n > threshold_n).astype(np.int8), prepend=0, append=0))
    starts, stops = edges[::2], edges[1::2]
    if starts.size == 0:
        return []
    apart = (starts[1:] - stops[:-1]) > MERGE_S * sample_rate_hz
    starts = starts[np.concatenate([[True], apart])]
    stops = stops[np.concatenate([apart, [True]])]
    return [Contact(int(a), int(b)) for a, b in zip(starts, stops, strict=True)]


def without_ringing(
    contacts: list[Contact], even_n: FloatArray, sample_rate_hz: float, noise_n: float
) -> list[Contact]:
    """Make one contact of those that only a ringing fixture parts, and drop its echoes.

    A line cannot push: between two contacts of a sled the force is nothing. A ringing swings
    as far below zero as above. What it parts at the begin of a pull is one pull; what it
    shows after the pull is none.

    Parameters
    ----------
    contacts : list of Contact
        In order.
    even_n : ndarray of float64, shape (n_samples,)
        The trace that they were found in.
    sample_rate_hz, noise_n : float
        Samples per second; rms of `even_n` on a slack line.
    """
    kept: list[Contact] = []
    end = 0
    for contact in contacts:
        soon = bool(kept) and contact.start - end <= RING_GAP_S * sample_rate_hz
        if soon and _belongs(kept[-1], contact, even_n):
            kept[-1] = Contact(kept[-1].start, contact.stop)
        elif soon and _swings(kept[-1], contact, even_n[end : contact.start], even_n, noise_n):
            pass
        elif not kept or not _is_echo(contact, even_n, sample_rate_hz, noise_n):
            kept.append(contact)
        end = contact.stop
    return kept


def _belongs(before: Contact, after: Contact, even_n: FloatArray) -> bool:
    """Whether a contact right after another is the same pull: no sled bounces so soon."""
    first, second = even_n[before.start : before.stop], even_n[after.start : after.stop]
    return bool(second.sum() > first.sum() or second.max() > SAME_PULL * first.max())


def _swings(
    before: Contact, after: Contact, gap_n: FloatArray, even_n: FloatArray, noise_n: float
) -> bool:
    """Whether the force swings below zero between two contacts, as no line pulls."""
    smaller = min(float(even_n[c.start : c.stop].max()) for c in (before, after))
    return float(gap_n.min()) < -max(RING_SWING * smaller, SIGMAS * noise_n)


def _is_echo(contact: Contact, even_n: FloatArray, sample_rate_hz: float, noise_n: float) -> bool:
    """Whether the force swings far below zero right before or after a contact."""
    reach = int(RING_GAP_S * sample_rate_hz)
    around = even_n[max(contact.start - reach, 0) : contact.stop + reach]
    top = float(even_n[contact.start : contact.stop].max())
    return float(around.min()) < -max(2.0 * RING_SWING * top, SIGMAS * noise_n)


def crossing(values: FloatArray, left: int, level: float) -> float:
    """Index, with a fraction, at which the line from `left` to `left + 1` meets a level."""
    rise = values[left + 1] - values[left]
    return left + (float((level - values[left]) / rise) if rise else 0.0)


def rise_through(values: FloatArray, level: float, start: int, peak: int) -> float | None:
    """First crossing upwards through a level between `start` and `peak`, or None."""
    above = np.flatnonzero(values[start : peak + 1] >= level)
    if above.size == 0:
        return None
    at = start + int(above[0])
    return float(at) if at == start else crossing(values, at - 1, level)


def span_above(values: FloatArray, level: float, peak: int) -> tuple[float | None, float | None]:
    """Crossings of a level on both sides of a peak; None where there is none."""
    before = np.flatnonzero(values[: peak + 1] < level)
    after = np.flatnonzero(values[peak:] < level)
    left = crossing(values, int(before[-1]), level) if before.size else None
    right = crossing(values, peak + int(after[0]) - 1, level) if after.size else None
    return left, right


def onset_index(
    force_n: FloatArray, contact: Contact, threshold_n: float, peak: int, reach: int = 1
) -> float:
    """Where a straight line through the first rise meets zero force.

    The threshold lies above zero; a line through its crossing and that of three
    times the threshold is followed back, by no more than its own length.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        The trace that the contact was found in; or one that is less smoothed, where its
        noise is well below the threshold: a damped line's force begins with a jump, and
        smoothing spreads it.
    contact : Contact
        Where to look.
    threshold_n : float
        That the contact was found with.
    peak : int
        Its highest sample.
    reach : int
        Samples by which the smoothing may have moved the contact's ends.
    """
    if contact.start == 0:
        return 0.0
    start = max(contact.start - reach, 0)
    first = rise_through(force_n, threshold_n, start, peak)
    third = rise_through(force_n, 3.0 * threshold_n, start, peak)
    if first is None:
        return float(contact.start)
    return first if third is None else max(first - 0.5 * (third - first), 0.0)


def slack_index(
    force_n: FloatArray, contact: Contact, threshold_n: float, peak: int, reach: int = 1
) -> float | None:
    """As `onset_index`, at the other end; None when the trace ends first."""
    if contact.stop >= force_n.size:
        return None
    stop = min(contact.stop + reach, force_n.size)
    last = _last_fall(force_n, threshold_n, peak, stop)
    third = _last_fall(force_n, 3.0 * threshold_n, peak, stop)
    if last is None:
        return float(contact.stop)
    if third is None:
        return last
    return min(last + 0.5 * (last - third), float(force_n.size - 1))


def _last_fall(values: FloatArray, level: float, peak: int, stop: int) -> float | None:
    """Last crossing downwards through a level before a place, or None."""
    above = np.flatnonzero(values[peak:stop] >= level)
    if above.size == 0 or peak + int(above[-1]) + 1 >= values.size:
        return None
    return crossing(values, peak + int(above[-1]), level)
