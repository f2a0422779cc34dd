"""Kinds: a line for each word, drawn at random to suit the size of a drop.

`HOLDING` hold, `GIVING` give in one way or another.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from independent import lines
from independent.lines import Breaker, Line, Slider
from independent.rig import G, Rig, fall

Rng = np.random.Generator


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """A number whose logarithm is even between two bounds."""
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def one_of(rng: Rng, *choices: Any) -> Any:
    """One of several, all alike."""
    return choices[int(rng.integers(len(choices)))]


@dataclass
class Size:
    """The linear undamped drop of the same mass, height and stiffness, for scale."""

    mass_kg: float
    height_m: float
    k: float

    @property
    def critical(self) -> float:
        """Damper of critical damping."""
        return 2.0 * math.sqrt(self.k * self.mass_kg)

    @property
    def peak_n(self) -> float:
        """M g (1 + sqrt(1 + 2 k h / (m g)))."""
        weight = self.mass_kg * G
        return weight * (1.0 + math.sqrt(1.0 + 2.0 * self.k * self.height_m / weight))

    @property
    def stretch_m(self) -> float:
        """At that peak."""
        return self.peak_n / self.k

    @property
    def half_s(self) -> float:
        """Half a period: the contact's length without gravity."""
        return math.pi * math.sqrt(self.mass_kg / self.k)


def draw_size(rng: Rng) -> Size:
    """Mass, height and stiffness within the stated limits, drawn until the pulse is one."""
    while True:
        size = Size(
            log_uniform(rng, 2.0, 30.0), log_uniform(rng, 0.1, 2.5), log_uniform(rng, 2e3, 500e3)
        )
        weight = size.mass_kg * G
        if 4.0 * weight < size.peak_n < 9e3 and size.peak_n > 150.0 and size.stretch_m < 0.7:
            return size


def damped(rng: Rng, size: Size, most: float = 0.25) -> float:
    """Return a damper of 0 to `most` of the critical one."""
    return float(rng.uniform(0.0, most)) * size.critical


def kelvin(rng: Rng, size: Size) -> Line:
    """Spring and damper in parallel."""
    return Line(lines.linear(size.k), size.k, damped(rng, size))


def zener(rng: Rng, size: Size) -> Line:
    """Standard linear solid: a spring beside a spring with a dashpot in series."""
    arm = size.k * rng.uniform(0.1, 1.0)
    long = size.half_s * log_uniform(rng, 0.03, 1.0)
    return Line(lines.linear(size.k), size.k + arm, maxwell_n_per_m=arm, maxwell_s=long)


def hardening(rng: Rng, size: Size) -> Line:
    """Cubic hardening: 10 to 150 % more force at the linear stretch."""
    b = rng.uniform(0.1, 1.5) / size.stretch_m**2
    return Line(lines.cubic(size.k, b), 2.0 * size.k, damped(rng, size, 0.2))


def exponential(rng: Rng, size: Size) -> Line:
    """Exponential hardening."""
    length = size.stretch_m / rng.uniform(0.3, 1.5)
    return Line(lines.exponential(size.k, length), 2.0 * size.k, damped(rng, size, 0.2))


def toe(rng: Rng, size: Size) -> Line:
    """Slack is taken up first: a J-curve, whose damper grows as its stiffness does."""
    length = size.stretch_m * float(rng.uniform(0.03, 0.3))
    c = damped(rng, size, 0.2)
    return Line(lines.toe(size.k, length), size.k, c, damped_within_m=length)


def rope(rng: Rng, size: Size) -> Line:
    """Strands that rub: friction in proportion to the pull, a little more with speed."""
    return Line(
        lines.linear(size.k),
        1.2 * size.k,
        damped(rng, size, 0.08),
        friction=float(rng.uniform(0.03, 0.25)),
        bristle_m=size.stretch_m * float(rng.uniform(0.02, 0.15)),
        friction_speed_s_per_m=float(rng.uniform(0.0, 0.1)),
    )


def legs(rng: Rng, size: Size) -> Line:
    """Two legs of unequal length."""
    share = rng.uniform(0.3, 0.7)
    longer = size.stretch_m * rng.uniform(0.02, 0.45)
    c = damped(rng, size, 0.15)
    second = (float(longer), size.k * (1.0 - share), c * (1.0 - share))
    return Line(lines.linear(share * size.k), size.k, c * share, second=second)


def slip_damper(rng: Rng, size: Size) -> float:
    """Damper of a slip: the force falls within 1 to 6 % of the contact."""
    return float(size.k * size.half_s * rng.uniform(0.01, 0.06))


