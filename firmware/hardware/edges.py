"""Edges of a pin, stamped in hardware, so that no interrupt can be late.

A state machine waits for the pin to open (high), then to close (low), and so on,
and pushes a word at each. One DMA channel takes the word away and starts
another, which copies the microsecond timer into a ring.
"""

from array import array

import micropython
import rp2
import uctypes
from machine import Pin

from hardware import chips
from hardware.dma import stop_channels
from hardware.memory import Aligned, stamp_at

STAMPS = 64
RING_BITS = 8
STATE_MACHINE_HZ = 1000000
WRITE_POINTER = 4  # bytes from a DMA channel's registers to its write address


@rp2.asm_pio()
def _watch():
    wrap_target()
    wait(1, pin, 0)
    push(noblock)
    wait(0, pin, 0)
    push(noblock)
    wrap()


class EdgeWatch:
    """Tells at one look whether any of several pins has moved."""

    def __init__(self, count):
        # For each the address of its DMA's pointer, and where that was last.
        self.pointers = array("I", [0] * 2 * count)
        self._count = count

    @micropython.native
    def moved(self):
        """Whether an edge waits to be fetched."""
        return _moved(self.pointers, self._count)


@micropython.viper
def _moved(pointers: ptr32, count: int) -> int:
    for i in range(count):
        if int(ptr32(int(pointers[2 * i]))[0]) != int(pointers[2 * i + 1]):
            return 1
    return 0


class EdgeStamps:
    """Times of the edges of one pin that is pulled up.

    Parameters
    ----------
    chip : chips.Chip
        What this runs on.
    number : int
        State machine of PIO0 to use, 0 to 3.
    pin : int
        GPIO number.
    watch : EdgeWatch
        Has a place for each number.

    Attributes
    ----------
    stamp_us : int
        Time of the edge fetched last, modulo 2**30.
    is_open : bool
        Whether it was an opening.
    """

    def __init__(self, chip, number, pin, watch):
        self._chip = chip
        self._ring = Aligned(4 * STAMPS)
        self._word = bytearray(4)
        self._pin = Pin(pin, Pin.IN, Pin.PULL_UP)
        self._machine = rp2.StateMachine(number, _watch, freq=STATE_MACHINE_HZ, in_base=self._pin)
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
                ring_size=RING_BITS,
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
        self._taken = 0
        self._pointers = watch.pointers
        self._place = 2 * number
        self._pointers[self._place] = uctypes.addressof(stamp.registers) + WRITE_POINTER
        self._pointers[self._place + 1] = self._ring.address
        self.stamp_us = 0
        self.is_open = False
        take.active(1)
        self._machine.active(1)

    @micropython.native
    def next(self):
        """Fetch the next edge; False when there is none."""
        if (self._stamp.write - self._ring.address) // 4 == self._taken:
            return False
        self.stamp_us = stamp_at(self._ring.address + 4 * self._taken)
        self.is_open = self._taken & 1 == 0
        self._taken = (self._taken + 1) % STAMPS
        self._pointers[self._place + 1] = self._ring.address + 4 * self._taken
        return True

    def stop(self):
        """Stop state machine and DMA."""
        self._machine.active(0)
        stop_channels(self._chip, (self._take, self._stamp))
