"""Levels: where the force signal must lie, and how much it must move, before arming.

All in values of a sample. The board's config has a limit of each kind, the laptop may
send those of the very chain when it arms; the stricter of the two holds.
"""

import wire
from commands import Malformed

PARTS = 4096  # of full scale: the unit of levels in config.py


def counts_per_part(config):
    """Values of a sample in the unit of the levels of config.py; a whole number."""
    return wire.full_scale(config.CONVERTER_BITS, config.REDUCTION) // PARTS


def counts_per_step(config):
    """Values of a sample in one step of the converter; a whole number."""
    return wire.full_scale(config.CONVERTER_BITS, config.REDUCTION) >> config.CONVERTER_BITS


class Levels:
    """Limits that hold now; those of `config` until `use` is called.

    Attributes
    ----------
    rail_low, rail_high : int
        At or beyond them the amplifier is at its limit.
    level_low, level_high : int
        The mean without a load lies between them, or on them.
    least_span : int
        Largest minus smallest of a living chain is no less.
    """

    def __init__(self, config):
        self._config = config
        self._one, self._step = counts_per_part(config), counts_per_step(config)
        self._largest = ((1 << config.CONVERTER_BITS) - 1) * self._step
        self.use({})

    def use(self, command):
        """Take the limits of a command that arms, where they are stricter.

        Raises
        ------
        Malformed
            If one is out of range, or if no signal could lie between two of them.
        """
        config, one, step = self._config, self._one, self._step
        _check(command, self._largest)
        low, high = config.SIGNAL_LOWEST * one, config.SIGNAL_HIGHEST * one
        self.rail_low = max(low, command.get("rail_low", low))
        self.rail_high = min(high, command.get("rail_high", high))
        low, high = config.LEVEL_LOWEST * one, config.LEVEL_HIGHEST * one
        self.level_low = max(low, command.get("level_low", low))
        self.level_high = min(high, command.get("level_high", high))
        least = config.LEAST_SPAN * step
        self.least_span = max(least, command.get("least_span", least))


def _check(command, largest):
    for name in ("rail_low", "rail_high", "level_low", "level_high", "least_span"):
        value = command.get(name, 0)
        if value > largest:
            text = "arm: %s must be 0 to %d, was %d" % (name, largest, value)
            raise Malformed("bad-value", text)
    for low, high in (
        ("rail_low", "rail_high"),
        ("level_low", "level_high"),
        ("rail_low", "level_high"),
        ("level_low", "rail_high"),
    ):
        if command.get(low, -1) >= command.get(high, largest + 1):
            text = "arm: %s must be below %s" % (low, high)
            raise Malformed("bad-value", text)
