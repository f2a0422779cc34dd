"""Drops: one by kind and seed.

A kind is "line" or "line+fault". `LINES` and `FAULTS` list the words; "any" picks one of
the lines that hold, "every" one of all lines. The same kind and seed give the same drop.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from independent.instrument import Instrument, Rail
from independent.kinds import (
    HOLDING,
    LINES,
    Rng,
    Size,
    draw_size,
    log_uniform,
    nominal_peak,
    one_of,
)
from independent.lines import Line
from independent.rig import FloatArray, G, Motion, Rig, fall
from independent.truth import Truth, class_filtered, on_grid
from tautlog.model.steps import steps_of
from tautlog.model.trace import DropSetup, Trace

TRACE_FIELDS = frozenset(one.name for one in fields(Trace))
GRID_HZ = 100e3  # the true forces are known at least so finely


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
    # Half of all boards are RP2040s that nobody has tested: nothing corrects their wide codes.
    instrument.wide_codes = bool(rng.uniform() < 0.5)
    said["steps"] = steps_of("" if instrument.wide_codes else "even", instrument.bits)
    said["newton_per_step"] = full / 2**instrument.bits
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
    return dropped(now)


def dropped(now: Situation) -> Drop:
    """Integrate and record what a situation has."""
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
    said = {key: value for key, value in said.items() if key in TRACE_FIELDS}
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
