"""Confirmation: what besides the force tells that a load path let go, or that it did not.

A burst of interference rises and ends as the force of a line that parts does, and where
nothing rebounds no momentum closes the balance. So a loss of load is believed where a wire,
an inspection or the time of the fall says the same, and is in doubt where nothing does
(common practice: an event is told by two independent things).
"""

from __future__ import annotations

from tautlog.model.free_fall import free_fall_s
from tautlog.model.inspection import GAVE_WAY, WHOLE
from tautlog.model.limits import FALL_CLOCK_S
from tautlog.model.marks import Marks
from tautlog.model.trace import DropSetup

WIRE_S = 0.1  # from the end of the force to the opening of a break wire: it is longer; own choice
# Of a free fall: less is none, and no rail with the friction that `estimate` allows takes
# more (own mechanics; a burst at a random moment of a record hits this band seldom).
SOONEST, LATEST = 0.97, 1.10


def doubt_of_loss(marks: Marks, setup: DropSetup) -> tuple[str, str] | None:
    """Code and words of what is in doubt about a loss of load, or None."""
    if marks.break_time_s is None:
        return None
    if setup.article_finding in WHOLE:
        return "finding-contradicts", (
            f"the trace shows a loss of load and the article was found {setup.article_finding}: "
            "say what else let go, or look for a burst of interference"
        )
    if setup.article_finding in GAVE_WAY or _wire_opened(marks) or _fell_on_time(marks, setup):
        return None
    return "let-go-unconfirmed", (
        "only the force shows that something let go, and a burst of interference looks the "
        "same: inspect the article; a release switch, a height and a break wire would tell"
    )


def _wire_opened(marks: Marks) -> bool:
    """Whether a break wire opened with the force, or soon after."""
    wires = (marks.article_wire_s, marks.mount_wire_s)
    return any(
        opened_s is not None and abs(opened_s - (marks.break_time_s or 0.0)) <= WIRE_S
        for opened_s in wires
    )


def _fell_on_time(marks: Marks, setup: DropSetup) -> bool:
    """Whether the force came when a sled let go at the release had fallen its height."""
    fall_s = marks.fall_time_s
    if fall_s is None or not setup.height_m or marks.has("release-doubt"):
        return False
    free_s = free_fall_s(setup.height_m)
    return SOONEST * free_s - FALL_CLOCK_S <= fall_s <= LATEST * free_s + FALL_CLOCK_S
