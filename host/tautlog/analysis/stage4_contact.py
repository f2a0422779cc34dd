"""Stage 4 of marking, the contact: its times, whether it was seen whole, and its impulse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.analysis.bounces import Pull, pull_between
from tautlog.analysis.clipping import CUT, UNCLEAR, WHOLE, Crest, top_of
from tautlog.analysis.find_contacts import Contact, rise_through, span_above
from tautlog.analysis.loss import Loss
from tautlog.analysis.rails import rails_of
from tautlog.analysis.release_edge import bandwidth_at_least_hz
from tautlog.analysis.spectrum import quasi_static_above_hz
from tautlog.analysis.stage1_signal import Signal
from tautlog.analysis.stage2_place import NOTHING_N, Zeroed, ZeroTold, fall_time_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.model.free_fall import free_fall_s
from tautlog.model.limits import BANDWIDTH_PER_PULSE, RISE_PER_BANDWIDTH, UNSAID_HEIGHT_M
from tautlog.model.marks import Finding
from tautlog.model.uncertainty import one_pole_loss

NEAR_CONTACT_S = 0.05  # a gap this close to the contact counts as in it; own choice
FORESHOOT_S = 0.02  # before the contact: a filter's foreshoot may reach so far; own choice
SOONEST_FALL = 0.9  # of the time that the height asks for: a height 20 % too large; own choice
MAINS_LEAST = 0.01  # of the peak: hum below it is not worth a word; own choice
# Shares of the peak that times are taken between: common practice for pulses.
LOW, HIGH, HALF = 0.1, 0.9, 0.5


@dataclass(frozen=True)
class Times:
    """Times and raw force of the contact; figures as in `marks.Marks`.

    `ends` are those of the duration, in seconds; None where it has none.
    """

    onset_time_s: float
    slack_time_s: float | None
    peak_time_s: float
    peak_force_unfiltered_n: float
    rise_time_s: float | None
    duration_s: float | None
    fwhm_s: float | None
    base_duration_s: float | None
    bandwidth_needed_hz: float | None
    fall_time_s: float | None
    bandwidth_at_least_hz: float | None
    ends: tuple[float, float] | None
    findings: tuple[Finding, ...]


def tell_times(pull: Measured, zero: ZeroTold) -> Times:
    """Tell when what happened."""
    rate, top = pull.rate_hz, pull.top_n
    start = max(0, pull.contact.start - int(FORESHOOT_S * rate))
    low = rise_through(pull.pulse_n, LOW * top, start, pull.peak)
    high = rise_through(pull.pulse_n, HIGH * top, start, pull.peak)
    left, right = span_above(pull.pulse_n, LOW * top, pull.peak)
    half_left, half_right = span_above(pull.pulse_n, HALF * top, pull.peak)
    onset_s = pull.at_s(pull.onset)
    slack_s = None if pull.slack is None else pull.at_s(pull.slack)
    base_s = None if slack_s is None else slack_s - onset_s
    least_hz = _bandwidth_at_least_hz(pull)
    span = slice(pull.contact.start, max(pull.contact.stop, pull.peak + 1))
    return Times(
        onset_time_s=onset_s,
        slack_time_s=slack_s,
        peak_time_s=pull.at_s(pull.peak),
        peak_force_unfiltered_n=pull.sign * float(pull.force_n[span].max()),
        rise_time_s=_between(low, high, rate),
        duration_s=_between(left, right, rate),
        fwhm_s=_between(half_left, half_right, rate),
        base_duration_s=base_s,
        bandwidth_needed_hz=BANDWIDTH_PER_PULSE / base_s if base_s else None,
        fall_time_s=fall_time_s(pull),
        bandwidth_at_least_hz=least_hz,
        ends=None if left is None or right is None else (pull.at_s(left), pull.at_s(right)),
        findings=(
            *_about_contact(pull, zero, stays=right is None),
            *_about_bandwidth(
                pull.signal.trace.bandwidth_hz, _between(low, high, rate), base_s, least_hz
            ),
        ),
    )


def _bandwidth_at_least_hz(pull: Measured) -> float | None:
    """By how the force fell, up to the next pull at the most."""
    after = pull.contact.stop + int(NEAR_CONTACT_S * pull.rate_hz)
    stop = min([after, *(one.start for one in pull.later[:1])])
    counts_n = pull.signal.trace.quantum_n / float(np.sqrt(12.0))
    noise_n = max(pull.even_noise_n, counts_n, NOTHING_N)
    return bandwidth_at_least_hz(pull.even_n, pull.rate_hz, pull.peak, stop, noise_n)


def _between(first: float | None, last: float | None, rate_hz: float) -> float | None:
    return None if first is None or last is None else (last - first) / rate_hz


def _about_contact(pull: Measured, zero: ZeroTold, *, stays: bool) -> tuple[Finding, ...]:
    """What is odd about sign, hum and end of the contact."""
    found = []
    if pull.sign < 0:
        text = (
            "the force of the contact is negative: the cell is wired the wrong way round, or "
            "the trace counts compression as negative"
        )
        found.append(Finding("reversed", text))
    if zero.mains_hz and (zero.mains_n or 0.0) > MAINS_LEAST * pull.top_n:
        text = (
            f"hum of {zero.mains_n:.1f} N at {zero.mains_hz:g} Hz: it lies in the "
            "pulse's band, no filter takes it away; mend shield and ground"
        )
        found.append(Finding("mains-hum", text))
    if stays and not pull.is_cut_off:
        text = "the force never falls below 10 % of the peak again: no duration"
        found.append(Finding("load-stays", text))
    return tuple(found)


def _about_bandwidth(
    bandwidth_hz: float, rise_s: float | None, base_s: float | None, least_hz: float | None
) -> tuple[Finding, ...]:
    """What an amplifier that nobody stated, or a slow one, leaves open of the peak."""
    if not bandwidth_hz > 0.0:
        much = ""
        if base_s:
            needed_hz = BANDWIDTH_PER_PULSE / base_s
            lost = 100.0 * one_pole_loss(needed_hz, base_s)
            much = f"; one pole at {needed_hz:.0f} Hz would take {lost:.1f} %, a slower one more"
        if least_hz is not None:
            much += f"; by how the force fell, one pole had {least_hz:.0f} Hz or more"
        text = (
            "the amplifier's bandwidth is not stated: what it took off the peak is not known, "
            f"and not in its uncertainty{much}; measure it and enter bandwidth_hz under "
            "[calibration], or import with --bandwidth"
        )
        return (Finding("bandwidth-unknown", text),)
    if rise_s is None or not rise_s < RISE_PER_BANDWIDTH / bandwidth_hz:
        return ()
    text = (
        f"the force rises in {1e3 * rise_s:.2f} ms, an amplifier of {bandwidth_hz:g} Hz "
        f"needs {1e3 * RISE_PER_BANDWIDTH / bandwidth_hz:.2f} ms to show more than itself: "
        "how high the peak was is open; take a faster one, or a softer line"
    )
    return (Finding("bandwidth-low", text),)


@dataclass(frozen=True)
class Wholeness:
    """Whether the contact was seen whole; figures as in `marks.Marks`.

    `crest` is what the shape of its top says.
    """

    clipped: bool
    gap_in_contact: bool
    crest: Crest
    findings: tuple[Finding, ...]

    @property
    def flat(self) -> bool:
        """Whether the top is flat: a rail that nobody knew, or something that yields."""
        return self.crest.state == CUT

    @property
    def seen_whole(self) -> bool:
        """Whether its highest force is in the trace."""
        return not self.clipped and not self.gap_in_contact


def tell_wholeness(pull: Measured, times: Times) -> Wholeness:
    """Tell whether samples of the contact are missing, at a limit, or cut off."""
    margin = int(NEAR_CONTACT_S * pull.rate_hz)
    start, stop = max(0, pull.contact.start - margin), pull.contact.stop + margin
    missing = pull.signal.missing
    gap = bool(missing[start:stop].any()) or hides_pull(pull.signal, start)
    at_limit, findings = at_rails(pull, pull.contact, pull.loss)
    crest = Crest(WHOLE) if at_limit or pull.is_cut_off else _crest(pull)
    if crest.state == UNCLEAR:
        text = (
            "whether the top is whole or cut off by a rail cannot be told: noise, ringing or "
            "the rate hide its shape"
        )
        findings += (Finding("clip-not-excluded", text),)
    if crest.state == CUT:
        text = (
            f"the top is flat at {times.peak_force_unfiltered_n:.0f} N: an amplifier at "
            "its rail, or a load path that yields"
        )
        findings += (Finding("flat-top", text),)
    if gap:
        text = "samples are missing in the contact or next to it"
        findings += (Finding("gap-in-contact", text),)
    elif pull.signal.gaps:
        findings += (Finding("gap", f"{pull.signal.gaps} samples are missing, none near it"),)
    return Wholeness(at_limit or crest.state == CUT, gap, crest, findings)


def at_rails(
    place: Zeroed, contact: Contact | None, loss: Loss | None
) -> tuple[bool, tuple[Finding, ...]]:
    """Whether the contact, or without one all there is, lies at a known limit."""
    trace, dead = place.signal.trace, place.signal.dead
    stop = place.force_n.size if dead is None else dead
    rails = rails_of(
        trace.clipped[:stop],
        place.rate_hz,
        place.signal.spikes,
        begins_s=trace.begins_s,
        release=place.signal.release,
        contact=None if contact is None else (contact.start, contact.stop),
        broke=None if loss is None else loss.index,
    )
    if rails is None:
        return False, ()
    return rails.of_contact, (Finding(rails.code, rails.text),)


def _crest(pull: Measured) -> Crest:
    """Whether the top of the contact is cut off, by its shape."""
    piece, trace = slice(pull.contact.start, pull.contact.stop), pull.signal.trace
    return top_of(
        pull.force_n[piece],
        pull.rate_hz,
        pull.even_n[piece],
        pull.sign * (pull.signal.clean_n[pull.window] - pull.zero_n),
        trace.quantum_n,
        broke=pull.loss is not None,
        bandwidth_hz=trace.bandwidth_hz,
    )


def hides_pull(signal: Signal, stop: int) -> bool:
    """Whether samples are missing, before a place, where the first pull should have been.

    What is seen after it may be a bounce.
    """
    if not signal.missing[: max(stop, 0)].any():
        return False
    release, height_m = signal.release, signal.setup.height_m
    fall_s = free_fall_s(UNSAID_HEIGHT_M if height_m is None else height_m)
    if release is None:
        # After the first pull the sled flies no longer than it fell up and down.
        start = stop - 2.0 * fall_s * signal.rate_hz
    else:
        soonest_s = 0.0 if height_m is None else SOONEST_FALL * fall_s - NEAR_CONTACT_S
        start = release + soonest_s * signal.rate_hz
    return bool(signal.missing[max(int(start), 0) : stop].any())


@dataclass(frozen=True)
class Impulse:
    """Impulse of the contact, where all of it was seen; figures as in `marks.Marks`.

    `pull` holds it without its sign, with the times that it was integrated between.
    """

    impulse_ns: float | None = None
    half_sine_s: float | None = None
    quasi_static_above_hz: float | None = None
    pull: Pull | None = None


def tell_impulse(pull: Measured, whole: Wholeness) -> Impulse:
    """Tell the impulse of a contact that ends, and has no gap."""
    if pull.slack is None or whole.gap_in_contact:
        return Impulse()
    found = pull_between(pull.force_n, pull.rate_hz, pull.onset, pull.slack)
    pulse = pull.pulse_n[pull.first : int(pull.slack) + 1]
    return Impulse(
        impulse_ns=pull.sign * found.impulse_ns,
        half_sine_s=0.5 * np.pi * found.impulse_ns / pull.top_n,
        quasi_static_above_hz=quasi_static_above_hz(pulse, pull.rate_hz),
        pull=found,
    )
