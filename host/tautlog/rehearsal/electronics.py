"""Electronics: from the force at the cell to the counts that the board stores.

    force -> cell and amplifier gain -> one-pole low-pass -> + mains, noise
          -> rails -> load of the input -> conversions of 12 or 16 bits, of unequal steps
          -> samples of `reduction` conversions

Conversion j happens at j / conversion_rate_hz after power-up. Sample i is the
sum of the conversions i * reduction ... (i + 1) * reduction - 1, or their rounded mean where
the sum would not fit 16 bits; its nominal time is that of the first.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.firmware import wire
from tautlog.model.linearity import Linearity
from tautlog.model.published_steps import NOISE_STEPS

FloatArray = npt.NDArray[np.float64]
CountArray = npt.NDArray[np.uint16]

# Force in newtons at times in seconds since power-up.
ForceSource = Callable[[FloatArray], FloatArray]

REDUCTIONS = (1, 2, 4, 8, 16)
_CONVERSIONS_PER_CHUNK = 8192
# Of an RP2040 or RP2350 at 500 kS/s: effective input impedance of more than 100 kohm (RP2350
# datasheet, section 12.4.3).
INPUT_OHM = 100e3


def no_force(time_s: FloatArray) -> FloatArray:
    """Force of a slack line: nothing."""
    return np.zeros_like(time_s)


@dataclass(frozen=True)
class Chain:
    """Cell, amplifier and converter as one.

    Attributes
    ----------
    newton_per_volt : float
        Force per volt at the converter; negative when the cell is wired the wrong way round.
    zero_v : float
        Output without a force.
    bandwidth_hz : float
        -3 dB frequency of the amplifier's single pole.
    rail_low_v, rail_high_v : float
        Limits of the amplifier's output.
    noise_v : float
        Noise of the amplifier, rms of one conversion, cut off by the rails.
    mains_hz, mains_v : float
        Frequency and amplitude of mains hum.
    converter_noise_lsb : float
        Noise of the converter itself, rms, in steps; a clipped top carries it too. The default
        is that of a board whose regulator saves power, see `published_steps`.
    steps : Linearity or None
        The converter's steps; None if they are equal.
    source_ohm : float
        Resistance of what drives the converter's input, which loads it.
    reference_v : float
        Full scale of the converter.
    converter_bits : int
        Resolution of one conversion.
    """

    newton_per_volt: float = 1000.0
    zero_v: float = 0.45
    bandwidth_hz: float = 2000.0
    rail_low_v: float = 0.04
    rail_high_v: float = 3.21
    noise_v: float = 0.0015
    mains_hz: float = 50.0
    mains_v: float = 0.0
    converter_noise_lsb: float = NOISE_STEPS
    steps: Linearity | None = None
    source_ohm: float = 0.0
    reference_v: float = 3.3
    converter_bits: int = 12

    def __post_init__(self) -> None:
        if self.newton_per_volt == 0 or not math.isfinite(self.newton_per_volt):
            raise ValueError(f"`newton_per_volt` must not be 0, was {self.newton_per_volt!r}")
        for name in ("bandwidth_hz", "reference_v", "mains_hz"):
            if not getattr(self, name) > 0:
                raise ValueError(f"`{name}` must be > 0, was {getattr(self, name)!r}")
        for name in ("noise_v", "mains_v", "converter_noise_lsb", "source_ohm"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"`{name}` must be >= 0, was {getattr(self, name)!r}")
        if not self.rail_low_v < self.rail_high_v:
            raise ValueError(
                f"`rail_low_v` must be below `rail_high_v` = {self.rail_high_v!r}, "
                f"was {self.rail_low_v!r}"
            )

    @property
    def step_v(self) -> float:
        """Volts of one step of the converter, full scale / 2**bits."""
        return self.reference_v / 2.0**self.converter_bits

    @property
    def usable_v(self) -> tuple[float, float]:
        """Lowest and highest voltage that is not clipped, by rails or converter."""
        return max(self.rail_low_v, 0.0), min(self.rail_high_v, self.reference_v - self.step_v)

    @property
    def load(self) -> float:
        """What the converter's input leaves of the voltage at its source."""
        return INPUT_OHM / (INPUT_OHM + self.source_ohm)

    def volts(self, force_n: float) -> float:
        """Output of an ideal, unlimited amplifier."""
        return self.zero_v + force_n / self.newton_per_volt

    def clips(self, force_n: float) -> bool:
        """Whether a steady force, with the hum on top, reaches a limit."""
        low_v, high_v = self.usable_v
        volts = self.volts(force_n)
        return volts - self.mains_v <= low_v or volts + self.mains_v >= high_v