def ripping(rng: Rng, size: Size) -> Line:
    """Stitches that tear section by section."""
    count = int(rng.integers(2, 9))
    first = size.peak_n * rng.uniform(0.25, 0.75)
    starts = [float(first * rng.uniform(0.9, 1.1)) for _ in range(count)]
    long = size.stretch_m * rng.uniform(0.03, 0.15)
    slider = Slider(
        starts,
        [float(long * rng.uniform(0.7, 1.3)) for _ in range(count)],
        float(rng.uniform(0.5, 0.9)),
        slip_damper(rng, size),
    )
    return Line(lines.linear(size.k), size.k, damped(rng, size, 0.15), slider=slider)


def regrip(rng: Rng, size: Size) -> Line:
    """A clamp that slips once or several times and grips again."""
    count = int(one_of(rng, 1, 1, 1, 2, 3))
    first = size.peak_n * rng.uniform(0.3, 0.95)
    starts = sorted(float(first * rng.uniform(0.8, 1.05)) for _ in range(count))
    long = size.stretch_m * log_uniform(rng, 0.02, 0.6) / count
    slider = Slider(
        starts,
        [float(long * rng.uniform(0.7, 1.3)) for _ in range(count)],
        float(rng.uniform(0.3, 0.97)),
        slip_damper(rng, size),
    )
    base = one_of(rng, kelvin, kelvin, zener, hardening)(rng, size)
    return replace(base, slider=slider)


def yielding(rng: Rng, size: Size) -> Line:
    """Plastic yield with hardening: a permanent set."""
    start = float(size.peak_n * rng.uniform(0.4, 0.95))
    slider = Slider(
        [start],
        [10.0],
        1.0,
        slip_damper(rng, size) / 3.0,
        hardening_n_per_m=float(size.k * rng.uniform(0.1, 1.5)),
    )
    return Line(lines.linear(size.k), size.k, damped(rng, size, 0.15), slider=slider)


def tear_s(rng: Rng) -> float:
    """How long tearing takes."""
    return log_uniform(rng, 5e-5, 6e-4)


def parted(rng: Rng, size: Size) -> Line:
    """An article that breaks at 20 to 98 % of what the peak would have been."""
    base = one_of(rng, kelvin, zener, hardening, toe, rope)(rng, size)
    # The other laws peak elsewhere than the linear one: see `_rescaled`.
    return replace(base, breaker=Breaker(at_n=float(rng.uniform(0.2, 0.98)), tear_s=tear_s(rng)))


def early(rng: Rng, size: Size) -> Line:
    """An article that breaks within 1 to 5 ms of the onset."""
    base = one_of(rng, kelvin, zener, hardening)(rng, size)
    # Not so early that nothing was to be seen: 5 % of the peak, and not after the peak.
    soonest = max(1e-3, 0.05 * size.half_s / 3.14)
    after = min(float(rng.uniform(soonest, max(5e-3, 1.5 * soonest))), 0.4 * size.half_s)
    return replace(base, breaker=Breaker(after_s=after, tear_s=tear_s(rng)))


def pullout(rng: Rng, size: Size) -> Line:
    """A mount that creeps along a plateau and then comes out."""
    slider = Slider(
        [float(size.peak_n * rng.uniform(0.3, 0.85))],
        [float(size.stretch_m * rng.uniform(0.1, 0.5))],
        float(rng.uniform(0.75, 1.0)),
        slip_damper(rng, size),
        hardening_n_per_m=-0.2 * size.k,
        releases=True,
    )
    breaker = Breaker(tear_s=log_uniform(rng, 5e-4, 5e-3))
    return Line(
        lines.linear(size.k), size.k, damped(rng, size, 0.15), slider=slider, breaker=breaker
    )


HOLDING: dict[str, Callable[[Rng, Size], Line]] = {
    "kelvin": kelvin,
    "zener": zener,
    "hardening": hardening,
    "exponential": exponential,
    "toe": toe,
    "rope": rope,
    "legs": legs,
}
GIVING: dict[str, Callable[[Rng, Size], Line]] = {
    "ripping": ripping,
    "regrip": regrip,
    "yielding": yielding,
    "parted": parted,
    "early": early,
    "pullout": pullout,
}
LINES = HOLDING | GIVING


def nominal_peak(rig: Rig) -> float:
    """Peak of the same rig if nothing gave, by a short integration."""
    still = replace(rig.line, slider=None, breaker=Breaker())
    fell = math.sqrt(2.0 * rig.height_m / G)
    half = math.pi * math.sqrt(rig.mass_kg / rig.line.stiffness_n_per_m)
    motion = fall(replace(rig, line=still, fixture_hz=0.0, knock_ns=0.0), 1.1 * fell + 2.5 * half)
    return float(motion.line_n.max())
