"""What must hold before the board arms, and while it stays armed.

The software is never the safety device: key switch and mechanical catch are, in
hardware. These rules only withhold.
"""

import wire


class Interlocks:
    """Judges inputs and signal against the limits of `config`.

    Parameters
    ----------
    history : History
        The ring of samples, for level and restlessness of the signal.
    config : module or object
        Limits, see config.py.
    """

    def __init__(self, history, config):
        self._history = history
        self._lowest = config.SIGNAL_LOWEST * config.REDUCTION
        self._highest = config.SIGNAL_HIGHEST * config.REDUCTION
        self._quiet_span = config.QUIET_SPAN * config.REDUCTION
        self._quiet_blocks = config.QUIET_BLOCKS
        self._judged = -1
        self._silence_us = config.LAPTOP_SILENCE_MS * 1000
        block_s = config.SAMPLES_PER_BLOCK * config.REDUCTION * len(config.CHANNELS)
        self._armed_blocks = config.ARMED_LONGEST_S * config.CONVERSION_RATE_HZ // block_s
        self._stall_us = 4 * 1000000 * block_s // config.CONVERSION_RATE_HZ + 50000

    def arming_refusals(self, state, inputs, now_us):
        """Every reason why arming must be refused, as a list of numbers."""
        reasons = []
        if state == wire.HELD:
            reasons.append(wire.EVENT_HELD)
        elif state != wire.SAFE:
            reasons.append(wire.WRONG_STATE)
        if not inputs & wire.INPUT_KEY_ON:
            reasons.append(wire.KEY_OFF)
        if not inputs & wire.INPUT_LATCHED:
            reasons.append(wire.NOT_LATCHED)
        if state == wire.SAFE:
            reasons.extend(self._signal_refusals(now_us))
        return reasons

    def _signal_refusals(self, now_us):
        history = self._history
        if history.head - history.oldest < self._quiet_blocks or self._stalled(now_us):
            return [wire.NOT_SAMPLING]
        reasons = []
        low, high = history.span_of_last(self._quiet_blocks)
        if low <= self._lowest or high >= self._highest:
            reasons.append(wire.SIGNAL_CLIPPED)
        if high - low > self._quiet_span:
            reasons.append(wire.SIGNAL_RESTLESS)
        number = history.head - self._quiet_blocks
        while number < history.head:
            if history.lost[number % history.slots]:
                reasons.append(wire.CONVERSIONS_LOST)
                break
            number += 1
        return reasons

    def _stalled(self, now_us):
        slot = (self._history.head - 1) % self._history.slots
        return wire.ticks_elapsed_us(now_us, self._history.stamps_us[slot]) > self._stall_us

    def doubt(self, inputs, now_us, heard_us, armed_at_block):
        """The first reason to leave `armed` for `safe`, or 0; allocates nothing."""
        if not inputs & wire.INPUT_KEY_ON:
            return wire.KEY_OFF
        if wire.ticks_elapsed_us(now_us, heard_us) > self._silence_us:
            return wire.LAPTOP_SILENT
        history = self._history
        if history.head == self._judged:
            return wire.NOT_SAMPLING if self._stalled(now_us) else 0
        slot = (history.head - 1) % history.slots
        if history.lows[slot] <= self._lowest or history.highs[slot] >= self._highest:
            return wire.SIGNAL_CLIPPED
        if history.lost[slot]:
            return wire.CONVERSIONS_LOST
        if history.head - armed_at_block > self._armed_blocks:
            return wire.ARMED_TOO_LONG
        self._judged = history.head  # good: not looked at again until there is a newer one
        return 0
