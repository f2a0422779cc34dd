"""Random drops over the whole range that the instrument is meant for, with their truth.

One seed is one drop: sled, line, rails, what goes wrong, chain, rate and class.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from tautlog.analysis.filters import CLASSES, highest_class_for
from tautlog.mechanics.first_peak import first_peak_n
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel, Slip
from tautlog.model.steps import steps_of
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup, Trace
from tautlog.rehearsal.converters import as_found, some_converter

KINDS = {
    "held": 0.26,
    "let-go": 0.16,
    "slip": 0.08,
    "clip": 0.08,
    "clip-unknown": 0.06,
    "gap": 0.06,
    "stop": 0.04,
    "never-taut": 0.03,
    "glitch": 0.03,
    "hum": 0.03,
    "reversed": 0.02,
    "gain": 0.04,
    "wrong-mass": 0.02,
    "wrong-height": 0.02,
    "late-latch": 0.02,
    "cable": 0.03,
    "cell-overload": 0.02,
}
RATES_HZ = [5e3, 1e4, 2e4, 5e4, 6.25e4, 1.25e5, 2.5e5, 5e5]
RATE_SHARES = [0.16, 0.18, 0.18, 0.16, 0.2, 0.06, 0.04, 0.02]
BEFORE_S, AFTER_S = 0.4, 3.6
LEAST_SLIP_M, LEAST_SLIP = 0.012, 0.25  # of the stretch; below it held is said, too


@dataclass(frozen=True)
class Drop:
    """One drop: what is known of it, and what is true."""

    seed: int
    kind: str
    trace: Trace
    setup: DropSetup
    cfc: int | None
    model: RigModel
    peak_n: float | None
    says: tuple[str, ...]

    @property
    def flawed(self):
        """Whether its peak is a lower bound only."""
        return self.kind in ("clip", "clip-unknown", "gap")

    def __str__(self):
        m = self.model
        return (
            f"seed {self.seed} {self.kind}: {m.mass_kg:.2f} kg {m.height_m:.3f} m "
            f"{m.stiffness_n_per_m:.0f} N/m b {m.hardening_per_m2:.1f} zeta {m.damping_ratio:.3f} "
            f"friction {m.friction_n / m.weight_n:.3f}, {self.trace.sample_rate_hz:g}/s, "
            f"class {self.cfc}"
        )


def random_drop(seed, kind=None):
    """Return the drop of a seed, or one of a kind."""
    rng = np.random.default_rng([seed, 20])
    drawn = str(rng.choice(list(KINDS), p=list(KINDS.values())))
    kind = kind or drawn
    model = _model(rng)
    peak_n = first_peak_n(model)
    model = _damaged(model, kind, peak_n, rng)
    rate_hz = float(rng.choice(RATES_HZ, p=RATE_SHARES))
    motion = fall(model, duration_s=AFTER_S + 0.5)
    truth = motion.truth()
    delay_s = rng.uniform(0.015, 0.04) if kind == "late-latch" else 0.0
    time_s = np.arange(int((BEFORE_S + AFTER_S) * rate_hz)) / rate_hz - BEFORE_S - delay_s
    force_n = motion.force_n(time_s)
    true_n = truth.peak_force_n
    onset_s = BEFORE_S + delay_s + (truth.onset_time_s or 0.5)
    base_s = truth.base_duration_s or 0.05
    trace = _measured(force_n, rate_hz, kind, true_n or peak_n, onset_s, base_s, rng, seed)
    setup = DropSetup(
        mass_kg=model.mass_kg * (rng.uniform(1.1, 1.5) if kind == "wrong-mass" else 1.0),
        height_m=model.height_m * (rng.uniform(1.1, 1.5) if kind == "wrong-height" else 1.0),
        target_n=peak_n / rng.uniform(0.9, 1.25),
    )
    allowed = [one for one in CLASSES if one <= (highest_class_for(rate_hz) or 0)]
    cfc = rng.choice([*allowed, 0]) if allowed else 0
    says = _says(kind, truth)
    return Drop(seed, kind, trace, setup, int(cfc) or None, model, true_n, says)


def _says(kind, truth):
    """Return what a trace may say, besides that it is unclear."""
    if truth.break_time_s is not None:
        return ("let-go",)
    if kind == "never-taut":
        return ()
    if truth.slipped_m == 0.0:
        return ("held",)
    much = truth.slipped_m > max(LEAST_SLIP_M, LEAST_SLIP * (truth.max_stretch_m or 0.0))
    return ("slipped",) if much else ("slipped", "held")


def _model(rng):
    while True:
        mass_kg, height_m = rng.uniform(2.0, 30.0), rng.uniform(0.1, 2.5)
        model = RigModel(
            mass_kg=mass_kg,
            height_m=height_m,
            stiffness_n_per_m=float(np.exp(rng.uniform(np.log(2e3), np.log(5e5)))),
            hardening_per_m2=float(rng.choice([0.0, rng.uniform(0.0, 20.0)])),
            damping_ratio=rng.uniform(0.02, 0.25),
            uptake_m=float(rng.choice([0.0, 0.003])),
            friction_n=rng.uniform(0.0, 0.1) * mass_kg * G,
        )
        # A line that hardly slackens again is no snatch.
        if first_peak_n(model) > 3.0 * model.weight_n:
            return model


def _damaged(model, kind, peak_n, rng):
    if kind == "let-go":
        # A damper that is there at once jumps to 2 zeta v sqrt(k m), and no part breaks in no time.
        least = max(0.35, 0.1 + 2.0 * model.damping_ratio)
        return replace(
            model,
            break_force_n=rng.uniform(least, 0.98) * peak_n,
            ring_n=rng.uniform(0.0, 0.15) * peak_n,
            ring_hz=rng.uniform(50.0, 200.0),
        )
    if kind == "slip":
        stretch_m = peak_n / model.stiffness_n_per_m
        slip = Slip(rng.uniform(0.4, 0.8) * peak_n, max(0.02, rng.uniform(0.5, 1.0) * stretch_m))
        return replace(model, slip=slip)
    if kind == "stop":
        return replace(
            model, catch_stretch_m=rng.uniform(0.3, 0.6) * peak_n / model.stiffness_n_per_m
        )
    if kind == "never-taut":
        return replace(model, catch_stretch_m=-0.02)
    return model


def _measured(force_n, rate_hz, kind, peak_n, onset_s, base_s, rng, seed):
    """Force as a chain of cell, amplifier and converter delivers it."""
    u_fraction = float(rng.choice([0.01, 0.02, 0.04]))
    scale = 1.0 + rng.normal(0.0, 0.5 * u_fraction)
    bandwidth_hz = 2000.0
    if kind == "gain":
        scale *= float(rng.choice([0.1, 0.5, 0.8, 1.25, 2.0, 10.0]))
    range_n = 1.6 * peak_n * max(scale, 0.3)
    summed = int(rng.choice([1, 2, 4, 8]))
    step_n = range_n / 4096
    pole = np.exp(-2 * np.pi * min(bandwidth_hz, 0.4 * rate_hz) / rate_hz)
    measured = scale * lfilter([1.0 - pole], [1.0, -pole], force_n)
    noise_n = float(np.exp(rng.uniform(np.log(2e-4), np.log(6e-3)))) * peak_n * scale
    rail_n = None
    if kind in ("clip", "clip-unknown"):
        rail_n = rng.uniform(0.4, 0.93) * peak_n * scale
    zero_n = rng.uniform(0.02, 0.1) * range_n
    time_s = np.arange(force_n.size) / rate_hz
    measured += zero_n + rng.normal(0.0, noise_n, force_n.size) + rng.normal(0, noise_n) * time_s
    if kind == "hum":
        measured += 0.02 * peak_n * np.sin(2 * np.pi * 50.0 * time_s + rng.uniform(0, 6.3))
    if kind == "cell-overload":
        measured[time_s > onset_s + 0.3 * base_s] += 0.06 * peak_n
    clipped = np.zeros(force_n.size, dtype=bool)
    if rail_n is not None:
        measured = np.minimum(measured, zero_n + rail_n)
        clipped = measured >= zero_n + rail_n if kind == "clip" else clipped
    measured, found = _converted(measured / step_n, summed, noise_n / step_n, seed)
    measured *= step_n
    if kind == "reversed":
        measured = -measured
    if kind == "glitch":
        measured[int(rng.uniform(0.1, 0.9) * measured.size)] = 1.5 * peak_n * scale + zero_n
    if kind == "gap":
        start = int((onset_s + rng.uniform(0.0, 0.9) * base_s) * rate_hz)
        measured[start : start + max(int(rng.uniform(0.002, 0.03) * rate_hz), 1)] = np.nan
    if kind == "cable":
        start = int((onset_s + rng.uniform(0.1, 0.9) * base_s) * rate_hz)
        measured[start:] = range_n
        clipped[start:] = True
    return Trace(
        force_n=measured,
        sample_rate_hz=rate_hz,
        release_time_s=BEFORE_S,
        clipped=clipped,
        quantum_n=step_n / summed,
        steps=found,
        newton_per_step=step_n,
        calibration_u_fraction=u_fraction,
        covered_n=float(rng.choice([0.0, 2.0 * peak_n])),
        bandwidth_hz=bandwidth_hz,
    )


def _converted(levels, summed, noise, seed):
    """What a converter of unequal steps makes of levels, and what its correction leaves."""
    true = some_converter("RP2040", seed)
    found = as_found(true, seed)
    noise = max(noise * np.sqrt(summed), true.noise_steps)
    if summed == 1:
        counts = np.searchsorted(true.transitions, levels, side="right")
    else:
        # The expected mean of noisy conversions, and the whole count next to it.
        means = np.arange(4095 * summed + 1) / summed
        mean = np.interp(levels, true.levels(summed, noise), means)
        counts = np.rint(mean * summed).astype(int)
    return found.levels(summed, noise)[counts], steps_of(found.text, 12)


def outcome(drop):
    """What marking and judging make of it."""
    from tautlog.analysis.judge import judge
    from tautlog.analysis.marking import mark

    marks = replace(mark(drop.trace, drop.setup, cfc=drop.cfc), curve=None)  # large
    verdict = judge(marks, drop.setup)
    inside = None
    if marks.peak_force_n is not None and drop.peak_n is not None and _comparable(drop):
        inside = abs(marks.peak_force_n - drop.peak_n) <= (marks.peak_force_expanded_u_n or 0.0)
    return marks, verdict, inside


def _comparable(drop):
    return not drop.flawed and drop.kind not in ("reversed", "gain", "cable", "cell-overload")
