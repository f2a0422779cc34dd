"""Stage 3 of marking, the loss: whether the load path let go, and the force up to that.

After this stage the measured contact is known as its figures are taken from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.analysis.filters import cfc_filter
from tautlog.analysis.loss import Loss, find_collapse, find_loss
from tautlog.analysis.stage2_place import Located, place_of_largest, taut_speed_m_s
from tautlog.analysis.stretch import motion
from tautlog.model.limits import LEAST_FLIGHT_S, PAD_S, PULL_SHARE

STILL_FALLING = 0.2  # of the speed at onset: less may be a wrong mass or gain; own choice
MOST_TAKEN = 0.7  # of a pull's impulse: a force that falls after it does so at its end; own choice


@dataclass(frozen=True)
class Measured(Located):
    """The measured contact; where the load path let go in it, filtered up to that by itself.

    Attributes
    ----------
    loss : Loss or None
        Where the load path let go.
    parted_s : float or None
        Its time, where the force was filtered up to it.
    thrown_back : bool
        A later pull shows that the sled was thrown back and caught.
    """

    loss: Loss | None
    parted_s: float | None
    thrown_back: bool

    @property
    def top_n(self) -> float:
        """Largest value of the force in its class."""
        return float(self.pulse_n[self.peak])

    @property
    def is_cut_off(self) -> bool:
        """Whether the signal was lost within it: what its end would tell is not known."""
        dead = self.signal.dead
        return dead is not None and dead <= self.contact.stop


def find_parting(place: Located) -> Measured:
    """See whether the load path let go; if so, filter the force up to that only."""
    thrown_back = _thrown_back(place)
    loss = _believed(place, thrown_back)
    contact = place.contact
    broke = None if loss is None else int(loss.index)
    if broke is None or not contact.start < broke < contact.stop or place.peak > broke:
        # Nothing let go, or there was more to come: no end of the load.
        return Measured(**vars(place), loss=loss, parted_s=None, thrown_back=thrown_back)
    # The class would smear the collapse into the force that was carried before it.
    start = max(contact.start - int(PAD_S * place.rate_hz), 0)
    pulse_n = place.pulse_n.copy()
    cfc, before = place.signal.cfc, slice(start, broke + 1)
    if cfc is not None:
        pulse_n[before] = cfc_filter(place.force_n[before], place.rate_hz, cfc)
    peak = place_of_largest(pulse_n, place.signal.missing, contact.start, broke + 1)
    return Measured(
        **{**vars(place), "pulse_n": pulse_n, "peak": peak},
        loss=loss,
        parted_s=place.at_s(broke),
        thrown_back=thrown_back,
    )


def _believed(place: Located, thrown_back: bool) -> Loss | None:
    """A loss of load that is none of the cable, and not the end of a whole pull."""
    loss = find_loss(place.force_n, place.rate_hz, place.contact, place.peak, place.noise_n)
    if loss is None and not thrown_back:
        loss = _by_momentum(place)
    if loss is None:
        return None
    dead = place.signal.dead
    if dead is not None and loss.index >= dead - place.reach:
        return None  # the cable went, not the load path
    # A pull that ends while its fixture rings, and a sled that is caught again.
    return None if thrown_back and _was_done(place, int(loss.index)) else loss


def _was_done(place: Located, index: int) -> bool:
    """Whether the pull had taken most of its momentum up to a sample."""
    taken = np.cumsum(place.force_n[int(place.onset) : place.contact.stop])
    at = min(max(index - int(place.onset), 0), taken.size - 1)
    return bool(taken.size and taken[at] > MOST_TAKEN * taken[-1])


def _by_momentum(place: Located) -> Loss | None:
    """A collapse of the force while the sled still falls: no whole line goes slack then.

    For a break so soon after onset that the rise was as steep. A sled that is thrown
    back later was not let go, whatever the gain.
    """
    mass, v_in = place.signal.setup.mass_kg, taut_speed_m_s(place)
    if not mass or not v_in or place.slack is None:
        return None
    loss = find_collapse(place.force_n, place.rate_hz, place.contact, place.noise_n)
    if loss is None or loss.index <= place.onset + 1:
        return None
    force = place.force_n[place.first : int(loss.index) + 1]
    speed = motion(force, place.rate_hz, place.since_onset_s, mass, v_in)[1]
    return None if speed[-1] < STILL_FALLING * v_in else loss


def _thrown_back(place: Located) -> bool:
    """Whether a later contact, after a flight, is a pull of the line."""
    before = place.contact.stop
    for contact in place.later:
        flown = contact.start - before > LEAST_FLIGHT_S * place.rate_hz
        top_n = place.even_n[contact.start : contact.stop].max()
        if flown and top_n > PULL_SHARE * place.even_top_n:
            return True
        before = contact.stop
    return False
