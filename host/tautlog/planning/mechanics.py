"""Mechanics: sled, rails, line and catch, solved as equations of motion.

The line is a spring with a cubic term and a viscous damper in parallel, and a
rope cannot push: F = max(0, k e (1 + b e**2) + c v) while its stretch e is
positive, else 0. `fall` joins free falls in closed form and contacts solved by
`scipy.integrate.solve_ivp` until all is still. Every exact figure comes from
those solutions, never from the stored grid. Stretch and speed are positive
downwards, time starts when the latch lets go.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2
from tautlog.planning import closed_forms as predict

FloatArray = npt.NDArray[np.float64]

# State of a contact: stretch, speed, slipped length, impulse and work of the line.
_X, _V, _S, _J, _W = range(5)
_STILL_N = 0.02  # less than a count of any rig here: an oscillation below it is rest
_BREAK_FALL_S = 2e-4  # common practice: a parted line unloads in less than 0.5 ms
_RING_TIME_CONSTANTS = 9.0  # exp(-9) of the ringing is left when it is cut off
_FIRST_GRID_S = 2e-5
_LATER_GRID_S = 5e-5
_JUMP_S = 1e-9  # width given to a jump of force in the stored grid
_SLIP_WEAKENING = 0.1
_MOST_PHASES = 20_000


@dataclass(frozen=True)
class Slip:
    """A line that creeps through its clamp once, then jams.

    Attributes
    ----------
    force_n : float
        Force at which it begins to slip; it falls by 10 % along the way, because
        sliding friction is lower than static friction (common practice).
    length_m : float
        Length that slips through before the clamp holds again.
    """

    force_n: float
    length_m: float


@dataclass(frozen=True)
class RigModel:
    """Everything the motion depends on.

    Attributes
    ----------
    mass_kg, height_m : float
        Moving mass; free travel until the line is taut.
    stiffness_n_per_m : float
        Tangent stiffness of line and rig at zero stretch.
    hardening_per_m2 : float
        b of the elastic force k e (1 + b e**2): extra force as a fraction of the
        linear one, per square metre of stretch.
    damping_ratio : float
        c = 2 zeta sqrt(k m), 0 <= zeta < 1.
    uptake_m : float
        Stretch over which the damper comes in, 0 for at once. A damper that is there at
        once makes the force jump by c v0 at onset; knots and splices that pull
        tight spread it over some millimetres (common practice).
    friction_n : float
        Coulomb friction of both rails together; less than the weight.
    break_force_n : float or None
        Force at which the load path parts.
    slip : Slip or None
        A clamp that slips.
    catch_stretch_m : float or None
        Stretch at which the sled meets the catch; 0 or less when the catch comes
        before the line is taut. None: the catch is never met.
    catch_stiffness_n_per_m : float
        Stiffness of the catch, a buffer k d (1 + 0.5 v) after K. H. Hunt and
        F. R. E. Crossley, J. Appl. Mech. 42 (1975) 440: no force at first touch,
        and it cannot pull. The cell does not see its force.
    ring_n, ring_hz, ring_damping_ratio : float
        Ringing of the cell after a break: the unloaded beam shakes the fittings
        (common practice for 0.5 kg of them: 200 to 300 N at 50 to 200 Hz).
    """

    mass_kg: float
    height_m: float
    stiffness_n_per_m: float
    hardening_per_m2: float = 0.0
    damping_ratio: float = 0.0
    uptake_m: float = 0.0
    friction_n: float = 0.0
    break_force_n: float | None = None
    slip: Slip | None = None
    catch_stretch_m: float | None = None
    catch_stiffness_n_per_m: float = 100_000.0
    ring_n: float = 250.0
    ring_hz: float = 110.0
    ring_damping_ratio: float = 0.05

    def __post_init__(self) -> None:
        for name in ("mass_kg", "stiffness_n_per_m", "catch_stiffness_n_per_m", "ring_hz"):
            _require(name, getattr(self, name), getattr(self, name) > 0, "> 0")
        for name in ("height_m", "hardening_per_m2", "uptake_m", "ring_n"):
            _require(name, getattr(self, name), getattr(self, name) >= 0, ">= 0")
        for name in ("damping_ratio", "ring_damping_ratio"):
            _require(name, getattr(self, name), 0 <= getattr(self, name) < 1, "in 0 <= x < 1")
        inside = 0 <= self.friction_n < self.weight_n
        _require("friction_n", self.friction_n, inside, f"in 0 <= f < m g = {self.weight_n:.6g} N")
        if self.break_force_n is not None:
            _require("break_force_n", self.break_force_n, self.break_force_n > 0, "> 0")

    @property
    def weight_n(self) -> float:
        """Weight of the sled, m g."""
        return self.mass_kg * STANDARD_GRAVITY_M_PER_S2

    @property
    def damping_ns_per_m(self) -> float:
        """Coefficient of the viscous damper, c."""
        return 2.0 * self.damping_ratio * math.sqrt(self.stiffness_n_per_m * self.mass_kg)

    @property
    def never_taut(self) -> bool:
        """Whether the catch stops the sled before the line is taut."""
        return self.catch_stretch_m is not None and self.catch_stretch_m <= 0

    def acceleration_m_s2(self, *, rising: bool) -> float:
        """Downward acceleration of the sled on a slack line."""
        drag = self.friction_n / self.mass_kg
        return STANDARD_GRAVITY_M_PER_S2 + (drag if rising else -drag)

    def elastic_n(self, stretch_m: Any) -> Any:
        """Elastic force at a stretch (float or ndarray), in newtons."""
        stiffness = self.stiffness_n_per_m
        return stiffness * stretch_m * (1.0 + self.hardening_per_m2 * stretch_m * stretch_m)

    def virtual_n(self, stretch_m: float, speed_m_s: float) -> float:
        """Force of spring and damper; below zero where a real line is slack."""
        damper = self.damping_ns_per_m * speed_m_s
        if self.uptake_m > 0.0 and stretch_m < self.uptake_m:
            damper *= max(0.0, stretch_m / self.uptake_m)
        return float(self.elastic_n(stretch_m)) + damper

    def catch_n(self, stretch_m: float, speed_m_s: float) -> float:
        """Upward force of the catch on the sled."""
        if self.catch_stretch_m is None or stretch_m <= self.catch_stretch_m:
            return 0.0
        dent_m = stretch_m - self.catch_stretch_m
        return max(0.0, self.catch_stiffness_n_per_m * dent_m * (1.0 + 0.5 * speed_m_s))


def _require(name: str, value: float, inside: bool, allowed: str) -> None:
    if not (inside and math.isfinite(value)):
        raise ValueError(f"`{name}` must be {allowed}, was {value!r}")


@dataclass(frozen=True)
class MotionTruth:
    """Exact figures of a motion; times from the instant the latch lets go.

    A figure is None where it does not exist. Durations, rise and impulse are of
    the line's force in the first contact; the ringing after a break is left out.

    Attributes
    ----------
    onset_time_s, slack_time_s : float or None
        Begin and end of the first contact (end of a break, when it broke).
    peak_force_n, peak_time_s, peak_stretch_m : float or None
        Highest force of the first contact, when, and the stretch then.
    rise_time_s : float or None
        From the first rise through 10 % to the first through 90 % of the peak.
    duration_s, fwhm_s, base_duration_s : float or None
        Above 10 %, above 50 %, and from onset to slack.
    impulse_ns : float or None
        Integral of the force over the first contact.
    rest_force_n : float or None
        Force once all is still; None when it never is within the time solved.
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
        When the force began to collapse, and from what.
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


