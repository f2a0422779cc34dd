"""Fitted shunt: the shunt resistor that a campaign states, and its expected step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tautlog.board.shunt import Shunt, shunt_step_mv_per_v
from tautlog.model.calibration import Calibration
from tautlog.record import last_shunt_step

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign


def shunt_of(campaign: Campaign | None, calibration: Calibration, asked: bool) -> Shunt | None:
    """The shunt of a campaign, or an unknown shunt if asked for, or None.

    The expected step comes from the data sheet, else from the last accepted step with the same
    calibration factor.
    """
    if campaign is None:
        return Shunt() if asked else None
    cell, gain = campaign.cell, campaign.amplifier.gain
    if not cell.shunt_ohm and not asked:
        return None
    if cell.shunt_ohm and cell.bridge_ohm and cell.excitation_v and gain:
        step_mv_per_v = shunt_step_mv_per_v(cell.bridge_ohm, cell.shunt_ohm)
        return Shunt(
            1e-3 * step_mv_per_v * cell.excitation_v * gain,
            f"{cell.shunt_ohm:g} ohm across {cell.bridge_ohm:g} ohm, {cell.excitation_v:g} V, "
            f"gain {gain:g}",
        )
    last = last_shunt_step(campaign.folder, calibration.newton_per_volt)
    if last is None:
        return Shunt()
    path, step_v = last
    return Shunt(step_v, f"as before the drop of {path.name}", signed=True)
