"""The worked rig: energies and speeds of the drop. All other modules take its numbers from here."""

from __future__ import annotations

import math

from figures import figure
from tautlog.mechanics.closed_forms import elastic_impact_peak_n

G_M_S2 = 9.80665
SLED_KG = 9.0
DROP_M = 1.2  # free travel until the line is taut
RAILS_M = 2.6  # highest latch to catch
CATCH_TOP_M = 0.47  # top of the catch above the floor
SLED_DEEP_M = 0.255  # strike pad to the line's eye
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


@figure("m", ".2f")
def hangs() -> float:
    """Height of the raised sled's underside above the floor: rails' travel and catch."""
    return RAILS_M + CATCH_TOP_M


def mount_height() -> float:
    """Height of the line's upper end: the line is taut when the sled has fallen its way."""
    return hangs() - DROP_M + SLED_DEEP_M + LINE_M


@figure("m", ".2f")
def tether_trial() -> float:
    """Fall of a dead mass like the sled that gives a tether the energy of the peak."""
    return peak_energy() / WEIGHT_N


@figure("m", ".1f")
def below_taut() -> float:
    """Way that is left from the taut line down to the catch."""
    return RAILS_M - DROP_M


# The latch: its pivot stands off the roller's line of force on the side that closes.
LATCH_OFFSET_M, LATCH_ARM_M, COIL_ARM_M = 0.006, 0.100, 0.070
LIP_M, LIP_SPARE_M = 0.010, 0.002  # what the roller covers of the lug, and to spare
FRICTION, ROLLER_SHARE = 0.2, 0.25  # dry steel; pin over roller, by their radii
LUG_BEHIND_M, GUIDES_M, EAR_M = 0.030, 0.150, 0.140  # off the centre of mass; between the guides


@figure("mm", ".0f")
def hook_way() -> float:
    """How far the roller must move before the lug is free."""
    return 1000.0 * (LIP_M + LIP_SPARE_M)


@figure("mm", ".1f")
def coil_way() -> float:
    """The same at the coil, by the lever."""
    return hook_way() * COIL_ARM_M / LATCH_ARM_M


@figure("N", ".1f")
def shuts_with() -> float:
    """Force at the coil with which the sled's weight holds the hook shut, W e / a."""
    return WEIGHT_N * LATCH_OFFSET_M / COIL_ARM_M


@figure("degrees", ".1f")
def lug_slope() -> float:
    """Slope of the lug that takes the closed side away, atan(e / l)."""
    return math.degrees(math.atan(LATCH_OFFSET_M / LATCH_ARM_M))


def coil_n(friction: float) -> float:
    """Force at the coil at the end of the lip: W (e + lip + mu l) / a."""
    return WEIGHT_N * (LATCH_OFFSET_M + LIP_M + friction * LATCH_ARM_M) / COIL_ARM_M


@figure("N", ".0f")
def coil_roller() -> float:
    """Force at the coil with a roller whose pin has a quarter of its radius."""
    return coil_n(FRICTION * ROLLER_SHARE)


@figure("N", ".0f")
def coil_bare() -> float:
    """Force at the coil with a bare lip."""
    return coil_n(FRICTION)


@figure("N", ".0f")
def guide_latched() -> float:
    """Force on the guides while the sled hangs by its lug, W e / distance of the guides."""
    return WEIGHT_N * LUG_BEHIND_M / GUIDES_M


@figure("N", ".0f")
def guide_pinned() -> float:
    """Force on the guides while the sled hangs by the pin's ear at its side."""
    return WEIGHT_N * EAR_M / GUIDES_M


PIN_DROP_M, PIN_STIFFNESS_N_M = 0.010, 2.0e6
PIN_M, PIN_PA, PIN_YIELD_PA = 0.010, 400e6, 240e6
EAR_THICK_M, CHEEK_M, GAP_M, WIDE_GAP_M = 0.012, 0.008, 0.002, 0.020


@figure("N", ".0f")
def pin_hit() -> float:
    """Force when the sled falls 10 mm on its pin: m g (1 + sqrt(1 + 2 k h / m g))."""
    return elastic_impact_peak_n(SLED_KG, PIN_DROP_M, PIN_STIFFNESS_N_M)


@figure("kN", ".0f")
def pin_holds() -> float:
    """Design shear of a 10 mm pin of 400 MPa in two planes, 0.6 fu A / 1.25 each."""
    return 2.0 * 0.6 * PIN_PA * 0.25 * math.pi * PIN_M**2 / 1.25 / 1000.0


def bent_pin_n(gap_m: float) -> float:
    """Load at which the pin has all the bending and shear that it may have, EN 1993-1-8, 3.13.

    F / 8 (b + 4 c + 2 a) against 1.5 W fy, and the sum of the squares of both shares.
    """
    arm_m = (EAR_THICK_M + 4.0 * gap_m + 2.0 * CHEEK_M) / 8.0
    bends_n = 1.5 * math.pi * PIN_M**3 / 32.0 * PIN_YIELD_PA / arm_m
    return 1.0 / math.hypot(1.0 / bends_n, 1.0 / (1000.0 * pin_holds()))


@figure("kN", ".1f")
def pin_bends() -> float:
    """Design load of the pin with gaps of 2 mm."""
    return bent_pin_n(GAP_M) / 1000.0


@figure("kN", ".1f")
def pin_bends_wide() -> float:
    """The same with gaps of 20 mm."""
    return bent_pin_n(WIDE_GAP_M) / 1000.0
