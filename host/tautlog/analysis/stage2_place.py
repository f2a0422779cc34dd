"""Stage 2 of marking, the place: zero, sign, and where the measured contact is.

A zero is taken in a first window; once that shows where the line came taut, it is taken
again where it belongs, in the free fall before that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.find_contacts import (
    Contact,
    find_contacts,
    onset_index,
    slack_index,
    without_ringing,
)
from tautlog.analysis.mains import mains_component
from tautlog.analysis.stage1_signal import BoolArray, Signal
from tautlog.analysis.zero import Zero, slack_window, still_level, zero_of
from tautlog.model.limits import (
    CONTACT_SHARE,
    EDGE_SIGMAS,
    SIGMAS,
    SMOOTH_S,
    ZERO_SAMPLES,
)
from tautlog.model.marks import Finding
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

FloatArray = npt.NDArray[np.float64]

FREE_FALL_S = 0.1  # that a fall of 50 mm takes: no line is taut sooner (h = g t**2 / 2)
FIRST_LOOK_S = 0.03  # of the trace, for a first zero when there is no release; own choice
BEFORE_S = 0.5  # of a trace that ends soon after its release, for a first zero; own choice
# Of the noise and of one count, that a peak stands above: white noise never reaches it; own choice.
PEAK_SIGMAS, PEAK_COUNTS = 8.0, 4.0
NOTHING_N = 1e-9  # of a trace without noise and counts: rounding; own choice
EQUAL_SIGMAS = 4.0  # by which peaks that are equal may differ; own choice
MAINS_S = 0.2  # ten periods of 50 Hz tell its frequency to some hertz
MAINS_MOST_S = 1.0  # of the quiet stretch that is looked at; own choice: more tells no more


@dataclass(frozen=True)
class Zeroed:
    """The signal with a zero taken off; arrays of float64, shape (n_samples,).

    Attributes
    ----------
    signal : Signal
        The stage before.
    window : slice
        Samples that the zero was taken from.
    zero : Zero
        What the cell reads there.
    zero_n : float
        What was taken off; 0 where none is to be taken.
    quick_n : float
        Rms of the noise from sample to sample: hum and drift are not in it.
    sign : float
        -1 where the largest force is negative, else 1.
    peak : int
        Sample of the largest force in its class.
    largest_n : float
        That force, without its sign; 0 where there is none after the release.
    force_n, pulse_n, even_n : ndarray
        Zero removed and the largest force turned to positive: without glitches; in its
        class; smoothed.
    """

    signal: Signal
    window: slice
    zero: Zero
    zero_n: float
    quick_n: float
    sign: float
    peak: int
    largest_n: float
    force_n: FloatArray
    pulse_n: FloatArray
    even_n: FloatArray

    @property
    def rate_hz(self) -> float:
        """Samples per second."""
        return self.signal.rate_hz

    def at_s(self, place: float) -> float:
        """Time of a place in samples, from the start of the record."""
        return self.signal.trace.at_s(place)

    @property
    def noise_n(self) -> float:
        """Rms of the slack line."""
        return self.zero.noise_n

    @property
    def window_middle(self) -> float:
        """Place of the middle of the zero's window, in samples."""
        return 0.5 * float(self.window.start + self.window.stop)


@dataclass(frozen=True)
class Located(Zeroed):
    """The measured contact.

    Attributes
    ----------
    contact, earlier, later : Contact, tuple of Contact
        The measured one; those before and after it.
    threshold_n, even_noise_n : float
        That contacts were found with; rms of the smoothed force on a slack line.
    edge_n : ndarray of float64, shape (n_samples,)
        The force that edges are taken from: where the noise allows, not smoothed.
    reach : int
        Samples by which smoothing may have moved a contact's ends.
    onset, slack : float, float or None
        Its ends in samples, with a fraction; no slack where the trace ends first.
    """

    contact: Contact
    earlier: tuple[Contact, ...]
    later: tuple[Contact, ...]
    threshold_n: float
    even_noise_n: float
    edge_n: FloatArray
    reach: int
    onset: float
    slack: float | None

    @property
    def even_top_n(self) -> float:
        """Largest smoothed force of the contact."""
        return float(self.even_n[self.contact.start : self.contact.stop].max())

    @property
    def first(self) -> int:
        """First sample after the line came taut."""
        return math.ceil(self.onset)

    @property
    def pulled_n(self) -> FloatArray:
        """Force from that sample to the end of the contact."""
        stop = self.contact.stop if self.slack is None else int(self.slack) + 1
        return self.force_n[self.first : stop]

    @property
    def since_onset_s(self) -> float:
        """Time of that sample since the line came taut."""
        return (self.first - self.onset) / self.rate_hz