@dataclass(frozen=True)
class _Phase:
    """One smooth stretch of a contact: one direction, line holding or slipping."""

    start_s: float
    end_s: float
    end_state: FloatArray
    ending: str  # turn, slack, break, slips, sticks, time
    solution: Callable[[FloatArray], FloatArray]
    force: Callable[[FloatArray], FloatArray]

    def force_n(self, time_s: FloatArray) -> FloatArray:
        return self.force(self.solution(time_s))

    def grid_s(self, step_s: float) -> FloatArray:
        if self.end_s == self.start_s:
            return np.array([self.start_s])
        intervals = max(4, math.ceil((self.end_s - self.start_s) / step_s))
        return np.linspace(self.start_s, self.end_s, intervals + 1)


@dataclass(frozen=True)
class _Contact:
    """From a line coming taut until it is slack, broken or still, or the time is up."""

    phases: tuple[_Phase, ...]
    ending: str  # slack, break, rest, time
    start_speed_m_s: float

    @property
    def start_s(self) -> float:
        return self.phases[0].start_s

    @property
    def end_s(self) -> float:
        return self.phases[-1].end_s

    @property
    def end_state(self) -> FloatArray:
        return self.phases[-1].end_state

    def grid(self, step_s: float) -> tuple[FloatArray, FloatArray]:
        """Times and forces, with a steep step wherever the force jumps."""
        times, forces = [], []
        for phase in self.phases:
            time_s = phase.grid_s(step_s)
            forces.append(phase.force_n(time_s))
            time_s[0] += _JUMP_S
            times.append(time_s)
        return np.concatenate(times), np.concatenate(forces)

    def force_at_n(self, time_s: float) -> float:
        for phase in self.phases:
            if time_s <= phase.end_s:
                break
        return float(phase.force_n(np.array([time_s]))[0])


