"""Motion truth: the exact figures of a motion, from the solved equations."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from tautlog.mechanics.contact import JUMP_S, SolvedContact
from tautlog.mechanics.phase import IMPULSE, SLIPPED, SPEED, STRETCH, WORK

BREAK_FALL_S = 2e-4  # common practice: a parted line unloads in less than 0.5 ms
FIRST_GRID_S = 2e-5
LATER_GRID_S = 5e-5


@dataclass(frozen=True)
class MotionTruth:
    """Exact figures of a motion; times from the instant the latch lets go.

    A figure is None where it does not exist. Durations, rise and impulse are of
    the line's force in the first contact; the ringing after a break is left out.

    Attributes
    ----------
    onset_time_s, slack_time_s : float or None
        Begin and end of the first contact (end of the break, if it broke).
    peak_force_n, peak_time_s, peak_stretch_m : float or None
        Highest force of the first contact, when, and the stretch then.
    rise_time_s : float or None
        From the first rise through 10 % to the first through 90 % of the peak.
    duration_s, fwhm_s, base_duration_s : float or None
        Above 10 %, above 50 %, and from onset to slack.
    impulse_ns : float or None
        Integral of the force over the first contact.
    rest_force_n : float or None
        Force at rest; None if the sled is not at rest within the time solved.
    bounces : int
        Later contacts with a peak above 2 % of the first.
    fall_time_s, taut_speed_m_s : float or None
        Free fall until onset; speed at onset.
    rebound_speed_m_s, restitution : float or None
        Upward speed when the line goes slack; its ratio to the taut speed.
    max_stretch_m, max_stretch_time_s : float or None
        Where the sled stood still for the first time.
    energy_absorbed_j : float or None
        Integral of force over stretch until the sled stands still or the line breaks.
    break_time_s, break_force_n : float or None
        When the force began to collapse, and the force then.
    slipped_m : float
        Length that slipped through a clamp.
    """

    onset_time_s: float | None = None
    slack_time_s: float | None = None
    peak_force_n: float | None = None
    peak_time_s: float | None = None
    peak_stretch_m: float | None = None
    rise_time_s: float | None = None
    duration_s: float | None = None
    fwhm_s: float | None = None
    base_duration_s: float | None = None
    impulse_ns: float | None = None
    rest_force_n: float | None = None
    bounces: int = 0
    fall_time_s: float | None = None
    taut_speed_m_s: float | None = None
    rebound_speed_m_s: float | None = None
    restitution: float | None = None
    max_stretch_m: float | None = None
    max_stretch_time_s: float | None = None
    energy_absorbed_j: float | None = None
    break_time_s: float | None = None
    break_force_n: float | None = None
    slipped_m: float = 0.0


def peak_of(contact: SolvedContact, step_s: float) -> tuple[float, float, float]:
    """Time, force and stretch of the highest force of a contact."""
    best = (-1.0, 0.0, 0.0)
    for phase in contact.phases:
        time_s = phase.grid_s(step_s)
        force_n = phase.force_n(time_s)
        at = int(np.argmax(force_n))
        found = (float(force_n[at]), float(time_s[at]))
        if 0 < at < time_s.size - 1:
            best_s = minimize_scalar(
                lambda t, phase=phase: -float(phase.force_n(np.array([t]))[0]),
                bounds=(time_s[at - 1], time_s[at + 1]),
                method="bounded",
                options={"xatol": 1e-13},
            )
            found = max(found, (-float(best_s.fun), float(best_s.x)))
        if found[0] > best[0]:
            state = phase.solution(np.array([found[1]]))[:, 0]
            best = (*found, float(state[STRETCH] - state[SLIPPED]))
    return best[1], best[0], best[2]


def _crossings(contact: SolvedContact, level_n: float, peak_s: float) -> tuple[float, float | None]:
    """First rise through a level, and first fall through it after the peak."""
    time_s, force_n = contact.grid(FIRST_GRID_S)
    above = force_n >= level_n

    def exact(left: int) -> float:
        if time_s[left + 1] - time_s[left] <= 2 * JUMP_S:
            return float(time_s[left])
        return float(
            brentq(
                lambda t: contact.force_at_n(t) - level_n,
                time_s[left],
                time_s[left + 1],
                xtol=1e-14,
            )
        )

    first = int(np.argmax(above))
    rise_s = float(time_s[0]) if first == 0 else exact(first - 1)
    below = np.flatnonzero(~above & (time_s > peak_s))
    return rise_s, exact(int(below[0]) - 1) if below.size else None


def _durations(contact: SolvedContact, truth: MotionTruth) -> MotionTruth:
    """Add rise time, durations and slack time."""
    assert truth.peak_force_n is not None
    assert truth.peak_time_s is not None
    crossed = [_crossings(contact, f * truth.peak_force_n, truth.peak_time_s) for f in (0.1, 0.5)]
    high_s, _ = _crossings(contact, 0.9 * truth.peak_force_n, truth.peak_time_s)
    slack_s = contact.end_s if contact.ending == "slack" else None
    if contact.ending == "break":
        slack_s = contact.end_s + BREAK_FALL_S
        # Inverse of the half-cosine by which the force collapses.
        falls = [contact.end_s + BREAK_FALL_S * math.acos(2 * f - 1) / math.pi for f in (0.1, 0.5)]
        crossed = [
            (rise, fall if fall is not None else after)
            for (rise, fall), after in zip(crossed, falls, strict=True)
        ]
    (low_s, low_end_s), (half_s, half_end_s) = crossed
    return replace(
        truth,
        slack_time_s=slack_s,
        base_duration_s=None if slack_s is None else slack_s - contact.start_s,
        rise_time_s=high_s - low_s,
        duration_s=None if low_end_s is None else low_end_s - low_s,
        fwhm_s=None if half_end_s is None else half_end_s - half_s,
    )


def first_contact(contact: SolvedContact) -> MotionTruth:
    """Figures of the first contact."""
    peak_s, peak_n, peak_stretch_m = peak_of(contact, FIRST_GRID_S)
    end = contact.end_state
    turn = next((phase for phase in contact.phases if phase.ending == "turn"), None)
    truth = MotionTruth(
        onset_time_s=contact.start_s,
        fall_time_s=contact.start_s,
        taut_speed_m_s=contact.start_speed_m_s,
        peak_force_n=peak_n,
        peak_time_s=peak_s,
        peak_stretch_m=peak_stretch_m,
        max_stretch_m=None if turn is None else float(turn.end_state[STRETCH]),
        max_stretch_time_s=None if turn is None else turn.end_s,
        energy_absorbed_j=None if turn is None else float(turn.end_state[WORK]),
        slipped_m=float(end[SLIPPED]),
    )
    if contact.ending == "slack":
        truth = replace(
            truth,
            impulse_ns=float(end[IMPULSE]),
            rebound_speed_m_s=-float(end[SPEED]),
            restitution=(
                -float(end[SPEED]) / contact.start_speed_m_s if contact.start_speed_m_s else None
            ),
        )
    if contact.ending == "break":
        break_n = contact.force_at_n(contact.end_s)
        truth = replace(
            truth,
            impulse_ns=float(end[IMPULSE]) + 0.5 * break_n * BREAK_FALL_S,
            energy_absorbed_j=float(end[WORK]) if turn is None else truth.energy_absorbed_j,
            break_time_s=contact.end_s,
            break_force_n=break_n,
        )
    return _durations(contact, truth)
