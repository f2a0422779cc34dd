"""Instrument: from the true force of the cell to the numbers in a record.

The order is the order of a real chain: gain and zero, amplifier, rail, what stands behind
the rail (a filter, noise, hum), converter. Noise behind the rail is the point: a real
plateau is not flat.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.signal import bilinear, lfilter, lfilter_zi

from independent.rig import FloatArray

WIDE_CODES = (512, 1536, 2560, 3584)  # RP2040 datasheet, erratum E11
WIDE_LSB = 9.0  # "more than 9 LSB at code 512", the same erratum


def low_pass(force_n: FloatArray, rate_hz: float, poles: int, corner_hz: float) -> FloatArray:
    """One real pole, or two of a Butterworth; the corner is prewarped, the start at rest."""
    if poles == 0 or corner_hz >= 0.45 * rate_hz:
        return force_n
    warped = 2.0 * rate_hz * math.tan(math.pi * corner_hz / rate_hz)
    analog = (
        ([warped], [1.0, warped])
        if poles == 1
        else ([warped**2], [1.0, math.sqrt(2.0) * warped, warped**2])
    )
    b, a = bilinear(*analog, fs=rate_hz)
    return np.asarray(lfilter(b, a, force_n, zi=lfilter_zi(b, a) * force_n[0])[0])


@dataclass
class Rail:
    """Where the amplifier ends.

    `level_n` from zero; `sinks` share by which it gives under the largest overdrive; `knee`
    share of the level within which it is approached (a logarithm of exponentials);
    `rounded_hz` corner of a two-pole filter behind it, 0 for none.
    """

    level_n: float
    sinks: float = 0.0
    knee: float = 0.0
    rounded_hz: float = 0.0

    def clip(self, force_n: FloatArray, rate_hz: float) -> FloatArray:
        """What passes."""
        over = np.maximum(0.0, force_n - self.level_n)
        most = float(over.max())
        level = self.level_n * (1.0 - self.sinks * over / most) if most > 0 else self.level_n
        passed = np.minimum(force_n, level)
        if self.knee:
            width = self.knee * self.level_n
            passed = level - width * np.logaddexp(0.0, (level - force_n) / width)
        return low_pass(passed, rate_hz, 2 if self.rounded_hz else 0, self.rounded_hz)


@dataclass
class Instrument:
    """Amplifier, rail, noise, converter; all in newtons at the cell.

    Attributes
    ----------
    gain, zero_n, drift_n_per_s : float
        What is read is gain x force + zero + drift.
    curvature : float
        Share of full scale by which the middle of the range bows (non-linearity).
    full_scale_n : float
        Of the converter, from 0.
    poles, corner_hz : int, float
        Of the amplifier.
    rail : Rail or None
        Where it ends, seen from zero.
    noise_n, hum_n, hum_hz : float
        Behind the rail.
    bits, summed : int
        Of the converter, conversions summed to a sample.
    wide_codes : bool
        The converter has the RP2040's four wide codes.
    extra : list of (start_s, ndarray at the sample rate)
        Disturbances behind the rail.
    """

    gain: float = 1.0
    zero_n: float = 0.0
    drift_n_per_s: float = 0.0
    curvature: float = 0.0
    full_scale_n: float = 5000.0
    poles: int = 1
    corner_hz: float = 5000.0
    rail: Rail | None = None
    noise_n: float = 0.5
    hum_n: float = 0.0
    hum_hz: float = 50.0
    bits: int = 12
    summed: int = 8
    wide_codes: bool = False
    extra: list[tuple[float, FloatArray]] = field(default_factory=list)

    @property
    def quantum_n(self) -> float:
        """Force of one count of the sum."""
        return self.full_scale_n / (2**self.bits * self.summed)

    def amplified(self, cell_n: FloatArray, grid_hz: float) -> FloatArray:
        """The amplifier's answer before any rail, zero left out."""
        share = cell_n / self.full_scale_n
        bowed = cell_n + 4.0 * self.curvature * self.full_scale_n * share * (1.0 - share)
        return low_pass(self.gain * bowed, grid_hz, self.poles, self.corner_hz)

    def record(
        self, cell_n: FloatArray, grid_hz: float, rate_hz: float, rng: np.random.Generator
    ) -> FloatArray:
        """Force as recorded at a rate that divides the grid's."""
        force = self.amplified(cell_n, grid_hz)
        if self.rail is not None:
            force = self.rail.clip(force, grid_hz)
        sampled = force[:: round(grid_hz / rate_hz)].copy()
        time_s = np.arange(sampled.size) / rate_hz
        sampled += self.zero_n + self.drift_n_per_s * time_s
        phase = rng.uniform(0.0, 2.0 * math.pi)
        sampled += self.hum_n * np.sin(2.0 * math.pi * self.hum_hz * time_s + phase)
        for start_s, shape in self.extra:
            first = round(start_s * rate_hz)
            last = min(first + shape.size, sampled.size)
            if 0 <= first < last:
                sampled[first:last] += shape[: last - first]
        return self.converted(sampled, rng)

    def converted(self, force_n: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Sum of several noisy conversions in whole codes, as newtons again."""
        lsb = self.full_scale_n / 2**self.bits
        total = np.zeros(force_n.size)
        each = self.noise_n * math.sqrt(self.summed) / lsb  # noise_n is that of the mean
        for _ in range(self.summed):
            codes = force_n / lsb + rng.normal(0.0, 1.0, force_n.size) * each
            if self.wide_codes:
                codes = codes + wide_code_error(codes)
            total += np.clip(np.round(codes), 0.0, 2**self.bits - 1.0)
        return total / self.summed * lsb


def wide_code_error(codes: FloatArray) -> FloatArray:
    """Deviation of a converter that stays for `WIDE_LSB` on four of its codes.

    A wide code loses 9 LSB at once; in between the deviation comes back evenly, so that the
    gain over the whole range is one. The shape in between is assumed, not measured.
    """
    edges = np.array([0, *WIDE_CODES, 4096], dtype=float)
    error = np.zeros(codes.shape)
    for low, high in pairwise(edges):
        inside = (codes >= low) & (codes < high)
        share = (codes[inside] - low) / (high - low)
        half = WIDE_LSB / 2.0
        begin = 0.0 if low == 0 else -half
        end = 0.0 if high == 4096 else half
        error[inside] = begin + (end - begin) * share
    for code in WIDE_CODES:
        # The step itself: codes within half the width stay where they are.
        near = np.abs(codes - code) < WIDE_LSB / 2.0
        error[near] = code - codes[near]
    return error
