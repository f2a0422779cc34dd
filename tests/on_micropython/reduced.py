"""Conversions become samples: the board's inner loop (viper) against plain sums and means.

Run by test_firmware_micropython.py. Usage: reduced.py FIRMWARE_FOLDER
"""

import sys

sys.path.insert(0, sys.argv[1])

from array import array

from hardware.loops_viper import reduce

import wire

state = 9
right = 0
for bits, reduction in ((12, 1), (12, 8), (12, 16), (16, 1), (16, 2), (16, 8), (16, 16)):
    top = (1 << bits) - 1
    for source in ("random", "lowest", "highest"):
        values = array("H", [0] * 20 * reduction)
        for place in range(len(values)):
            state = (state * 1103515245 + 12345) & 0x3FFFFFFF
            values[place] = {"random": state >> 9 & top, "lowest": 0, "highest": top}[source]
        # The definition, apart from the way in which the board finds the shift.
        part = (reduction << bits) // wire.full_scale(bits, reduction)
        expected = [
            (sum(values[at : at + reduction]) + part // 2) // part
            for at in range(0, len(values), reduction)
        ]
        shift = len(bin(part)) - 3
        about = array("I", [reduction, 2, 2, 0xFFFF, 0, (1 << shift) >> 1, shift])
        samples = array("H", [0] * 20)
        reduce(values, samples, 20, about)
        right += list(samples) == expected and list(about[3:5]) == [min(expected), max(expected)]
        assert max(expected) < wire.full_scale(bits, reduction) <= 0x10000
print(right)
