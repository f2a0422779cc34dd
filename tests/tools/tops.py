"""Drops with whole, cut and yielding tops, one a seed: laws of lines of its own.

Nothing here comes from the project's mechanics, and nothing from its marking. A rail cuts
what the amplifier gives; noise, filters behind the rail and the converter come after it.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from tautlog.model.trace import DropSetup, Trace

G = 9.80665
LINES = ("linear", "zener", "hardening", "toe", "hysteresis")
RATES_HZ = (5e3, 1e4, 2e4, 6.25e4, 1.25e5, 2.5e5, 5e5)
BEFORE_S = 0.15
STEPS = 1500  # of a half period: the peak is right within 1e-6


@dataclass(frozen=True)
class Case:
    """One drop as it is set up; `depth` of the peak is cut away, 0 for a whole top."""

    line: str = "linear"
    mass_kg: float = 10.0
    height_m: float = 1.0
    stiffness: float = 20e3
    damping: float = 0.1
    extra: float = 0.0
    rate_hz: float = 62.5e3
    noise: float = 0.002
    bandwidth_hz: float = 2000.0
    poles: int = 1
    ring: float = 0.0
    ring_hz: float = 400.0
    ring_damping: float = 0.03
    depth: float = 0.0
    kind: str = "hard"
    behind_hz: float = 0.0
    behind_poles: int = 1
    yields: float = 0.0
    cfc: int | None = 180
    seed: int = 0


def drawn(seed, **fixed):
    """The case of a seed, with what is fixed."""
    rng = np.random.default_rng([seed, 12])
    line = str(rng.choice(LINES))
    case = Case(
        line=line,
        mass_kg=rng.uniform(4.0, 25.0),
        height_m=rng.uniform(0.2, 2.0),
        stiffness=float(np.exp(rng.uniform(math.log(5e3), math.log(2e5)))),
        damping=rng.uniform(0.01, 0.25),
        extra=rng.uniform(0.1, 1.0),
        rate_hz=float(rng.choice(RATES_HZ, p=(0.2, 0.2, 0.2, 0.25, 0.07, 0.05, 0.03))),
        noise=float(np.exp(rng.uniform(math.log(5e-4), math.log(1e-2)))),
        bandwidth_hz=float(np.exp(rng.uniform(math.log(100.0), math.log(2e4)))),
        poles=int(rng.integers(1, 3)),
        ring=float(rng.choice([0.0, 0.0, 0.0, rng.uniform(0.02, 0.25)])),
        ring_hz=float(np.exp(rng.uniform(math.log(80.0), math.log(900.0)))),
        ring_damping=rng.uniform(0.01, 0.06),
        behind_hz=float(np.exp(rng.uniform(math.log(200.0), math.log(5e3)))),
        behind_poles=int(rng.integers(1, 3)),
        seed=seed,
    )
    highest = [one for one in (60, 180, 600, 1000) if 10 * one <= case.rate_hz]
    case = replace(case, cfc=int(rng.choice(highest)))
    return replace(case, **fixed)


def contact(case, speed_m_s):
    """Times and forces of one pull that begins at a speed, and the speed at its end."""
    mass, k = case.mass_kg, case.stiffness
    omega = math.sqrt(k / mass)
    damper = 2.0 * case.damping * math.sqrt(k * mass)
    reach_m = speed_m_s / omega
    uptake_m = 0.05 * reach_m

    def force_of(x, v, y):
        if x <= 0.0:
            return 0.0
        viscous = damper * v * min(x / uptake_m, 1.0)
        if case.line == "zener":
            force = k * x + 2.0 * k * case.extra * 0.5 * (x - y)
        elif case.line == "hardening":
            force = k * x * (1.0 + case.extra * (x / reach_m) ** 2) + viscous
        elif case.line == "toe":
            toe_m = 0.3 * case.extra * reach_m
            force = k * (x * x / (2 * toe_m) if x < toe_m else x - 0.5 * toe_m) + viscous
        elif case.line == "hysteresis":
            force = k * x * (1.0 + 0.2 * case.extra * math.tanh(v / (0.15 * speed_m_s))) + viscous
        else:
            force = k * x + viscous
        if case.yields:
            force = min(force, case.yields * k * reach_m)
        return max(force, 0.0)

    relax_s = 0.6 / omega

    def slope(x, v, y):
        return v, G - force_of(x, v, y) / mass, ((x - y) / relax_s if case.line == "zener" else 0.0)

    step = math.pi / omega / STEPS
    x, v, y, at = 0.0, speed_m_s, 0.0, 0.0
    times, forces = [0.0], [0.0]
    while at < 40.0 * math.pi / omega:
        a = slope(x, v, y)
        b = slope(*(s + 0.5 * step * d for s, d in zip((x, v, y), a, strict=True)))
        c = slope(*(s + 0.5 * step * d for s, d in zip((x, v, y), b, strict=True)))
        d = slope(*(s + step * e for s, e in zip((x, v, y), c, strict=True)))
        x, v, y = (
            s + step / 6 * (p + 2 * q + 2 * r + u)
            for s, p, q, r, u in zip((x, v, y), a, b, c, d, strict=True)
        )
        at += step
        force = force_of(x, v, y)
        times.append(at)
        forces.append(force)
        if force <= 0.0 and v < 0.0:
            break
    return np.array(times), np.array(forces), -v


def motion(case, total_s=1.6):
    """Force from the release on, at the case's rate or 100 kS/s, whichever is more."""
    rate_hz = case.rate_hz * max(round(1e5 / case.rate_hz), 1)
    time_s = np.arange(int((BEFORE_S + total_s) * rate_hz)) / rate_hz - BEFORE_S
    force = np.zeros(time_s.size)
    speed = math.sqrt(2 * G * case.height_m)
    taut_s = onset_s = speed / G
    for _ in range(4):
        times, forces, out = contact(case, speed)
        force += np.interp(time_s - taut_s, times, forces, left=0.0, right=0.0)
        taut_s += times[-1] + 2 * out / G
        speed = out
        if out < 0.3 or taut_s > total_s:
            break
    return rate_hz, time_s, force, onset_s


