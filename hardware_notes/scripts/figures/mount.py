"""Cell and mount: side load, natural frequency, screws and bolts."""

from __future__ import annotations

import math

from figures import figure, rig
from tautlog.model import bolted_steel, fastener_group, fasteners, fastening, lateral

CELL_RATED_N = 5000.0
CELL_DEFLECTION_M = 0.1e-3  # at the rated force, of the cell's data sheet
ARM_M = 0.060  # middle of the cell to the first joint
ROD_END_RADIUS_M, ROD_END_FRICTION = 0.006, 0.15
PROOF_FACTOR = 1.5
SPRUCE, SPRUCE_C24_PA = 0.42, 2.5e6
LAG_M, LAG_THREAD_M, LAG_COUNT, LAG_SPACING_M = 0.010, 0.080, 4, 0.070
BOLT_M, BOLT_COUNT, PLATE_M, BEAM_M = 0.012, 2, 0.006, 0.180
BRACKET_ARM_M, BRACKET_ROWS = 0.080, ((2, 0.150), (2, 0.030))
K_MOD, GAMMA_M = 0.9, 1.3
STEEL_PA, ALUMINIUM_PA = 360e6, 260e6


def cosine_error(degrees: float) -> float:
    """How much less the cell reads of an oblique pull, 1 - cos a, in percent."""
    return 100.0 * (1.0 - math.cos(math.radians(degrees)))


def side_n(degrees: float) -> float:
    """Side load at the target, F sin a."""
    return rig.TARGET_N * math.sin(math.radians(degrees))


@figure("%", ".3f")
def error_1deg() -> float:
    """Cosine error at 1 degree."""
    return cosine_error(1.0)


@figure("%", ".2f")
def error_3deg() -> float:
    """Cosine error at 3 degrees."""
    return cosine_error(3.0)


@figure("%", ".2f")
def error_5deg() -> float:
    """Cosine error at 5 degrees."""
    return cosine_error(5.0)


@figure("%", ".1f")
def error_10deg() -> float:
    """Cosine error at 10 degrees."""
    return cosine_error(10.0)


@figure("N", ".0f")
def side_1deg() -> float:
    """Side load at 1 degree."""
    return side_n(1.0)


@figure("N", ".0f")
def side_3deg() -> float:
    """Side load at 3 degrees."""
    return side_n(3.0)


@figure("N", ".0f")
def side_5deg() -> float:
    """Side load at 5 degrees."""
    return side_n(5.0)


@figure("N", ".0f")
def side_10deg() -> float:
    """Side load at 10 degrees."""
    return side_n(10.0)


def moment_nm(degrees: float) -> float:
    """Moment in the middle of a rigidly held cell, F sin a times the arm."""
    return side_n(degrees) * ARM_M


@figure("Nm", ".1f")
def moment_1deg() -> float:
    """Rigidly held, 1 degree."""
    return moment_nm(1.0)


@figure("Nm", ".1f")
def moment_3deg() -> float:
    """Rigidly held, 3 degrees."""
    return moment_nm(3.0)


@figure("Nm", ".1f")
def moment_5deg() -> float:
    """Rigidly held, 5 degrees."""
    return moment_nm(5.0)


@figure("Nm", ".1f")
def moment_10deg() -> float:
    """Rigidly held, 10 degrees."""
    return moment_nm(10.0)


@figure("Nm", ".1f")
def moment_1mm() -> float:
    """Moment of a pull that is 1 mm off the axis, F e."""
    return rig.TARGET_N * 0.001


@figure("Nm", ".1f")
def moment_rod_end() -> float:
    """Largest moment that a dry rod end passes on, mu F r."""
    return ROD_END_FRICTION * rig.TARGET_N * ROD_END_RADIUS_M


@figure("MN/m", ".0f")
def cell_stiffness() -> float:
    """Rated force over rated deflection."""
    return CELL_RATED_N / CELL_DEFLECTION_M / 1e6


@figure("Hz", ".0f")
def cell_frequency() -> float:
    """Natural frequency of the cell with its fittings, sqrt(k / m) / 2 pi."""
    return math.sqrt(1e6 * cell_stiffness() / rig.FITTING_KG) / (2.0 * math.pi)


