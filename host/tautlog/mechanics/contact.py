"""Contact: from the line coming taut until it is slack, broken or at rest.

Between contacts the sled flies freely, which is solved in closed form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from tautlog.mechanics.phase import (
    SLIPPED,
    SPEED,
    STRETCH,
    Phase,
    broken_at_once,
    line_n,
    solved_phase,
)
from tautlog.mechanics.rig_model import RigModel

FloatArray = npt.NDArray[np.float64]

JUMP_S = 1e-9  # width given to a jump of force in the stored grid
_STILL_N = 0.02  # less than a count of any rig here: an oscillation below it is rest
_MOST_PHASES = 20_000


@dataclass(frozen=True)
class SolvedContact:
    """From the line coming taut until it is slack, broken or at rest, or the time is up."""

    phases: tuple[Phase, ...]
    ending: str  # slack, break, rest, time
    start_speed_m_s: float

    @property
    def start_s(self) -> float:
        """When the line came taut."""
        return self.phases[0].start_s

    @property
    def end_s(self) -> float:
        """When it ended."""
        return self.phases[-1].end_s

    @property
    def end_state(self) -> FloatArray:
        """State at the end."""
        return self.phases[-1].end_state

    def grid(self, step_s: float) -> tuple[FloatArray, FloatArray]:
        """Times and forces, with a steep step wherever the force jumps."""
        times, forces = [], []
        for phase in self.phases:
            time_s = phase.grid_s(step_s)
            forces.append(phase.force_n(time_s))
            time_s[0] += JUMP_S
            times.append(time_s)
        return np.concatenate(times), np.concatenate(forces)

    def force_at_n(self, time_s: float) -> float:
        """Force of the line at one time within the contact."""
        for phase in self.phases:
            if time_s <= phase.end_s:
                break
        return float(phase.force_n(np.array([time_s]))[0])


def free_fall(model: RigModel, distance_m: float) -> tuple[float, float]:
    """Time and speed after falling a distance from rest."""
    acceleration = model.acceleration_m_s2(rising=False)
    return math.sqrt(2.0 * distance_m / acceleration), math.sqrt(2.0 * acceleration * distance_m)


def _begins(model: RigModel, state: FloatArray, sign: int) -> str:
    """Whether a phase is over before it begins, because the force jumps at its start."""
    force_n = line_n(model, state, False)
    if model.break_force_n is not None and force_n >= model.break_force_n:
        return "break"
    slip = model.slip
    if slip is not None and sign > 0 and state[SLIPPED] < slip.length_m:
        return "slips" if force_n > slip.held_n(float(state[SLIPPED])) else ""
    return ""


def _contact(model: RigModel, start_s: float, state: FloatArray, until_s: float) -> SolvedContact:
    """Solve one contact from the taut line on."""
    phases: list[Phase] = []
    speed_m_s, slipping, time_s = float(state[SPEED]), False, start_s
    sign = -1 if speed_m_s < 0 else 1  # after a graze it still rises, see `_flight`
    while len(phases) < _MOST_PHASES:
        begins = "" if slipping else _begins(model, state, sign)
        slipping = slipping or begins == "slips"
        if begins == "break":
            phase = broken_at_once(model, time_s, state)
        else:
            phase = solved_phase(model, time_s, state, sign, slipping, until_s)
        phases.append(phase)
        time_s, state, ending = phase.end_s, phase.end_state.copy(), phase.ending
        if ending in ("slack", "break", "time"):
            return SolvedContact(tuple(phases), ending, speed_m_s)
        if ending == "sticks":
            # The event is found to within rounding; the rounding must not start another slip.
            assert model.slip is not None
            state[SLIPPED] = model.slip.length_m
        if ending == "turn":
            state[SPEED] = 0.0
            catch_n = model.catch_n(float(state[STRETCH]), 0.0)
            net_n = model.weight_n - line_n(model, state, False) - catch_n
            if abs(net_n) <= max(model.friction_n, _STILL_N):
                return SolvedContact(tuple(phases), "rest", speed_m_s)
            sign = 1 if net_n > 0 else -1
        slipping = ending == "slips"
    raise RuntimeError(f"no rest after {_MOST_PHASES} turns: add damping, or shorten the duration")


def _flight(model: RigModel, start_s: float, state: FloatArray) -> tuple[float, FloatArray]:
    """Free flight of a sled whose line went slack, until it pulls again."""
    up_m_s = -float(state[SPEED])
    slack_m = float(state[STRETCH] - state[SLIPPED])
    rising = model.acceleration_m_s2(rising=True)
    above_m = up_m_s**2 / (2.0 * rising) - slack_m  # highest point above the taut position
    landed = state.copy()
    if above_m > 0:
        fall_s, speed_m_s = free_fall(model, above_m)
        landed[STRETCH], landed[SPEED] = state[SLIPPED], speed_m_s
        return start_s + up_m_s / rising + fall_s, landed
    # The sled turns round before the line is really slack: the damper lets go again there.

    def virtual(after_s: float) -> float:
        stretch_m = slack_m - up_m_s * after_s + 0.5 * rising * after_s**2
        return model.virtual_n(stretch_m, -up_m_s + rising * after_s)

    top_s = up_m_s / rising
    after_s = min(1e-7, top_s)
    if virtual(after_s) < 0:
        after_s = brentq(virtual, after_s, top_s, xtol=1e-14)
    landed[STRETCH] += -up_m_s * after_s + 0.5 * rising * after_s**2
    landed[SPEED] += rising * after_s
    return start_s + after_s, landed


def contacts(model: RigModel, duration_s: float) -> list[SolvedContact]:
    """All contacts that begin within a time."""
    if model.never_taut:
        return []
    time_s, speed_m_s = free_fall(model, model.height_m)
    return contacts_from(model, time_s, np.array([0.0, speed_m_s, 0.0, 0.0, 0.0]), duration_s)


def contacts_from(
    model: RigModel, time_s: float, state: FloatArray, duration_s: float
) -> list[SolvedContact]:
    """All contacts that begin within a time, from a line that is taut at a time and state."""
    found: list[SolvedContact] = []
    while time_s < duration_s:
        contact = _contact(model, time_s, state, duration_s)
        found.append(contact)
        if contact.ending != "slack":
            break
        time_s, state = _flight(model, contact.end_s, contact.end_state)
    return found