def with_ring(case, rate_hz, time_s, force, onset_s):
    """The force with that of a fixture that swings from the onset on."""
    if not case.ring:
        return force
    since = np.clip(time_s - onset_s, 0.0, None)
    omega = 2 * math.pi * case.ring_hz
    swing = np.exp(-case.ring_damping * omega * since) * np.sin(omega * since)
    return np.where(time_s > onset_s, force + case.ring * force.max() * swing, force)


def low_pass(force, rate_hz, corner_hz, poles):
    if not corner_hz or corner_hz > 0.3 * rate_hz:
        return force
    pole = math.exp(-2 * math.pi * corner_hz / rate_hz)
    for _ in range(poles):
        force = lfilter([1.0 - pole], [1.0, -pole], force)
    return force


def recorded(case):
    """Trace, set-up, and the peak of what the amplifier would have given."""
    rng = np.random.default_rng([case.seed, 34])
    rate_hz, time_s, force, onset_s = motion(case)
    force = with_ring(case, rate_hz, time_s, force, onset_s)
    force = low_pass(force, rate_hz, case.bandwidth_hz, case.poles)
    peak_n = float(force.max())
    told_n = peak_n
    if case.depth:
        rail_n = (1.0 - case.depth) * peak_n
        told_n = rail_n
        rail = np.full(force.size, rail_n)
        if case.kind == "sinks":
            over = np.cumsum(force > rail_n)
            rail -= 0.01 * rail_n * np.minimum(over / max(over[-1], 1), 1.0)
        force = np.minimum(force, rail)
        if case.kind == "rounded":
            force = low_pass(force, rate_hz, case.behind_hz, case.behind_poles)
    every = round(rate_hz / case.rate_hz)
    quantum_n = 1.6 * peak_n / 4096
    if case.kind == "averaged":
        # Eight conversions, each with its noise and its limit, in one sample.
        parts = force[::every][:, None] + rng.normal(
            0.0, math.sqrt(8.0) * case.noise * peak_n, (force[::every].size, 8)
        )
        limit_n = told_n if case.depth else np.inf
        sample = np.minimum(np.round(parts / quantum_n) * quantum_n, limit_n).mean(axis=1)
    else:
        sample = force[::every] + rng.normal(0.0, case.noise * peak_n, force[::every].size)
        sample = np.round(sample / quantum_n) * quantum_n
    trace = Trace(
        force_n=sample + 0.05 * peak_n,
        sample_rate_hz=case.rate_hz,
        release_time_s=BEFORE_S,
        quantum_n=quantum_n,
        calibration_u_fraction=0.02,
        covered_n=2.0 * peak_n,
        bandwidth_hz=case.bandwidth_hz,
    )
    setup = DropSetup(mass_kg=case.mass_kg, height_m=case.height_m, target_n=told_n / 1.05)
    return trace, setup, peak_n
