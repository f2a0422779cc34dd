"""Legs: a sled caught by several legs side by side, some longer than others, that may let go.

Each leg is a spring k_i e (1 + b e**2) in its own stretch e, which is that of the shortest leg
less what it is longer. The damper belongs to all of them; it is shared as the springs are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from tautlog.mechanics.contact import JUMP_S, SolvedContact, contacts_from
from tautlog.mechanics.motion import Motion, fall, interpolated
from tautlog.mechanics.motion_truth import FIRST_GRID_S, LATER_GRID_S
from tautlog.mechanics.phase import SLIPPED, STRETCH, Phase
from tautlog.mechanics.rig_model import Number, RigModel

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LegModel:
    """One leg.

    Attributes
    ----------
    name : str
        Name of its channel.
    share : float
        Its part of the stiffness of the rig.
    longer_m : float
        How much longer it is than the shortest leg.
    break_force_n : float or None
        Force at which it lets go.
    """

    name: str
    share: float
    longer_m: float = 0.0
    break_force_n: float | None = None


@dataclass(frozen=True)
class LeggedModel(RigModel):
    """A rig whose line is a bridle of several legs; the shortest has `longer_m` 0."""

    legs: tuple[LegModel, ...] = ()

    def elastic_n(self, stretch_m: Number) -> Number:
        """Elastic force of all legs at a stretch of the shortest, in newtons."""
        total = self.leg_n(self.legs[0], stretch_m)
        for leg in self.legs[1:]:
            total = total + self.leg_n(leg, stretch_m)
        return total

    def leg_n(self, leg: LegModel, stretch_m: Number) -> Number:
        """Elastic force of one leg."""
        own = stretch_m - leg.longer_m
        own = own * (own > 0.0) if leg.longer_m else own
        return leg.share * self.stiffness_n_per_m * own * (1.0 + self.hardening_per_m2 * own * own)


@dataclass(frozen=True)
class LeggedFall:
    """The solved fall of a legged sled, with the force of each leg.

    Attributes
    ----------
    motion : Motion
        The motion, whose force is the sum of the legs.
    let_go_s : float or None
        When the leg let go that did.
    """

    motion: Motion
    let_go_s: float | None
    _models: tuple[LeggedModel, LeggedModel]

    def leg_n(self, name: str, time_s: FloatArray) -> FloatArray:
        """Force of a leg at times since the latch let go, in newtons."""
        total = self.motion.force_n(time_s)
        stretch_m = interpolated(time_s, *self._stretch)
        shares = [_share(model, name, stretch_m) for model in self._models]
        if self.let_go_s is None:
            return total * shares[0]
        return total * np.where(time_s < self.let_go_s, *shares)

    @cached_property
    def _stretch(self) -> tuple[FloatArray, FloatArray]:
        """Times and stretch of the shortest leg, 0 while all are slack."""
        times, values = [np.zeros(1)], [np.zeros(1)]
        for number, contact in enumerate(self.motion.contacts):
            for phase in contact.phases:
                at_s = phase.grid_s(LATER_GRID_S if number else FIRST_GRID_S)
                states = phase.solution(at_s)
                times.append(at_s)
                values.append(states[STRETCH] - states[SLIPPED])
            if contact.ending == "slack":
                times.append(np.array([contact.end_s + JUMP_S]))
                values.append(np.zeros(1))
        return np.concatenate(times), np.concatenate(values)


def _share(model: LeggedModel, name: str, stretch_m: FloatArray) -> FloatArray:
    """Part of the elastic force that a leg has at a stretch; all legs together have 1."""
    forces = {leg.name: np.maximum(model.leg_n(leg, stretch_m), 0.0) for leg in model.legs}
    if name not in forces:
        return np.zeros_like(stretch_m)
    total = np.sum(list(forces.values()), axis=0)
    # At no stretch the shortest pulls, with what the damper gives.
    alone = 1.0 if min(model.legs, key=lambda leg: leg.longer_m).name == name else 0.0
    return np.where(total > 0.0, forces[name] / np.where(total > 0.0, total, 1.0), alone)


def fall_on_legs(model: LeggedModel, *, duration_s: float) -> LeggedFall:
    """Let a sled fall on its legs; the first leg whose strength is reached lets go.

    Raises
    ------
    ValueError, RuntimeError
        See `motion.fall`.
    """
    motion = fall(model, duration_s=duration_s)
    found = _first_break(model, motion)
    if found is None:
        return LeggedFall(motion, None, (model, model))
    leg, phase, at_s = found
    left = replace(model, legs=tuple(other for other in model.legs if other is not leg))
    state = phase.solution(np.array([at_s]))[:, 0]
    first = motion.contacts[0]
    before = [one for one in first.phases if one.end_s < at_s]
    before.append(replace(phase, end_s=at_s, end_state=state, ending="leg"))
    after = contacts_from(left, at_s, state, duration_s)
    joined = replace(
        after[0],
        phases=(*before, *after[0].phases),
        start_speed_m_s=first.start_speed_m_s,
    )
    # What is left holds the sled at rest.
    parted = Motion(left, duration_s, (joined, *after[1:]))
    return LeggedFall(parted, at_s, (model, left))


def _first_break(model: LeggedModel, motion: Motion) -> tuple[LegModel, Phase, float] | None:
    """The leg that reaches its strength first in the first contact, in which phase and when."""
    weak = [leg for leg in model.legs if leg.break_force_n is not None]
    contacts: tuple[SolvedContact, ...] = motion.contacts[:1]
    for phase in (phase for contact in contacts for phase in contact.phases):
        at_s = phase.grid_s(FIRST_GRID_S)
        reached = []
        for leg in weak:
            over = _over(model, leg, phase, at_s) > 0.0
            if over.any():
                reached.append((int(np.argmax(over)), leg))
        if reached:
            place, leg = min(reached, key=lambda pair: pair[0])
            if place == 0:
                return leg, phase, float(at_s[0])
            exact_s = brentq(
                lambda t, leg=leg, phase=phase: float(_over(model, leg, phase, np.array([t]))[0]),
                at_s[place - 1],
                at_s[place],
                xtol=1e-12,
            )
            return leg, phase, float(exact_s)
    return None


def _over(model: LeggedModel, leg: LegModel, phase: Phase, at_s: FloatArray) -> FloatArray:
    """By how much a leg's force exceeds its strength, in newtons."""
    states = phase.solution(at_s)
    stretch_m = states[STRETCH] - states[SLIPPED]
    force_n = phase.force_n(at_s) * _share(model, leg.name, stretch_m)
    return np.asarray(force_n - (leg.break_force_n or 0.0), np.float64)
