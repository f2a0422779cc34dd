"""Assessment: all that is known of one drop, and the source of all that is shown."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from tautlog.archive.beside import Beside
from tautlog.model.calibration import Calibration
from tautlog.model.force_curve import ForceCurve
from tautlog.model.marks import Marks
from tautlog.model.origin import MEASURED, REHEARSED
from tautlog.model.predicted import Predicted
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import Verdict
from tautlog.record import Decision
from tautlog.record.recalibration import Recalibration


@dataclass(frozen=True)
class CalibrationUse:
    """The calibration that turned volts into forces.

    Attributes
    ----------
    recorded : Calibration
        The record's own calibration.
    chosen : Recalibration or None
        The calibration used in its place, with who chose it and why.
    corrected : str
        What superseded the calibration used, or "".
    """

    recorded: Calibration = field(default_factory=Calibration)
    chosen: Recalibration | None = None
    corrected: str = ""

    @property
    def used(self) -> Calibration:
        """The calibration behind the forces of the first channel."""
        chosen = self.chosen
        return chosen.calibration if chosen and not chosen.channel else self.recorded


@dataclass(frozen=True)
class Assessment:
    """Marks and verdicts of a drop, with their circumstances.

    Attributes
    ----------
    marks : Marks
        The figures, and their channel frequency class.
    verdict : Verdict
        The verdicts on the figures.
    setup : DropSetup
        The drop's set-up, with the findings of inspection.
    path : Path
        The record.
    zero : str
        How the zero was taken, as for `marking.mark`.
    origin : str
        "measured", "rehearsed" or "imported".
    edited : tuple of str
        Entries of the record that were edited after they were made, in words.
    decision : Decision or None
        The newest decision of a named person, with the verdict proposed then.
    calibration : CalibrationUse
        The calibration behind the forces.
    predicted : Predicted or None
        The prediction for the drop.
    problem : str
        Why the marks could not be kept with the record, or "".
    beside : Beside
        What the other channels say: legs, accelerometer, supply.
    """

    marks: Marks
    verdict: Verdict
    setup: DropSetup
    path: Path = Path()
    zero: str = "slack"
    origin: str = MEASURED
    edited: tuple[str, ...] = ()
    decision: Decision | None = None
    calibration: CalibrationUse = field(default_factory=CalibrationUse)
    predicted: Predicted | None = None
    problem: str = ""
    beside: Beside = field(default_factory=Beside)

    @property
    def loaded(self) -> Marks:
        """The marks that are held against target and limit: of the force, or of one leg."""
        return self.beside.loaded(self.marks)

    @property
    def curve(self) -> ForceCurve:
        """The force from which the marks were taken."""
        assert self.marks.curve is not None
        return self.marks.curve

    @property
    def rehearsed(self) -> bool:
        """Whether the drop was rehearsed: nothing moved, and it is no evidence."""
        return self.origin == REHEARSED

    def has(self, code: str) -> bool:
        """Whether the verdicts have a reason with that code."""
        return any(reason.code == code for reason in self.verdict.reasons)
