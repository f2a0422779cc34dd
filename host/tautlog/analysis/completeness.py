"""Completeness: whether a record holds the whole of its drop, and what is missing if not.

A peak is the peak only if what came before and after it was recorded. What a record
says of its own end is believed where it says that it ended early; that it holds all is
asked of the trace itself: it shows the slack line before the pull, and an end of the
pull, and at best the sled at rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.model.limits import UNSAID_HEIGHT_M
from tautlog.model.marks import (
    BEFORE_ONSET,
    BEFORE_RELEASE,
    BEFORE_REST,
    IN_FLIGHT,
    IN_THE_FALL,
    IN_THE_RISE,
)
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2, Completeness

# Reasons of the board (`wire.REASONS`) with which a recording ends as it should.
WHOLE_ENDINGS = ("finished", "window-complete", "time-up")
# States of a record (`record`) in which it was finished, then or later.
WHOLE_STATES = ("complete", "recovered")
# No load has come when the record goes on for so much longer than the fall: friction of a
# third of the weight, and a latch that hangs on; common practice.
FALL_FACTOR, FALL_MORE_S = 1.5, 0.1
PEAK_PASSED = 0.5  # of the peak: when less is left, the peak is behind; own choice
NEAR_END_S = 0.005  # a peak so near to an end of the data may go on beyond it; own choice
RESTLESS = 0.05  # of the peak: a line that pulls is not quiet, one that is slack is; own choice
LEAST_BEFORE_S = 0.002  # of slack line before the onset, for a zero; own choice

CALLED_OFF, CALLED_OFF_BEFORE = "called-off", "the drop was called off before the release"

MISSING = {
    BEFORE_RELEASE: "the release and all that follows",
    BEFORE_ONSET: "the time in which the line comes taut",
    IN_THE_RISE: "the rest of the rise, and so perhaps the peak",
    IN_THE_FALL: "the end of the pull, and all checks that need it",
    IN_FLIGHT: "the next pull, without which nothing shows that this one had ended",
    BEFORE_REST: "the sled at rest",
}


@dataclass(frozen=True)
class Extent:
    """How much of a drop a trace holds; times in seconds from its start, None where it shows none.

    Attributes
    ----------
    end_s : float
        Last sample that is there.
    release_s, onset_s, peak_s, slack_s : float or None
        Of the drop.
    height_m : float or None
        Free travel, where it was said.
    left_of_peak : float
        Force with which it ends, over the peak.
    caught : bool
        A later pull of the line is in it.
    rests : bool
        The sled hangs still at its end, or the load path let go.
    by_board : bool
        A board recorded it: then its release is in it, or it was cut before.
    restless : float
        Rms of the force in the first stretch of a trace without a release, less what changes from
        sample to sample, over the peak.
    """

    end_s: float
    release_s: float | None = None
    onset_s: float | None = None
    peak_s: float | None = None
    slack_s: float | None = None
    height_m: float | None = None
    left_of_peak: float = 0.0
    caught: bool = False
    rests: bool = False
    by_board: bool = False
    restless: float = 0.0


def where_it_ends(extent: Extent) -> str | None:
    """Return the place at which a record ends, or None when it holds the whole drop."""
    if extent.onset_s is None or extent.peak_s is None:
        return _without_contact(extent)
    if extent.rests:
        return None
    if extent.slack_s is None and extent.left_of_peak > PEAK_PASSED:
        return IN_THE_RISE
    if extent.end_s - extent.peak_s < NEAR_END_S:
        return IN_THE_RISE
    if extent.slack_s is None:
        return IN_THE_FALL
    return BEFORE_REST if extent.caught else IN_FLIGHT


def _without_contact(extent: Extent) -> str | None:
    if extent.release_s is None:
        return BEFORE_RELEASE if extent.by_board else BEFORE_ONSET
    height_m = UNSAID_HEIGHT_M if extent.height_m is None else extent.height_m
    fall_s = math.sqrt(2.0 * max(height_m, 0.0) / STANDARD_GRAVITY_M_PER_S2)
    covered_s = extent.end_s - extent.release_s
    return None if covered_s >= FALL_FACTOR * fall_s + FALL_MORE_S else BEFORE_ONSET


def cut_short(told: Completeness | None) -> str:
    """Why a record does not hold all that it should, by its own words; "" if it does."""
    if told is None:
        return ""
    if told.called_off:
        return f"{CALLED_OFF_BEFORE} ({told.called_off}), and the board went safe"
    if told.status not in WHOLE_STATES:
        return "the record was never finished" if told.status == "recording" else "it was aborted"
    if told.ended_by in WHOLE_ENDINGS:
        return ""
    if not told.ended_by:
        return "the board never reported the end of the recording"
    return f"the board ended the recording early: {told.ended_by}"


def starts_late(extent: Extent) -> bool:
    """Whether a trace begins in its pull: its zero and its onset are not in it."""
    if extent.onset_s is None:
        return False
    return extent.onset_s < LEAST_BEFORE_S or extent.restless > RESTLESS
