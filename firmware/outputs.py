"""Outputs: what lamp, heartbeat, flash, shunt and drive must be, state by state."""

import wire


class Outputs:
    """The bits that the board's pins must show.

    Attributes
    ----------
    bits : int
        wire.OUTPUT_*, as they were decided last.
    shunt_on : bool
        The shunt resistor is asked for.
    """

    def __init__(self, config):
        self._flash_us = config.FLASH_MS * 1000
        self._flash_from_us = 0
        self._flash_on = False
        self.shunt_on = False
        self.bits = 0

    def flash(self, stamp_us):
        """Leave the flash on for its length from a stamp on, which may have passed."""
        self._flash_on = True
        self._flash_from_us = stamp_us

    def decide(self, state, drive_high, is_silent, now_us):
        """Decide anew; True when the board must be told: a change, or a beat that goes on."""
        bits = 0
        if self.shunt_on:
            # Never with a drop, and never longer than somebody listens.
            self.shunt_on = state == wire.SAFE and not is_silent
            if self.shunt_on:
                bits |= wire.OUTPUT_SHUNT
        if state == wire.ARMED:
            bits = wire.OUTPUT_LAMP | wire.OUTPUT_BEAT
            if drive_high:
                bits |= wire.OUTPUT_DRIVE
        if self._flash_on:
            age_us = wire.ticks_elapsed_us(now_us, self._flash_from_us)
            self._flash_on = age_us < self._flash_us
            if self._flash_on:
                bits |= wire.OUTPUT_FLASH
        changed = bits != self.bits
        self.bits = bits
        return changed or bits & wire.OUTPUT_BEAT != 0
