"""Drops: one by kind and seed.

A kind is "line" or "line+fault". `LINES` and `FAULTS` list the words; "any" picks one of
the lines that hold, "every" one of all lines. The same kind and seed give the same drop.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from independent import lines
from independent.instrument import Instrument, Rail
from independent.lines import Breaker, Line, Slider
from independent.rig import FloatArray, G, Motion, Rig, fall
from independent.truth import Truth, class_filtered, on_grid
from tautlog.trace import DropSetup, Trace

GRID_HZ = 100e3  # the true forces are known at least so finely
Rng = np.random.Generator


@dataclass
class Situation:
    """All that is drawn for one drop, before anything is integrated; faults change it."""

    kind: str
    seed: int
    rng: Rng
    rig: Rig
    stretch_m: float
    peak_n: float
    half_s: float
    rate_hz: float
    cfc: int
    instrument: Instrument
    pre_s: float
    contacts: int
    setup: dict[str, Any] = field(default_factory=dict)
    trace: dict[str, Any] = field(default_factory=dict)
    latch_s: float = 0.0
    path: str = "held"
    unit: float = 1.0
    lies: list[str] = field(default_factory=list)
    cut: str = ""
    cut_at: Callable[[Truth, float], float] | None = None
    gaps: Callable[[Truth], list[tuple[float, float]]] | None = None
    rail_depth: float = 0.0
    rail_sinks: float = 0.0
    rail_knee: float = 0.0
    rail_is_code: bool = False
    rail_hz: float = 0.0
    target_is: str = "peak"
    prepare: list[Callable[[Truth], Any]] = field(default_factory=list)


@dataclass(frozen=True)
class Drop:
    """A drop as marking gets it, and the truth beside it."""

    trace: Trace
    setup: DropSetup
    cfc: int
    truth: Truth
    situation: Situation


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """A number whose logarithm is even between two bounds."""
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def one_of(rng: Rng, *choices: Any) -> Any:
    """One of several, all alike."""
    return choices[int(rng.integers(len(choices)))]


# --- lines -------------------------------------------------------------------------------


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


# --- rig and instrument ------------------------------------------------------------------


def draw_rig(rng: Rng, size: Size, line: Line) -> Rig:
    """Rails and fixture around a line."""
    rig = Rig(size.mass_kg, size.height_m, line)
    weight = size.mass_kg * G
    fast = math.sqrt(2.0 * G * size.height_m)
    friction = weight * float(rng.uniform(0.0, 0.08)) * float(one_of(rng, 0.25, 1.0))
    share = float(one_of(rng, 0.0, 0.0, rng.uniform(0.0, 0.6)))
    rig.coulomb_n, rig.viscous_ns_per_m = friction * (1.0 - share), friction * share / fast
    if rng.uniform() < 0.3:
        return rig
    rig.fixture_hz = log_uniform(rng, 80.0, 900.0)
    omega = 2.0 * math.pi * rig.fixture_hz
    rig.fittings_kg = log_uniform(rng, 0.05, 1.0)
    # A beam that is not much stiffer than the line would itself be the line.
    softest = 8.0 * size.k / omega**2
    rig.fixture_kg = max(rig.fittings_kg / float(rng.uniform(0.1, 1.0)), softest)
    rig.fixture_damping = log_uniform(rng, 0.01, 0.08)
    return rig


def knock(rig: Rig, size: Size, share_of_peak: float) -> None:
    """Let the fixture ring at the onset, as far as the sled's momentum allows."""
    if rig.fixture_hz:
        omega = 2.0 * math.pi * rig.fixture_hz
        wanted = share_of_peak * size.peak_n / (omega * rig.fittings_kg / rig.fixture_kg)
        most = 0.05 * size.mass_kg * math.sqrt(2.0 * G * size.height_m)
        rig.knock_ns = min(wanted, most)


