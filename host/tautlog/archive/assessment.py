"""Assessment: all that is known of one drop, and the source of all that is shown."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from tautlog.archive.beside import Beside
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.force_curve import ForceCurve
from tautlog.model.marks import Marks
from tautlog.model.origin import MEASURED, REHEARSED
from tautlog.model.predicted import Predicted
from tautlog.model.shown import Shown, shown_force
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
    units : Units
        Units in which it is shown.
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
    units: Units = SI

    @property
    def shown_peak(self) -> Shown | None:
        """The peak as it is shown, with target and limit as far as there are any; see `loaded`."""
        return self.shown(self.loaded)

    def shown(self, marks: Marks) -> Shown | None:
        """The peak of some marks, held against target and limit of the drop; None without one."""
        if marks.peak_force_n is None:
            return None
        levels_n = (self.setup.target_n, self.setup.upper_n)
        return shown_force(marks.peak_force_n, marks.peak_force_expanded_u_n, levels_n, self.units)

    @property
    def shown_levels(self) -> dict[str, str]:
        """Texts of target and limit by these names, with the digits of the peak beside them."""
        marks = self.marks
        found = {"target": marks.target_force_n, "limit": marks.limit_force_n}
        levels = {name: level for name, level in found.items() if level is not None}
        peak_n, spread_n = marks.peak_force_n, marks.peak_force_expanded_u_n
        if peak_n is None:
            return {name: self.units.text(level, "N") for name, level in levels.items()}
        shown = shown_force(peak_n, spread_n, levels.values(), self.units)
        return {name: shown.level(place) for place, name in enumerate(levels)}

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
