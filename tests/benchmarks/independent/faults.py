"""Faults: what is done to a drop on top of its line; each changes the situation."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from independent.drops import Situation, knock
from independent.kinds import Size, log_uniform, one_of
from independent.rig import G
from independent.truth import Truth


def _size(now: Situation) -> Size:
    return Size(now.rig.mass_kg, now.rig.height_m, now.peak_n / now.stretch_m)


def _clip(now: Situation) -> None:
    """A rail at 0.90 to 0.97 of the peak, noise 0.05 to 0.5 % of it behind the rail."""
    now.rail_depth = float(now.rng.uniform(0.03, 0.10))
    now.instrument.noise_n = now.peak_n * log_uniform(now.rng, 5e-4, 5e-3)
    now.rate_hz = float(one_of(now.rng, 10e3, 62.5e3))
    now.cfc = int(one_of(now.rng, 60, 180, 180, 600, 1000))
    now.target_is = "shown"
    now.lies.append("clipped")


def clip_hard(now: Situation) -> None:
    """A rail that does not give."""
    _clip(now)


def clip_deep(now: Situation) -> None:
    """A rail at 0.4 to 0.9 of the peak."""
    _clip(now)
    now.rail_depth = float(now.rng.uniform(0.1, 0.6))


def clip_sink(now: Situation) -> None:
    """A rail that sinks by up to 1 % under the overdrive."""
    _clip(now)
    now.rail_sinks = float(now.rng.uniform(0.003, 0.012))


def clip_round(now: Situation) -> None:
    """A plateau rounded by a two-pole filter behind the clip."""
    _clip(now)
    now.rail_hz = log_uniform(now.rng, 150.0, 2000.0)


def clip_soft(now: Situation) -> None:
    """A rail with a knee: it bends within 0.3 to 1.5 % of its level."""
    _clip(now)
    now.rail_knee = float(now.rng.uniform(0.003, 0.015))


def clip_code(now: Situation) -> None:
    """The converter's last code is the rail."""
    _clip(now)
    now.rail_is_code = True


def clip_round_deep(now: Situation) -> None:
    """The same with a rail at 0.7 to 0.9 of the peak."""
    clip_round(now)
    now.rail_depth = float(now.rng.uniform(0.1, 0.3))


def _cut(what: str, at: Callable[[Truth, float, Situation], float]) -> Callable[[Situation], None]:
    def fault(now: Situation) -> None:
        now.cut = what
        now.target_is = "shown"
        now.lies.append("cut")
        now.cut_at = lambda truth, rate: at(truth, rate, now)

    fault.__doc__ = f"Cut {what}."
    return fault


def _onset(truth: Truth) -> float:
    return truth.onset_s if truth.onset_s is not None else truth.release_s


def _top(truth: Truth) -> float:
    return float(np.argmax(truth.cell_n)) / truth.grid_hz


def _rise(truth: Truth, rate: float, now: Situation) -> float:
    share = now.rng.uniform(0.1, 0.97)
    return _onset(truth) + share * (_top(truth) - _onset(truth))


def _decay(truth: Truth, rate: float, now: Situation) -> float:
    end = truth.slack_s if truth.slack_s is not None else _top(truth) + now.half_s / 2
    return _top(truth) + now.rng.uniform(0.1, 0.95) * (end - _top(truth))


def _flight(truth: Truth, rate: float, now: Situation) -> float:
    end = truth.slack_s if truth.slack_s is not None else _top(truth) + now.half_s
    return end + now.rng.uniform(0.2, 0.9) * math.sqrt(2.0 * now.rig.height_m / G)


def ringing(now: Situation) -> None:
    """The fixture rings by 10 to 30 % of the peak at the onset."""
    rig = now.rig
    if not rig.fixture_hz:
        rig.fixture_hz = log_uniform(now.rng, 80.0, 900.0)
        rig.fittings_kg = log_uniform(now.rng, 0.05, 1.0)
        k = now.peak_n / now.stretch_m
        softest = 8.0 * k / (2.0 * np.pi * rig.fixture_hz) ** 2
        rig.fixture_kg = max(rig.fittings_kg / float(now.rng.uniform(0.3, 1.0)), softest)
        rig.fixture_damping = log_uniform(now.rng, 0.01, 0.08)
    knock(rig, _size(now), float(now.rng.uniform(0.1, 0.3)))