def draw_instrument(rng: Rng, peak_n: float) -> tuple[Instrument, dict[str, Any]]:
    """Amplifier and converter, and what is said of them."""
    poles = int(one_of(rng, 1, 1, 2))
    corner = log_uniform(rng, 300.0, 20e3)
    full = peak_n * float(rng.uniform(1.4, 4.0))
    expanded = log_uniform(rng, 0.003, 0.04)
    instrument = Instrument(
        gain=1.0 + float(rng.normal(0.0, expanded / 2.0)),
        zero_n=full * float(rng.uniform(0.02, 0.12)),
        drift_n_per_s=peak_n * float(rng.normal(0.0, 2e-4)),
        full_scale_n=full,
        poles=poles,
        corner_hz=corner,
        noise_n=peak_n * log_uniform(rng, 2e-4, 4e-3),
        hum_n=peak_n * float(one_of(rng, 0.0, 0.0, rng.uniform(0.0, 0.004))),
        hum_hz=float(one_of(rng, 50.0, 60.0)) * float(rng.uniform(0.998, 1.002)),
    )
    said = {
        "quantum_n": instrument.quantum_n,
        "calibration_u_fraction": expanded,
        "covered_n": full,
        "bandwidth_hz": corner * float(rng.uniform(0.9, 1.1)),
    }
    if rng.uniform() < 0.2:
        said["bandwidth_hz"] = 0.0
        instrument.corner_hz = log_uniform(rng, 3e3, 20e3)
    return instrument, said


def draw(kind: str, seed: int) -> Situation:
    """All that a kind and a seed decide, faults not yet in."""
    word, _, _ = kind.partition("+")
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    if word in ("any", "every"):
        word = str(one_of(rng, *(HOLDING if word == "any" else LINES)))
    size = draw_size(rng)
    rig = draw_rig(rng, size, LINES[word](rng, size))
    if rig.line.damper_ns_per_m and not rig.line.damped_within_m and rng.uniform() < 0.5:
        # A real line's damping takes up to a millisecond to come in; the textbook's does not.
        fast = math.sqrt(2.0 * G * size.height_m)
        rig.line.damped_within_m = fast * float(rng.uniform(1e-4, 1e-3))
    if word == "parted":
        rig.line.breaker.at_n *= nominal_peak(rig)
    if rng.uniform() < 0.5:
        knock(rig, size, float(rng.uniform(0.0, 0.1)))
    instrument, said = draw_instrument(rng, size.peak_n)
    rate = float(one_of(rng, 5e3, 10e3, 10e3, 20e3, 62.5e3, 62.5e3))
    classes = [one for one in (60, 180, 180, 600, 1000) if one * 10 <= rate]
    setup = {
        "mass_kg": size.mass_kg * (1.0 + float(rng.normal(0.0, 0.001))),
        "height_m": size.height_m + float(rng.uniform(-0.003, 0.003)),
        "fittings_kg": rig.fittings_kg if rig.fixture_hz and rng.uniform() < 0.7 else None,
        "line": word,
        "article": "link",
    }
    return Situation(
        kind, seed, rng, rig, size.stretch_m, size.peak_n, size.half_s, rate,
        int(one_of(rng, *classes)), instrument, float(rng.uniform(0.15, 0.5)),
        int(rng.integers(4, 9)), setup, said,
    )  # fmt: skip


# --- from a situation to a drop ----------------------------------------------------------


def motion_of(now: Situation) -> tuple[Motion, float]:
    """Integrate until all is at rest, or for as many contacts as were asked; and how long."""
    rig = now.rig
    fell = math.sqrt(2.0 * rig.height_m / G) * 1.05
    last = fell + now.half_s * 2.0 * now.contacts
    flight = 2.0 * math.sqrt(2.0 * rig.height_m / G)
    last += sum(flight * 0.75**turn for turn in range(1, now.contacts))
    last = min(last + 0.4, 3.0)
    return fall(rig, last), last


def true_forces(
    now: Situation, motion: Motion, last_s: float
) -> tuple[float, FloatArray, FloatArray]:
    """Grid rate, cell and line force from the record's start on."""
    times = max(1, math.ceil(GRID_HZ / now.rate_hz))
    grid = now.rate_hz * times
    time_s = np.arange(int((now.pre_s + last_s) * grid)) / grid - now.pre_s
    cell, line = np.zeros(time_s.size), np.zeros(time_s.size)
    falls = time_s >= 0.0
    cell[falls] = on_grid(motion, motion.cell_n, time_s[falls])
    line[falls] = np.maximum(0.0, on_grid(motion, motion.line_n, time_s[falls]))
    return grid, cell, line


