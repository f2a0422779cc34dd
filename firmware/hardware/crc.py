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
def _put_low(words: ptr32, buffer: ptr8, at: int):
    value = int(words[0]) ^ -1
    buffer[at] = value
    buffer[at + 1] = value >> 8


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


@micropython.viper
def _put_head(frame: ptr8, facts: ptr32, length: int):
    """The head of a block, byte by byte, for a frame may begin at any address."""
    frame[0] = 0xD7
    frame[1] = 0xA5
    frame[2] = int(wire.VERSION)
    frame[3] = int(wire.BLOCK)
    frame[4] = length
    frame[5] = length >> 8
    frame[6] = facts[0]
    frame[7] = facts[0] >> 8
    at = 10
    for i in range(1, 4):  # number, oldest, stamp
        word = int(facts[i])
        for _ in range(4):
            frame[at] = word
            word = word >> 8
            at += 1
    for i in range(4, 7):  # flags, lost, count
        word = int(facts[i])
        frame[at] = word
        frame[at + 1] = word >> 8
        at += 2
    frame[at] = facts[7]
    frame[at + 1] = facts[8]


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
    def seal_block(self, frame, facts):
        """Make a BLOCK of a frame that holds its values, without a bytecode for each field."""
        words = self._words
        end = len(frame) - wire.TRAILER_BYTES
        _put_head(frame, facts, end - wire.HEADER_BYTES)
        check(words, frame, 0, wire.CHECKED_BYTES)
        _put_low(words, frame, wire.CHECKED_BYTES)
        check(words, frame, 0, end)
        _put(words, frame, end)
