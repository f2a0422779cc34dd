"""Shunt: the resistor that a board lays across one arm of the bridge, and its step.

Where one is fitted its step is the proof that the bridge lives. It checks wiring and gain;
the gauge itself is not loaded, so it calibrates nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tautlog.model.calibration import Calibration

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign


@dataclass(frozen=True)
class Shunt:
    """A resistor that is fitted.

    Attributes
    ----------
    expected_v : float or None
        Step that it should make at the converter; None where nobody can say.
    basis : str
        Where that is from.
    signed : bool
        The sign is known too; a data sheet does not say across which arm it lies.
    """

    expected_v: float | None = None
    basis: str = ""
    signed: bool = False

    @property
    def text(self) -> str:
        """What is expected, and by what."""
        if self.expected_v is None:
            return "some step"
        return f"{self.expected_v:.4f} V ({self.basis})"

    def judge(self, step_v: float) -> str:
        """Whether a step is "good", "suspect" or "invalid"; `expected_v` must be known."""
        from tautlog.calibrate.calibrating import shunt_check

        assert self.expected_v is not None
        if self.signed:
            return shunt_check(step_v, self.expected_v)[0]
        return shunt_check(abs(step_v), abs(self.expected_v))[0]


def shunt_of(campaign: Campaign | None, calibration: Calibration, asked: bool) -> Shunt | None:
    """The shunt of a campaign, or one that was asked for, or None.

    Its step is expected by the data sheet, else by the last one that was accepted with the
    same calibration factor.
    """
    if campaign is None:
        return Shunt() if asked else None
    cell, gain = campaign.cell, campaign.amplifier.gain
    if not cell.shunt_ohm and not asked:
        return None
    if cell.shunt_ohm and cell.bridge_ohm and cell.excitation_v and gain:
        from tautlog.planning.electronics import shunt_step_mv_per_v

        step_mv_per_v = shunt_step_mv_per_v(cell.bridge_ohm, cell.shunt_ohm)
        return Shunt(
            1e-3 * step_mv_per_v * cell.excitation_v * gain,
            f"{cell.shunt_ohm:g} ohm across {cell.bridge_ohm:g} ohm, {cell.excitation_v:g} V, "
            f"gain {gain:g}",
        )
    from tautlog.record import last_shunt_step

    last = last_shunt_step(campaign.folder, calibration.newton_per_volt)
    if last is None:
        return Shunt()
    path, step_v = last
    return Shunt(step_v, f"as before the drop of {path.name}", signed=True)
