"""Chance: how likely a planned drop falls between target and limit, by its predicted band.

The band of a prediction is not symmetric: bedding-in raises its upper end, unknown friction
lowers its lower end. The peak is taken as a normal distribution with two widths, one for each
side of the predicted peak, whose ends of the band are two standard deviations away (own choice;
the two-piece normal distribution, from memory). The predicted peak is then the most likely one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.model.limits import K_FACTOR
from tautlog.planning.aim import Aim
from tautlog.planning.prediction import Band, Prediction


@dataclass(frozen=True)
class Chance:
    """Shares of one: the drop stays below, hits, or goes above what must be proven.

    Attributes
    ----------
    below, between, above : float
        Peak under the target; from target to limit; above the limit.
    proves : float
        Peak that proves the target in spite of the uncertainty of the measurement.
    """

    below: float
    between: float
    above: float
    proves: float


def chance_of(prediction: Prediction | Band, target_n: float, limit_n: float, aim: Aim) -> Chance:
    """The chances of a planned drop.

    What is measured scatters by the measurement's own uncertainty more than the true peak. A line
    that was learned with the same chain shares its error; then the chance of a proof is higher.

    Parameters
    ----------
    prediction : Prediction or Band
        Its peak with the band.
    target_n, limit_n : float
        Force to reach and force not to exceed.
    aim : Aim
        What must be measured for a proof.
    """
    below = _share_under(prediction, target_n)
    above = 1.0 - _share_under(prediction, limit_n)
    u_n = prediction.peak_force_n * aim.u_fraction / K_FACTOR
    measured = [_share_under(prediction, end, u_n) for end in (aim.low_n, aim.high_n)]
    proves = max(measured[1] - measured[0], 0.0)
    return Chance(below, max(1.0 - below - above, 0.0), above, proves)


def _share_under(prediction: Prediction | Band, force_n: float, more_u_n: float = 0.0) -> float:
    """Distribution function of the peak: two half normals that meet at the predicted peak."""
    peak_n = prediction.peak_force_n
    lower = math.hypot((peak_n - prediction.peak_low_n) / K_FACTOR, more_u_n)
    upper = math.hypot((prediction.peak_high_n - peak_n) / K_FACTOR, more_u_n)
    width = lower if force_n < peak_n else upper
    if not lower + upper > 0.0 or not width > 0.0:
        return 0.0 if force_n < peak_n else 1.0
    reached = math.erf((force_n - peak_n) / width / math.sqrt(2.0))
    return (lower + width * reached) / (lower + upper)
