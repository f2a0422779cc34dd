"""Phase: one smooth stretch of a contact, solved as equations of motion.

It ends where the direction turns, the line goes slack, breaks, begins to slip or sticks
again, or when the time is up. Exact figures come from its solution, never from a stored grid.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp

from tautlog.mechanics.rig_model import RigModel

FloatArray = npt.NDArray[np.float64]

# State of a contact: stretch, speed, slipped length, impulse and work of the line.
STRETCH, SPEED, SLIPPED, IMPULSE, WORK = range(5)


@dataclass(frozen=True)
class Phase:
    """One smooth stretch of a contact: one direction, line holding or slipping."""

    start_s: float
    end_s: float
    end_state: FloatArray
    ending: str  # turn, slack, break, slips, sticks, time
    solution: Callable[[FloatArray], FloatArray]
    force: Callable[[FloatArray], FloatArray]

    def force_n(self, time_s: FloatArray) -> FloatArray:
        """Force of the line at times within the phase."""
        return self.force(self.solution(time_s))

    def grid_s(self, step_s: float) -> FloatArray:
        """Times from begin to end, no farther apart than a step."""
        if self.end_s == self.start_s:
            return np.array([self.start_s])
        intervals = max(4, math.ceil((self.end_s - self.start_s) / step_s))
        return np.linspace(self.start_s, self.end_s, intervals + 1)


def _force_of_states(model: RigModel, slipping: bool) -> Callable[[FloatArray], FloatArray]:
    """Force of the line as a function of states of shape (5, n_times)."""
    if slipping:
        assert model.slip is not None
        slip = model.slip
        return lambda states: slip.held_n(states[SLIPPED])

    def force(states: FloatArray) -> FloatArray:
        stretch_m = states[STRETCH] - states[SLIPPED]
        damper = model.damping_ns_per_m * states[SPEED]
        if model.uptake_m > 0:
            damper = damper * np.clip(stretch_m / model.uptake_m, 0.0, 1.0)
        pulled_n: FloatArray = np.maximum(0.0, model.elastic_n(stretch_m) + damper)
        return pulled_n

    return force


def line_n(model: RigModel, state: list[float] | FloatArray, slipping: bool) -> float:
    """Force of the line at one state, for speed in plain floats."""
    if slipping:
        assert model.slip is not None
        return float(model.slip.held_n(state[SLIPPED]))
    return max(0.0, model.virtual_n(float(state[STRETCH] - state[SLIPPED]), float(state[SPEED])))


def _derivative(
    model: RigModel, sign: int, slipping: bool
) -> Callable[[float, FloatArray], tuple[float, float, float, float, float]]:
    """Right-hand side of the equations of motion for one direction of motion."""
    push_n = model.weight_n - sign * model.friction_n
    mass_kg = model.mass_kg

    def rate(_time_s: float, state: FloatArray) -> tuple[float, float, float, float, float]:
        values = state.tolist()
        speed = values[SPEED]
        force = line_n(model, values, slipping)
        net_n = push_n - force - model.catch_n(values[STRETCH], speed)
        return speed, net_n / mass_kg, speed if slipping else 0.0, force, force * speed

    return rate


@dataclass(frozen=True)
class _Event:
    """Where a phase ends: a level of its state that goes through zero, as solve_ivp asks."""

    level: Callable[[FloatArray], float]
    direction: int
    terminal: bool = True

    def __call__(self, _time_s: float, state: FloatArray) -> float:
        return self.level(state)


def _events(model: RigModel, state: FloatArray, sign: int, slipping: bool) -> dict[str, _Event]:
    """What may end a phase, by name."""
    events = {"turn": _Event(lambda y: float(y[SPEED]), -sign)}
    slip = model.slip
    if slipping:
        assert slip is not None
        events["sticks"] = _Event(lambda y: float(y[SLIPPED]) - slip.length_m, 1)
        return events

    def virtual(y: FloatArray) -> float:
        return model.virtual_n(float(y[STRETCH] - y[SLIPPED]), float(y[SPEED]))

    events["slack"] = _Event(virtual, -1)
    if model.break_force_n is not None:
        limit_n = model.break_force_n
        events["break"] = _Event(lambda y: virtual(y) - limit_n, 1)
    if slip is not None and sign > 0 and state[SLIPPED] < slip.length_m:
        # Slipping goes on from where it stopped, at the lower force reached then.
        events["slips"] = _Event(lambda y: virtual(y) - slip.held_n(float(y[SLIPPED])), 1)
    return events


def solved_phase(
    model: RigModel, start_s: float, state: FloatArray, sign: int, slipping: bool, until_s: float
) -> Phase:
    """Solve until an event or until the time is up."""
    events = _events(model, state, sign, slipping)
    # A coarse step may jump over a threshold that is passed twice, or over the catch.
    rough = model.break_force_n or model.slip or model.catch_stretch_m is not None
    period_s = 2.0 * math.pi * math.sqrt(model.mass_kg / model.stiffness_n_per_m)
    result = solve_ivp(
        _derivative(model, sign, slipping),
        (start_s, until_s),
        state,
        method="DOP853",
        dense_output=True,
        events=list(events.values()),
        rtol=1e-10,
        atol=1e-12,
        max_step=period_s / 80.0 if rough else np.inf,
    )
    if not result.success:
        raise RuntimeError(f"the equations of motion could not be solved: {result.message}")
    ending = "time"
    for name, times in zip(events, result.t_events, strict=True):
        if times.size:
            ending = name
    force = _force_of_states(model, slipping)
    return Phase(start_s, float(result.t[-1]), result.y[:, -1].copy(), ending, result.sol, force)


def broken_at_once(model: RigModel, time_s: float, state: FloatArray) -> Phase:
    """Return the phase of zero length of a line that parts as it comes taut."""
    force = _force_of_states(model, False)
    return Phase(
        time_s, time_s, state, "break", lambda t: np.repeat(state[:, None], t.size, axis=1), force
    )
