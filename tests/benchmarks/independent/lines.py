"""Lines: what pulls between sled and fixture.

A line is an elastic law with a damper in parallel, and, where the kind asks for it, a Maxwell
arm (standard linear solid), a friction arm (rope) or a second leg. In series with it stands
a slider (clamp, stitches, yielding, a mount that creeps) and a breaker. Units are SI.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass
class Slider:
    """Something in series that lets line through.

    Attributes
    ----------
    starts_n : list of float
        Force at which each slip starts, in order; it must be reached anew each time.
    lengths_m : list of float
        Length at which the slider grips again, one a slip.
    kinetic : float
        Force while it slips, over the force at which the slip started.
    hardening_n_per_m : float
        Growth of that force with the length slipped (plastic yield).
    damper_ns_per_m : float
        Force above the kinetic one per speed of slip: makes slips begin and end in finite time.
    releases : bool
        The path parts when the last length is used up (a mount that pulls out).
    """

    starts_n: list[float]
    lengths_m: list[float]
    kinetic: float
    damper_ns_per_m: float
    hardening_n_per_m: float = 0.0
    releases: bool = False
    turn: int = 0
    level_n: float | None = None
    begin_m: float = 0.0

    def speed(self, unslipped_n: float, damper_ns_per_m: float, slipped_m: float) -> float:
        """Speed of slip; 0 while it grips.

        `unslipped_n` is the line's force if nothing slipped at this instant, of which the
        line's own damper takes its share off as soon as something does.
        """
        if self.level_n is None:
            return 0.0
        over = unslipped_n - self.held_n(slipped_m)
        return max(0.0, over / (self.damper_ns_per_m + damper_ns_per_m))

    def held_n(self, slipped_m: float) -> float:
        """Force that it holds while it slips."""
        level = self.level_n or 0.0
        return max(0.0, level + self.hardening_n_per_m * (slipped_m - self.begin_m))

    def due(self, line_n: float, slipped_m: float) -> bool:
        """Whether a slip would start or end here."""
        if self.turn >= len(self.starts_n):
            return False
        if self.level_n is None:
            return line_n >= self.starts_n[self.turn]
        if slipped_m - self.begin_m >= self.lengths_m[self.turn]:
            return True
        return line_n < 0.98 * self.held_n(slipped_m)

    def update(self, line_n: float, slipped_m: float) -> bool:
        """Start or end a slip where it is due; whether anything changed."""
        if not self.due(line_n, slipped_m):
            return False
        if self.level_n is None:
            self.level_n = self.kinetic * self.starts_n[self.turn]
            self.begin_m = slipped_m
            return True
        self.turn += 1
        if not self.used_up:  # what comes out goes on slipping while it does
            self.level_n = None
        return True

    @property
    def used_up(self) -> bool:
        """Whether it has let go for good."""
        return self.releases and self.turn >= len(self.starts_n)


@dataclass
class Breaker:
    """Something that parts: at a force, or a time after the onset, and how fast it tears."""

    at_n: float = math.inf
    after_s: float = math.inf
    tear_s: float = 1e-4
    since_s: float | None = None

    def share(self, time_s: float) -> float:
        """What is left of the path's force, 1 to 0."""
        if self.since_s is None:
            return 1.0
        return max(0.0, 1.0 - (time_s - self.since_s) / self.tear_s)

    def left_s(self, time_s: float) -> float:
        """Time until it is torn; not quite nothing, so that a step reaches it."""
        since_s = math.inf if self.since_s is None else self.since_s
        return max(1e-9, since_s + self.tear_s - time_s)


@dataclass
class Line:
    """One line.

    Attributes
    ----------
    elastic : callable
        Force over extension, for extension > 0.
    stiffness_n_per_m : float
        A stiffness that is typical of it; used for step sizes only.
    damper_ns_per_m : float
        Of the damper in parallel.
    damped_within_m : float
        Stretch within which that damper comes in, as 1 - exp(-x/length); 0: at once.
    maxwell_n_per_m, maxwell_s : float
        Spring and relaxation time of a Maxwell arm in parallel.
    friction : float
        Friction of strands over elastic force (Dahl), reached within `bristle_m`.
    friction_speed_s_per_m : float
        Share by which that friction grows per m/s.
    second : tuple or None
        (extra length, stiffness, damper) of a second leg.
    """

    elastic: Callable[[float], float]
    stiffness_n_per_m: float
    damper_ns_per_m: float = 0.0
    damped_within_m: float = 0.0
    maxwell_n_per_m: float = 0.0
    maxwell_s: float = 1.0
    friction: float = 0.0
    bristle_m: float = 1e-3
    friction_speed_s_per_m: float = 0.0
    second: tuple[float, float, float] | None = None
    slider: Slider | None = None
    breaker: Breaker = field(default_factory=Breaker)

    @property
    def gives(self) -> bool:
        """Whether anything may slip or part, or comes taut later."""
        limits = self.breaker.at_n, self.breaker.after_s
        return self.slider is not None or self.second is not None or min(limits) < math.inf

    def damper(self, stretch: float) -> float:
        """Force per speed of the damper in parallel."""
        if not self.damped_within_m:
            return self.damper_ns_per_m
        return -self.damper_ns_per_m * math.expm1(-stretch / self.damped_within_m)

    def force(self, stretch: float, speed: float, arm: float, second: bool) -> tuple[float, float]:
        """Force and the rate of the arm's state at a stretch > 0.

        `arm` is the force of the Maxwell arm, or the friction over its limit (-1 to 1);
        `second` whether the second leg pulls.
        """
        pull = self.elastic(stretch)
        total = pull + self.damper(stretch) * speed
        rate = 0.0
        if self.maxwell_n_per_m:
            total += arm
            rate = self.maxwell_n_per_m * speed - arm / self.maxwell_s
        elif self.friction:
            total += arm * self.friction * pull * (1.0 + self.friction_speed_s_per_m * abs(speed))
            rate = (speed - abs(speed) * arm) / self.bristle_m
        if second and self.second is not None:
            more = self.second[1] * (stretch - self.second[0])
            total += max(0.0, more + self.second[2] * speed)
        return max(0.0, total), rate


def linear(k: float) -> Callable[[float], float]:
    """Return F = k x."""
    return lambda x: k * x


def cubic(k: float, b: float) -> Callable[[float], float]:
    """Return F = k x (1 + b x2)."""
    return lambda x: k * x * (1.0 + b * x * x)


def exponential(k: float, length: float) -> Callable[[float], float]:
    """Return F = k L (exp(x/L) - 1)."""
    return lambda x: k * length * math.expm1(x / length)


def toe(k: float, length: float) -> Callable[[float], float]:
    """Return a J-curve whose stiffness grows from 0 to k over the toe's length."""
    return lambda x: k * (x + length * math.expm1(-x / length))
