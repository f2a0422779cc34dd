"""Memory whose address the hardware can be told.

The garbage collector never moves memory, but frees what nobody holds: hold these
objects as long as the hardware uses their addresses.
"""

import gc

import micropython
import uctypes


@micropython.viper
def stamp_at(address: int) -> int:
    """Return the microseconds at an address, modulo 2**30: more would be allocated."""
    return int(ptr32(address)[0]) & 0x3FFFFFFF


class Aligned:
    """Bytes that begin at a multiple of their length, a power of two."""

    def __init__(self, length):
        self._whole = bytearray(2 * length)
        start = uctypes.addressof(self._whole)
        self.address = (start + length - 1) & ~(length - 1)
        self.length = length


RAW_BYTES = 8192  # for conversions on their way into the history
PIECE = 1008  # with its head 1 KiB


def take_top(length, ram_end):
    """Return a zeroed bytearray at the top of the heap, where a restart finds it.

    The heap gives out the first hole that is large enough, so all below the wanted
    place is taken for a moment. To be called before anything else is in the way.
    """
    target = ram_end - length
    pieces = [None] * 256
    count = 0
    end = 0
    while end + 2 * (PIECE + 16) < target:
        pieces[count] = bytearray(PIECE)
        end = uctypes.addressof(pieces[count]) + PIECE
        count += 1
    if target - end > 32:
        pieces[count] = bytearray(target - end - 32)
    top = bytearray(length)
    del pieces
    gc.collect()
    return top
