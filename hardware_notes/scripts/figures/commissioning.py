"""Figures of the sheet on commissioning."""

from __future__ import annotations

from figures import figure

ARM_OHM = 350.0


@figure("ohm", ".0f")
def signal_to_supply() -> float:
    """Resistance from a signal wire to a supply wire: one arm parallel to the other three."""
    return ARM_OHM * 3 * ARM_OHM / (ARM_OHM + 3 * ARM_OHM)