def _free_fall(model: RigModel, distance_m: float) -> tuple[float, float]:
    """Time and speed after falling a distance from rest."""
    acceleration = model.acceleration_m_s2(rising=False)
    return math.sqrt(2.0 * distance_m / acceleration), math.sqrt(2.0 * acceleration * distance_m)


def _slip_force_n(slip: Slip, slipped_m: Any) -> Any:
    return slip.force_n * (1.0 - _SLIP_WEAKENING * slipped_m / slip.length_m)


def _force_of_states(model: RigModel, slipping: bool) -> Callable[[FloatArray], FloatArray]:
    """Force of the line as a function of states of shape (5, n_times)."""
    if slipping:
        assert model.slip is not None
        slip = model.slip
        return lambda states: np.asarray(_slip_force_n(slip, states[_S]))

    def force(states: FloatArray) -> FloatArray:
        stretch_m = states[_X] - states[_S]
        damper = model.damping_ns_per_m * states[_V]
        if model.uptake_m > 0:
            damper = damper * np.clip(stretch_m / model.uptake_m, 0.0, 1.0)
        return np.maximum(0.0, model.elastic_n(stretch_m) + damper)

    return force


def _line_n(model: RigModel, state: Any, slipping: bool) -> float:
    """Force of the line at one state, for speed in plain floats."""
    if slipping:
        assert model.slip is not None
        return float(_slip_force_n(model.slip, state[_S]))
    return max(0.0, model.virtual_n(float(state[_X] - state[_S]), float(state[_V])))


def _derivative(
    model: RigModel, sign: int, slipping: bool
) -> Callable[[float, FloatArray], tuple[float, float, float, float, float]]:
    """Right-hand side of the equations of motion for one direction of motion."""
    push_n = model.weight_n - sign * model.friction_n
    mass_kg = model.mass_kg

    def rate(_time_s: float, state: FloatArray) -> tuple[float, float, float, float, float]:
        values = state.tolist()
        speed = values[_V]
        force = _line_n(model, values, slipping)
        net_n = push_n - force - model.catch_n(values[_X], speed)
        return speed, net_n / mass_kg, speed if slipping else 0.0, force, force * speed

    return rate


def _event(function: Callable[[FloatArray], float], direction: int) -> Any:
    def event(_time_s: float, state: FloatArray) -> float:
        return function(state)

    event.terminal = True  # type: ignore[attr-defined]
    event.direction = direction  # type: ignore[attr-defined]
    return event


def _events(model: RigModel, state: FloatArray, sign: int, slipping: bool) -> dict[str, Any]:
    """What may end a phase, by name."""
    events = {"turn": _event(lambda y: float(y[_V]), -sign)}
    slip = model.slip
    if slipping:
        assert slip is not None
        events["sticks"] = _event(lambda y: float(y[_S]) - slip.length_m, 1)
        return events

    def virtual(y: FloatArray) -> float:
        return model.virtual_n(float(y[_X] - y[_S]), float(y[_V]))

    events["slack"] = _event(virtual, -1)
    if model.break_force_n is not None:
        limit_n = model.break_force_n
        events["break"] = _event(lambda y: virtual(y) - limit_n, 1)
    if slip is not None and sign > 0 and state[_S] < slip.length_m:
        # Slipping goes on from where it stopped, at the lower force reached then.
        events["slips"] = _event(lambda y: virtual(y) - _slip_force_n(slip, float(y[_S])), 1)
    return events


def _phase(
    model: RigModel, start_s: float, state: FloatArray, sign: int, slipping: bool, until_s: float
) -> _Phase:
    """Solve until something happens or the time is up."""
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
    return _Phase(start_s, float(result.t[-1]), result.y[:, -1].copy(), ending, result.sol, force)


