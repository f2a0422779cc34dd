"""The worked rig: energies and speeds of the drop. All other modules take its numbers from here."""

from __future__ import annotations

import math

from figures import figure
from tautlog.mechanics.closed_forms import elastic_impact_peak_n

G_M_S2 = 9.80665
SLED_KG = 9.0
DROP_M = 1.2  # free travel until the line is taut
RAILS_M = 2.6  # highest latch to catch
LINE_M = 3.0  # mount to sled
TARGET_N, LIMIT_N = 1800.0, 1980.0
FRICTION_N = 3.5  # half of the difference between pulling up and lowering
FITTING_KG = 0.4  # swivel, shackle and link between cell and line
HEAVY_KG, HEAVY_M = 25.0, 2.0  # the heavier of the two examples in the cautions
WEIGHT_N = SLED_KG * G_M_S2


@figure("N", ".0f")
def weight() -> float:
    """Weight of the sled, m g."""
    return WEIGHT_N


@figure("J", ".0f")
def drop_energy() -> float:
    """Energy of the drop to the target, m g h."""
    return WEIGHT_N * DROP_M


@figure("m/s", ".1f")
def speed() -> float:
    """Speed when the line comes taut, without friction."""
    return math.sqrt(2.0 * G_M_S2 * DROP_M)


@figure("m/s", ".1f")
def rail_speed() -> float:
    """Speed at the catch after the whole rails."""
    return math.sqrt(2.0 * G_M_S2 * RAILS_M)


@figure("J", ".0f")
def taut_energy() -> float:
    """Energy when the line comes taut, with friction: (m g - f) h."""
    return (WEIGHT_N - FRICTION_N) * DROP_M


@figure("mm", ".0f")
def stretch() -> float:
    """Stretch at the target of a line without loss: F x / 2 = (m g - f) (h + x)."""
    return 1000.0 * taut_energy() / (0.5 * TARGET_N - (WEIGHT_N - FRICTION_N))


@figure("J", ".0f")
def peak_energy() -> float:
    """Energy in the line at the peak."""
    return (WEIGHT_N - FRICTION_N) * (DROP_M + stretch() / 1000.0)


@figure("J", ".0f")
def heavy_energy() -> float:
    """Energy of a heavy sled."""
    return HEAVY_KG * G_M_S2 * HEAVY_M


@figure("m/s", ".1f")
def heavy_speed() -> float:
    """Speed of a heavy sled."""
    return math.sqrt(2.0 * G_M_S2 * HEAVY_M)


@figure("N", ".0f")
def plate_jerk() -> float:
    """Pull on the fixing of a loose plate of 2 kg that stops with the sled at the target's peak."""
    return 2.0 * (TARGET_N / SLED_KG)


@figure("m/s", ".1f")
def plate_speed() -> float:
    """Speed at which a plate that is not fastened leaves the sled that the line stops."""
    return speed()


PIN_DROP_M, PIN_STIFFNESS_N_M = 0.010, 2.0e6


@figure("N", ".0f")
def pin_hit() -> float:
    """Force when the sled falls 10 mm on its pin: m g (1 + sqrt(1 + 2 k h / m g))."""
    return elastic_impact_peak_n(SLED_KG, PIN_DROP_M, PIN_STIFFNESS_N_M)


@figure("kN", ".0f")
def pin_holds() -> float:
    """Design shear of a 10 mm pin of 400 MPa in two planes, 0.6 fu A / 1.25 each."""
    area_mm2 = 0.25 * math.pi * 10.0**2
    return 2.0 * 0.6 * 400.0 * area_mm2 / 1.25 / 1000.0
