"""Drops of which the truth is known: a sled on a line, whose load path does what a test says.

Own integration (Euler, half-implicit, at four steps a sample) of m x'' = m g - F - friction, x the
way past the place where the line first comes taut. Nothing of the project's own mechanics.
"""

import math

import numpy as np

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup, Trace

MASS_KG, HEIGHT_M, FRICTION_N = 9.0, 1.2, 3.5
RATE_HZ = 10_000.0
RELEASE_S = 0.5
SLED = DropSetup(mass_kg=MASS_KG, height_m=HEIGHT_M, target_n=1800.0)
STEPS = 4  # of the integration, a sample


def kelvin(x_m, v_m_s, stiffness=19_300.0, damping=55.0):
    """A line with a damper: k x + c v while it is taut, and never less than nothing."""
    return max(stiffness * x_m + damping * v_m_s, 0.0) if x_m > 0.0 else 0.0


def soft(x_m, v_m_s, stiffness=17_500.0, damping=0.06):
    """A line whose damping grows with its stretch: no step where it comes taut."""
    return max(stiffness * x_m * (1.0 + damping * v_m_s), 0.0) if x_m > 0.0 else 0.0


def dropped(force, *, total_s=3.0, hold_s=None, rate_hz=RATE_HZ):
    """Force of each sample, shape (n_samples,).

    `force(t, x, v)` may keep what it remembers by itself. `hold_s` is when a latch catches a
    sled that rises, from that time on.
    """
    step_s, felt = 1.0 / rate_hz / STEPS, np.zeros(int(total_s * rate_hz))
    x, v, caught = -HEIGHT_M, 0.0, False
    for sample in range(felt.size):
        for turn in range(STEPS):
            now_s = sample / rate_hz + turn * step_s
            pull_n = 0.0 if caught else force(now_s, x, v)
            felt[sample] = pull_n if turn == 0 else felt[sample]
            if now_s < RELEASE_S or caught:
                continue
            rub_n = FRICTION_N * math.tanh(v / 0.005)
            v += step_s * (G - (pull_n + rub_n) / MASS_KG)
            x += step_s * v
            caught = hold_s is not None and now_s > hold_s and x < -0.5
    return felt


def seen(force_n, *, noise_n=2.0, seed=1, rate_hz=RATE_HZ, **more):
    """What a converter makes of it."""
    noise = np.random.default_rng(seed).normal(0.0, noise_n, force_n.size)
    return Trace(force_n=force_n + noise, sample_rate_hz=rate_hz, **more)
