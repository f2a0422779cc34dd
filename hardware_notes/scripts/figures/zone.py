"""What flies: fittings, lines, tethers, screens, and how far."""

from __future__ import annotations

import math

from figures import catch, figure, rig

PIECE_KG = 0.05  # a shackle's pin
LINE_KG_M = 0.06
TETHER_EA_N, TETHER_M, TETHER_BREAKS_N = 30_000.0, 0.5, 9000.0
LINE_TETHER_M = 1.8  # of what stays with the line: longer than its way down to the second catch
WIRE_EA_N = 500_000.0
PANE_KG, PANE_M_S, BRITTLE_M_S = 0.100, 115.0, 25.0
LEAST_M = 3.0


def speed_m_s(energy_j: float, mass_kg: float) -> float:
    """Speed of a mass that takes all the energy."""
    return math.sqrt(2.0 * energy_j / mass_kg)


@figure("m/s", ".0f")
def fitting_speed() -> float:
    """Fitting with all the energy of the taut line's first moment."""
    return speed_m_s(rig.taut_energy(), rig.FITTING_KG)


@figure("m/s", ".0f")
def fitting_speed_peak() -> float:
    """Fitting with all the energy at the peak."""
    return speed_m_s(rig.peak_energy(), rig.FITTING_KG)


@figure("m", ".0f")
def fitting_range() -> float:
    """Range without air on level ground, v^2 / g = 2 E / (m g)."""
    return 2.0 * rig.peak_energy() / (rig.FITTING_KG * rig.G_M_S2)


@figure("m", ".0f")
def fitting_range_high() -> float:
    """The same from the height of the mount, v^2 / g sqrt(1 + 2 g y / v^2)."""
    squared = 2.0 * rig.peak_energy() / rig.FITTING_KG
    return squared / rig.G_M_S2 * math.sqrt(1.0 + 2.0 * rig.G_M_S2 * rig.mount_height() / squared)


@figure("m/s", ".0f")
def piece_speed() -> float:
    """A pin of 50 g with all the energy."""
    return speed_m_s(rig.peak_energy(), PIECE_KG)


@figure("m/s", ".0f")
def line_end_speed() -> float:
    """Free end of the line if its speed grows evenly from the fixed end: sqrt(6 E / m)."""
    return math.sqrt(6.0 * rig.peak_energy() / (LINE_KG_M * rig.LINE_M))


@figure("m", ".2f")
def whip() -> float:
    """Reach of a line that hangs on at one end: its length with the stretch."""
    return rig.LINE_M + rig.stretch() / 1000.0


@figure("m", ".1f")
def radius() -> float:
    """Starting suggestion: the larger of 3 m and line length plus height of the raised sled."""
    return max(LEAST_M, rig.LINE_M + rig.hangs())


def tether_n(ea_n: float) -> float:
    """Peak in a tether that takes the energy alone: sqrt(2 E EA / L)."""
    return math.sqrt(2.0 * rig.peak_energy() * ea_n / TETHER_M)


@figure("kN", ".1f")
def tether_force() -> float:
    """Peak in a textile tether."""
    return tether_n(TETHER_EA_N) / 1000.0


@figure("m", ".2f")
def line_tether_least() -> float:
    """Way from the taut line to the end of the second catch: a shorter tether stops the sled."""
    return rig.below_taut() + catch.STROKE_M + catch.second_stroke() / 1000.0


@figure("kN", ".1f")
def line_tether_force() -> float:
    """Peak in the long tether that takes the energy of the line's peak."""
    return math.sqrt(2.0 * rig.peak_energy() * TETHER_EA_N / LINE_TETHER_M) / 1000.0


@figure("kN", ".1f")
def short_tether_force() -> float:
    """Peak in a tether of half a metre on the line's side: it stops the sled."""
    return math.sqrt(2.0 * catch.energy() * TETHER_EA_N / TETHER_M) / 1000.0


@figure("kN", ".0f")
def wire_force() -> float:
    """Peak in a steel wire of the same length."""
    return tether_n(WIRE_EA_N) / 1000.0


@figure("%", ".0f")
def tether_strain() -> float:
    """Strain of the textile tether at that peak."""
    return 100.0 * tether_n(TETHER_EA_N) / TETHER_EA_N


@figure("J", ".0f")
def pane_energy() -> float:
    """Energy at which 8 mm of new polycarbonate were called sufficient."""
    return 0.5 * PANE_KG * PANE_M_S**2


@figure("J", ".0f")
def brittle_energy() -> float:
    """Energy for acrylic in the same report."""
    return 0.5 * PANE_KG * BRITTLE_M_S**2
