"""Edges of a pin, stamped in hardware, so that no interrupt can be late.

A state machine waits for the pin to open (high), then to close (low), and so on,
counts down from zero, and pushes the count at each. One DMA channel takes the count away
and starts another, which copies the microsecond timer into a ring. The count tells how
many edges there were, also where the ring has come round since somebody looked.
"""

from array import array

import micropython
import rp2
import uctypes

from hardware import chips
from hardware.dma import stop_channels
from hardware.memory import Aligned, stamp_at

STAMPS = 64
IN_USE = 4  # the oldest may be overwritten while they are read
STATE_MACHINE_HZ = 1000000


@rp2.asm_pio()
def _watch():
    set(x, 0)
    wrap_target()
    wait(1, pin, 0)
    jmp(x_dec, "opened")
    label("opened")
    mov(isr, x)
    push(noblock)
    wait(0, pin, 0)
    jmp(x_dec, "closed")
    label("closed")
    mov(isr, x)
    push(noblock)
    wrap()


@micropython.viper
def _counted(word: ptr32) -> int:
    """Edges so far, modulo 2**30."""
    return (0 - int(word[0])) & 0x3FFFFFFF


class EdgeWatch:
    """Tells at one look whether any of several pins has moved.

    Attributes
    ----------
    lost : int
        Edges of all of them that were overwritten before anybody fetched them.
    """

    def __init__(self, count):
        # For each the address of its count, and how many of its edges were fetched.
        self.counts = array("I", [0] * 2 * count)
        self.lost = 0
        self._count = count

    @micropython.native
    def moved(self):
        """Whether an edge waits to be fetched."""
        return _moved(self.counts, self._count)


@micropython.viper
def _moved(counts: ptr32, count: int) -> int:
    for i in range(count):
        word = ptr32(int(counts[2 * i]))
        if (0 - int(word[0])) & 0x3FFFFFFF != int(counts[2 * i + 1]):
            return 1
    return 0


class EdgeStamps:
    """Times of the edges of one pin.

    Parameters
    ----------
    chip : chips.Chip
        What this runs on.
    number : int
        State machine of PIO0 to use, 0 to 3.
    pin : Pin
        High is open. What else drives or reads it does not matter.
    watch : EdgeWatch
        Has a place for each number.
    stamps : int
        That the ring holds, a power of two; the more, the longer the main loop may sleep.

    Attributes
    ----------
    stamp_us : int
        Time of the edge fetched last, modulo 2**30.
    is_open : bool
        Whether it was an opening.
    """

    def __init__(self, chip, number, pin, watch, stamps=STAMPS):
        self._chip = chip
        self._stamps = stamps
        self._ring = Aligned(4 * stamps)
        self._word = bytearray(4)
        ring_bits = 2
        while 1 << ring_bits < 4 * stamps:
            ring_bits += 1
        self._machine = rp2.StateMachine(number, _watch, freq=STATE_MACHINE_HZ, in_base=pin)
        take, stamp = rp2.DMA(), rp2.DMA()
        self._take, self._stamp = take, stamp
        stamp.config(
            read=chip.timer_low,
            write=self._ring.address,
            count=1,
            ctrl=stamp.pack_ctrl(
                size=2,
                inc_read=False,
                ring_sel=True,
                ring_size=ring_bits,
                chain_to=take.channel,
            ),
        )
        take.config(
            read=chips.PIO0 + chips.PIO_RXF + 4 * number,
            write=uctypes.addressof(self._word),
            count=1,
            ctrl=take.pack_ctrl(
                size=2,
                inc_read=False,
                inc_write=False,
                treq_sel=chips.PIO_RX_DREQ + number,
                chain_to=stamp.channel,
            ),
        )
        self._taken = self._fetched = 0
        self._watch = watch
        self._counts = watch.counts
        self._place = 2 * number
        self._counts[self._place] = uctypes.addressof(self._word)
        self.stamp_us = 0
        self.is_open = False
        take.active(1)
        self._machine.active(1)

    @micropython.native
    def next(self):
        """Fetch the next edge; False when there is none."""
        # The count comes before its stamp: an edge under way is fetched the next time.
        counted = _counted(self._word)
        place = (self._stamp.write - self._ring.address) // 4
        waiting = (counted - self._fetched) & 0x3FFFFFFF
        if waiting > self._stamps - IN_USE:
            self._skip(waiting, place)
        if place == self._taken:
            return False
        self._note_fetched(1)
        self.stamp_us = stamp_at(self._ring.address + 4 * self._taken)
        self.is_open = self._taken & 1 == 0
        self._taken = (self._taken + 1) % self._stamps
        return True

    def _note_fetched(self, count):
        self._fetched = (self._fetched + count) & 0x3FFFFFFF
        self._counts[self._place + 1] = self._fetched

    def _skip(self, waiting, place):
        """The ring may have come round: go on with the newest half of it."""
        lost = (waiting - self._stamps // 2) & ~1  # an opening comes first, as before
        self._watch.lost += lost
        self._note_fetched(lost)
        self._taken = (self._taken + lost) % self._stamps

    def stop(self):
        """Stop state machine and DMA."""
        self._machine.active(0)
        stop_channels(self._chip, (self._take, self._stamp))