@figure("N", ".0f")
def inertia_10g() -> float:
    """Error of the fittings when the mount jumps with 10 g: m a."""
    return rig.FITTING_KG * 10.0 * rig.G_M_S2


@figure("ms", ".0f")
def pulse() -> float:
    """Half a period of sled and line, pi sqrt(m x / F)."""
    return 1000.0 * math.pi * math.sqrt(rig.SLED_KG * rig.stretch() / 1000.0 / rig.TARGET_N)


@figure("N", ".0f")
def proof_pull() -> float:
    """Static pull that proves the mount for the limit."""
    return PROOF_FACTOR * rig.LIMIT_N


@figure("kN", ".1f")
def proof_pulley() -> float:
    """Force on the pulley that turns the proof's rope by a right angle, sqrt(2) F."""
    return math.sqrt(2.0) * proof_pull() / 1000.0


@figure("kN", ".1f")
def lag_withdrawal() -> float:
    """Allowable withdrawal of one lag screw."""
    return fasteners.lag_screw_allowable_n(SPRUCE, LAG_M, LAG_THREAD_M) / 1000.0


@figure("kN", ".2f")
def lag_across() -> float:
    """Allowable load across one lag screw under a steel plate, along the grain."""
    plane = lateral.ShearPlane(
        shank_m=LAG_M,
        bearing_m=lateral.ROOT_SHARE * LAG_M,
        yield_pa=lateral.BOLT_YIELD_PA,
        main_pa=lateral.wood_bearing_pa(SPRUCE, LAG_M),
        side_pa=lateral.steel_bearing_pa(STEEL_PA, PLATE_M),
        main_m=LAG_THREAD_M,
        side_m=PLATE_M,
    )
    return plane.allowable_n()[0] / 1000.0


@figure("", ".2f")
def lags_that_count() -> float:
    """Effective number of the row."""
    return fastener_group.effective_number(LAG_COUNT, LAG_SPACING_M, LAG_M)


@figure("kN", ".1f")
def lag_row_across() -> float:
    """Allowable load of the row across the screws."""
    return lags_that_count() * lag_across()


@figure("kN", ".2f")
def lag_at_45() -> float:
    """Allowable pull of one lag screw at 45 degrees to the face."""
    pull_n = lateral.combined_allowable_n(1000.0 * lag_withdrawal(), 1000.0 * lag_across(), 45.0)
    return pull_n / 1000.0


@figure("N", ".0f")
def bracket_tension() -> float:
    """Tension in each screw of the far row of the bracket at the limit."""
    return fastener_group.most_pulled_n(rig.LIMIT_N, BRACKET_ARM_M, BRACKET_ROWS)


@figure("N", ".0f")
def bracket_shear() -> float:
    """Shear in each screw of the bracket at the limit."""
    return rig.LIMIT_N / sum(number for number, _ in BRACKET_ROWS)


@figure("%", ".0f")
def bracket_share() -> float:
    """Share used up in the far row by pull and shear, sum of squares, in percent."""
    share = lateral.combined_share(
        bracket_tension(), 1000.0 * lag_withdrawal(), bracket_shear(), 1000.0 * lag_across()
    )
    return 100.0 * share


@figure("kN", ".1f")
def bracket_allowable() -> float:
    """Load along the face at which the far row has all that it is allowed."""
    rows = tuple((number, 1000.0 * distance) for number, distance in BRACKET_ROWS)
    bracket = fastening.Fastening(
        "lag-screw",
        1000.0 * LAG_M,
        LAG_COUNT,
        thread_mm=1000.0 * LAG_THREAD_M,
        wood=SPRUCE,
        plate_mm=1000.0 * PLATE_M,
        arm_mm=1000.0 * BRACKET_ARM_M,
        rows=rows,
    )
    return next(a.all_n for a in bracket.answers() if a.what == "bracket") / 1000.0


@figure("kN", ".1f")
def bolt_pressed() -> float:
    """Characteristic strength of the plate at one bolt, pressed on the beam."""
    plate_m = 4.0 * BOLT_M  # all that counts of a larger one
    return bolted_steel.washer_on_wood_n(SPRUCE_C24_PA, plate_m, BOLT_M, PLATE_M) / 1000.0


