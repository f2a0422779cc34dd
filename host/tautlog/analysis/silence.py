"""Silence: whether the load path still bore the sled after its last pull.

A sled that leaves the line comes back. It flies no longer than the speed lets it with which the
line threw it up: that the momentum law tells from the pull, and no pull gives more speed than the
sled came with. Where nothing pulls for longer than that, the sled hangs from something else, or
from nothing. A trace does not tell a path that parted from a sled that was caught above; the fall
of the force does. Only what parts falls far faster than a line unloads, before the pull is over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.bounces import LEAST_OF_THRESHOLD
from tautlog.analysis.find_contacts import Contact
from tautlog.analysis.loss import find_loss
from tautlog.analysis.stage2_place import taut_speed_m_s
from tautlog.analysis.stage3_loss import MOST_TAKEN, Measured
from tautlog.analysis.stretch import motion
from tautlog.model.limits import HANGING_LEAST_N, LEAST_FLIGHT_S, PULL_SHARE
from tautlog.model.marks import Finding
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

FloatArray = npt.NDArray[np.float64]

PARTED, SILENT, FALLING = "parted-later", "silent", "still-falling"

# Of the impulse of a pull: what gain, mass and onset leave open of the speed; own choice.
IMPULSE_OFF = 0.06
# Of the speed at onset, left when the first pull ended: what neither gain, mass nor height explain;
# own choice.
WELL_SHORT = 0.3
# Times the threshold that contacts are found with: less may be a peak of noise; own choice.
STANDS_OUT = 2.0
# Times the flight before: that no later one is longer, whatever rails and recovery do; own choice.
NEXT_FLIGHT = 1.1
# Mean force of what hangs or bounces, of the weight: its impulse must carry it; own choice.
CARRIED = 0.2
# Before a fall, in which the force must lie about the weight of a sled that hangs, and by how much
# of it, either way; own choice.
HUNG_S, HUNG_OFF = 0.1, 0.4


@dataclass(frozen=True)
class _Stretch:
    """One pull with the slack line after it; samples.

    `next_start` is the first sample of the next pull, or behind the last one of the trace.
    """

    contact: Contact
    next_start: int
    is_last: bool
    flown_s: float | None  # before it, by the contacts; None for the first

    def silent_s(self, rate_hz: float) -> float:
        return (self.next_start - self.contact.stop) / rate_hz


def tell_silence(pull: Measured) -> tuple[Finding, ...]:
    """Tell where a later pull was cut off, or where the line was slack for too long."""
    if pull.loss is not None and not pull.thrown_back:
        return ()
    stretches = _stretches(pull)
    for stretch in stretches[1:]:
        found = _parted(pull, stretch)
        if found is not None:
            return (found,)
    if pull.signal.setup.end_state == "rests":
        return ()  # on the catch it pulls no more
    alone = (
        len(stretches) == 1
        and not pull.later
        and stretches[0].silent_s(pull.rate_hz) > LEAST_FLIGHT_S
    )
    falls = _still_falling(pull) if alone and pull.slack is not None else None
    silent = next(filter(None, (_silent(pull, stretch) for stretch in stretches)), None)
    return tuple(found for found in (falls, silent) if found is not None)


def _stretches(pull: Measured) -> list[_Stretch]:
    """Pulls with what follows each; up to where the signal was lost."""
    dead = pull.signal.dead
    end = pull.force_n.size if dead is None else dead
    contacts = [one for one in _told_apart(pull) if one.stop < end]
    found, flown_s = [], None
    for place, contact in enumerate(contacts):
        is_last = place + 1 == len(contacts)
        next_start = end if is_last else contacts[place + 1].start
        if is_last and dead is not None:
            next_start = max(end - pull.reach, contact.stop)
        found.append(_Stretch(contact, next_start, is_last, flown_s))
        flown_s = (next_start - contact.stop) / pull.rate_hz
    return found


def _told_apart(pull: Measured) -> list[Contact]:
    """Pulls without peaks of noise, and those without a flight between them as one."""
    found = [pull.contact]
    for contact in pull.later:
        top_n = float(pull.even_n[contact.start : contact.stop].max())
        if contact.start - found[-1].stop < LEAST_FLIGHT_S * pull.rate_hz:
            found[-1] = Contact(found[-1].start, contact.stop)
        elif top_n > STANDS_OUT * pull.threshold_n:
            found.append(contact)
    return found


def _parted(pull: Measured, stretch: _Stretch) -> Finding | None:
    """A later pull that ends far faster than it can unload, and not because it was done."""
    contact, rate = stretch.contact, pull.rate_hz
    peak = contact.start + int(np.argmax(pull.even_n[contact.start : contact.stop]))
    if pull.even_n[peak] < PULL_SHARE * pull.even_top_n:
        return None
    force_n = pull.force_n[: stretch.next_start]
    loss = find_loss(force_n, rate, contact, peak, pull.noise_n)
    if loss is None or loss.index > contact.stop + pull.reach:
        return None
    at, too_long = int(loss.index), stretch.silent_s(rate) > _longest_s(pull, stretch)
    if _was_done(pull, stretch, at) and not _hung(pull, contact, at) and not too_long:
        return None
    if not stretch.is_last and not too_long:
        text = (
            f"the force of a later pull collapses from {loss.force_n:.0f} N at "
            f"{pull.at_s(at):.4f} s, far faster than a line unloads, and the line pulls again"
        )
        return Finding(SILENT, text)
    text = (
        f"the load path let go at {loss.force_n:.0f} N, at {pull.at_s(at):.4f} s, in a pull after "
        "the first: the force collapses far faster than a line unloads, and nothing pulls after it"
    )
    return Finding(PARTED, text)


def _was_done(pull: Measured, stretch: _Stretch, at: int) -> bool:
    """Whether a pull had given most of its impulse up to a sample: it may end steeply then.

    All of it turns the sled as the first pull did, which gave it the first flight.
    """
    mass, v_first = pull.signal.setup.mass_kg, taut_speed_m_s(pull)
    if not mass or not v_first or not stretch.flown_s:
        return True
    v_in, first = 0.5 * G * stretch.flown_s, stretch.contact.start
    flight_s = (pull.later[0].start - pull.contact.stop) / pull.rate_hz
    kept = min(0.5 * G * flight_s / v_first, 1.0)
    pulled_s = (at - first) / pull.rate_hz
    given_m_s = float(pull.force_n[first : at + 1].sum()) / pull.rate_hz / mass - G * pulled_s
    return given_m_s > MOST_TAKEN * (1.0 + kept) * v_in


def _hung(pull: Measured, contact: Contact, at: int) -> bool:
    """Whether the sled hung before the force fell: a bounce is not as long and as even."""
    weight_n, first = pull.signal.setup.weight_n, at - int(HUNG_S * pull.rate_hz)
    if not weight_n or first < contact.start:
        return False
    before = pull.even_n[first : at - pull.reach]
    if not before.size:
        return False
    least, most = float(before.min()), float(before.max())
    return (1.0 - HUNG_OFF) * weight_n < least and most < (1.0 + HUNG_OFF) * weight_n


def _silent(pull: Measured, stretch: _Stretch) -> Finding | None:
    """A slack line for longer than the sled can have flown."""
    weight_n, rate = pull.signal.setup.weight_n, pull.rate_hz
    silence = slice(stretch.contact.stop, stretch.next_start)
    silent_s, longest_s = stretch.silent_s(rate), _longest_s(pull, stretch)
    over_s = silent_s - longest_s
    if not weight_n or over_s <= 0.0 or pull.signal.missing[silence].any():
        return None
    if CARRIED * weight_n < HANGING_LEAST_N:
        return None  # so little weight is hard to tell from a zero that is a little off
    # What carries the sled gives it m g each second, by many small pulls or by one steady one.
    if float(pull.force_n[silence].sum()) / rate > CARRIED * weight_n * over_s:
        return None
    since_s = pull.at_s(silence.start)
    again = "to the end of the record" if stretch.is_last else f"to {pull.at_s(silence.stop):.3f} s"
    flown = max(longest_s - LEAST_FLIGHT_S, 0.0)
    text = (
        f"nothing pulls from {since_s:.3f} s {again}, {silent_s:.2f} s, and after the pull before "
        f"it the sled can have flown for {flown:.2f} s at most: the load path let go, or the sled "
        "was caught or lifted and hangs anywhere above"
    )
    return Finding(SILENT, text)


def _longest_s(pull: Measured, stretch: _Stretch) -> float:
    """Longest time that the sled can have flown after a pull, and a little more."""
    flown_s = stretch.flown_s
    v_in = taut_speed_m_s(pull) if flown_s is None else 0.5 * G * flown_s
    if v_in is None:
        return float("inf")
    longest_s = NEXT_FLIGHT * 2.0 * v_in / G
    mass, contact = pull.signal.setup.mass_kg, stretch.contact
    top_n = float(pull.even_n[contact.start : contact.stop].max())
    sharp = top_n > max(PULL_SHARE * pull.even_top_n, LEAST_OF_THRESHOLD * pull.threshold_n)
    if mass and stretch.is_last and sharp:
        per_kg = float(pull.force_n[contact.start : contact.stop].sum()) / pull.rate_hz / mass
        pulled_s = (contact.stop - contact.start) / pull.rate_hz
        up_m_s = (1.0 + IMPULSE_OFF) * per_kg - G * pulled_s - v_in
        longest_s = min(longest_s, max(2.0 * up_m_s / G, 0.0))
    return longest_s + LEAST_FLIGHT_S


def _still_falling(pull: Measured) -> Finding | None:
    """Whether the first pull ended while the sled still fell: no whole line goes slack then."""
    mass, v_in = pull.signal.setup.mass_kg, taut_speed_m_s(pull)
    force = pull.pulled_n
    if not mass or not v_in or not force.size:
        return None
    speed = float(motion(force, pull.rate_hz, pull.since_onset_s, mass, v_in)[1][-1])
    if speed < WELL_SHORT * v_in:
        return None
    text = (
        f"the first pull ended while the sled still fell at {speed:.1f} m/s, and nothing pulled "
        "after it: the load path let go in it, unless a stop took the rest"
    )
    return Finding(FALLING, text)
