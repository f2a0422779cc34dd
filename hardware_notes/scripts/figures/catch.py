"""The catch: the whole energy without any line, over the stroke that stops it."""

from __future__ import annotations

from figures import figure, rig

STROKE_M = 0.100
SECOND_PAD_M = 0.050
CRUSH_PA = 0.30e6  # of the block's data sheet
CRUSHED_SHARE = 0.70  # of its height, before it goes solid
MIDDLE_KG, MIDDLE_M = 14.0, 1.8  # another mass, dropped on the block of the example
ABSORBER_PEAK_N, ABSORBER_SHARE = 6000.0, 0.875


def mean_n(mass_kg: float, fall_m: float, stroke_m: float) -> float:
    """Mean force of the catch, m g (h + s) / s: the weight goes on pushing while it stops."""
    return mass_kg * rig.G_M_S2 * (fall_m + stroke_m) / stroke_m


def stroke_m(mass_kg: float, fall_m: float, force_n: float) -> float:
    """Stroke in a block that crushes at a given force: s = m g h / (F - m g)."""
    weight_n = mass_kg * rig.G_M_S2
    return weight_n * fall_m / (force_n - weight_n)


@figure("J", ".0f")
def energy() -> float:
    """Energy at first touch, m g h over the whole rails."""
    return rig.WEIGHT_N * rig.RAILS_M


@figure("J", ".0f")
def energy_with_stroke() -> float:
    """Energy that the catch turns into heat, m g (h + s)."""
    return rig.WEIGHT_N * (rig.RAILS_M + STROKE_M)


@figure("kN", ".1f")
def mean_force() -> float:
    """Mean force over the stroke."""
    return mean_n(rig.SLED_KG, rig.RAILS_M, STROKE_M) / 1000.0


@figure("N", ".0f")
def without_weight() -> float:
    """The same without the weight that goes on pushing, E / s: too little."""
    return energy() / STROKE_M


@figure("kN", ".1f")
def spring_peak() -> float:
    """Peak of a spring of the same stroke: twice the mean, 2 m g (h + s) / s."""
    return 2.0 * mean_force()


@figure("mm", ".0f")
def second_stroke() -> float:
    """Stroke of the second catch: what its pad crushes before it goes solid."""
    return 1000.0 * CRUSHED_SHARE * SECOND_PAD_M


@figure("kN", ".1f")
def second_mean_force() -> float:
    """Mean force of the second catch over its shorter stroke, if the first is missing."""
    fall_m = rig.RAILS_M + STROKE_M
    return mean_n(rig.SLED_KG, fall_m, second_stroke() / 1000.0) / 1000.0


@figure("kN", ".1f")
def second_rubber() -> float:
    """Its peak with rubber in place of pads that crush."""
    return 2.0 * second_mean_force()


@figure("mm", ".0f")
def middle_stroke() -> float:
    """14 kg from 1.8 m on the block of the example."""
    return 1000.0 * stroke_m(MIDDLE_KG, MIDDLE_M, 1000.0 * mean_force())


@figure("mm", ".0f")
def heavy_stroke() -> float:
    """25 kg from the whole rails on the block of the example: more than it has."""
    return 1000.0 * stroke_m(rig.HEAVY_KG, rig.RAILS_M, 1000.0 * mean_force())


@figure("mm", ".0f")
def light_stroke() -> float:
    """9 kg from the whole rails on the block for 25 kg."""
    return 1000.0 * stroke_m(rig.SLED_KG, rig.RAILS_M, 1000.0 * heavy_mean_force())


@figure("m/s2", ".0f")
def light_slowing() -> float:
    """Mean deceleration of 9 kg on the block for 25 kg, g h / s."""
    return rig.G_M_S2 * rig.RAILS_M / (light_stroke() / 1000.0)


@figure("m/s2", ".0f")
def slowing() -> float:
    """Mean deceleration of the sled in the catch, g h / s."""
    return rig.G_M_S2 * rig.RAILS_M / STROKE_M


@figure("kN", ".1f")
def heavy_mean_force() -> float:
    """Mean force for a heavy sled over the same rails and stroke."""
    return mean_n(rig.HEAVY_KG, rig.RAILS_M, STROKE_M) / 1000.0


@figure("cm2", ".0f")
def crush_area() -> float:
    """Area of a crushing block: mean force over its crush stress."""
    return 1e4 * 1000.0 * mean_force() / CRUSH_PA


@figure("mm", ".0f")
def crush_side() -> float:
    """Side of a square block of that area."""
    return 10.0 * crush_area() ** 0.5


@figure("cm2", ".0f")
def heavy_area() -> float:
    """Area of the block for 25 kg from the whole rails."""
    return 1e4 * 1000.0 * heavy_mean_force() / CRUSH_PA


@figure("mm", ".0f")
def crush_height() -> float:
    """Height of the block: the stroke over the share that it crushes."""
    return 1000.0 * STROKE_M / CRUSHED_SHARE


@figure("kN", ".2f")
def absorber_mean() -> float:
    """Mean force of a tearing absorber of fall arrest, 87.5 % of its largest."""
    return ABSORBER_SHARE * ABSORBER_PEAK_N / 1000.0


@figure("mm", ".0f")
def absorber_stroke() -> float:
    """How far it tears: m g h / (F - m g)."""
    return 1000.0 * energy() / (1000.0 * absorber_mean() - rig.WEIGHT_N)
