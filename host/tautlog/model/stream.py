"""Stream: blocks and events, what a board sends during a drop.

`receiver` makes them from frames, `record` writes them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.model.readbacks import Readback

# On the board's clock: a laptop that was busy or asleep for longer has lost its board before; own
# choice.
JUMP_S = 120.0


@dataclass(frozen=True)
class Instrument:
    """A board's description of itself, from its greeting.

    Attributes
    ----------
    firmware, board, serial : str
        Firmware version; board and interpreter; unique number of the board.
    sample_rate_hz : float
        Rate of the samples of one channel, after reduction.
    reduction : int
        Conversions in one sample, see `wire.full_scale`.
    channels : tuple of str
        Names of the channels, in the order of the samples.
    samples_per_block : int
        Samples of one channel in a block. Sample index of the first sample of
        block n is n x samples_per_block.
    history_blocks : int
        Blocks that the board's memory holds.
    converter_bits : int
        Resolution of one conversion.
    state : str
        Board state: safe, armed, recording or held.
    guard_before_s, guard_after_s : float
        Seconds before and after the release that the board's memory guards; 0 if it does not tell.
    guard_least_s : float
        Seconds after it that the board's config.py asks for; if fewer fit, it does not arm.
    regulator : str
        Mode of the board's supply, "steady" or "saving"; "" if the board cannot set it.
    wiring : str
        What connects to which pin, as `wiring.Wiring` reads it; "" if the board does not tell.
    readbacks : tuple of Readback
        Contacts of the release chain that it sees, in the order of their input bits.
    """

    firmware: str
    board: str
    serial: str
    sample_rate_hz: float
    reduction: int
    channels: tuple[str, ...]
    samples_per_block: int
    history_blocks: int
    converter_bits: int = 12
    state: str = "safe"
    guard_before_s: float = 0.0
    guard_after_s: float = 0.0
    guard_least_s: float = 0.0
    regulator: str = ""
    wiring: str = ""
    readbacks: tuple[Readback, ...] = ()

    @property
    def most_jump(self) -> int:
        """Most blocks that may lie between one that came and the next.

        Those of its memory, and what it samples in `JUMP_S`.
        """
        return self.history_blocks + math.ceil(
            JUMP_S * self.sample_rate_hz / self.samples_per_block
        )

    def late_samples(self, column: int) -> float:
        """How much later than the first a channel is converted, in samples, 0 <= x < 1.

        Conversions go round the channels in turn: one of each, then the next of each. A sample
        sums `reduction` such rounds.
        """
        return column / (self.reduction * len(self.channels))


@dataclass(frozen=True)
class Block:
    """One block of samples.

    Attributes
    ----------
    number : int
        Block number since the board began to sample.
    stamp_us : int
        Board clock at the block's last sample, microseconds modulo 2**30.
    flags : int
        Faults that the board detected, see `wire.FLAG_*`.
    lost : int
        Conversions that the board knows are lost in this block.
    counts : ndarray of uint16, shape (samples, channels)
        Raw samples.
    """

    number: int
    stamp_us: int
    flags: int
    lost: int
    counts: npt.NDArray[np.uint16]


@dataclass(frozen=True)
class BoardEvent:
    """Something that happened on the board, tied to a sample.

    Attributes
    ----------
    number : int
        Events are numbered from 0 since the board began to sample.
    name : str
        See `wire.EVENT_NAMES`.
    sample_index : int
        Index of the nearest sample since the board began to sample.
    stamp_us : int
        Board clock, microseconds modulo 2**30.
    value : int
        Depends on the event; see `wire`.
    """

    number: int
    name: str
    sample_index: int
    stamp_us: int
    value: int
