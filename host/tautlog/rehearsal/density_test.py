"""Density test: the counts of a code-density test on a simulated converter."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tautlog.model.code_counts import CodeCounts, CountArray, HeldLevel, Wiring
from tautlog.model.linearity import Linearity
from tautlog.model.published_steps import NOISE_FORCED_STEPS

FloatArray = npt.NDArray[np.float64]
BOARD, SERIAL = "virtual board", "rehearsal"  # as origin.board_is_rehearsed knows them
BEYOND = 20.0  # steps by which the ramp goes beyond both ends, but for the load
PIECE = 1 << 18  # conversions that are made at a time
SLOWER = 16  # times, where the load of conversions is looked for


@dataclass(frozen=True)
class Source:
    """A ramp as it really is.

    Attributes
    ----------
    lag_steps : float
        R times C times the ramp's slope.
    lag_change : float
        How much of the lag is gone at the highest level, growing with the square of the level:
        what a C that falls with voltage does. A change in proportion to the level is only gain.
    bow_steps : float
        Height of the bow that the pin's unequal resistances make.
    load_steps, load_bow_steps : float
        Shift of the highest level by the input's load, and what of it is a bow.
    drift_steps : float
        Standard deviation of a slow bend between one ramp and the next, in steps.
    high_over_reference : float
        The pin's high level over the converter's reference: 1.1 with a reference of 3.0 V.
    """

    lag_steps: float = 5.0
    lag_change: float = 0.0
    bow_steps: float = 0.0
    load_steps: float = 10.0
    load_bow_steps: float = 0.0
    drift_steps: float = 0.0
    high_over_reference: float = 1.0


@dataclass(frozen=True)
class SimulatedTest:
    """How a simulated test is made.

    Attributes
    ----------
    ramps : int
        Number of ramps, rising and falling in turn.
    ramp_s : float
        Length of one.
    conversion_rate_hz : float
        Conversions a second.
    held_conversions : int
        Conversions at each constant level.
    source : Source
        The ramp.
    """

    ramps: int = 8
    ramp_s: float = 8.0
    conversion_rate_hz: float = 500_000.0
    held_conversions: int = 20_000
    source: Source = field(default_factory=Source)


def simulated_counts(
    linearity: Linearity, test: SimulatedTest, seed: int, chip: str = "RP2040"
) -> CodeCounts:
    """Counts of a code-density test on a converter with a known table.

    Parameters
    ----------
    linearity : Linearity
        The converter: its levels and its noise.
    test : SimulatedTest
        What is done.
    seed : int
        Seed of the noise and of what drifts.
    chip : str
        Name of the chip.
    """
    rng = np.random.default_rng([seed, 3])
    rising = tuple(number % 2 == 0 for number in range(test.ramps))
    ramps = [_ramp(linearity, test, rises, rng) for rises in rising]
    held = [
        _held(linearity, test, share, way, rng)
        for way in ((False, False), (False, True), (True, False))
        for share in (1 / 16, 4 / 16, 8 / 16, 12 / 16, 15 / 16)
    ]
    return CodeCounts(
        chip=chip,
        machine=f"{BOARD} with {chip}",
        serial=f"{SERIAL}-{seed}",
        conversion_rate_hz=test.conversion_rate_hz,
        ramp_s=test.ramp_s,
        wiring=Wiring(),
        ramps=np.array(ramps),
        rising=rising,
        held=tuple(held),
    )


def _held(
    linearity: Linearity,
    test: SimulatedTest,
    share: float,
    way: tuple[bool, bool],
    rng: np.random.Generator,
) -> HeldLevel:
    """Counts of one constant level; `way`: the regulator is forced, conversions are slow."""
    forced, slow = way
    source = test.source
    noise = NOISE_FORCED_STEPS if forced else linearity.noise_steps
    level = share * 2**linearity.bits
    loaded = 1.0 / SLOWER if slow else 1.0
    shifted = level - loaded * _loaded(source, share) + 4.0 * source.bow_steps * share * (1 - share)
    conversions = test.held_conversions // (SLOWER if slow else 1)
    levels = source.high_over_reference * shifted + noise * rng.standard_normal(conversions)
    return HeldLevel(level, _codes(linearity, levels), forced, slow)


def _loaded(source: Source, share: FloatArray | float) -> FloatArray | float:
    """Steps by which conversions at full rate pull a level down."""
    return source.load_steps * share + 4.0 * source.load_bow_steps * share * (1.0 - share)


def _ramp(
    linearity: Linearity, test: SimulatedTest, rises: bool, rng: np.random.Generator
) -> CountArray:
    """Counts of one ramp."""
    source = test.source
    full = 2**linearity.bits + 2.0 * BEYOND
    conversions = round(test.ramp_s * test.conversion_rate_hz)
    bend = source.bow_steps + source.drift_steps * rng.standard_normal()
    counts = np.zeros(2**linearity.bits, np.int64)
    start = rng.uniform()
    for first in range(0, conversions, PIECE):
        at = (np.arange(first, min(first + PIECE, conversions)) + start) / conversions
        # What R and C leave of a ramp that starts at rest: late by a constant, after a while.
        lag = source.lag_steps / full
        late = at - lag * (1.0 - np.exp(-at / lag)) if lag else at
        share = late if rises else 1.0 - late
        change = source.lag_change * lag * share**2 * (1.0 if rises else -1.0)
        levels = full * (share + change) - BEYOND + 4.0 * bend * share * (1.0 - share)
        levels -= _loaded(source, share)
        levels *= source.high_over_reference
        levels += linearity.noise_steps * rng.standard_normal(levels.size)
        counts += _codes(linearity, levels)
    return counts


def _codes(linearity: Linearity, levels: FloatArray) -> CountArray:
    codes = np.searchsorted(linearity.transitions, levels, side="right")
    return np.asarray(np.bincount(codes, minlength=2**linearity.bits), np.int64)
