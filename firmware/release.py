"""The release: a bounded pulse of the drive, and what the switch says of it.

A release is an opening of the switch that lasts; its time is that of the first edge. A
contact that opens bounces: it closes again for a millisecond or two at a time. One that
stays closed for longer was knocked, and the next opening starts anew. All of this is
told from the stamps of the edges in their order, never from a level, so that it holds
however late the main loop comes to it. The drive is high only between an accepted
`pulse` and the first of: the switch is open for good, the longest pulse has passed,
`stop`.
"""

import wire

NOTHING = 0
OPENED = 1
KNOCK = 2
NO_RELEASE = 3
EDGE = 4
UNSEEN = 5

CHATTER_TIMES = 10  # times the confirmation: a contact that still moves then is judged as it is


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
    knock_block, knock_offset, knock_us : int
        The same of the last opening that was a knock.
    """

    def __init__(self, config):
        self._pulse_us = config.RELEASE_PULSE_MS * 1000
        self._wait_us = config.RELEASE_WAIT_MS * 1000
        self._confirm_us = config.RELEASE_CONFIRM_MS * 1000
        self._bounce_us = config.RELEASE_BOUNCE_MS * 1000
        self.block = self.offset = self.stamp_us = 0
        self.knock_block = self.knock_offset = self.knock_us = 0
        self._pulsed_us = self._edge_us = self._odd_us = 0
        self.arm(False, b"")

    def arm(self, by_hand, token):
        """Expect one release; `token` must come back with the command to pulse."""
        self.stop()
        self._by_hand = by_hand
        self._token = token
        self._pulsed = False
        self.opening = self._is_open = self._is_odd = self._lasted = False

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
        if self._is_open:
            return wire.NOT_LATCHED
        self._pulsed = True
        self._pulsed_us = now_us
        self.drive_high = True
        return 0

    def is_expected(self):
        """Whether a sled may be let go at any moment: after the pulse, or by a hand."""
        return self._pulsed or self._by_hand

    def edge(self, is_open, block, offset, stamp_us):
        """Take the next edge of the switch, in the order of their stamps.

        Returns
        -------
        int
            NOTHING: it may become the release; EDGE: one more of an opening under way;
            KNOCK: it may become the release, and what came before it was a knock.
        """
        still_us = wire.ticks_elapsed_us(stamp_us, self._edge_us)
        was_closed = not self._is_open
        self._is_open = is_open
        self._edge_us = stamp_us
        if not is_open:
            # It was the release if it lasted, though the main loop slept until it closed again.
            open_us = wire.ticks_elapsed_us(stamp_us, self.stamp_us)
            if self.opening and still_us > self._bounce_us and open_us >= self._confirm_us:
                self._lasted = not was_closed or self._lasted
            return EDGE
        seen = NOTHING
        if self.opening:
            if self._lasted or not was_closed or still_us <= self._bounce_us:
                return EDGE
            seen = self._knocked()
        self.opening = True
        self.block = block
        self.offset = offset
        self.stamp_us = stamp_us
        return seen

    def _knocked(self):
        self.opening = False
        self.knock_block = self.block
        self.knock_offset = self.offset
        self.knock_us = self.stamp_us
        return KNOCK

    def watch(self, level_open, now_us):
        """Decide what edges and clock say now: one of the names above.

        UNSEEN is an opening that no edge has told of, though it has lasted: the level
        alone says so. An edge that is fetched a step later is none of these.
        """
        if self.drive_high and wire.ticks_elapsed_us(now_us, self._pulsed_us) >= self._pulse_us:
            self.drive_high = False
        if self.opening:
            self._is_odd = False
            return self._watch_opening(now_us)
        if not level_open:
            self._is_odd = False
        elif not self._is_odd:
            self._is_odd = True
            self._odd_us = now_us
        elif wire.ticks_elapsed_us(now_us, self._odd_us) > self._confirm_us:
            self.stamp_us = self._odd_us
            self.stop()
            return UNSEEN
        if self._pulsed and wire.ticks_elapsed_us(now_us, self._pulsed_us) > self._wait_us:
            return NO_RELEASE
        return NOTHING

    def _watch_opening(self, now_us):
        open_us = wire.ticks_elapsed_us(now_us, self.stamp_us)
        if self._lasted:
            return self._opened()
        if wire.ticks_elapsed_us(now_us, self._edge_us) <= self._bounce_us:
            if open_us < CHATTER_TIMES * self._confirm_us:
                return NOTHING
        elif self._is_open and open_us < self._confirm_us:
            return NOTHING
        if not self._is_open:
            return self._knocked()
        return self._opened()

    def _opened(self):
        self.opening = self._lasted = False
        self.stop()
        return OPENED
