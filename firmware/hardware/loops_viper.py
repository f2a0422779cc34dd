"""The inner loops for chips without the Thumb assembler; see loops_thumb.py."""

import micropython


@micropython.viper
def reduce(source: ptr16, target: ptr16, count: int, about: ptr32):
    """Sum conversions into samples of one channel; as in loops_thumb.py."""
    conversions = int(about[0])
    step = int(about[1]) >> 1
    stride = int(about[2]) >> 1
    low = int(about[3])
    high = int(about[4])
    half = int(about[5])
    shift = int(about[6])
    at = 0
    to = 0
    for _ in range(count):
        total = half
        for _ in range(conversions):
            total += int(source[at])
            at += step
        total = total >> shift
        target[to] = total
        to += stride
        if total < low:
            low = total
        if total > high:
            high = total
    about[3] = low
    about[4] = high


@micropython.viper
def pack(source: ptr16, target: ptr8, pairs: int, about: ptr32):
    """Pack conversions of 12 bits two and two into three bytes; as in loops_thumb.py."""
    low = int(about[3])
    high = int(about[4])
    to = 0
    for pair in range(pairs):
        a = int(source[2 * pair])
        b = int(source[2 * pair + 1])
        if a < low:
            low = a
        if a > high:
            high = a
        if b < low:
            low = b
        if b > high:
            high = b
        target[to] = a
        target[to + 1] = (a >> 8) | (b << 4)
        target[to + 2] = b >> 4
        to += 3
    about[3] = low
    about[4] = high


@micropython.viper
def check(words: ptr32, data: ptr8, start: int, stop: int):
    """Compute a CRC-32; as in loops_thumb.py."""
    state = -1
    for i in range(start, stop):
        place = 1 + ((state ^ int(data[i])) & 0xFF)
        state = ((state >> 8) & 0xFFFFFF) ^ int(words[place])
    words[0] = state
