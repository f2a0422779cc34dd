"""Motion: the fall of a sled, solved until it is at rest, and the force at the cell.

`fall` joins free falls in closed form and contacts solved by
`scipy.integrate.solve_ivp`. Time starts when the latch lets go.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tautlog.mechanics.contact import JUMP_S, SolvedContact, contacts
from tautlog.mechanics.motion_truth import (
    BREAK_FALL_S,
    FIRST_GRID_S,
    LATER_GRID_S,
    MotionTruth,
    first_contact,
    peak_of,
)
from tautlog.mechanics.phase import SLIPPED, STRETCH
from tautlog.mechanics.rig_model import RigModel, require

FloatArray = npt.NDArray[np.float64]

_RING_TIME_CONSTANTS = 9.0  # exp(-9) of the ringing is left when it is cut off


def _break_tail(model: RigModel, break_n: float) -> tuple[FloatArray, FloatArray]:
    """Times after a break and what the cell reads then."""
    omega = 2.0 * math.pi * model.ring_hz
    decay = max(model.ring_damping_ratio, 0.01) * omega
    ramp_s = np.linspace(0.0, BREAK_FALL_S, 41)[1:]
    ring_s = np.arange(BREAK_FALL_S, _RING_TIME_CONSTANTS / decay, LATER_GRID_S)[1:]
    time_s = np.concatenate([ramp_s, ring_s])
    left = 0.5 * (1.0 + np.cos(np.pi * np.minimum(time_s / BREAK_FALL_S, 1.0)))
    ring_n = model.ring_n * np.exp(-decay * time_s) * np.cos(omega * time_s)
    force_n = break_n * left + ring_n * (1.0 - left)
    return np.append(time_s, time_s[-1] + LATER_GRID_S), np.append(force_n, 0.0)


def interpolated(time_s: FloatArray, grid_s: FloatArray, grid: FloatArray) -> FloatArray:
    """Values of a grid at times, straight between them; any shape of times, also beyond it."""
    time_s = np.asarray(time_s, dtype=np.float64)
    if time_s.size == 0:
        return np.zeros_like(time_s)
    # np.interp works out all slopes of the grid it is given: give it the window only.
    low = max(int(np.searchsorted(grid_s, time_s.min())) - 1, 0)
    high = int(np.searchsorted(grid_s, time_s.max(), side="right")) + 1
    found = np.interp(time_s, grid_s[low:high], grid[low:high])
    return np.asarray(found, np.float64)


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
    _solved: tuple[SolvedContact, ...]

    @property
    def contacts(self) -> tuple[SolvedContact, ...]:
        """The contacts in their order, as solved."""
        return self._solved

    @cached_property
    def _grid(self) -> tuple[FloatArray, FloatArray]:
        """Times and forces for interpolation, increasing from 0."""
        times, forces = [np.zeros(1)], [np.zeros(1)]

        def add(time_s: float | FloatArray, force_n: float | FloatArray) -> None:
            times.append(np.atleast_1d(time_s))
            forces.append(np.atleast_1d(force_n))

        for number, contact in enumerate(self._solved):
            add(contact.start_s, 0.0)
            add(*contact.grid(LATER_GRID_S if number else FIRST_GRID_S))
            if contact.ending == "slack":
                add(contact.end_s + JUMP_S, 0.0)
            elif contact.ending == "rest":
                add(contact.end_s + 2 * JUMP_S, self._still_n(contact))
            elif contact.ending == "break":
                time_s, force_n = _break_tail(self.model, contact.force_at_n(contact.end_s))
                add(contact.end_s + time_s, force_n)
        return np.concatenate(times), np.concatenate(forces)

    def _still_n(self, contact: SolvedContact) -> float:
        """Force of the line on a sled that hangs at rest."""
        end = contact.end_state
        return max(0.0, float(self.model.elastic_n(end[STRETCH] - end[SLIPPED])))

    def force_n(self, time_s: FloatArray) -> FloatArray:
        """Force at the cell, in newtons, positive in tension.

        Parameters
        ----------
        time_s : ndarray of float64
            Seconds from the instant the latch lets go; any shape, also below 0 and
            beyond the end.

        Notes
        -----
        Interpolates a grid of 20 microseconds in the first contact, 5 in a break and
        50 in the ringing and in later contacts.
        """
        return interpolated(time_s, *self._grid)

    def truth(self) -> MotionTruth:
        """Return the exact figures, from the solved equations."""
        return self._truth

    @cached_property
    def _truth(self) -> MotionTruth:
        if not self._solved:
            return MotionTruth(rest_force_n=0.0 if self.model.never_taut else None)
        truth = first_contact(self._solved[0])
        assert truth.peak_force_n is not None
        floor_n = 0.02 * truth.peak_force_n
        later = [peak_of(contact, LATER_GRID_S)[1] for contact in self._solved[1:]]
        last = self._solved[-1]
        rest = {"rest": self._still_n(last), "break": 0.0}.get(last.ending)
        return replace(
            truth,
            bounces=sum(peak_n > floor_n for peak_n in later),
            rest_force_n=rest,
            slipped_m=float(last.end_state[SLIPPED]),
        )


def fall(model: RigModel, *, duration_s: float) -> Motion:
    """Let the sled fall and solve until it is at rest.

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
    require("duration_s", duration_s, duration_s > 0, "> 0")
    return Motion(model, duration_s, tuple(contacts(model, duration_s)))
