"""Under MicroPython: the board's own CRC-32 beside zlib's."""

import binascii
import sys

import micropython

sys.path.insert(0, sys.argv[1])

import wire
from hardware.crc import Check

data = bytearray(bytes(range(256)) * 9)
ours, plain = Check(), wire.Check()
place = bytearray(4)
right = wrong = None  # a new name would be allocated
micropython.heap_lock()
ours.over(b"123456789", 0, 9)
ours.put(place, 0)
right = ours.is_at(place, 0)
ours.over(data, 3, 5)
wrong = ours.is_at(place, 0)
micropython.heap_unlock()
word = binascii.hexlify(bytes(reversed(place))).decode()

same = True
for start, end in ((0, 0), (0, 1), (5, 700), (0, len(data))):
    for check in (ours, plain):
        check.over(data, start, end)
    a, b = bytearray(6), bytearray(6)
    ours.put(a, 1)
    plain.put(b, 1)
    same = same and a == b and ours.is_at(b, 1) and ours.low() == plain.low()
for size in (14, 60, 2082):
    one, other = memoryview(bytearray(data[:size])), memoryview(bytearray(data[:size]))
    micropython.heap_lock()
    ours.seal(one)
    micropython.heap_unlock()
    plain.seal(other)
    same = same and bytes(one) == bytes(other)
print(word, right, wrong, "same" if same else "different")