def locate(signal: Signal) -> Located | Zeroed:
    """Find the measured contact; without one, only the zero is told."""
    found = _placed(signal, first_window(signal))
    if not isinstance(found, Located):
        return found
    # Now that the onset is known, the zero can be taken where it belongs.
    window = slack_window(found.onset, signal.release)
    if window is None:
        return found
    del found  # its arrays are as long as the trace
    again = _placed(signal, window)
    if isinstance(again, Located):
        return again
    return _placed(signal, first_window(signal))  # that window was not slack: it told nothing


def _placed(signal: Signal, window: slice) -> Located | Zeroed:
    place = zeroed(signal, window)
    return _contact_in(place) or place


def first_window(signal: Signal) -> slice:
    """Samples that a first zero is taken from."""
    release, rate = signal.release, signal.rate_hz
    least = int(ZERO_SAMPLES)
    if release is None or release < least:
        return slice(0, max(least, int(FIRST_LOOK_S * rate)))
    # Before the release a hand may be on the line; right after it nobody is.
    after = slice(int(release), int(release + FREE_FALL_S * rate))
    if signal.clean_n.size >= after.stop and after.stop - after.start >= least:
        return after
    stop = min(int(release), signal.clean_n.size)
    # At a rate beyond all sense a tenth of a second has no sample; a zero needs some.
    return slice(max(0, stop - max(least, int(BEFORE_S * rate))), stop)


def zeroed(signal: Signal, window: slice) -> Zeroed:
    """Take the zero of a window off, and turn the largest force to positive."""
    zero = zero_of(signal.clean_n[window], signal.rate_hz)
    zero_n = zero.value_n if signal.take_zero else 0.0
    search = signal.filtered_n - zero_n
    if signal.release is not None:
        # What happened before the release was no drop.
        search[: max(int(signal.release), 0)] = 0.0
    size_n = np.abs(search)
    size_n[signal.missing] = 0.0
    peak = int(np.argmax(size_n))
    sign = -1.0 if search[peak] < 0 else 1.0
    return Zeroed(
        signal=signal,
        window=window,
        zero=zero,
        zero_n=zero_n,
        quick_n=float(np.std(np.diff(signal.clean_n[window]))) / np.sqrt(2.0),
        sign=sign,
        peak=peak,
        largest_n=abs(float(search[peak])),
        force_n=_turned(signal.clean_n, zero_n, sign),
        pulse_n=_turned(signal.filtered_n, zero_n, sign),
        even_n=_turned(signal.smooth_n, zero_n, sign),
    )


def _turned(force_n: FloatArray, zero_n: float, sign: float) -> FloatArray:
    """Zero removed, and the sign turned where it is negative; in one array, for long traces."""
    turned = force_n - zero_n
    return turned if sign > 0.0 else np.negative(turned, out=turned)


def _contact_in(place: Zeroed) -> Located | None:
    """The contact that carries the largest force, and the ends of it."""
    signal, noise_n = place.signal, place.noise_n
    least_n = max(PEAK_SIGMAS * noise_n, PEAK_COUNTS * signal.trace.quantum_n, NOTHING_N)
    if not place.largest_n > least_n:
        return None
    even_noise_n = float(np.std(signal.smooth_n[place.window]))
    threshold_n = max(SIGMAS * even_noise_n, CONTACT_SHARE * place.largest_n)
    contacts = find_contacts(place.even_n, place.rate_hz, threshold_n)
    contacts = without_ringing(contacts, place.even_n, place.rate_hz, even_noise_n)
    at = next(
        (i for i, one in enumerate(contacts) if one.start - 2 <= place.peak <= one.stop + 2), None
    )
    if at is None:
        return None
    at, peak = _first_of_equals(place, contacts[: at + 1])
    contact = contacts[at]
    # Smoothing spreads an edge: where the noise allows, edges are those of the samples.
    quiet = threshold_n > EDGE_SIGMAS * noise_n
    edge_n = place.force_n if quiet else place.even_n
    reach = max(int(SMOOTH_S * place.rate_hz), 1) if quiet else 1
    return Located(
        **{**vars(place), "peak": peak},
        contact=contact,
        earlier=tuple(contacts[:at]),
        later=tuple(contacts[at + 1 :]),
        threshold_n=threshold_n,
        even_noise_n=even_noise_n,
        edge_n=edge_n,
        reach=reach,
        onset=onset_index(edge_n, contact, threshold_n, peak, reach),
        slack=slack_index(edge_n, contact, threshold_n, peak, reach),
    )


