"""A wire.Check that allocates nothing."""

from array import array

import micropython

import wire

try:
    from hardware.loops_thumb import check
except (ImportError, SyntaxError):  # no Thumb assembler here
    from hardware.loops_viper import check

POLYNOMIAL = 0xEDB88320  # of the CRC-32 of zlib and IEEE 802.3, bits reversed


def _words():
    """State and table; a big number here is allocated once."""
    words = array("I", [0])
    for byte in range(256):
        value = byte
        for _ in range(8):
            value = value >> 1 ^ (POLYNOMIAL if value & 1 else 0)
        words.append(value)
    return words


@micropython.viper
def _put(words: ptr32, buffer: ptr8, at: int):
    value = int(words[0]) ^ -1
    for i in range(4):
        buffer[at + i] = value & 0xFF
        value = value >> 8


@micropython.viper
def _is_at(words: ptr32, buffer: ptr8, at: int) -> int:
    value = int(words[0]) ^ -1
    same = 1
    for i in range(4):
        if int(buffer[at + i]) != value & 0xFF:
            same = 0
        value = value >> 8
    return same


@micropython.viper
def _low(words: ptr32) -> int:
    return (int(words[0]) ^ -1) & 0xFFFF


class Check:
    """See wire.Check."""

    def __init__(self):
        self._words = _words()

    @micropython.native
    def over(self, buffer, start, end):
        """Compute it over the bytes of a buffer from `start` to before `end`."""
        check(self._words, buffer, start, end)

    @micropython.native
    def put(self, buffer, at):
        """Write the check, four bytes, to a place of a buffer."""
        _put(self._words, buffer, at)

    def is_at(self, buffer, at):
        """Whether the four bytes at a place of a buffer are the check."""
        return bool(_is_at(self._words, buffer, at))

    def low(self):
        """Low 16 bits."""
        return _low(self._words)

    @micropython.native
    def seal(self, frame):
        """Write both checks of a frame that fills `frame` and whose other bytes are there."""
        words = self._words
        end = len(frame) - wire.TRAILER_BYTES
        check(words, frame, 0, wire.CHECKED_BYTES)
        low = _low(words)
        frame[wire.CHECKED_BYTES] = low & 0xFF
        frame[wire.CHECKED_BYTES + 1] = low >> 8
        check(words, frame, 0, end)
        _put(words, frame, end)