def truth_of(
    now: Situation, motion: Motion, grid: float, cell: FloatArray, line: FloatArray
) -> Truth:
    """What was so, from the motion."""
    onset = motion.onsets_s[0] if motion.onsets_s else None
    slack = motion.slacks_s[0] if motion.slacks_s else None
    pre, t = now.pre_s, motion.time_s
    first = t <= (slack if slack is not None else math.inf)
    slipped = float(motion.slipped_m[first][-1])
    stretch = float(motion.stretch_m[first].max())
    rest = None
    if slack is not None and onset is not None and motion.break_s is None:
        rest = -float(np.interp(slack, t, motion.speed_m_per_s)) / float(
            np.interp(onset - 1e-9, t, motion.speed_m_per_s)
        )
    share = slipped / stretch if stretch > 0 else 0.0
    path = "held"
    if motion.break_s is not None:
        path = "let-go"
    elif slipped > 0.0:
        path = "set" if now.rig.line.slider.lengths_m[0] > 5.0 else "slipped"  # type: ignore[union-attr]
    until = int((slack + pre) * grid) if slack is not None else cell.size
    return Truth(
        now.kind, now.seed, path, slipped, stretch, share, float(cell.max()), float(line.max()),
        None if onset is None else onset + pre, None if slack is None else slack + pre,
        None if motion.break_s is None else motion.break_s + pre, pre, rest,
        float(cell[:until].sum() / grid), 0.0, 0.0, now.cut, tuple(now.lies), grid, cell, line,
    )  # fmt: skip


def railed(now: Situation, truth: Truth) -> Truth:
    """Set the rail where it takes a share of the peak as the amplifier shows it."""
    if not now.rail_depth:
        return truth
    amplified = now.instrument.amplified(truth.cell_n, truth.grid_hz)
    peak = float(amplified.max())
    level = peak * (1.0 - now.rail_depth)
    if now.rail_is_code:  # the converter itself is the rail
        now.instrument.zero_n *= level / now.instrument.full_scale_n
        now.instrument.full_scale_n = level + now.instrument.zero_n
        now.trace["quantum_n"] = now.instrument.quantum_n
        now.trace["covered_n"] = level
        return replace(truth, clip_depth=now.rail_depth, clip_loss=now.rail_depth)
    now.instrument.rail = Rail(level, now.rail_sinks, now.rail_knee, now.rail_hz)
    passed = now.instrument.rail.clip(amplified, truth.grid_hz)
    whole = class_filtered(amplified, truth.grid_hz, now.cfc).max()
    left = class_filtered(passed, truth.grid_hz, now.cfc).max()
    return replace(truth, clip_depth=now.rail_depth, clip_loss=float(1.0 - left / whole))


def make(kind: str, seed: int) -> Drop:
    """Make one drop.

    Raises
    ------
    KeyError
        If the kind's words are none of `LINES` ("any", "every") and `FAULTS`.
    """
    from independent.faults import FAULTS

    now = draw(kind, seed)
    fault = kind.partition("+")[2]
    if fault:
        FAULTS[fault](now)
    motion, last = motion_of(now)
    grid, cell, line = true_forces(now, motion, last)
    truth = railed(now, truth_of(now, motion, grid, cell, line))
    for act in now.prepare:
        act(truth)
    force = now.instrument.record(cell, grid, now.rate_hz, now.rng) / now.unit
    return finished(now, truth, force)


def finished(now: Situation, truth: Truth, force: FloatArray) -> Drop:
    """Cut, gap and label what was recorded."""
    if now.gaps is not None:
        for start, end in now.gaps(truth):
            force[int(start * now.rate_hz) : int(end * now.rate_hz)] = np.nan
    if now.cut_at is not None:
        force = force[: max(2, int(now.cut_at(truth, now.rate_hz) * now.rate_hz))]
    release: float | None = now.pre_s - now.latch_s
    if release is not None and release >= force.size / now.rate_hz:
        release = None
    said = {"release_time_s": release} | now.trace
    codes = force * now.unit / now.instrument.quantum_n
    top = (2**now.instrument.bits - 1) * now.instrument.summed
    trace = Trace(force, now.rate_hz, clipped=codes >= top - 0.5, **said)
    return Drop(trace, setup_of(now, truth, force), now.cfc, truth, now)


def setup_of(now: Situation, truth: Truth, force: FloatArray) -> DropSetup:
    """What people said; the target lies where the record, or the truth, would be on target."""
    if truth.break_s is not None:
        force = force[: max(2, int(truth.break_s * now.rate_hz))]
    seen = force[np.isfinite(force)]
    zero = now.instrument.zero_n / now.unit
    shown = float(class_filtered(seen, now.rate_hz, now.cfc).max()) - zero if seen.size else 0.0
    wanted = shown if now.target_is == "shown" else truth.peak_n(now.cfc)
    return DropSetup(**({"target_n": max(1.0, wanted / 1.05)} | now.setup))