def _first_of_equals(place: Zeroed, contacts: list[Contact]) -> tuple[int, int]:
    """Number and peak of the first contact whose peak is the largest but for noise.

    A line without loss gives bounces as high as the first, and a limit makes all equal.
    """
    apart_n = EQUAL_SIGMAS * place.noise_n
    quantum_n, missing = place.signal.trace.quantum_n, place.signal.missing
    for number, contact in enumerate(contacts[:-1]):
        piece = place.pulse_n[contact.start : contact.stop]
        if float(piece.max()) >= place.largest_n - apart_n - quantum_n:
            return number, place_of_largest(place.pulse_n, missing, contact.start, contact.stop)
    return len(contacts) - 1, place.peak


def place_of_largest(pulse_n: FloatArray, missing: BoolArray, start: int, stop: int) -> int:
    """Sample of the largest class-filtered force among those that are there."""
    there = np.where(missing[start:stop], -np.inf, pulse_n[start:stop])
    return start + int(np.argmax(there))


def fall_time_s(place: Located) -> float | None:
    """Seconds from the release switch to the onset; None where the switch is in doubt.

    Friction and delay of the latch are told by it, and so by nothing where it is not.
    """
    trace = place.signal.trace
    if trace.release_time_s is None or trace.release_doubt:
        return None
    return place.at_s(place.onset) - trace.release_time_s


def taut_speed_m_s(place: Located, friction_fraction: float = 0.0) -> float | None:
    """Speed at onset: from the height, with friction if it is known; else from its time."""
    height_m = place.signal.setup.height_m
    if height_m is not None:
        return float(np.sqrt(2.0 * G * height_m * (1.0 - friction_fraction)))
    fall_s = fall_time_s(place)
    return None if fall_s is None else G * fall_s


@dataclass(frozen=True)
class ZeroTold:
    """What is told of the zero; figures as in `marks.Marks`."""

    zero_offset_n: float | None
    noise_n: float
    zero_slope_n_per_s: float
    zero_drift_n: float | None
    mains_hz: float | None
    mains_n: float | None
    findings: tuple[Finding, ...]


def tell_zero(place: Zeroed) -> ZeroTold:
    """Tell zero, noise, drift and hum, and what disturbed them."""
    signal, findings, drift_n = place.signal, [], None
    release = signal.release
    if signal.take_zero and release is not None and release >= ZERO_SAMPLES:
        before_n = still_level(signal.clean_n[: int(release)], place.rate_hz, place.noise_n)
        if before_n is None:
            text = (
                "the force was not still before the release: a hand on the line, or a sled "
                "that moved; the zero is that of the fall, its drift is not known"
            )
            findings.append(Finding("handled", text))
        else:
            drift_n = before_n - place.zero_n
    if signal.dead is not None:
        text = (
            f"from {place.at_s(signal.dead):.4f} s on the signal is dead: a pulled cable or "
            "an open input, not the load path; what came before is kept"
        )
        findings.append(Finding("cable-lost", text))
    mains_hz, mains_n = _mains(place)
    return ZeroTold(
        zero_offset_n=place.zero_n if signal.take_zero else None,
        noise_n=place.noise_n,
        zero_slope_n_per_s=place.zero.slope_n_per_s,
        zero_drift_n=drift_n,
        mains_hz=mains_hz,
        mains_n=mains_n,
        findings=tuple(findings),
    )


def _mains(place: Zeroed) -> tuple[float | None, float | None]:
    """Frequency and amplitude of hum in the quiet before the line came taut."""
    rate, stop = place.rate_hz, place.window.stop
    quiet = place.signal.clean_n[max(0, stop - int(MAINS_MOST_S * rate)) : stop]
    if quiet.size < MAINS_S * rate:
        return None, None
    mains_hz, mains_n = mains_component(quiet, rate)
    return mains_hz, mains_n if mains_hz is not None else None
