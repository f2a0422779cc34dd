"""Memory whose address the hardware can be told.

The garbage collector never moves memory, but frees what nobody holds: hold these
objects as long as the hardware uses their addresses.
"""

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
