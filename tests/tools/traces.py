"""Traces from formulas and from scipy's solver: nothing of the project's own mechanics."""

import functools
import math

import numpy as np
from scipy.integrate import solve_ivp

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup, Trace

RATE_HZ = 62500.0
BEFORE_S = 0.4  # from the start of the trace to the release


def half_sine(peak_n, duration_s, *, rate_hz=RATE_HZ, start_s=0.5, total_s=1.0):
    """F sin(pi t / T) between two stretches of nothing."""
    time_s = np.arange(int(total_s * rate_hz)) / rate_hz - start_s
    inside = (time_s >= 0) & (time_s <= duration_s)
    return np.where(inside, peak_n * np.sin(np.pi * np.clip(time_s / duration_s, 0, 1)), 0.0)


@functools.cache
def arrest(mass_kg, height_m, stiffness, damping_ratio=0.0, *, total_s=6.0, breaks_at_n=None):
    """Force of a sled that falls on a slack line and bounces until it hangs.

    F = k x + c x' while the line is taut (x > 0) and F > 0: a line cannot push.
    Returns (time since release, force) on the grid of RATE_HZ.
    """
    damping = 2 * damping_ratio * math.sqrt(stiffness * mass_kg)

    def motion(_, state):
        x, v = state.tolist()  # with numbers of numpy it would take twice as long
        force = max(stiffness * x + damping * v, 0.0) if x > 0 else 0.0
        return v, G - force / mass_kg

    time_s = np.arange(int(total_s * RATE_HZ)) / RATE_HZ
    taut = lambda _, state: state[0]  # noqa: E731 - an event needs attributes
    got = solve_ivp(
        motion, (0, total_s), (-height_m, 0.0), t_eval=time_s, events=taut, rtol=1e-9, max_step=2e-3
    )
    x, v = got.y
    force_n = np.where(x > 0, np.maximum(stiffness * x + damping * v, 0.0), 0.0)
    if breaks_at_n is not None:
        over = np.flatnonzero(force_n >= breaks_at_n)
        force_n[over[0] :] = 0.0
    force_n.flags.writeable = False  # shared by all who ask for the same
    return time_s, force_n


def recorded(
    force_n, *, noise_n=0.5, zero_n=40.0, seed=1, before_s=BEFORE_S, quantum_n=0.1, **more
):
    """A trace as a board delivers it: noise, a zero, samples before the release."""
    noise = np.random.default_rng(seed).normal(0.0, noise_n, force_n.size + int(before_s * RATE_HZ))
    whole = np.concatenate([np.zeros(int(before_s * RATE_HZ)), force_n]) + noise + zero_n
    return Trace(
        force_n=whole,
        sample_rate_hz=RATE_HZ,
        release_time_s=before_s,
        quantum_n=quantum_n,
        **more,
    )


def plain(force_n, rate_hz=RATE_HZ, **more):
    """A trace with nothing added and no release."""
    return Trace(force_n=np.asarray(force_n, dtype=float), sample_rate_hz=rate_hz, **more)


NOBODY = DropSetup()
