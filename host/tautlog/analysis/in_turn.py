"""In turn: channels that one converter samples one after the other, brought to the same times.

Channel c of n is converted c / (n x reduction) of a sample after the first: 2 us at 500 000
conversions a second. A force that rises by 200 N/ms moves by 0.4 N in that time, which is little,
and known, so that it is taken out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tautlog.analysis.leg_vectors import axial_u_fraction
from tautlog.model.leg_facts import LegFacts
from tautlog.model.trace import Trace

FloatArray = npt.NDArray[np.float64]


def on_time(values: FloatArray, late_samples: float) -> FloatArray:
    """Values at the times of the first channel, by straight lines between samples.

    Parameters
    ----------
    values : ndarray of float64, shape (n_samples,)
        As sampled; NaN where missing. The sample after a missing one becomes missing, too.
    late_samples : float
        How much later they were sampled, in samples, 0 <= x < 1.

    Notes
    -----
    At a quarter of a sample the line between two samples takes less than 0.1 % from a sine of a
    hundredth of the sample rate: 1 - |1 - d + d exp(-j w)| with d = 0.25, closed form.
    """
    if not late_samples or not values.size:
        return values
    moved = values - late_samples * np.diff(values, prepend=values[0])
    moved[0] = values[0]
    return moved


def summed(legs: Sequence[Trace | None], lean: Sequence[LegFacts] = ()) -> Trace:
    """The sum of the legs as one force, with what is known of all of them.

    Calibrations of legs may share weights and people: their uncertainties are added, not their
    squares. NaN throughout if a leg is not calibrated.

    Parameters
    ----------
    legs : sequence of Trace or None
        The legs at the same times, at least one of them calibrated; None for one that is not.
    lean : sequence of LegFacts
        Angles of all legs, in their order: then the sum is that along the vertical, which is what
        acts on the sled. Empty: the plain sum.
    """
    known = [leg for leg in legs if leg is not None]
    first = known[0]
    if len(known) < len(legs):
        nothing = np.full(first.force_n.size, np.nan)
        return replace(first, force_n=nothing, clipped=np.zeros(nothing.size, dtype=bool))
    parts = [one.cosine for one in lean] or [1.0] * len(known)
    bandwidths = [leg.bandwidth_hz for leg in known]
    return replace(
        first,
        force_n=np.sum(
            [part * leg.force_n for part, leg in zip(parts, known, strict=True)], axis=0
        ),
        clipped=np.any([leg.clipped for leg in known], axis=0),
        quantum_n=_rooted(parts, [leg.quantum_n for leg in known]),
        # Each leg has levels of its own: a sum does not tell in which codes they lie.
        steps=None if first.steps is None else replace(first.steps, linearity=None),
        newton_per_step=_rooted(parts, [leg.newton_per_step for leg in known]),
        calibration_u_fraction=math.hypot(
            max(leg.calibration_u_fraction for leg in known), _angles_u_fraction(known, lean)
        ),
        calibration_u_n=sum(
            part * leg.calibration_u_n for part, leg in zip(parts, known, strict=True)
        ),
        covered_n=_covered_n(known, parts),
        bandwidth_hz=min(bandwidths) if all(bandwidths) else 0.0,
        calibration_expired=any(leg.calibration_expired for leg in known),
    )


def _rooted(parts: Sequence[float], values: Sequence[float]) -> float:
    """Root of the sum of squares of what is independent, each with its part."""
    return math.hypot(*(part * value for part, value in zip(parts, values, strict=True)))


def _at_largest(legs: Sequence[Trace], parts: Sequence[float]) -> tuple[list[float], float]:
    """Pull of each leg where their sum is largest, and the sum; none without samples."""
    pulls = [leg.force_n - np.nanmedian(leg.force_n) for leg in legs if leg.force_n.size]
    if len(pulls) < len(legs):
        return [], 0.0
    total = np.sum([part * pull for part, pull in zip(parts, pulls, strict=True)], axis=0)
    if not np.isfinite(total).any():
        return [], 0.0
    peak = int(np.nanargmax(np.abs(total)))
    return [float(pull[peak]) for pull in pulls], float(total[peak])


def _angles_u_fraction(legs: Sequence[Trace], lean: Sequence[LegFacts]) -> float:
    """Expanded relative uncertainty of the sum by the angles, shared as at the largest sum."""
    pulls, total = _at_largest(legs, [one.cosine for one in lean]) if lean else ([], 0.0)
    return axial_u_fraction(pulls, lean) if total else 0.0


def _covered_n(legs: Sequence[Trace], parts: Sequence[float]) -> float:
    """Largest sum at which no leg is beyond its calibration, shared as at the largest sum."""
    if not all(leg.covered_n for leg in legs):
        return 0.0
    pulls, total = _at_largest(legs, parts)
    if not pulls:
        return 0.0
    shares = [abs(pull / total) if total else 1.0 for pull in pulls]
    return float(min(leg.covered_n / max(s, 1e-6) for leg, s in zip(legs, shares, strict=True)))
