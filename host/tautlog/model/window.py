"""Window: how much of a drop a board keeps in its memory if the cable or the laptop fails.

While armed a board keeps the last blocks of samples. From the release on nothing within the
guarded window is overwritten until it is on the laptop's disk. The window follows from memory,
rate, channels and blocks; here is the only place where it is worked out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.firmware import wire
from tautlog.model.free_fall import free_fall_s
from tautlog.model.shown import shown
from tautlog.model.stream import Instrument

# Blocks that are not guarded in full, as in the firmware: that of the release, one that is being
# written when the release is noticed, and one when the window ends.
SPARE_BLOCKS = 3
BEFORE_S, DELIVERED_HZ = 0.05, 62_500.0  # of the delivered config.py, all channels together
CONTACT_S = 0.15  # longest contact of a line, if no prediction says; common practice
# Memory that the firmware takes for samples, for plans without a board, which tells its own
# blocks: 68 and 143 blocks of 1024 samples on the emulated chips with MicroPython 1.28.
CHIPS = {"RP2040": 142664, "RP2350": 300014}
TABLE_BYTES = 16  # a line of the firmware's table of blocks
MOST_VALUES, MOST_PER_BLOCK = 2048, 1024  # in a block: of all channels; of one, as delivered


@dataclass(frozen=True)
class GuardedWindow:
    """The part of a drop that the board's memory holds by itself.

    Attributes
    ----------
    before_s, after_s : float
        Before and after the release.
    basis : str
        What it follows from, in words.
    """

    before_s: float
    after_s: float
    basis: str

    def check(self, fall_s: float | None, contact_s: float | None = None) -> tuple[bool, str]:
        """Whether fall and contact fit into it, and the same in words.

        Parameters
        ----------
        fall_s : float or None
            From the release until the line is taut; None if not known.
        contact_s : float or None
            Length of the contact (default: CONTACT_S).
        """
        contact_s = CONTACT_S if contact_s is None else contact_s
        needed_s = None if fall_s is None else fall_s + contact_s
        after = shown(self.after_s, "s", (needed_s,), least=2)
        told = f"guarded window: {self.before_s:.2f} s before and {after.text} after the "
        told += f"release stay in the board's memory if the cable fails ({self.basis})"
        if needed_s is None:
            return False, f"{told}; whether the drop fits is not known without its height"
        takes = f"fall and contact take {after.level()}"
        if self.after_s >= needed_s:
            return True, f"{told}; {takes}"
        mend = "lower rate or more reduction, fewer channels, or a board with more memory"
        return False, f"{told}, but {takes}: {mend}"


def fall_time_s(height_m: float | None) -> float | None:
    """Time of a fall without friction, which is no longer than the real one by little."""
    return None if height_m is None else free_fall_s(height_m)


def guarded_window(board: Instrument) -> GuardedWindow:
    """The window of a board, from what it tells in its greeting."""
    before_s = board.guard_before_s or BEFORE_S
    block_s = board.samples_per_block / board.sample_rate_hz
    blocks = board.history_blocks - int(before_s / block_s) - SPARE_BLOCKS
    room_s = max(blocks, 0) * block_s
    after_s = min(room_s, board.guard_after_s) if board.guard_after_s else room_s
    basis = (
        f"{board.history_blocks} blocks of {board.samples_per_block} samples, "
        f"{len(board.channels)} channel(s) at {board.sample_rate_hz:g} samples/s"
    )
    return GuardedWindow(before_s, after_s, basis)


@dataclass(frozen=True)
class Sampling:
    """How a board would sample, for a plan without one.

    Attributes
    ----------
    chip : str
        One of CHIPS.
    channels : int
        Number of channels.
    stated_rate_hz : float or None
        Samples per second of one channel; None: as the delivered config.py gives.
    """

    chip: str = "RP2040"
    channels: int = 1
    stated_rate_hz: float | None = None

    @property
    def sample_rate_hz(self) -> float:
        """Samples per second of one channel."""
        return self.stated_rate_hz or DELIVERED_HZ / self.channels

    @property
    def samples_per_block(self) -> int:
        """Samples of one channel in a block, as many as fit: a power of two."""
        return min(1 << int(math.log2(MOST_VALUES / self.channels)), MOST_PER_BLOCK)

    @property
    def history_blocks(self) -> int:
        """Blocks that the chip's memory holds."""
        values = self.samples_per_block * self.channels
        # As delivered: sums of 8 of 12 bits, which are not packed.
        frame_bytes = int(wire.block_frame_bytes(values, wire.PLAIN_BITS))
        return CHIPS[self.chip] // (frame_bytes + TABLE_BYTES)

    def board(self) -> Instrument:
        """The board that would sample so."""
        return Instrument(
            firmware="",
            board=self.chip,
            serial="",
            sample_rate_hz=self.sample_rate_hz,
            reduction=8,
            channels=tuple(str(number) for number in range(self.channels)),
            samples_per_block=self.samples_per_block,
            history_blocks=self.history_blocks,
        )