def spike(now: Situation) -> None:
    """One sample to 0.3 ms of a spike near the peak."""

    def shape(truth: Truth) -> None:
        long = max(1, int(now.rng.uniform(0.0, 3e-4) * now.rate_hz))
        high = now.peak_n * now.rng.uniform(0.2, 1.0)
        now.instrument.extra.append((_top(truth) * 1.0, np.full(long, high)))

    now.lies.append("spike")
    now.prepare.append(shape)


def burst(now: Situation) -> None:
    """A burst of 2 ms within the contact: coil or connector."""

    def shape(truth: Truth) -> None:
        count = int(2e-3 * now.rate_hz)
        t = np.arange(count) / now.rate_hz
        high = now.peak_n * now.rng.uniform(0.15, 0.5)
        tone = now.rng.uniform(300.0, 2000.0)
        wave = one_of(now.rng, np.sin(np.pi * t / 2e-3), np.sin(2 * np.pi * tone * t))
        at = _onset(truth) + now.rng.uniform(0.2, 0.8) * 2.0 * (_top(truth) - _onset(truth))
        now.instrument.extra.append((float(at), high * np.asarray(wave)))

    now.lies.append("burst")
    now.target_is = "shown"
    now.prepare.append(shape)


def hand(now: Situation) -> None:
    """A hand on the line before the release."""
    count = int(now.rng.uniform(0.05, 0.12) * now.rate_hz)
    pull = now.peak_n * now.rng.uniform(0.01, 0.1)
    bump = pull * np.hanning(count)
    end = now.pre_s - now.rng.uniform(0.005, 0.02)
    now.instrument.extra.append((max(0.0, end - count / now.rate_hz), bump))
    now.lies.append("hand")


def gap(now: Situation) -> None:
    """Samples missing in the contact."""

    def gaps(truth: Truth) -> list[tuple[float, float]]:
        at = _onset(truth) + now.rng.uniform(0.0, 1.6) * (_top(truth) - _onset(truth))
        return [(at, at + now.rng.uniform(1e-3, 10e-3))]

    now.gaps = gaps
    now.target_is = "shown"
    now.lies.append("gap")


def gap_first(now: Situation) -> None:
    """The whole first pull is missing."""

    def gaps(truth: Truth) -> list[tuple[float, float]]:
        end = truth.slack_s if truth.slack_s is not None else _top(truth) + now.half_s
        return [(_onset(truth) - 0.01, end + now.rng.uniform(0.0, 0.06))]

    now.gaps = gaps
    now.target_is = "shown"
    now.lies.append("gap")


def late(now: Situation) -> None:
    """The sled leaves 3 to 40 ms after the switch."""
    now.latch_s = float(now.rng.uniform(3e-3, 40e-3))


def missing(now: Situation) -> None:
    """No release on record."""
    now.trace["release_time_s"] = None


def no_height(now: Situation) -> None:
    """Nobody said the height."""
    now.setup["height_m"] = None


def wrong_height(now: Situation) -> None:
    """The height that was said is off by 10 to 20 %."""
    now.setup["height_m"] = now.rig.height_m * float(
        1.0 + one_of(now.rng, -1, 1) * now.rng.uniform(0.1, 0.2)
    )
    now.lies.append("height")


def wrong_mass(now: Situation) -> None:
    """The mass that was said is off by 12 to 25 %."""
    now.setup["mass_kg"] = now.rig.mass_kg * float(
        1.0 + one_of(now.rng, -1, 1) * now.rng.uniform(0.12, 0.25)
    )
    now.lies.append("mass")


def wrong_unit(now: Situation) -> None:
    """Newtons were read as kilonewtons, or the other way round."""
    now.unit = float(one_of(now.rng, 1e-3, 1e3))
    now.trace["quantum_n"] = now.instrument.quantum_n / now.unit
    now.trace["newton_per_step"] /= now.unit
    now.trace["covered_n"] = 0.0
    now.target_is = "shown"
    now.lies.append("unit")


