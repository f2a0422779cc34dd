"""Assessment: what is known of one drop, and all that anything shows of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

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
class CalibrationTold:
    """What made forces of volts.

    Attributes
    ----------
    recorded : Calibration
        The record's own.
    chosen : Recalibration or None
        What was taken in its place, by whom and why.
    corrected : str
        What superseded the one that was used, or "".
    """

    recorded: Calibration = field(default_factory=Calibration)
    chosen: Recalibration | None = None
    corrected: str = ""

    @property
    def used(self) -> Calibration:
        """The one that the forces are made with."""
        return self.chosen.calibration if self.chosen else self.recorded


@dataclass(frozen=True)
class Assessment:
    """Marks and verdicts of a drop, with what stands beside them.

    Attributes
    ----------
    marks : Marks
        The figures, and the class they were taken in.
    verdict : Verdict
        What they come to.
    setup : DropSetup
        Of the drop, with what inspection found.
    path : Path
        The record.
    zero : str
        How the zero was taken, as for `marking.mark`.
    origin : str
        "measured", "rehearsed" or "imported".
    edited : tuple of str
        Entries of the record that are not what was entered, in words.
    decision : Decision or None
        What a named person decided last, beside what had been proposed.
    calibration : CalibrationTold
        What the forces rest on.
    predicted : Predicted or None
        What was promised of the drop.
    problem : str
        Why the marks are not kept with the record; "" where they are, or need not be.
    """

    marks: Marks
    verdict: Verdict
    setup: DropSetup
    path: Path = Path()
    zero: str = "slack"
    origin: str = MEASURED
    edited: tuple[str, ...] = ()
    decision: Decision | None = None
    calibration: CalibrationTold = field(default_factory=CalibrationTold)
    predicted: Predicted | None = None
    problem: str = ""

    @property
    def curve(self) -> ForceCurve:
        """The force that the marks were taken from."""
        assert self.marks.curve is not None
        return self.marks.curve

    @property
    def rehearsed(self) -> bool:
        """Whether nothing moved, and it counts for nothing."""
        return self.origin == REHEARSED

    def has(self, code: str) -> bool:
        """Whether a reason of that code bore on the verdicts."""
        return any(one.code == code for one in self.verdict.reasons)
