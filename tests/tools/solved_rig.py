"""A rig of its own: a sled on a line, solved by RK4, with the truth of its first pull.

It shares nothing with the program's mechanics. The line's force is a function of stretch and
speed; rails rub against the motion; the chain behind the cell is the test's.
"""

from dataclasses import dataclass

import numpy as np

G = 9.80665  # standard gravity (CGPM 1901)
MASS_KG, HEIGHT_M, RATE_HZ = 9.0, 1.2, 10_000.0
BEFORE_S = 0.5  # before the sled is let go
STICKS_M_S = 0.005  # below which friction is smooth


@dataclass(frozen=True)
class Truth:
    """The first pull: peak, energy until the sled stands, stretch there, speed as it came taut."""

    peak_n: float
    energy_j: float
    stretch_m: float
    speed_m_s: float


@dataclass(frozen=True)
class Solved:
    """Force on the line, and what it really was."""

    force_n: np.ndarray
    rate_hz: float
    truth: Truth

    def noisy(self, noise_n=2.0, seed=1):
        """With white noise."""
        return self.force_n + np.random.default_rng(seed).normal(0.0, noise_n, self.force_n.size)


def soft(x_m, v_m_s):
    """17.5 kN/m; damping grows with the stretch, so that nothing jumps at contact."""
    return max(17500.0 * x_m * (1.0 + 0.06 * v_m_s), 0.0) if x_m > 0.0 else 0.0


def kelvin(x_m, v_m_s):
    """A spring of 19.3 kN/m beside a damper of 55 N s/m."""
    return max(19300.0 * x_m + 55.0 * v_m_s, 0.0) if x_m > 0.0 else 0.0


def solved(line, friction_n=3.5, length_s=2.2):
    """Drop 9 kg from 1.2 m on a line, `line(x, v)` in newtons."""
    step_s = 1.0 / RATE_HZ
    count = int(length_s * RATE_HZ)
    x, v = -HEIGHT_M, 0.0
    way, speed, force = np.empty(count), np.empty(count), np.empty(count)

    def rate(x_m, v_m_s):
        rubs = friction_n * np.tanh(v_m_s / STICKS_M_S)
        return v_m_s, G - (line(x_m, v_m_s) + rubs) / MASS_KG

    for place in range(count):
        way[place], speed[place], force[place] = x, v, line(x, v)
        if place < BEFORE_S * RATE_HZ:
            continue
        a, b = rate(x, v)
        c, d = rate(x + step_s / 2 * a, v + step_s / 2 * b)
        e, f = rate(x + step_s / 2 * c, v + step_s / 2 * d)
        g, h = rate(x + step_s * e, v + step_s * f)
        x, v = x + step_s / 6 * (a + 2 * c + 2 * e + g), v + step_s / 6 * (b + 2 * d + 2 * f + h)
    return Solved(force, RATE_HZ, _truth(way, speed, force))


def _truth(way_m, speed_m_s, force_n):
    first = int(np.argmax(way_m > 0.0))
    stands = first + int(np.argmax(speed_m_s[first:] <= 0.0))
    pull = slice(first, stands + 1)
    return Truth(
        float(force_n[pull].max()),
        float(np.trapezoid(force_n[pull], way_m[pull])),
        float(way_m[stands]),
        float(speed_m_s[first]),
    )
