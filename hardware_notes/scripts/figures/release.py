"""Worked figures of 4_release.md: coil, fuse, driver, one-shot, charge pump."""

import re
from math import exp, log
from pathlib import Path

from netlist import the_netlist

import config
from figures import figure

PARTS = the_netlist()
BEAT = (Path(config.__file__).parent / "hardware" / "beat.py").read_text(encoding="utf-8")

# The example's coil; measure yours.
SUPPLY_V, COIL_OHM, COIL_H = 12.0, 6.0, 0.06
FULL_V, FLAT_V = 14.4, 11.0  # a charged and a tired lead-acid battery of 12 V, common practice
PULL_V = 9.0  # at which it still pulls, warm
DIODE_V, ZENER_V = 0.8, PARTS.number("D304")
COPPER_PER_K, HOTTER_K = 0.00393, 100.0  # [S407]; a coil of its class at the end of its heating
COPPER_OHM_M = 1.7241e-8  # [S407]
CHAIN_M, THIN_M2, WIRE_M2 = 40.0, 0.5e-6, 1.5e-6  # there and back, through all contacts
LOOP_OHM = 0.5  # chain, contacts, fuse and coil's cable together, at most
FUSE_A, FUSE_SHARE = 2.0, 0.29  # of the melting integral, for 10 000 pulses [S111]
DROPPED = 0.1  # of the current: the latch has let go of its armature (common practice)

USB_V, LED_V = 5.0, 1.2
PIN_V, SCHOTTKY_V = 3.3, 0.3
GATE_OFF_V = 0.4  # least threshold of Q301
LEAK_A = 120e-6  # erratum RP2350-E9 [S104]
LOW_V = 0.8  # [S101]
BEAT_HZ = int(re.search(r"BEAT_HZ = (\d+)", BEAT)[1])
BURST = int(re.search(r"BURST_PERIODS = (\d+)", BEAT)[1])


@figure("A", ".1f")
def coil_current():
    return SUPPLY_V / COIL_OHM


@figure("ms", ".0f")
def coil_constant():
    return 1e3 * COIL_H / COIL_OHM


@figure("J", ".2f")
def coil_energy():
    return COIL_H * coil_current() ** 2 / 2


def _pulls_s(supply_v):
    """Until the current is that of PULL_V: closed form of L and R."""
    return COIL_H / COIL_OHM * log(1 / (1 - PULL_V / supply_v))


@figure("ms", ".0f")
def pulls():
    return 1e3 * _pulls_s(SUPPLY_V)


@figure("ms", ".0f")
def pulls_flat():
    return 1e3 * _pulls_s(FLAT_V)


def _drops_s(against_v):
    """Until the current is DROPPED: L di/dt = -R i - V, closed form."""
    start, end, extra = coil_current(), DROPPED * coil_current(), against_v / COIL_OHM
    return COIL_H / COIL_OHM * log((start + extra) / (end + extra))


@figure("ms", ".0f")
def drops_diode():
    return 1e3 * _drops_s(DIODE_V)


@figure("ms", ".1f")
def drops_zener():
    return 1e3 * _drops_s(DIODE_V + ZENER_V)


@figure("V", ".0f")
def drain():
    return FULL_V + DIODE_V + ZENER_V


@figure("A", ".1f")
def coil_full():
    """With a charged battery, the coil cold."""
    return FULL_V / COIL_OHM


@figure("W", ".0f")
def coil_heat():
    return FULL_V**2 / COIL_OHM


@figure("A", ".2f")
def coil_hot():
    """At 12 V, the coil 100 K warmer."""
    return SUPPLY_V / (COIL_OHM * (1 + COPPER_PER_K * HOTTER_K))


@figure("A²s", ".1f")
def fuse_pulse():
    """The longest pulse with a charged battery; the rise counted as if at once."""
    return coil_full() ** 2 * one_shot_most() / 1e3


@figure("A²s", ".0f")
def fuse_wanted():
    """Melting integral of a fuse that stands 10 000 such pulses."""
    return fuse_pulse() / FUSE_SHARE


@figure("", ".1f")
def fuse_times():
    """The coil's lasting current in units of the fuse's rated one."""
    return coil_full() / FUSE_A


