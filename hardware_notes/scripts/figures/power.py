"""Worked figures of 5_power.md: what a shared wire would cost, and what the bleeder passes."""

from netlist import the_netlist

import config
from figures import figure

PARTS = the_netlist()
COIL_A, BATTERY_V = 2.0, 12.0
COPPER_OHM_M = 1.72e-8  # resistivity at 20 °C, IEC 60028 (from memory)
WIRE_M, WIRE_M2 = 1.0, 0.5e-6
EXCITATION_V, RATED_V_PER_V = 3.0, 2e-3
USB_LEAST_V = 4.4  # at the end of a cable, USB 2.0 (from memory)
DIODE_V = 0.3


@figure("mohm", ".0f")
def shared_wire():
    return 1e3 * COPPER_OHM_M * WIRE_M / WIRE_M2


@figure("mV", ".0f")
def shared_drop():
    return shared_wire() * COIL_A


@figure("mV", ".0f")
def rated_signal():
    return 1e3 * EXCITATION_V * RATED_V_PER_V


@figure("", ".0f")
def shared_times():
    """The drop in units of the cell's signal at its rated load."""
    return shared_drop() / rated_signal()


@figure("µA", ".0f")
def bleeder():
    return 1e6 * BATTERY_V / PARTS.number("R401")


@figure("V", ".1f")
def vsys_least():
    return USB_LEAST_V - DIODE_V


@figure("s", ".0f")
def kept_after():
    return config.COPY_AFTER_S


@figure("s", ".0f")
def silence():
    return config.LAPTOP_SILENCE_MS / 1e3


@figure("s", ".0f")
def watchdog():
    return config.WATCHDOG_MS / 1e3
