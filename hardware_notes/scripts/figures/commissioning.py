"""Figures of the sheet on commissioning: what an ohmmeter must read, from the netlist's parts."""

from __future__ import annotations

from front_end import ohm
from netlist import the_netlist

from figures import figure

ARM_OHM = 350.0
PARTS = the_netlist()
BATTERY_V = 12.0
COIL_OHM = 6.0  # of the latch's coil, as in the netlist's L301
LAMP_W = 21.0  # of the lamp in series with the coil, at the battery's voltage; own choice
TWO_DIODES_V = 1.4  # two diodes that conduct, 0.7 V each; common practice


@figure("ohm", ".0f")
def signal_to_supply() -> float:
    """Resistance from a signal wire to a supply wire: one arm parallel to the other three."""
    return ARM_OHM * 3 * ARM_OHM / (ARM_OHM + 3 * ARM_OHM)


@figure("kohm", ".2f")
def input_to_pin() -> float:
    """From the plug of an input to the board's pin."""
    return (PARTS.number("R211") + PARTS.number("R213")) / 1e3


@figure("kohm", ".2f")
def input_to_supply() -> float:
    """From the plug of an input to 3V3."""
    return (PARTS.number("R211") + PARTS.number("R212")) / 1e3


@figure("ohm", ".0f")
def lamp_to_supply() -> float:
    """From the lamp's plug to VBUS."""
    return PARTS.number("R293")


@figure("ohm", ".0f")
def flash_to_supply() -> float:
    """From the flash's plug to VBUS."""
    return PARTS.number("R296")


@figure("kohm", ".1f")
def drive_to_ground() -> float:
    """From GP12 to GND."""
    return PARTS.number("R302") / 1e3


@figure("ohm", ".0f")
def signal_to_amplifier() -> float:
    """From a signal wire at the plug to U103's input."""
    return ohm("R103")


@figure("V", ".1f")
def coil_behind_lamp() -> float:
    """Voltage of the coil in series with the lamp, taken as it is at its full voltage."""
    return BATTERY_V * COIL_OHM / (COIL_OHM + BATTERY_V**2 / LAMP_W)


@figure("V", ".1f")
def two_diodes() -> float:
    """Voltage that two diodes in forward direction leave to the coil beside them."""
    return TWO_DIODES_V
