"""Ladder: the drops that lead up to a load, and when to stop climbing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.model.limits import GO_ON_WITHIN
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import Prediction, predict_drop
from tautlog.planning.solving import solve_height

LADDER = (0.25, 0.5, 0.75, 0.9, 1.0)  # common practice, no source


REACHED = 0.95  # of a step's peak: a drop that pulled so hard has done the step; own choice


@dataclass(frozen=True)
class Step:
    """One step of a ladder: share of the aim, prediction, purpose and hold condition."""

    fraction: float
    prediction: Prediction
    purpose: str
    hold: str


_PURPOSE = {
    0.25: "check of rig and recorder on a dummy article",
    1.0: "the qualifying drop",
}
HOLD = (
    "go on only if the record is valid, measured over predicted is within "
    f"{100 * GO_ON_WITHIN:.0f} %, nothing moved or changed, and the mount is proven for the next "
    "step"
)
STOP_RULES = (
    "any movement of the mount",
    "an unexplained second peak",
    "the sled touches the catch before the line is slack",
    "a crack, a slip or a changed length of the article",
    "two invalid records in a row",
    "a peak above the target of the next step",
)


def ladder(drop: PlannedDrop, aim_n: float, fractions: tuple[float, ...] = LADDER) -> list[Step]:
    """Return the drops that lead up to an aim, in steps of load, by height alone.

    Raises
    ------
    PlanError
        If a step cannot be reached by height alone.
    """
    if not fractions or any(not 0 < share <= 1.5 for share in fractions):
        raise PlanError(f"steps {fractions}: allowed are shares of the load, > 0 and <= 1.5")
    steps = []
    for fraction in sorted(fractions):
        prediction = predict_drop(solve_height(drop, fraction * aim_n))
        steps.append(Step(fraction, prediction, _PURPOSE.get(fraction, "a step up"), HOLD))
    return steps


def climbed(steps: Sequence[Step], peaks_n: Sequence[float]) -> int:
    """How many steps of a ladder were climbed, one after the other.

    A drop climbs the step whose turn it is if its peak lies where the hold condition allows going
    on. One that pulled harder climbs nothing: whatever the steps below it were to show before it,
    nobody had seen.

    Parameters
    ----------
    steps : sequence of Step
        From the lowest up.
    peaks_n : sequence of float
        Peaks of valid drops, oldest first.
    """
    done = 0
    for peak_n in peaks_n:
        if done == len(steps):
            break
        if REACHED <= peak_n / steps[done].prediction.peak_force_n <= 1.0 + GO_ON_WITHIN:
            done += 1
    return done
