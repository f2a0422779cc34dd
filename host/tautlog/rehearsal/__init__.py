"""The rehearsal: simulates a rig, and everything outside the board.

`mechanics.motion` moves the sled, `electronics` turns force into counts, `rig` connects them to
pins, and `process` runs the board's firmware in its own process and feeds it. Nothing here
knows the wire format, the states or the marks.
"""
