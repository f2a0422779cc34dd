"""Spare pins: which of them a test of the converter may use on this board."""

import config_check

OUTPUTS = ("PIN_DRIVE", "PIN_LAMP", "PIN_FLASH", "PIN_SHUNT", "PIN_BEAT")


def used_pins(config):
    """Every pin that a config uses, with the name of its line; idle wires are not used."""
    used = {pin: "READBACKS %s" % name for name, pin in config.READBACKS}
    idle = () if config.CONVERTER_BITS == 16 else config_check.THREE_WIRES
    for name in dir(config):
        if name.startswith("PIN_") and name not in idle:
            pins = getattr(config, name)
            for pin in pins if isinstance(pins, tuple) else (pins,):
                used[pin] = name
    return used


def why_not(config, faults, ramp_pin, channel_pin):
    """Why a ramp must not be given by the one and read by the other; "" if it may.

    Parameters
    ----------
    config : module or None
        See config.py.
    faults : list of str
        What is wrong with it, as `config_check.load` finds it.
    ramp_pin, channel_pin : int
        GPIO numbers.
    """
    if config is None or faults:
        return "of its pins nothing is known: " + "; ".join(faults)
    used = used_pins(config)
    if not 0 <= ramp_pin <= 22:
        return "GP%d cannot give the ramp: choose a spare pin of 0 to 22" % ramp_pin
    if ramp_pin in used:
        return "GP%d is %s in config.py: choose a spare pin" % (ramp_pin, used[ramp_pin])
    if channel_pin not in config_check.CONVERTER:
        return "GP%d is no converter's: choose 26, 27 or 28" % channel_pin
    if channel_pin in used:
        where = used[channel_pin]
        return "GP%d is in %s of config.py: choose a free channel" % (channel_pin, where)
    return ""
