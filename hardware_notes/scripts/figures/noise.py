"""Figures of 2_analogue.md: noise, drift, shunt, check at the bench. Closed forms."""

from __future__ import annotations

import math

import front_end
import spice
from front_end import ohm

from figures import figure
from figures.analogue import (
    EXCITATION_V,
    RATED_N,
    SENSITIVITY_MV_PER_V,
    gain,
    newton_step,
    volt_per_n,
)

BOLTZMANN, KELVIN = 1.380649e-23, 298.0  # SI, exact; 25 C
AMPLIFIER_NV, OPAMP_NV = 25.0, 15.0  # nV/rtHz, most that the parts list allows; usual
BENCH_OHM, BENCH_ARM_OHM = 1.0, 1000.0


def _johnson(resistance_ohm: float) -> float:
    """Voltage noise density, nV/rtHz: sqrt(4 k T R)."""
    return 1e9 * math.sqrt(4 * BOLTZMANN * KELVIN * resistance_ohm)


@figure("nV/rtHz", ".1f")
def johnson_bridge() -> float:
    """Of the bridge."""
    return _johnson(spice.BRIDGE_OHM)


@figure("nV/rtHz", ".1f")
def johnson_inputs() -> float:
    """Of both input resistors."""
    return _johnson(ohm("R103") + ohm("R104"))


@figure("nV/rtHz", ".0f")
def noise_density() -> float:
    """Everything at the amplifier's input."""
    return math.hypot(johnson_bridge(), johnson_inputs(), AMPLIFIER_NV, OPAMP_NV / 100)


@figure("Hz", ".0f")
def noise_band() -> float:
    """Noise bandwidth of the front end."""
    return front_end.noise_bandwidth_hz()


@figure("N", ".1f")
def noise_amplifier() -> float:
    """In the whole band, rms."""
    return 1e-9 * noise_density() * math.sqrt(noise_band()) / volt_per_n()


@figure("N", ".2f")
def noise_converter() -> float:
    """0.97 steps of one conversion, eight of them summed, as a force."""
    return 0.97 / math.sqrt(8) * newton_step()


@figure("N", ".1f")
def noise_sample() -> float:
    """Of one sample, rms."""
    return math.hypot(noise_amplifier(), noise_converter())


@figure("N", ".1f")
def noise_class() -> float:
    """In class 180, rms: white noise in 1.03 x 300 Hz of each band."""
    amplifier = 1e-9 * noise_density() * math.sqrt(1.03 * 300) / volt_per_n()
    return math.hypot(amplifier, noise_converter() * math.sqrt(300 / front_end.HALF_SAMPLE_HZ))


@figure("N", ".1f")
def drift_amplifier() -> float:
    """2 uV/K, over 1 K."""
    return 2e-6 / volt_per_n()


@figure("N", ".1f")
def drift_cell() -> float:
    """0.03 % of the rated load per 10 K."""
    return 0.03e-2 * RATED_N * 1.0


@figure("N", ".0f")
def offset_amplifier() -> float:
    """200 uV."""
    return 200e-6 / volt_per_n()


@figure("N", ".0f")
def offset_cell() -> float:
    """2 % of the rated load."""
    return 0.02 * RATED_N


# Shunt


@figure("mV/V", ".3f")
def shunt_step() -> float:
    """R / (4 Rs + 2 R); board/shunt.py."""
    return 1e3 * spice.BRIDGE_OHM / (4 * ohm("R118") + 2 * spice.BRIDGE_OHM)


@figure("N", ".0f")
def shunt_force() -> float:
    """The same as a force."""
    return RATED_N * shunt_step() / SENSITIVITY_MV_PER_V


@figure("V", ".2f")
def shunt_volt() -> float:
    """The same at the converter."""
    return 1e-3 * shunt_step() * EXCITATION_V * gain()


@figure("%", ".2f")
def shunt_switch() -> float:
    """20 ohm of the switch."""
    return 100 * 20 / ohm("R118")


@figure("N", ".1f")
def shunt_leak() -> float:
    """10 nA through half the bridge."""
    return 10e-9 * spice.BRIDGE_OHM / 2 / volt_per_n()


# Bench check


@figure("mV", ".2f")
def bench_signal() -> float:
    """Across 1 ohm between two resistors of 1 kohm at 3.0 V."""
    return 1e3 * EXCITATION_V * BENCH_OHM / (2 * BENCH_ARM_OHM + BENCH_OHM)


@figure("N", ".0f")
def bench_force() -> float:
    """The same as a force."""
    return 1e-3 * bench_signal() / volt_per_n()


@figure("V", ".2f")
def bench_step() -> float:
    """The same at the converter."""
    return 1e-3 * bench_signal() * gain()
