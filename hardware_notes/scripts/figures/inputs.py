"""Worked figures of 3_inputs.md: contacts, their resistors, and what 100 nF would do."""

from math import log, pi, sqrt

from netlist import the_netlist

from figures import figure

PARTS = the_netlist()
SUPPLY_V = 3.3
# Data sheet of the RP2040, table of the pins' characteristics [S101].
PULL_LEAST_OHM, PULL_MOST_OHM = 50e3, 80e3
LOW_V, HIGH_V = 0.8, 2.0
SERIES_OHM = PARTS.number("R211")
PULL_OHM = PARTS.number("R212")
PIN_OHM = PARTS.number("R213")
PIN_F = PARTS.number("C211")
ACROSS_F = 100e-9  # what must not be
CABLE_F = 10 * 100e-12  # 10 m of 100 pF/m, common practice
WRONG_V = 12.0  # the coil's supply on a wire of an input
CLAMP_V = 6.0  # least break-down of a suppressor of 5 V, common practice
FALL_M = 1.2
GRAVITY = 9.81
COPPER_N_MM2 = 220.0  # soft copper, from memory
WIRE_MM = 0.1
USB_V, RED_V, WHITE_V = 5.0, 2.0, 3.1  # forward voltages: common practice


@figure("µA", ".0f")
def contact_least():
    return 1e6 * SUPPLY_V / PULL_MOST_OHM


@figure("µA", ".0f")
def contact_most():
    return 1e6 * SUPPLY_V / PULL_LEAST_OHM


@figure("mA", ".1f")
def contact():
    return 1e3 * SUPPLY_V / (PULL_OHM + SERIES_OHM)


@figure("V", ".2f")
def closed_level():
    """At the pin, the chip's strongest pull-up added."""
    node = SUPPLY_V * SERIES_OHM / (PULL_OHM + SERIES_OHM)
    return node + PIN_OHM * (SUPPLY_V - node) / (PULL_LEAST_OHM + PIN_OHM)


@figure("ohm", ".0f")
def loop_most():
    """Contact and wires together that still read closed with the chip's strongest pull-up."""
    pin_a = (SUPPLY_V - LOW_V) / PULL_LEAST_OHM
    node_v = LOW_V - PIN_OHM * pin_a
    return node_v / ((SUPPLY_V - node_v) / PULL_OHM + pin_a) - SERIES_OHM


@figure("kohm", ".0f")
def leak_alone():
    """Leak of a wet plug that reads closed by the chip's weakest pull-up alone."""
    return 1e-3 * PULL_MOST_OHM * LOW_V / (SUPPLY_V - LOW_V)


def _rise_s(ohm, farad):
    """From ground to the highest threshold: closed form of one R and one C."""
    return ohm * farad * log(SUPPLY_V / (SUPPLY_V - HIGH_V))


@figure("ms", ".1f")
def late_least():
    return 1e3 * _rise_s(PULL_LEAST_OHM, ACROSS_F)


@figure("ms", ".1f")
def late_most():
    return 1e3 * _rise_s(PULL_MOST_OHM, ACROSS_F)


@figure("ms", ".2f")
def late_with_pull():
    return 1e3 * _rise_s(PULL_OHM, ACROSS_F)


@figure("µs", ".0f")
def delay():
    """As drawn: cable behind R212, C211 behind R212 and R213 (sum of the time constants)."""
    return 1e6 * (_rise_s(PULL_OHM, CABLE_F + PIN_F) + _rise_s(PIN_OHM, PIN_F))


@figure("ms", ".0f")
def fall_time():
    return 1e3 * sqrt(2 * FALL_M / GRAVITY)


@figure("%", ".0f")
def late_height():
    """Of a height that is reckoned from the time of the fall, which is late at its start."""
    return 200 * late_most() / fall_time()


@figure("mA", ".0f")
def wrong_wire():
    return 1e3 * (WRONG_V - CLAMP_V) / SERIES_OHM


@figure("W", ".2f")
def wrong_wire_heat():
    return (WRONG_V - CLAMP_V) ** 2 / SERIES_OHM


@figure("mA", ".0f")
def wrong_wire_pin():
    """Into the chip's own diode, 0.6 V above its supply."""
    return 1e3 * (CLAMP_V - SUPPLY_V - 0.6) / PIN_OHM


@figure("N", ".1f")
def wire_breaks():
    return COPPER_N_MM2 * pi / 4 * WIRE_MM**2


@figure("mA", ".0f")
def lamp():
    return 1e3 * (USB_V - RED_V) / PARTS.number("R293")


@figure("mA", ".0f")
def flash():
    return 1e3 * (USB_V - WHITE_V) / PARTS.number("R296")


@figure("mA", ".0f")
def flash_shorted():
    return 1e3 * USB_V / PARTS.number("R296")


@figure("W", ".2f")
def flash_shorted_heat():
    return USB_V**2 / PARTS.number("R296")