@figure("A", ".0f")
def fuse_short():
    """A tired battery, shorted behind the whole loop."""
    return FLAT_V / LOOP_OHM


# The chain's cable


@figure("ohm", ".2f")
def loop_thin():
    return COPPER_OHM_M * CHAIN_M / THIN_M2


@figure("ohm", ".2f")
def loop_wire():
    return COPPER_OHM_M * CHAIN_M / WIRE_M2


@figure("A", ".2f")
def loop_thin_current():
    """With a tired battery."""
    return FLAT_V / (COIL_OHM + loop_thin())


@figure("A", ".2f")
def pull_current():
    return PULL_V / COIL_OHM


@figure("A", ".2f")
def loop_current():
    """With a tired battery and the largest loop that is allowed."""
    return FLAT_V / (COIL_OHM + LOOP_OHM)


@figure("V", ".1f")
def loop_hot():
    """Across a coil that is 100 K warmer, tired battery, largest loop."""
    coil = COIL_OHM * (1 + COPPER_PER_K * HOTTER_K)
    return FLAT_V * coil / (coil + LOOP_OHM)


@figure("ms", ".0f")
def pulls_loop():
    """The current of PULL_V is there: L and R in closed form, tired battery, largest loop."""
    whole = COIL_OHM + LOOP_OHM
    return 1e3 * COIL_H / whole * log(1 / (1 - pull_current() * whole / FLAT_V))


@figure("mA", ".1f")
def light():
    return 1e3 * (USB_V - LED_V) / PARTS.number("R313")


@figure("%", ".0f")
def transfer():
    """Of the light's current, that the gate's resistor takes."""
    return 100 * FULL_V / PARTS.number("R321") / (light() / 1e3)


@figure("V", ".2f")
def leak():
    return LEAK_A * PARTS.number("R302")


@figure("ms", ".0f")
def one_shot():
    """0.7 R C: data sheet [S105]."""
    return 1e3 * 0.7 * PARTS.number("R303") * PARTS.number("C303")


@figure("ms", ".0f")
def one_shot_least():
    return one_shot() * 0.99 * 0.95


@figure("ms", ".0f")
def one_shot_most():
    return one_shot() * 1.01 * 1.05


@figure("µs", ".0f")
def trigger_delay():
    """To half of the supply."""
    return 1e6 * PARTS.number("R304") * PARTS.number("C304") * log(2)


@figure("mA", ".0f")
def pump_edge():
    return 1e3 * PIN_V / PARTS.number("R311")


@figure("V", ".1f")
def pump_open():
    return PIN_V - 2 * SCHOTTKY_V


@figure("kohm", ".0f")
def pump_source():
    return 1e-3 / (BEAT_HZ * PARTS.number("C311"))


@figure("V", ".2f")
def pump_level():
    down = PARTS.number("R312")
    return pump_open() * down / (down + 1e3 * pump_source())


@figure("ms", ".0f")
def pump_up():
    down, source = PARTS.number("R312"), 1e3 * pump_source()
    return 1e3 * 5 * PARTS.number("C312") * down * source / (down + source)


@figure("ms", ".0f")
def pump_down():
    return 1e3 * PARTS.number("R312") * PARTS.number("C312") * log(pump_level() / GATE_OFF_V)


@figure("V", ".2f")
def pump_one_edge():
    """What one rising edge leaves on C312."""
    moved, held = PARTS.number("C311"), PARTS.number("C312")
    return pump_open() * moved / (moved + held)


@figure("V", ".2f")
def pump_two_edges():
    """Two in a row, a period apart."""
    moved, held = PARTS.number("C311"), PARTS.number("C312")
    left = pump_one_edge() * exp(-1 / (BEAT_HZ * PARTS.number("R312") * held))
    return left + (pump_open() - left) * moved / (moved + held)


@figure("ms", ".0f")
def wave_ends():
    return 1e3 * 2 * BURST / BEAT_HZ


@figure("s", ".2f")
def disabled():
    return (wave_ends() + pump_down()) / 1e3


@figure("ms", ".0f")
def pulse():
    return config.RELEASE_PULSE_MS
