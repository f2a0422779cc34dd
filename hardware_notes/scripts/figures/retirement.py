"""When a part is taken out of use."""

from __future__ import annotations

from figures import figure, mount

LINE_BREAKS_N = 9000.0
SUN_LOSS, NYLON_LOSS = 0.30, 0.50
TRIMMED_SHARE, RECALIBRATE_SHARE, DISCARD_SHARE = 0.001, 0.01, 0.02
TAP_SHIFT = 0.05


@figure("kN", ".1f")
def line_after_sun() -> float:
    """What is left of a polyester line of 9 kN after a year of sun."""
    return LINE_BREAKS_N * (1.0 - SUN_LOSS) / 1000.0


@figure("kN", ".1f")
def nylon_after_sun() -> float:
    """What is left of a nylon line of 9 kN after three years of sun."""
    return LINE_BREAKS_N * (1.0 - NYLON_LOSS) / 1000.0


@figure("N", ".0f")
def zero_trimmed() -> float:
    """0.1 % of the rated force."""
    return TRIMMED_SHARE * mount.CELL_RATED_N


@figure("N", ".0f")
def zero_recalibrate() -> float:
    """1 % of the rated force."""
    return RECALIBRATE_SHARE * mount.CELL_RATED_N


@figure("N", ".0f")
def zero_discard() -> float:
    """2 % of the rated force."""
    return DISCARD_SHARE * mount.CELL_RATED_N


@figure("%", ".0f")
def stiffness_lost() -> float:
    """Stiffness lost when the tapped tone falls by 5 %: 1 - 0.95^2."""
    return 100.0 * (1.0 - (1.0 - TAP_SHIFT) ** 2)
