"""Readbacks: contacts of the release chain that the board sees; imported only where there are any.

They only withhold. The chain's own contacts open the coil's circuit, whatever is read here.
Levels, looked at in each step of the main loop: what opens and closes between two looks is
not seen. An open one counts at the first look, as with the key; nothing is waited for.
"""

import wire


class Readbacks:
    """The readbacks of a config, in the order of their bits.

    Parameters
    ----------
    readbacks : tuple of (str, int)
        config.READBACKS.
    """

    def __init__(self, readbacks):
        self._places = bytes([wire.READBACKS.index(name) for name, _ in readbacks])

    def refusals(self, inputs):
        """The reason of every open one."""
        reasons = []
        bit = wire.INPUT_READBACK
        for place in self._places:
            if not inputs & bit:
                reasons.append(wire.READBACK_OPEN + place)
            bit <<= 1
        return reasons

    def doubt(self, inputs):
        """The reason of the first open one, or 0; allocates nothing."""
        bit = wire.INPUT_READBACK
        for place in self._places:
            if not inputs & bit:
                return wire.READBACK_OPEN + place
            bit <<= 1
        return 0

    def note(self, events, before, inputs, block, stamp_us):
        """Note each that moved between two looks as an event; allocates nothing."""
        bit = wire.INPUT_READBACK
        for place in self._places:
            if (before ^ inputs) & bit:
                closed = 1 if inputs & bit else 0
                events.note(wire.EVENT_READBACK, block, 0, stamp_us, 2 * place + closed)
            bit <<= 1