def wrong_gain(now: Situation) -> None:
    """The gain is off by 12 to 30 %."""
    now.instrument.gain *= float(1.0 + one_of(now.rng, -1, 1) * now.rng.uniform(0.12, 0.3))
    now.target_is = "shown"
    now.lies.append("gain")


def slow(now: Situation) -> None:
    """An amplifier of 100 to 300 Hz, said to be so."""
    now.instrument.corner_hz = log_uniform(now.rng, 100.0, 300.0)
    now.trace["bandwidth_hz"] = now.instrument.corner_hz


def hum(now: Situation) -> None:
    """Mains hum of 1 to 3 % of the peak."""
    now.instrument.hum_n = now.peak_n * float(now.rng.uniform(0.01, 0.03))


def drift(now: Situation) -> None:
    """The zero drifts by 0.5 to 3 % of the peak in a second."""
    way = float(one_of(now.rng, -1, 1))
    now.instrument.drift_n_per_s = now.peak_n * way * float(now.rng.uniform(0.005, 0.03))


def noisy(now: Situation) -> None:
    """Noise of 0.4 to 1 % of the peak."""
    now.instrument.noise_n = now.peak_n * float(now.rng.uniform(0.004, 0.01))


def bowed(now: Situation) -> None:
    """A cell far larger than the peak, bowed by 0.05 to 0.3 % of its range."""
    chain = now.instrument
    chain.full_scale_n = now.peak_n * float(now.rng.uniform(5.0, 30.0))
    chain.zero_n = 0.05 * chain.full_scale_n
    chain.curvature = float(one_of(now.rng, -1, 1) * now.rng.uniform(0.0005, 0.003))
    chain.noise_n = max(chain.noise_n, 0.3 * chain.quantum_n)
    now.trace["quantum_n"] = chain.quantum_n
    now.trace["newton_per_step"] = chain.full_scale_n / 2**chain.bits
    now.trace["covered_n"] = chain.full_scale_n
    # What a calibration over the whole range would say of it: half a width, as k = 2.
    now.trace["calibration_u_n"] = 1.155 * abs(chain.curvature) * chain.full_scale_n


def wide_codes(now: Situation) -> None:
    """The RP2040's four wide codes."""
    now.instrument.wide_codes = True


def fast(now: Situation) -> None:
    """500 kS/s, single conversions."""
    now.rate_hz, now.contacts = 500e3, 2
    now.instrument.summed = 1
    now.trace["quantum_n"] = now.instrument.quantum_n


def no_rest(now: Situation) -> None:
    """The record ends before the sled hangs still: not a fault by itself."""
    now.contacts = 2


FAULTS: dict[str, Callable[[Situation], None]] = {
    "clip-hard": clip_hard,
    "clip-deep": clip_deep,
    "clip-sink": clip_sink,
    "clip-round": clip_round,
    "clip-soft": clip_soft,
    "clip-code": clip_code,
    "clip-round-deep": clip_round_deep,
    "cut-before-release": _cut("before the release", lambda t, r, n: n.pre_s * 0.8),
    "cut-before-onset": _cut(
        "before the onset",
        lambda t, r, n: t.release_s + n.rng.uniform(0.1, 0.98) * (_onset(t) - t.release_s),
    ),
    "cut-10ms": _cut("10 ms into the rise", lambda t, r, n: min(_onset(t) + 0.01, _top(t) * 0.999)),
    "cut-rise": _cut("in the rise", _rise),
    "cut-peak": _cut(
        "right after the peak", lambda t, r, n: _top(t) + n.rng.uniform(1.0, 12.0) / r
    ),
    "cut-flight": _cut("in the first flight", _flight),
    "cut-decay": _cut("in the decay", _decay),
    "no-rest": no_rest,
    "ringing": ringing,
    "spike": spike,
    "burst": burst,
    "hand": hand,
    "gap": gap,
    "gap-first": gap_first,
    "late": late,
    "missing": missing,
    "no-height": no_height,
    "wrong-height": wrong_height,
    "wrong-mass": wrong_mass,
    "wrong-unit": wrong_unit,
    "wrong-gain": wrong_gain,
    "slow": slow,
    "hum": hum,
    "drift": drift,
    "noisy": noisy,
    "bowed": bowed,
    "wide-codes": wide_codes,
    "fast": fast,
}
