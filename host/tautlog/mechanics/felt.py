"""Felt: what an accelerometer on the sled reads, a + g, upwards positive.

It is (F + catch + s f) / m with s the direction of motion: f / m in the fall, - f / m while the
sled flies up, g before the release and at rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tautlog.mechanics.contact import JUMP_S, SolvedContact
from tautlog.mechanics.motion import Motion, interpolated
from tautlog.mechanics.motion_truth import FIRST_GRID_S, LATER_GRID_S
from tautlog.mechanics.phase import SPEED
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Felt:
    """The reading over one motion.

    After a loss of load the sled falls on; what the catch does to it then is not part of the
    model, and the reading stays at f / m.
    """

    motion: Motion

    def at_m_s2(self, time_s: FloatArray) -> FloatArray:
        """Reading in m/s2 at times in seconds since the latch let go."""
        return interpolated(time_s, *self._grid)

    @cached_property
    def _grid(self) -> tuple[FloatArray, FloatArray]:
        drag = self.motion.model.friction_n / self.motion.model.mass_kg
        times, values = [np.array([-JUMP_S, 0.0])], [np.array([G, drag])]
        for number, contact in enumerate(self.motion.contacts):
            step_s = LATER_GRID_S if number else FIRST_GRID_S
            before = (np.array([contact.start_s - JUMP_S]), np.array([drag]))
            pieces = (before, *self._contact(contact, step_s), self._after(contact, drag))
            for at_s, felt in pieces:
                times.append(at_s)
                values.append(felt)
        return np.concatenate(times), np.concatenate(values)

    def _contact(
        self, contact: SolvedContact, step_s: float
    ) -> list[tuple[FloatArray, FloatArray]]:
        """Times and readings of the phases of a contact; each has one direction."""
        model, found = self.motion.model, []
        for phase in contact.phases:
            at_s = phase.grid_s(step_s)
            states = phase.solution(at_s)
            catch = [model.catch_n(float(e), float(v)) for e, v in zip(*states[:2], strict=True)]
            way = model.friction_n * (1.0 if states[SPEED][states.shape[1] // 2] >= 0.0 else -1.0)
            felt = (phase.force_n(at_s) + np.array(catch) + way) / model.mass_kg
            found.append((at_s, felt))
        return found

    def _after(self, contact: SolvedContact, drag: float) -> tuple[FloatArray, FloatArray]:
        """Times and readings until the next contact: up, and down again; or at rest."""
        if contact.ending != "slack":
            still = G if contact.ending == "rest" else drag
            return np.array([contact.end_s + 2 * JUMP_S]), np.array([still])
        up_m_s = max(-float(contact.end_state[SPEED]), 0.0)
        up_s = up_m_s / self.motion.model.acceleration_m_s2(rising=True)
        at_s = contact.end_s + np.array([JUMP_S, JUMP_S + up_s, 2 * JUMP_S + up_s])
        return at_s, np.array([-drag, -drag, drag])