def _begins(model: RigModel, state: FloatArray, sign: int) -> str:
    """Whether a phase is over before it begins, because the force jumps at its start."""
    force_n = _line_n(model, state, False)
    if model.break_force_n is not None and force_n >= model.break_force_n:
        return "break"
    slip = model.slip
    if slip is not None and sign > 0 and state[_S] < slip.length_m:
        return "slips" if force_n > _slip_force_n(slip, float(state[_S])) else ""
    return ""


def _broken_at_once(model: RigModel, time_s: float, state: FloatArray) -> _Phase:
    """Return the phase without length of a line that parts as it comes taut."""
    force = _force_of_states(model, False)
    return _Phase(
        time_s, time_s, state, "break", lambda t: np.repeat(state[:, None], t.size, axis=1), force
    )


def _contact(model: RigModel, start_s: float, state: FloatArray, until_s: float) -> _Contact:
    """Solve one contact from the taut line on."""
    phases: list[_Phase] = []
    speed_m_s, slipping, time_s = float(state[_V]), False, start_s
    sign = -1 if speed_m_s < 0 else 1  # it rises still after a graze, see `_flight`
    while len(phases) < _MOST_PHASES:
        begins = "" if slipping else _begins(model, state, sign)
        slipping = slipping or begins == "slips"
        if begins == "break":
            phase = _broken_at_once(model, time_s, state)
        else:
            phase = _phase(model, time_s, state, sign, slipping, until_s)
        phases.append(phase)
        time_s, state, ending = phase.end_s, phase.end_state.copy(), phase.ending
        if ending in ("slack", "break", "time"):
            return _Contact(tuple(phases), ending, speed_m_s)
        if ending == "sticks":
            # The event is found to within rounding; what is left of it must not slip again.
            assert model.slip is not None
            state[_S] = model.slip.length_m
        if ending == "turn":
            state[_V] = 0.0
            catch_n = model.catch_n(float(state[_X]), 0.0)
            net_n = model.weight_n - _line_n(model, state, False) - catch_n
            if abs(net_n) <= max(model.friction_n, _STILL_N):
                return _Contact(tuple(phases), "rest", speed_m_s)
            sign = 1 if net_n > 0 else -1
        slipping = ending == "slips"
    raise RuntimeError(f"no rest after {_MOST_PHASES} turns: give damping, or a shorter duration")


def _flight(model: RigModel, start_s: float, state: FloatArray) -> tuple[float, FloatArray]:
    """Free flight of a sled whose line went slack, until it pulls again."""
    up_m_s = -float(state[_V])
    slack_m = float(state[_X] - state[_S])
    rising = model.acceleration_m_s2(rising=True)
    above_m = up_m_s**2 / (2.0 * rising) - slack_m  # highest point above the taut position
    landed = state.copy()
    if above_m > 0:
        fall_s, speed_m_s = _free_fall(model, above_m)
        landed[_X], landed[_V] = state[_S], speed_m_s
        return start_s + up_m_s / rising + fall_s, landed
    # It turns round before the line is really slack: there the damper lets go again.

    def virtual(after_s: float) -> float:
        stretch_m = slack_m - up_m_s * after_s + 0.5 * rising * after_s**2
        return model.virtual_n(stretch_m, -up_m_s + rising * after_s)

    top_s = up_m_s / rising
    after_s = min(1e-7, top_s)
    if virtual(after_s) < 0:
        after_s = brentq(virtual, after_s, top_s, xtol=1e-14)
    landed[_X] += -up_m_s * after_s + 0.5 * rising * after_s**2
    landed[_V] += rising * after_s
    return start_s + after_s, landed


def _contacts(model: RigModel, duration_s: float) -> list[_Contact]:
    """All contacts that begin within a time."""
    if model.never_taut:
        return []
    time_s, speed_m_s = _free_fall(model, model.height_m)
    state = np.array([0.0, speed_m_s, 0.0, 0.0, 0.0])
    contacts: list[_Contact] = []
    while time_s < duration_s:
        contact = _contact(model, time_s, state, duration_s)
        contacts.append(contact)
        if contact.ending != "slack":
            break
        time_s, state = _flight(model, contact.end_s, contact.end_state)
    return contacts


def _peak(contact: _Contact, step_s: float) -> tuple[float, float, float]:
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
            best = (*found, float(state[_X] - state[_S]))
    return best[1], best[0], best[2]


def _crossings(contact: _Contact, level_n: float, peak_s: float) -> tuple[float, float | None]:
    """First rise through a level, and first fall through it after the peak."""
    time_s, force_n = contact.grid(_FIRST_GRID_S)
    above = force_n >= level_n

    def exact(left: int) -> float:
        if time_s[left + 1] - time_s[left] <= 2 * _JUMP_S:
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