class Digitiser:
    """Streams the samples of one chain, in pieces of any length.

    Works in chunks of 8192 conversions that depend on the seed and on the chunk's
    number alone, so the same samples come however they are asked for.

    Parameters
    ----------
    chain : Chain
        What is measured with.
    sample_rate_hz : float
        Samples per second, after reduction; greater than 0.
    reduction : int
        Conversions summed into a sample: 1, 2, 4, 8 or 16.
    seed : int
        Seed of the noise and of the phase of the hum.
    """

    def __init__(self, chain: Chain, *, sample_rate_hz: float, reduction: int, seed: int) -> None:
        if not sample_rate_hz > 0:
            raise ValueError(f"`sample_rate_hz` must be > 0, was {sample_rate_hz!r}")
        if reduction not in REDUCTIONS:
            raise ValueError(f"`reduction` must be one of {REDUCTIONS}, was {reduction!r}")
        self.chain = chain
        self.reduction = reduction
        self.conversion_rate_hz = sample_rate_hz * reduction
        self._seed = seed
        self._mains_phase = float(np.random.default_rng([seed, 1]).uniform(0, 2 * math.pi))
        self._source: ForceSource = no_force
        self._filter = _one_pole(chain.bandwidth_hz, self.conversion_rate_hz)
        self._next_sample = 0
        self._chunk_number = -1
        self._chunk: CountArray = np.zeros(0, dtype=np.uint16)
        # State of the low-pass before and after the present chunk.
        self._before = np.zeros(1)
        self._after = np.zeros(1)

    def apply(self, source: ForceSource) -> None:
        """Set the force from here on.

        Parameters
        ----------
        source : callable
            Force in newtons at an ndarray of times in seconds since power-up. Up to the
            present sample it must agree with what was applied so far: the chunk under
            way is worked out anew.
        """
        self._source = source
        if self._chunk.size:
            self._chunk, self._after = self._digitise(self._chunk_number, self._before)

    def counts(self, n_samples: int) -> CountArray:
        """Next samples, uint16, shape (n_samples,); a view where that is possible."""
        per_chunk = _CONVERSIONS_PER_CHUNK // self.reduction
        start = self._next_sample - self._chunk_number * per_chunk
        if start + n_samples <= per_chunk:
            self._next_sample += n_samples
            return self._chunk[start : start + n_samples]
        pieces = []
        while n_samples > 0:
            if start >= per_chunk:
                self._next_chunk()
                start -= per_chunk
            piece = self._chunk[start : start + n_samples]
            pieces.append(piece)
            start += piece.size
            n_samples -= piece.size
            self._next_sample += piece.size
        return np.concatenate(pieces) if len(pieces) > 1 else pieces[0]

    def _next_chunk(self) -> None:
        self._chunk_number += 1
        self._before = self._after
        self._chunk, self._after = self._digitise(self._chunk_number, self._before)

    def _digitise(self, number: int, state: FloatArray) -> tuple[CountArray, FloatArray]:
        """Samples of one chunk, and the state of the low-pass after it."""
        chain = self.chain
        first = number * _CONVERSIONS_PER_CHUNK
        time_s = np.arange(first, first + _CONVERSIONS_PER_CHUNK) / self.conversion_rate_hz
        force_n = self._source(time_s)
        if state[0] != 0.0 or force_n.any():
            from scipy.signal import lfilter  # late: a rig at rest filters nothing

            volts, state = lfilter(*self._filter, force_n / chain.newton_per_volt, zi=state)
            volts += chain.zero_v
        else:
            volts = np.full(_CONVERSIONS_PER_CHUNK, chain.zero_v)
        rng = np.random.default_rng([self._seed, 2, number])
        if chain.mains_v > 0:
            volts += chain.mains_v * np.sin(
                2 * math.pi * chain.mains_hz * time_s + self._mains_phase
            )
        if chain.noise_v > 0:
            volts += chain.noise_v * rng.standard_normal(volts.size, dtype=np.float32)
        np.clip(volts, chain.rail_low_v, chain.rail_high_v, out=volts)
        steps = volts * (chain.load / chain.step_v)
        if chain.converter_noise_lsb > 0:
            steps += chain.converter_noise_lsb * rng.standard_normal(steps.size, dtype=np.float32)
        if chain.steps is None:
            codes = np.clip(np.rint(steps), 0, 2**chain.converter_bits - 1)
        else:
            codes = _codes(chain.steps.transitions, steps)
        return self._reduced(codes), state

    def _reduced(self, codes: npt.NDArray[np.generic]) -> CountArray:
        """Samples of conversions, as `wire.full_scale` says."""
        halved: int = (self.reduction << self.chain.converter_bits) // self.full_scale
        sums = codes.astype(np.float64).reshape(-1, self.reduction).sum(axis=1)
        counts: CountArray = np.floor((sums + halved // 2) / halved).astype(np.uint16)
        return counts

    @property
    def full_scale(self) -> int:
        """Counts of a sample at the converter's reference."""
        return int(wire.full_scale(self.chain.converter_bits, self.reduction))


def _codes(transitions: FloatArray, steps: FloatArray) -> npt.NDArray[np.intp]:
    """Number of transitions at or below each voltage; few transitions lie where a chunk does."""
    low, high = np.searchsorted(transitions, (steps.min(), steps.max()), side="right")
    codes: npt.NDArray[np.intp] = low + np.searchsorted(transitions[low:high], steps, side="right")
    return codes


def _one_pole(bandwidth_hz: float, conversion_rate_hz: float) -> tuple[list[float], list[float]]:
    """Coefficients of y' = a (u - y), a = 2 pi fc, exact for straight lines between inputs.

    Solving the equation over one interval with u linear in it gives the ramp-invariant
    ("first-order hold") pair below.
    """
    interval = 2.0 * math.pi * bandwidth_hz / conversion_rate_hz
    pole = math.exp(-interval)
    mean = -math.expm1(-interval) / interval
    return [1.0 - mean, mean - pole], [1.0, -pole]


def chain_for_range(range_n: float) -> Chain:
    """Chain whose gain just takes a force, rounded up to three digits.

    Parameters
    ----------
    range_n : float
        Largest force that must not clip, in newtons; greater than 0.
    """
    if not range_n > 0:
        raise ValueError(f"`range_n` must be > 0, was {range_n!r}")
    chain = Chain()
    exact = range_n / (chain.usable_v[1] - chain.zero_v)
    unit = 10.0 ** (math.floor(math.log10(exact)) - 2)
    return Chain(newton_per_volt=math.ceil(exact / unit) * unit)
