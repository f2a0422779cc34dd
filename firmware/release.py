"""The release: a bounded pulse of the drive, and what the switch says of it.

A release is an opening of the switch that lasts; its time is that of the first
edge. An opening that closes again is a knock. The drive is high only between an
accepted `pulse` and the first of: the switch is open for good, the longest
pulse has passed, `stop`.
"""

import wire

NOTHING = 0
OPENED = 1
KNOCK = 2
NO_RELEASE = 3


class Release:
    """Times one release; all times are microseconds of the board's clock.

    Attributes
    ----------
    drive_high : bool
        What the drive's pin must be now.
    opening : bool
        The switch has opened, and whether it stays so is not known yet.
    block, offset, stamp_us : int
        Place and time of the first edge of the opening under way.
    """

    def __init__(self, config):
        self._pulse_us = config.RELEASE_PULSE_MS * 1000
        self._wait_us = config.RELEASE_WAIT_MS * 1000
        self._confirm_us = config.RELEASE_CONFIRM_MS * 1000
        self.drive_high = False
        self.block = self.offset = self.stamp_us = 0
        self._by_hand = False
        self._token = b""
        self._pulsed = False
        self._pulsed_us = 0
        self.opening = False

    def arm(self, by_hand, token):
        """Expect one release; `token` must come back with the command to pulse."""
        self.stop()
        self._by_hand = by_hand
        self._token = token
        self._pulsed = False
        self.opening = False

    def stop(self):
        """Drive low, and the token is worth nothing any more."""
        self.drive_high = False
        self._token = b""

    def pulse(self, buffer, at, length, now_us):
        """Begin the pulse if the token in `buffer` is right; a reason if not."""
        if self._by_hand:
            return wire.BY_HAND
        if self._pulsed or length != wire.TOKEN_BYTES or not self._token:
            return wire.WRONG_TOKEN
        for i in range(length):
            if buffer[at + i] != self._token[i]:
                return wire.WRONG_TOKEN
        self._pulsed = True
        self._pulsed_us = now_us
        self.drive_high = True
        return 0

    def is_expected(self):
        """Whether a sled may be let go at any moment: after the pulse, or by a hand."""
        return self._pulsed or self._by_hand

    def edge(self, is_open, block, offset, stamp_us):
        """Note an edge of the switch; True when it is the first of an opening."""
        if not is_open or self.opening:
            return False
        self.opening = True
        self.block = block
        self.offset = offset
        self.stamp_us = stamp_us
        return True

    def watch(self, is_open, now_us):
        """Decide what the switch and the clock say now: one of the names above."""
        if self.drive_high and wire.ticks_elapsed_us(now_us, self._pulsed_us) >= self._pulse_us:
            self.drive_high = False
        if self.opening:
            if wire.ticks_elapsed_us(now_us, self.stamp_us) < self._confirm_us:
                return NOTHING
            self.opening = False
            if not is_open:
                return KNOCK
            self.stop()
            return OPENED
        if self._pulsed and wire.ticks_elapsed_us(now_us, self._pulsed_us) > self._wait_us:
            return NO_RELEASE
        return NOTHING