def _durations(model: RigModel, contact: _Contact, truth: MotionTruth) -> MotionTruth:
    """Add rise time, durations and slack time."""
    assert truth.peak_force_n is not None
    assert truth.peak_time_s is not None
    crossed = [_crossings(contact, f * truth.peak_force_n, truth.peak_time_s) for f in (0.1, 0.5)]
    high_s, _ = _crossings(contact, 0.9 * truth.peak_force_n, truth.peak_time_s)
    slack_s = contact.end_s if contact.ending == "slack" else None
    if contact.ending == "break":
        slack_s = contact.end_s + _BREAK_FALL_S
        # Inverse of the half-cosine by which the force collapses.
        falls = [contact.end_s + _BREAK_FALL_S * math.acos(2 * f - 1) / math.pi for f in (0.1, 0.5)]
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


def _first_contact(model: RigModel, contact: _Contact) -> MotionTruth:
    """Figures of the first contact."""
    peak_s, peak_n, peak_stretch_m = _peak(contact, _FIRST_GRID_S)
    end = contact.end_state
    turn = next((phase for phase in contact.phases if phase.ending == "turn"), None)
    truth = MotionTruth(
        onset_time_s=contact.start_s,
        fall_time_s=contact.start_s,
        taut_speed_m_s=contact.start_speed_m_s,
        peak_force_n=peak_n,
        peak_time_s=peak_s,
        peak_stretch_m=peak_stretch_m,
        max_stretch_m=None if turn is None else float(turn.end_state[_X]),
        max_stretch_time_s=None if turn is None else turn.end_s,
        energy_absorbed_j=None if turn is None else float(turn.end_state[_W]),
        slipped_m=float(end[_S]),
    )
    if contact.ending == "slack":
        truth = replace(
            truth,
            impulse_ns=float(end[_J]),
            rebound_speed_m_s=-float(end[_V]),
            restitution=(
                -float(end[_V]) / contact.start_speed_m_s if contact.start_speed_m_s else None
            ),
        )
    if contact.ending == "break":
        break_n = contact.force_at_n(contact.end_s)
        truth = replace(
            truth,
            impulse_ns=float(end[_J]) + 0.5 * break_n * _BREAK_FALL_S,
            energy_absorbed_j=float(end[_W]) if turn is None else truth.energy_absorbed_j,
            break_time_s=contact.end_s,
            break_force_n=break_n,
        )
    return _durations(model, contact, truth)


def _break_tail(model: RigModel, break_n: float) -> tuple[FloatArray, FloatArray]:
    """Times after a break and what the cell reads then."""
    omega = 2.0 * math.pi * model.ring_hz
    decay = max(model.ring_damping_ratio, 0.01) * omega
    ramp_s = np.linspace(0.0, _BREAK_FALL_S, 41)[1:]
    ring_s = np.arange(_BREAK_FALL_S, _RING_TIME_CONSTANTS / decay, _LATER_GRID_S)[1:]
    time_s = np.concatenate([ramp_s, ring_s])
    left = 0.5 * (1.0 + np.cos(np.pi * np.minimum(time_s / _BREAK_FALL_S, 1.0)))
    ring_n = model.ring_n * np.exp(-decay * time_s) * np.cos(omega * time_s)
    force_n = break_n * left + ring_n * (1.0 - left)
    return np.append(time_s, time_s[-1] + _LATER_GRID_S), np.append(force_n, 0.0)


