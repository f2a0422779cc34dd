"""Taut speed: how fast the sled was when the line came taut, by the fall or by the momentum.

Two ways lead to it. The fall: sqrt(2 (g - a) h), a the friction of the rails over the mass. It
is as good as what is known of the friction. The momentum: what the line turned round less what
the sled flew off with,

    v = J / m - g T - v_out,  v_out from the flight to the next pull,

which asks nothing of the fall, and is as good as force and mass. Each input is carried through
by itself (GUM 5.1.3, by differences), so that whatever is reckoned from the speed and from the
same force meets the same error twice, as it must (GUM 5.2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from tautlog.model.limits import K_FACTOR
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G

MOST_OFF = 0.999  # of mass or of weight, that an input may be off: beyond it no sled falls


@dataclass(frozen=True)
class Change:
    """By how much inputs are off; 0 for those that are right.

    Attributes
    ----------
    force, mass : float
        Relative.
    friction : float
        Of the rails, over the weight.
    zero_n, height_m, onset_s, flight_m_s : float
        Zero; free travel; the moment at which the line came taut; speed that a flight tells.
    toe_s : float
        Time that the line was taut before, with next to no force: no speed hangs on it.
    """

    force: float = 0.0
    mass: float = 0.0
    friction: float = 0.0
    zero_n: float = 0.0
    height_m: float = 0.0
    onset_s: float = 0.0
    flight_m_s: float = 0.0
    toe_s: float = 0.0


NONE = Change()


@dataclass(frozen=True)
class Input:
    """One input: its name, a change by its standard uncertainty, and how that is known."""

    name: str
    change: Change
    basis: str
    kind: str = "B"
    freedom: float = math.inf


@dataclass(frozen=True)
class ByFall:
    """The speed after a fall; `height_m` None where only its time is known.

    `friction` over weight is what was reckoned with.
    """

    speed_m_s: float
    height_m: float | None
    friction: float = 0.0

    def at(self, change: Change) -> float:
        """The speed, if the inputs are off by that much."""
        left = max(1.0 - self.friction - change.friction, 1.0 - MOST_OFF)
        if self.height_m is None:  # v = (g - a) t: the time tells no friction
            share = left / (1.0 - self.friction)
            return self.speed_m_s * share + G * change.onset_s
        return math.sqrt(2.0 * G * max(self.height_m + change.height_m, 0.0) * left)


@dataclass(frozen=True)
class ByMomentum:
    """The speed from a pull: impulse, length and the speed at slack; friction as reckoned with."""

    mass_kg: float
    impulse_ns: float
    length_s: float
    speed_out_m_s: float
    friction: float = 0.0

    @property
    def speed_m_s(self) -> float:
        """With all inputs right."""
        return self.at(NONE)

    def at(self, change: Change) -> float:
        """The speed, if the inputs are off by that much.

        A flight goes up with g + a and down with g - a: half of a over g adds to what half of
        its time tells, to first order.
        """
        length_s = self.length_s - change.onset_s
        impulse_ns = self.impulse_ns * (1.0 + change.force) - change.zero_n * length_s
        out_m_s = self.speed_out_m_s * (1.0 + 0.5 * change.friction) + change.flight_m_s
        return impulse_ns / (self.mass_kg * (1.0 + change.mass)) - G * length_s - out_m_s


Way = ByFall | ByMomentum


@dataclass(frozen=True)
class Entry:
    """A way to the speed, and the inputs that it and the stretch hang on."""

    way: Way
    inputs: tuple[Input, ...] = field(default=())

    def u_m_s(self) -> float:
        """Standard uncertainty of the speed."""
        at = self.way.speed_m_s
        return math.sqrt(sum((self.way.at(one.change) - at) ** 2 for one in self.inputs))


def contradict(one: Entry, other: Entry) -> bool:
    """Whether two ways differ by more than both can be off together."""
    apart_m_s = abs(one.way.speed_m_s - other.way.speed_m_s)
    return apart_m_s > K_FACTOR * math.hypot(one.u_m_s(), other.u_m_s())
