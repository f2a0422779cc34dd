"""The rehearsal: a rig and a board's outside world, without a rig.

`mechanics.motion` moves the sled, `electronics` turns force into counts, `rig` joins
them to pins, `process` runs the board's firmware in a process of its own and
feeds it. Nothing here knows the wire format, the states or the marks.
"""