@dataclass(frozen=True)
class Motion:
    """One fall, solved.

    Attributes
    ----------
    model : RigModel
        What fell.
    duration_s : float
        Time that was solved, from the instant the latch let go.
    """

    model: RigModel
    duration_s: float
    _solved: tuple[_Contact, ...]

    @cached_property
    def _grid(self) -> tuple[FloatArray, FloatArray]:
        """Times and forces for interpolation, increasing from 0."""
        times, forces = [np.zeros(1)], [np.zeros(1)]

        def add(time_s: Any, force_n: Any) -> None:
            times.append(np.atleast_1d(time_s))
            forces.append(np.atleast_1d(force_n))

        for number, contact in enumerate(self._solved):
            add(contact.start_s, 0.0)
            add(*contact.grid(_LATER_GRID_S if number else _FIRST_GRID_S))
            if contact.ending == "slack":
                add(contact.end_s + _JUMP_S, 0.0)
            elif contact.ending == "rest":
                add(contact.end_s + 2 * _JUMP_S, self._still_n(contact))
            elif contact.ending == "break":
                time_s, force_n = _break_tail(self.model, contact.force_at_n(contact.end_s))
                add(contact.end_s + time_s, force_n)
        return np.concatenate(times), np.concatenate(forces)

    def _still_n(self, contact: _Contact) -> float:
        """Force of the line on a sled that hangs still."""
        end = contact.end_state
        return max(0.0, float(self.model.elastic_n(end[_X] - end[_S])))

    def force_n(self, time_s: FloatArray) -> FloatArray:
        """Force at the cell, in newtons, positive in tension.

        Parameters
        ----------
        time_s : ndarray of float64
            Seconds from the instant the latch lets go, of any shape, below 0 and
            beyond the end too.

        Notes
        -----
        Interpolates a grid of 20 microseconds in the first contact, 5 in a break and
        50 in the ringing and in later contacts.
        """
        grid_s, grid_n = self._grid
        time_s = np.asarray(time_s, dtype=np.float64)
        if time_s.size == 0:
            return np.zeros_like(time_s)
        # np.interp works out all slopes of the grid it is given: give it the window only.
        low = max(int(np.searchsorted(grid_s, time_s.min())) - 1, 0)
        high = int(np.searchsorted(grid_s, time_s.max(), side="right")) + 1
        return np.interp(time_s, grid_s[low:high], grid_n[low:high])

    def truth(self) -> MotionTruth:
        """Return the exact figures, from the solved equations."""
        return self._truth

    @cached_property
    def _truth(self) -> MotionTruth:
        if not self._solved:
            return MotionTruth(rest_force_n=0.0 if self.model.never_taut else None)
        truth = _first_contact(self.model, self._solved[0])
        assert truth.peak_force_n is not None
        floor_n = 0.02 * truth.peak_force_n
        later = [_peak(contact, _LATER_GRID_S)[1] for contact in self._solved[1:]]
        last = self._solved[-1]
        rest = {"rest": self._still_n(last), "break": 0.0}.get(last.ending)
        return replace(
            truth,
            bounces=sum(peak_n > floor_n for peak_n in later),
            rest_force_n=rest,
            slipped_m=float(last.end_state[_S]),
        )


def fall(model: RigModel, *, duration_s: float) -> Motion:
    """Let the sled fall and solve until all is still.

    Parameters
    ----------
    model : RigModel
        What falls.
    duration_s : float
        Longest time to solve, from the instant the latch lets go; greater than 0.

    Raises
    ------
    ValueError
        If the duration is not positive.
    RuntimeError
        If the sled does not come to rest within very many turns.
    """
    _require("duration_s", duration_s, duration_s > 0, "> 0")
    return Motion(model, duration_s, tuple(_contacts(model, duration_s)))


def first_peak_n(model: RigModel) -> float:
    """Peak force of the first contact.

    Raises
    ------
    ValueError
        If the line never comes taut.
    """
    if model.never_taut:
        raise ValueError("`model` must let the line come taut, its catch comes first")
    onset_s, _ = _free_fall(model, model.height_m)
    period_s = 2.0 * math.pi * math.sqrt(model.mass_kg / model.stiffness_n_per_m)
    contact = _contacts(model, onset_s + period_s)[0]
    return _peak(contact, _FIRST_GRID_S)[1]


def model_for_peak(model: RigModel, peak_n: float) -> RigModel:
    """Same rig with the stiffness that makes a given first peak, losses included.

    Parameters
    ----------
    model : RigModel
        Everything but the stiffness is kept.
    peak_n : float
        Wanted peak of the first contact; above 2 m g.

    Raises
    ------
    ValueError
        If no stiffness gives that peak.
    """
    guess = predict.stiffness_for_peak_n_per_m(model.mass_kg, model.height_m, peak_n)
    # Without the break and the slip that may be asked of it later.
    whole = replace(model, break_force_n=None, slip=None)

    def miss(log_factor: float) -> float:
        return first_peak_n(replace(whole, stiffness_n_per_m=guess * math.exp(log_factor))) - peak_n

    try:
        log_factor = brentq(miss, -2.0, 2.0, xtol=1e-9)
    except ValueError as error:
        raise ValueError(f"`peak_n` {peak_n:g} is out of reach of any line on this rig") from error
    return replace(model, stiffness_n_per_m=guess * math.exp(log_factor))
