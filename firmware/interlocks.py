"""What must hold before the board arms, and while it stays armed.

The software is never the safety device: key switch and mechanical catch are, in
hardware. These rules only withhold.
"""

import wire
from ages import Age
from levels import Levels, counts_per_part


class Interlocks:
    """Judges inputs and signal against the limits of `config`, and of who arms.

    Parameters
    ----------
    history : History
        The ring of samples, for level and restlessness of the signal.
    config : module or object
        Limits, see config.py.
    window : Window
        What the memory guards.
    now_us : int
        The board's clock.

    Attributes
    ----------
    levels : Levels
        Where the signal must lie.
    readbacks : Readbacks or None
        What is read back of the release chain.
    """

    def __init__(self, history, config, window, now_us):
        self._history = history
        self._window = window
        self.levels = Levels(config)
        self.readbacks = None
        if config.READBACKS:
            from readbacks import Readbacks  # else it takes no memory

            self.readbacks = Readbacks(config.READBACKS)
        self._quiet_span = config.QUIET_SPAN * counts_per_part(config)
        self._quiet_blocks = config.QUIET_BLOCKS
        self._channels = len(config.CHANNELS)
        self._judged = 0
        self._armed_at = 0
        self._grown = Age(now_us)
        self._grown_us = 0
        self._head = 0
        block_conversions = config.SAMPLES_PER_BLOCK * config.REDUCTION * self._channels
        self._armed_blocks = config.ARMED_LONGEST_S * config.CONVERSION_RATE_HZ // block_conversions
        self._stall_us = 4 * 1000000 * block_conversions // config.CONVERSION_RATE_HZ + 50000

    def look(self, now_us):
        """See in every step whether samples still come."""
        head = self._history.head
        if head != self._head:
            self._head = head
            self._grown.restart(now_us)
        self._grown_us = self._grown.look(now_us)

    def arming_refusals(self, state, inputs):
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
        if self.readbacks:
            reasons.extend(self.readbacks.refusals(inputs))
        if self._window.is_short:
            reasons.append(wire.WINDOW_SHORT)
        if state == wire.SAFE:
            reasons.extend(self._signal_refusals())
        return reasons

    def _signal_refusals(self):
        history = self._history
        head = history.head
        if head - history.oldest < self._quiet_blocks or self._stalled():
            return [wire.NOT_SAMPLING]
        reasons = []
        levels = self.levels
        low, high = history.span_of(head - self._quiet_blocks, head)
        if low <= levels.rail_low or high >= levels.rail_high:
            reasons.append(wire.SIGNAL_CLIPPED)  # a rail says nothing of zero and noise
        else:
            mean = history.mean_of(head - self._quiet_blocks, head, self._channels)
            if not levels.level_low <= mean <= levels.level_high:
                reasons.append(wire.SIGNAL_OFF_ZERO)
            if high - low < levels.least_span:
                reasons.append(wire.SIGNAL_DEAD)
        if high - low > self._quiet_span:
            reasons.append(wire.SIGNAL_RESTLESS)
        for number in range(head - self._quiet_blocks, head):
            if history.lost[number % history.slots]:
                reasons.append(wire.CONVERSIONS_LOST)
                break
        return reasons

    def _stalled(self):
        return self._grown_us > self._stall_us

    def begin(self, head):
        """From the block `head` on the board is armed."""
        self._judged = self._armed_at = head

    def doubt(self, inputs):
        """The first reason to leave `armed` for `safe`, or 0; allocates nothing.

        Every block since the last look is judged, however late that comes.
        """
        if not inputs & wire.INPUT_KEY_ON:
            return wire.KEY_OFF
        if self.readbacks:
            reason = self.readbacks.doubt(inputs)
            if reason:
                return reason
        history, levels = self._history, self.levels
        head = history.head
        if head == self._judged:
            return wire.NOT_SAMPLING if self._stalled() else 0
        number = self._judged
        if number < history.oldest:
            number = history.oldest
        while number < head:
            slot = number % history.slots
            if history.lows[slot] <= levels.rail_low or history.highs[slot] >= levels.rail_high:
                return wire.SIGNAL_CLIPPED
            if history.lost[slot]:
                return wire.CONVERSIONS_LOST
            number += 1
        if head - self._armed_at > self._armed_blocks:
            return wire.ARMED_TOO_LONG
        self._judged = head  # good: not looked at again until there is a newer one
        return 0