@figure("kN", ".1f")
def bolts_design() -> float:
    """Design strength of all through-bolts along their axis."""
    return BOLT_COUNT * bolt_pressed() * K_MOD / GAMMA_M


@figure("mm", ".0f")
def bolt_end() -> float:
    """Loaded end of a 12 mm bolt."""
    return 1000.0 * fastener_group.bolt_distances(BOLT_M).loaded_end_m


@figure("mm", ".0f")
def bolt_edge() -> float:
    """Loaded edge of a 12 mm bolt, load across the grain."""
    return 1000.0 * fastener_group.bolt_distances(BOLT_M, 90.0).loaded_edge_m


@figure("mm", ".0f")
def bolt_along() -> float:
    """Spacing of 12 mm bolts along the grain."""
    return 1000.0 * fastener_group.bolt_distances(BOLT_M).along_m


@figure("mm", ".0f")
def bolt_across() -> float:
    """Spacing of 12 mm bolts across the grain."""
    return 1000.0 * fastener_group.bolt_distances(BOLT_M).across_m


@figure("mm", ".0f")
def lag_end() -> float:
    """End distance of a 10 mm lag screw pulled along its axis."""
    return 1000.0 * fastener_group.pulled_screw_distances(LAG_M).loaded_end_m


@figure("mm", ".0f")
def lag_edge() -> float:
    """Edge distance of a 10 mm lag screw pulled along its axis."""
    return 1000.0 * fastener_group.pulled_screw_distances(LAG_M).loaded_edge_m


@figure("mm", ".0f")
def lag_along() -> float:
    """Spacing along the grain of 10 mm lag screws pulled along their axis."""
    return 1000.0 * fastener_group.pulled_screw_distances(LAG_M).along_m


@figure("mm", ".0f")
def lag_side() -> float:
    """Spacing across the grain of 10 mm lag screws pulled along their axis."""
    return 1000.0 * fastener_group.pulled_screw_distances(LAG_M).across_m


@figure("mm", ".1f")
def pilot_low() -> float:
    """Smallest pilot hole of the thread in spruce, 40 % of the shank."""
    return 400.0 * LAG_M


@figure("mm", ".1f")
def pilot_high() -> float:
    """Largest pilot hole of the thread in spruce, 70 % of the shank."""
    return 700.0 * LAG_M


@figure("mm", ".1f")
def hole_end() -> float:
    """Least end distance in steel of an M12 bolt in a 13 mm hole."""
    return 1000.0 * bolted_steel.LEAST_EDGE * (BOLT_M + 0.001)


@figure("mm", ".0f")
def hole_end_good() -> float:
    """End distance of two hole diameters, for most of the bearing strength."""
    return 2000.0 * (BOLT_M + 0.001)


@figure("mm", ".1f")
def hole_pitch() -> float:
    """Least pitch in steel of M12 bolts."""
    return 1000.0 * bolted_steel.LEAST_PITCH * (BOLT_M + 0.001)


def _bearing_kn(away_m: float) -> float:
    """Design bearing with the same distance to end and edge."""
    pressed_n = bolted_steel.plate_bearing_n(BOLT_M, PLATE_M, STEEL_PA, end_m=away_m, edge_m=away_m)
    return pressed_n / 1e3


@figure("kN", ".1f")
def bearing_least() -> float:
    """Design bearing of a 6 mm plate at the least distance to end and edge."""
    return _bearing_kn(0.0156)


@figure("kN", ".0f")
def bearing_good() -> float:
    """Design bearing of a 6 mm plate at two hole diameters to end and edge."""
    return _bearing_kn(0.026)


def _deep_mm(tensile_pa: float) -> float:
    """Engagement at which an M10 bolt of class 8.8 breaks rather than strips."""
    breaks = bolted_steel.BOLT_TENSILE_PA["8.8"] * fasteners.stress_area_m2(10)
    return 1000.0 * breaks / bolted_steel.tapped_hole_n(10, 1.0, tensile_pa)


@figure("mm", ".1f")
def tapped_steel() -> float:
    """Engagement of M10 in S235."""
    return _deep_mm(STEEL_PA)


@figure("mm", ".1f")
def tapped_aluminium() -> float:
    """Engagement of M10 in an aluminium of 260 MPa."""
    return _deep_mm(ALUMINIUM_PA)
