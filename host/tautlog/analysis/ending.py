"""Ending: where the force of a load path that let go ended, and what that leaves open.

Up to a break the force is filtered by itself, with the reflection through its last point
that ISO 6487, annex A, adds at an end. That holds the class to the last sample: the peak is
as well known as the place of the break. A trace shows the break through fixture and
amplifier. Both go on for a while after the line has let go, and a ring may fall before it.
How long they take is seen in the fall itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.filters import cfc_filter
from tautlog.analysis.peak import Correction
from tautlog.model.limits import BREAK_MOST, K_FACTOR
from tautlog.model.uncertainty import Part, rectangular

FloatArray = npt.NDArray[np.float64]

LONGEST_S = 0.04  # after a loss, in which it may still have been there: `loss.FINAL_S`; own choice
HALF = 0.5  # of the force: a fall has passed its middle
# Of the force, below zero: no line pushes, only what is unloaded swings so far; own choice.
PUSHED = 0.3
MOST_ENDS = 17  # that are tried: between them the peak moves evenly; own choice


@dataclass(frozen=True)
class Ending:
    """What the peak is for every place at which the force may have ended.

    Attributes
    ----------
    taken_n : float
        Peak that was taken: the likeliest, for most breaks are corners.
    lowest_n, highest_n : float
        Least and most of the peaks up to each of those places.
    first, last : int
        Samples: earliest and latest end.
    """

    taken_n: float
    lowest_n: float
    highest_n: float
    first: int
    last: int

    @property
    def mean_n(self) -> float:
        """Of a triangle over what is open, with its top at what was taken; not below it.

        Cell and amplifier only take from a corner: what was seen is the least that was there,
        unless the force ended sooner, which is in the standard deviation.
        """
        return max((self.lowest_n + self.taken_n + self.highest_n) / 3.0, self.taken_n)

    @property
    def u_n(self) -> float:
        """Standard deviation of that triangle."""
        a, b, c = self.lowest_n, self.highest_n, self.taken_n
        return math.sqrt(max(a * a + b * b + c * c - a * b - a * c - b * c, 0.0) / 18.0)

    @property
    def unsure(self) -> bool:
        """Whether so much is open that only a lower bound can be told."""
        return K_FACTOR * self.u_n > BREAK_MOST * self.highest_n

    def correction(self) -> Correction:
        """To the mean of what is open; to its least where only that can be told."""
        name = "end of the force"
        if self.unsure:
            u = rectangular(self.highest_n - self.lowest_n)
            basis = "from the least that a break seen so badly leaves to the most (GUM F.2.4.5)"
            return Correction(self.lowest_n - self.taken_n, Part(name, u, basis=basis))
        basis = (
            "peaks up to every place where the break may be, half as long as the fall either way; "
            "a triangle with its top where it was found (GUM 4.3.9); corrected upwards only"
        )
        return Correction(self.mean_n - self.taken_n, Part(name, self.u_n, basis=basis))


def places(force_n: FloatArray, rate_hz: float, broke: int) -> tuple[int, int]:
    """First and last sample at which the force may have ended.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Zero removed, positive in the contact, not filtered.
    rate_hz : float
        Samples per second.
    broke : int
        Where the loss of load was found.
    """
    after = force_n[broke : broke + max(int(LONGEST_S * rate_hz), 2)]
    top_n = float(after[0])
    pushed = np.flatnonzero(after < -PUSHED * top_n)
    if pushed.size:
        after = after[: pushed[0]]
    late = int(np.flatnonzero(after >= HALF * top_n)[-1])
    return max(broke - late, 0), broke + late


def ending(
    force_n: FloatArray,
    rate_hz: float,
    cfc: int | None,
    span: tuple[int, int, int],
    taken_n: float,
    glitch_n: float | None = None,
) -> Ending | None:
    """Peaks for every place where the force may have ended; None where it is one place.

    Parameters
    ----------
    force_n, rate_hz : see `places`
    cfc : int or None
        Class of the peak.
    span : tuple of int
        Sample from which to filter, of the contact's start, of the loss.
    taken_n : float
        Peak that was taken.
    glitch_n : float or None
        Of a sample next to the break that was left out as a glitch: it may be the top.
    """
    start, begin, broke = span
    first, last = places(force_n, rate_hz, broke)
    first = max(first, begin + 1)
    if last <= first and glitch_n is None:
        return None
    ends = np.unique(np.linspace(first, max(last, first), MOST_ENDS).astype(int))
    found = [taken_n] if glitch_n is None else [taken_n, glitch_n]
    for end in ends:
        piece = force_n[start : end + 1]
        piece = piece if cfc is None else cfc_filter(piece, rate_hz, cfc)
        found.append(float(piece[begin - start :].max()))
    return Ending(taken_n, min(found), max(found), first, last)
