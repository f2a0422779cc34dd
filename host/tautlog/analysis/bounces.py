"""Bounces: every pull of the line on the sled, with impulse and times.

The same momentum law holds for each of them, and the flights between them are clocks:
what one pull does not tell, the next one does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.integrate import cumulative_trapezoid

from tautlog.analysis.find_contacts import Contact, onset_index, slack_index
from tautlog.model.limits import PULL_SHARE

FloatArray = npt.NDArray[np.float64]

MOST_PULLS = 5  # later ones are low and tell nothing that these do not; own choice
LEAST_OF_THRESHOLD = 8.0  # lower pulls have no onset that is exact enough; own choice


@dataclass(frozen=True)
class Pull:
    """One contact of the line.

    Attributes
    ----------
    onset_s, slack_s : float
        From the start of the trace.
    impulse_ns : float
        Integral of the force.
    moment_ns2 : float
        Integral of that integral: what a sled of one kilogram is moved by.
    """

    onset_s: float
    slack_s: float
    impulse_ns: float
    moment_ns2: float

    @property
    def length_s(self) -> float:
        """Time for which the line pulls."""
        return self.slack_s - self.onset_s


def pull_between(force_n: FloatArray, rate_hz: float, onset: float, slack: float) -> Pull:
    """Return the pull between two places, in samples with a fraction, by trapezoids.

    At both places the line has no force.
    """
    first, last = int(np.ceil(onset)), int(np.floor(slack))
    inner = force_n[first : last + 1]
    place = np.concatenate([[onset], np.arange(first, first + inner.size), [slack]]) / rate_hz
    force = np.concatenate([[0.0], inner, [0.0]])
    impulse = cumulative_trapezoid(force, place, initial=0.0)
    return Pull(
        onset / rate_hz,
        slack / rate_hz,
        float(impulse[-1]),
        float(np.trapezoid(impulse, place)),
    )


def find_pulls(
    force_n: FloatArray,
    edge_n: FloatArray,
    rate_hz: float,
    contacts: list[Contact],
    threshold_n: float,
    reach: int = 1,
) -> tuple[Pull, ...]:
    """Return the first pulls of a drop, until one is too weak or does not end.

    Parameters
    ----------
    force_n, edge_n : ndarray of float64, shape (n_samples,)
        Zero removed, positive in the contact; the latter to find ends in, see
        `contacts.onset_index`.
    rate_hz : float
        Samples per second.
    contacts : list of Contact
        From the drop's own on.
    threshold_n : float
        That the contacts were found with.
    reach : int
        Samples by which smoothing may have moved their ends.
    """
    pulls: list[Pull] = []
    highest = 0.0
    for contact in contacts[:MOST_PULLS]:
        peak = contact.start + int(np.argmax(edge_n[contact.start : contact.stop]))
        top = float(edge_n[peak])
        highest = max(highest, top)
        if top < max(PULL_SHARE * highest, LEAST_OF_THRESHOLD * threshold_n):
            break
        slack = slack_index(edge_n, contact, threshold_n, peak, reach)
        if slack is None:
            break
        onset = onset_index(edge_n, contact, threshold_n, peak, reach)
        pulls.append(pull_between(force_n, rate_hz, onset, slack))
    return tuple(pulls)
