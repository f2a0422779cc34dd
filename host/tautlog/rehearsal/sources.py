"""Sources: what each channel of a scene measures, over time."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from tautlog.mechanics.felt import Felt
from tautlog.mechanics.legs import LeggedFall, LeggedModel, fall_on_legs
from tautlog.mechanics.motion import fall
from tautlog.model.channels import ACCELERATION, EXCITATION, FORCE, role_of
from tautlog.model.leg_facts import leaning, read_leg_facts
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2
from tautlog.rehearsal.electronics import FloatArray, ForceSource, no_force
from tautlog.rehearsal.scene import Scene
from tautlog.rehearsal.side_channels import SUPPLY_V


class Sources(Protocol):
    """Gives what a channel measures."""

    def source(self, name: str) -> ForceSource:
        """What a channel of this name measures at times in seconds since power-up."""


class Still:
    """A sled that hangs on its latch.

    Parameters
    ----------
    scene : Scene
        The scene.
    """

    def __init__(self, scene: Scene) -> None:
        self._scene = scene

    def source(self, name: str) -> ForceSource:
        """See `Sources`."""
        role = role_of(name)
        value = {ACCELERATION: STANDARD_GRAVITY_M_PER_S2, EXCITATION: SUPPLY_V}.get(role, 0.0)
        return lambda time_s: np.full_like(time_s, value)


class Falling:
    """A sled that was let go.

    Parameters
    ----------
    scene : Scene
        The scene.
    start_s : float
        Seconds since power-up at which the latch let go.
    duration_s : float
        Time to solve.
    """

    def __init__(self, scene: Scene, start_s: float, duration_s: float) -> None:
        self._scene = scene
        self._start_s = start_s
        self._sag = scene.sag_fraction
        model = scene.model
        self._legs: LeggedFall | None = None
        self._cosines: dict[str, float] = {}
        if isinstance(model, LeggedModel):
            self._legs = fall_on_legs(model, duration_s=duration_s)
            self.motion = self._legs.motion
            stated = read_leg_facts(scene.setup.leg_facts)
            lean = leaning(stated, [leg.name for leg in model.legs])
            self._cosines = {one.name: one.cosine for one in lean}
        else:
            self.motion = fall(model, duration_s=duration_s)
        self._felt = Felt(self.motion)

    def source(self, name: str) -> ForceSource:
        """See `Sources`."""
        role = FORCE if name == self._scene.first else role_of(name)
        if role == FORCE:
            return lambda time_s: self._force_n(name, time_s)
        if role == ACCELERATION:
            return lambda time_s: self._felt.at_m_s2(time_s - self._start_s)
        if role == EXCITATION:
            return self._supply_v
        return no_force

    def _force_n(self, name: str, time_s: FloatArray) -> FloatArray:
        if time_s[-1] < self._start_s:
            return no_force(time_s)
        if self._legs is None:
            force_n = self.motion.force_n(time_s - self._start_s)
        else:
            # The model's legs pull along the vertical; a cell on a leg that leans sees more.
            along_n = self._legs.leg_n(name, time_s - self._start_s)
            force_n = along_n / self._cosines.get(name, 1.0)
        # A bridge gives as much less as its supply does.
        return force_n * (self._supply_v(time_s) / SUPPLY_V) if self._sag else force_n

    def _supply_v(self, time_s: FloatArray) -> FloatArray:
        pull_n = self.motion.force_n(time_s - self._start_s)
        return SUPPLY_V * (1.0 - self._sag * pull_n / (self._scene.setup.target_n or 1.0))


class Since:
    """What was so before an instant, and is otherwise since then; see `Sources`.

    Parameters
    ----------
    before, now : Sources
        What holds before and since.
    start_s : float
        Seconds since power-up.
    """

    def __init__(self, before: Sources, now: Sources, start_s: float) -> None:
        self._before, self._now, self._start_s = before, now, start_s

    def source(self, name: str) -> ForceSource:
        """See `Sources`."""
        before, now = self._before.source(name), self._now.source(name)
        return lambda time_s: np.where(time_s < self._start_s, before(time_s), now(time_s))


def later(source: ForceSource, late_s: float) -> ForceSource:
    """The same, converted later by a time."""
    return lambda time_s: source(time_s + late_s)
