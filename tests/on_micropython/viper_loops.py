"""Under MicroPython: the viper loop that packs beside the plain Python of wire.py."""

import sys
from array import array

sys.path.insert(0, sys.argv[1])

import wire
from hardware.loops_viper import pack

state = 7
same = True
for pairs in (1, 2, 3, 64, 1024):
    source = array("H", [0] * (2 * pairs))
    for i in range(len(source)):
        state = (state * 1103515245 + 12345) % 2147483648
        source[i] = state >> 19
    source[0], source[-1] = 0, 4095
    frame = bytearray(wire.block_frame_bytes(2 * pairs, wire.PACKED_BITS))
    wire.put_values(frame, bytes(source), wire.PACKED_BITS)
    target = bytearray(3 * pairs)
    about = array("I", [1, 2, 2, 0xFFFF, 0])
    pack(source, target, pairs, about)
    same = same and bytes(target) == bytes(frame)[wire.SAMPLES_AT : -wire.TRAILER_BYTES]
    same = same and (about[3], about[4]) == (0, 4095)
print("same" if same else "different")
