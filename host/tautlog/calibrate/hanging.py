"""Hanging: whether the chain reads the weight of the sled that hangs on it."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.board.resting import Look
from tautlog.errors import CalibrationError
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.limits import HANGING_LEAST_N, HANGING_TOLERANCE
from tautlog.model.shown import shown
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2


@dataclass(frozen=True)
class Hanging:
    """A hanging check: the reading of the slack line, and that of the hanging sled.

    Attributes
    ----------
    read_n, weight_n : float
        Force that was read, and weight of the sled.
    """

    read_n: float
    weight_n: float

    @property
    def holds(self) -> bool:
        """Whether it reads its weight within 2 % and 3 N (common practice)."""
        return abs(self.read_n - self.weight_n) <= self._allowed_n

    @property
    def text(self) -> str:
        """What was read, and what was expected, in SI."""
        return self.said(SI)

    def said(self, units: Units) -> str:
        """As `text`, in other units."""
        off = shown(abs(self.read_n - self.weight_n), "N", (self._allowed_n,), units, least=1)
        return (
            f"the hanging sled reads {units.text(self.read_n, 'N', '.1f')}, m g is "
            f"{units.text(self.weight_n, 'N', '.1f')}: {off.text} off, {off.level()} is allowed"
        )

    def require(self) -> None:
        """Refuse a check that failed.

        Raises
        ------
        CalibrationError
            Says what to look at.
        """
        if not self.holds:
            raise CalibrationError(FAILED)

    @property
    def _allowed_n(self) -> float:
        return max(HANGING_TOLERANCE * self.weight_n, HANGING_LEAST_N)


FAILED = "the hanging check failed: check gain, mass and wiring before any drop"


def hanging(slack: Look, hung: Look, calibration: Calibration, mass_kg: float | None) -> Hanging:
    """The check from two readings.

    Raises
    ------
    CalibrationError
        If a reading may not be taken, or the mass is not known.
    """
    if not mass_kg:
        raise CalibrationError(MASS_MISSING)
    slack_v, hung_v = calibration.true_v([slack.require(), hung.require()]).tolist()
    read_n = (hung_v - slack_v) * calibration.newton_per_volt
    return Hanging(read_n, mass_kg * STANDARD_GRAVITY_M_PER_S2)


MASS_MISSING = "the sled's mass is missing: give it with --mass or in campaign.toml"
