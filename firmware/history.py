"""The board's memory of samples: a ring of blocks and who may overwrite them.

While the board waits, the ring rolls. From the release on, a block may be
overwritten only when it lies before the guarded window or the laptop has said
that it is on disk; when neither holds, the ring is full and stays as it is.

Block numbers count up for ever; block n lies in slot n modulo the number of
slots, as the frame that it is sent as, so that it leaves in one piece. Sampling (on
the board an interrupt) calls `claim` and `commit`; all else
is called from the main loop.
"""

import struct
from array import array

import wire
from keepsake import LINE, LINE_BYTES

MOST_LOST = 0x3FFF0000
MEAN_OF = 64  # samples of a block that its mean is taken from


class History:
    """A ring of blocks in memory that is allocated once.

    Parameters
    ----------
    slots : int
        Blocks that the ring holds.
    values, bits : int
        Values in a block, all channels together; bits of each, see `wire.bits_for`.
    memory, table : memoryview, optional
        Where the blocks, and what is known of each, lie; see keepsake.py.

    Attributes
    ----------
    head : int
        Number of the next block to be completed.
    oldest : int
        Oldest block still held.
    frames : list of memoryview
        The frame of each slot; its samples begin at `wire.SAMPLES_AT`.
    acked : int
        Every block before it is on the laptop's disk.
    unsent : int
        Next block to be sent.
    frozen : bool
        The ring takes no more blocks.
    """

    def __init__(self, slots, values, bits, memory=None, table=None):
        self.slots = slots
        self.values = values
        self.bits = bits
        size = self.frame_bytes = wire.block_frame_bytes(values, bits)
        self.memory = memory or bytearray(slots * size)
        self._table = table or bytearray(slots * LINE_BYTES)
        whole = memoryview(self.memory)
        # Cut once: a slice made later would allocate.
        self.frames = [whole[i * size : (i + 1) * size] for i in range(slots)]
        self.stamps_us = array("i", [0] * slots)
        self.flags = array("H", [0] * slots)
        self.lost = array("H", [0] * slots)
        self.lows = array("H", [0] * slots)
        self.highs = array("H", [0] * slots)
        self.head = 0
        self.oldest = 0
        self.acked = 0
        self.unsent = 0
        self.lost_total = 0
        self.frozen = False
        self._guard_from = -1

    def claim(self):
        """Slot for the block that comes next, or -1 when none may be overwritten."""
        if self.frozen:
            return -1
        victim = self.head - self.slots
        if victim >= self.oldest:
            if self._guard_from >= 0 and victim >= self._floor():
                # For good: a block taken after one that was missed would lie
                # about its time.
                self.frozen = True
                return -1
            self.oldest = victim + 1
        return self.head % self.slots

    def commit(self, stamp_us, flags, lost, low, high):
        """Count the block just written to the claimed slot.

        Parameters
        ----------
        stamp_us : int
            Board clock at its last sample, microseconds modulo 2**30.
        flags, lost : int
            Faults (`wire.FLAG_*`) and conversions known to be lost.
        low, high : int
            Smallest and largest value of the first channel.
        """
        slot = self.head % self.slots
        self.stamps_us[slot] = stamp_us
        self.flags[slot] = flags
        self.lost[slot] = lost
        self.lows[slot] = low
        self.highs[slot] = high
        # No more than a board can count without allocating, in its interrupt.
        self.lost_total = min(self.lost_total + lost, MOST_LOST)
        self.head += 1
        struct.pack_into(
            LINE, self._table, slot * LINE_BYTES, self.head, stamp_us, flags, lost, low, high
        )

    def _floor(self):
        """First block that must not be overwritten while guarded."""
        return self.acked if self.acked > self._guard_from else self._guard_from

    def guard(self, first):
        """Keep every block from `first` on until it is acknowledged."""
        self._guard_from = first if first > self.oldest else self.oldest

    def freeze(self):
        """Take no more blocks."""
        self.frozen = True

    def roll(self):
        """Forget the guarded window and go on as a rolling window.

        What was kept is left behind: numbers go on, so that no block is ever
        mistaken for another.
        """
        self._guard_from = -1
        self._table[:] = bytes(len(self._table))
        self.frozen = False
        self.oldest = self.head
        self.unsent = self.head
        self.acked = self.head

    def restore(self):
        """Take up again what the table says, after a restart; hold all of it."""
        numbers = []
        for slot in range(self.slots):
            line = struct.unpack_from(LINE, self._table, slot * LINE_BYTES)
            if line[0] and (line[0] - 1) % self.slots == slot:
                numbers.append(line[0] - 1)
                self.stamps_us[slot], self.flags[slot], self.lost[slot] = line[1:4]
                self.lows[slot], self.highs[slot] = line[4:]
        self.head = max(numbers) + 1 if numbers else 0
        # The newest blocks without a break; older lines are of an earlier lap.
        self.oldest = self.head
        while self.oldest - 1 in numbers and self.head - self.oldest < self.slots:
            self.oldest -= 1
        self.acked = self.unsent = self._guard_from = self.oldest
        self.frozen = True

    def start_at(self, first):
        """Send from block `first` on; forget earlier acknowledgements."""
        self.unsent = self.acked = min(max(first, self.oldest), self.head)

    def acknowledge(self, next_block):
        """Note that every block before `next_block` is on disk."""
        if self.acked < next_block <= self.head:
            self.acked = next_block

    def rewind(self, next_block):
        """Send again from `next_block`, or from the oldest block still held."""
        if self.oldest <= next_block <= self.head:
            self.unsent = next_block
        elif next_block < self.oldest:
            self.unsent = self.oldest

    def next_to_send(self):
        """Number of the next block to send, or -1 when all are sent."""
        if self.unsent < self.oldest:
            self.unsent = self.oldest
        return self.unsent if self.unsent < self.head else -1

    def span_of(self, first, stop):
        """Smallest and largest value of blocks still held, `stop` not among them."""
        low, high = 0xFFFF, 0
        for number in range(max(first, self.oldest), stop):
            slot = number % self.slots
            low = min(low, self.lows[slot])
            high = max(high, self.highs[slot])
        return low, high

    def mean_of(self, first, stop, channels):
        """Mean of the first channel over blocks that are held, from some samples of each."""
        step = channels * max(1, self.values // (channels * MEAN_OF))
        total = count = 0
        for number in range(first, stop):
            frame = self.frames[number % self.slots]
            for place in range(0, self.values, step):
                total += wire.value_at(frame, place, self.bits)
                count += 1
        return total // count if count else 0
