"""Rails: where in a record the signal lies at a known limit of amplifier or converter."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Rails:
    """Samples at a known limit: a code, words, and whether the contact's are among them."""

    code: str
    text: str
    of_contact: bool


def rails_of(
    clipped: BoolArray,
    rate_hz: float,
    spikes: npt.NDArray[np.int_],
    *,
    release: float | None,
    contact: tuple[int, int] | None,
    broke: float | None,
    begins_s: float = 0.0,
) -> Rails | None:
    """Tell where, and for how long, a record lies at a limit; None where nowhere.

    Parameters
    ----------
    clipped : ndarray of bool, shape (n_samples,)
        Samples at a limit of converter or amplifier.
    spikes : ndarray of int
        Samples that jumped out of the trace and were left out.
    release : float or None
        Sample of the release.
    contact : (int, int) or None
        Start and stop of the measured contact.
    broke : float or None
        Sample of a loss of load: what the freed beam does after it, no figure is made of.
    begins_s : float
        Time of the first sample.
    """
    at = clipped.copy()
    at[spikes[spikes < at.size]] = False
    places = np.flatnonzero(at)
    if not places.size:
        return None
    start, stop = contact if contact is not None else (0, at.size)
    of_contact = bool(at[start:stop].any())
    where = [
        f"{1000 * count / rate_hz:.3g} ms {name}"
        for name, count in _spells(places, release, contact)
    ]
    text = (
        f"the signal lies at a limit of converter or amplifier for {' and '.join(where)}, the "
        f"first time at {begins_s + places[0] / rate_hz:.4f} s"
    )
    if contact is not None and not of_contact and broke is not None and places[0] > broke:
        return Rails("rail-after-loss", text + ", after the load path let go", False)
    return Rails("clipped", text, of_contact)


def _spells(
    places: npt.NDArray[np.int_],
    release: float | None,
    contact: tuple[int, int] | None,
) -> list[tuple[str, int]]:
    """How many samples at a limit lie in which part of the record."""
    if contact is None:
        return [("of the record", places.size)]
    released = 0 if release is None else int(release)
    edges = (0, min(released, contact[0]), contact[0], contact[1], int(places[-1]) + 1)
    names = ("before the release", "in the fall", "in the contact", "after the contact")
    counts = [
        int(np.count_nonzero((places >= low) & (places < high)))
        for low, high in itertools.pairwise(edges)
    ]
    return [(name, count) for name, count in zip(names, counts, strict=True) if count]
