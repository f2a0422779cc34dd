"""Figures of 2_analogue.md: filter and converter input. Closed forms, values of the netlist."""

from __future__ import annotations

import math

import front_end
import spice
from front_end import loss_db, ohm

from figures import figure
from figures.analogue import EXCITATION_V, share


@figure("Hz", ".0f")
def filter_corner() -> float:
    """Of the second-order filter."""
    return front_end.filter_hz()


@figure("", ".2f")
def filter_quality() -> float:
    """Q of it."""
    return front_end.filter_q()


@figure("Hz", ".0f")
def bandwidth() -> float:
    """-3 dB of the whole front end."""
    return front_end.bandwidth_hz()


@figure("dB", ".3f")
def loss_180() -> float:
    """At 180 Hz."""
    return max(loss_db(180.0), 0.0)


@figure("dB", ".3f")
def gain_600() -> float:
    """Rise at 600 Hz."""
    return -loss_db(600.0)


@figure("dB", ".2f")
def loss_1000() -> float:
    """At 1000 Hz."""
    return loss_db(1000.0)


@figure("dB", ".2f")
def loss_1667() -> float:
    """At 5/3 of class 1000."""
    return loss_db(1000 * 5 / 3)


def _left(ratio: float, most_db: float) -> float:
    # class filter: 1 / (1 + (f / 2.0775 C)**4), both passes; analysis/analog_filter.py
    return most_db - 20 * math.log10(1 + (ratio / 2.0775) ** 4)


@figure("dB", ".2f")
def left_class() -> float:
    """What the corridor leaves at the class's frequency."""
    return _left(1.0, 1.0)


@figure("dB", ".2f")
def left_corner() -> float:
    """What the corridor leaves at 5/3 of it."""
    return _left(5 / 3, 4.0)


@figure("dB", ".0f")
def out_samples() -> float:
    """At half the sample rate."""
    return loss_db(front_end.HALF_SAMPLE_HZ)


def out_conversions() -> float:
    """At half the conversion rate."""
    return loss_db(front_end.HALF_CONVERSION_HZ)


@figure("dB", ".1f")
def tool_out() -> float:
    """Bound of the tool at half the conversion rate for 2500 Hz with 2 poles."""
    pole_hz = 2500 / math.sqrt(math.sqrt(2) - 1)
    return 20 * math.log10(1 + (front_end.HALF_CONVERSION_HZ / pole_hz) ** 2)


@figure("%", ".1f")
def overshoot() -> float:
    """After a step."""
    return 100 * front_end.overshoot()


def _one_rc(frequency_hz: float) -> float:
    return 10 * math.log10(1 + (frequency_hz / 1000.0) ** 2)


@figure("dB", ".2f")
def rc_180() -> float:
    """One RC of 1 kHz at 180 Hz."""
    return _one_rc(180.0)


@figure("dB", ".2f")
def rc_600() -> float:
    """One RC of 1 kHz at 600 Hz."""
    return _one_rc(600.0)


@figure("dB", ".2f")
def rc_1000() -> float:
    """One RC of 1 kHz at 1000 Hz."""
    return _one_rc(1000.0)


@figure("dB", ".0f")
def rc_samples() -> float:
    """One RC of 1 kHz at half the sample rate."""
    return _one_rc(front_end.HALF_SAMPLE_HZ)


@figure("kHz", ".1f")
def input_corner() -> float:
    """Radio filter, signal."""
    return front_end.input_hz() / 1e3


@figure("kHz", ".0f")
def common_corner() -> float:
    """Radio filter, both wires together."""
    return 1e-3 / (2 * math.pi * (ohm("R103") + spice.BRIDGE_OHM / 2) * ohm("C104"))


@figure("kHz", ".0f")
def converter_corner() -> float:
    """R115 and C110."""
    return front_end.converter_hz() / 1e3


# Converter input


@figure("%", ".2f")
def source_share() -> float:
    """R115 against 100 kohm."""
    return share(spice.CONVERTER_OHM, ohm("R115"))


@figure("%", ".1f")
def source_share_1k() -> float:
    """1 kohm against 100 kohm."""
    return share(spice.CONVERTER_OHM, 1000.0)


@figure("mA", ".1f")
def fault_current() -> float:
    """5 V through R115 into 3.3 V and a Schottky diode of 0.37 V."""
    return 1e3 * (5.0 - 3.3 - 0.37) / ohm("R115")


@figure("mA", ".0f")
def fault_current_off() -> float:
    """The same with the board off."""
    return 1e3 * (5.0 - 0.4) / ohm("R115")


@figure("mA", ".0f")
def fed_back() -> float:
    """What the excitation feeds through the board's 200 ohm, were its 3.3 V off."""
    return 1e3 * EXCITATION_V / 200
