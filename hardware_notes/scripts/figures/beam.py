"""The frame that holds the mount: beam, posts and feet.

Strength classes are those of EN 338, C24, from memory: 24 MPa in bending, a mean modulus of 11 GPa
and a low one of 7.4 GPa, E / G = 16, a mean density of 420 kg/m3.
"""

from __future__ import annotations

import math

from figures import figure, mount, rig

BEAM_WIDE_M, SPAN_M, THIN_M = 0.160, 2.3, 0.090  # a beam that is stiff, and one that is not
C24_BENDING_PA, C24_E_PA, C24_E_LOW_PA, C24_E_OVER_G, C24_KG_M3 = 24e6, 11e9, 7.4e9, 16.0, 420.0
PLATES_KG = 3.0  # plates, bolts and cell in the middle of the beam
POST_M, FOOT_M, SIDE_SHARE = 0.090, 1.2, 0.10  # square post; feet front to back; pull aside


def bending_mpa(force_n: float, wide_m: float, deep_m: float) -> float:
    """Stress of a beam pulled in the middle, F L / 4 over b h^2 / 6."""
    return 1.5 * force_n * SPAN_M / (wide_m * deep_m**2) / 1e6


def stiffness_mn_m(wide_m: float, deep_m: float) -> float:
    """Stiffness in the middle, 48 E I / L^3, less what shear adds: 1.2 E / G (h / L)^2."""
    bent_n_m = 48.0 * C24_E_PA * wide_m * deep_m**3 / 12.0 / SPAN_M**3
    return bent_n_m / (1.0 + 1.2 * C24_E_OVER_G * (deep_m / SPAN_M) ** 2) / 1e6


@figure("MPa", ".1f")
def design() -> float:
    """Design strength in bending of C24."""
    return C24_BENDING_PA * mount.K_MOD / mount.GAMMA_M / 1e6


@figure("MPa", ".1f")
def stress() -> float:
    """Stress of the beam under the proof pull."""
    return bending_mpa(mount.proof_pull(), BEAM_WIDE_M, mount.BEAM_M)


@figure("MPa", ".1f")
def thin_stress() -> float:
    """The same of a beam of 90 mm by 90 mm."""
    return bending_mpa(mount.proof_pull(), THIN_M, THIN_M)


@figure("MN/m", ".1f")
def stiffness() -> float:
    """Stiffness of the beam in its middle."""
    return stiffness_mn_m(BEAM_WIDE_M, mount.BEAM_M)


@figure("MN/m", ".2f")
def thin_stiffness() -> float:
    """The same of a beam of 90 mm by 90 mm."""
    return stiffness_mn_m(THIN_M, THIN_M)


@figure("mm", ".1f")
def gives() -> float:
    """Deflection of the beam under the proof pull."""
    return mount.proof_pull() / (1e6 * stiffness()) * 1000.0


@figure("mm", ".0f")
def thin_gives() -> float:
    """The same of a beam of 90 mm by 90 mm."""
    return mount.proof_pull() / (1e6 * thin_stiffness()) * 1000.0


@figure("kN", ".1f")
def post_buckles() -> float:
    """Euler's load of one post, hinged at both ends, with the low modulus: pi^2 E I / L^2."""
    inertia = POST_M**4 / 12.0
    return math.pi**2 * C24_E_LOW_PA * inertia / rig.mount_height() ** 2 / 1000.0


@figure("kN", ".1f")
def post_bears() -> float:
    """Half of the proof pull, on one post."""
    return 0.5 * mount.proof_pull() / 1000.0


@figure("Nm", ".0f")
def tips() -> float:
    """Moment about a foot of a tenth of the limit, aside at the height of the mount."""
    return SIDE_SHARE * rig.LIMIT_N * rig.mount_height()


@figure("N", ".0f")
def foot_holds() -> float:
    """Hold-down of the feet without the frame's own weight: that moment over their distance."""
    return tips() / FOOT_M


@figure("Hz", ".0f")
def frequency() -> float:
    """Natural frequency of the mount with what moves with it."""
    moving_kg = PLATES_KG + 17.0 / 35.0 * C24_KG_M3 * BEAM_WIDE_M * mount.BEAM_M * SPAN_M
    return math.sqrt(1e6 * stiffness() / moving_kg) / (2.0 * math.pi)
