"""Overlay words: what the legend says of each drop that is laid over others."""

from __future__ import annotations

from tautlog.archive.assessment import Assessment
from tautlog.model.display_units import Units
from tautlog.model.origin import MARK, MEASURED
from tautlog.model.shown import shown
from tautlog.model.verdict_words import words

USUAL_CLASS = 180


def curve_words(drop: Assessment, page: str) -> str:
    """Name of a curve with its peak and verdict, and on the page of stretch what the line did.

    Parameters
    ----------
    drop : Assessment
        The drop.
    page : str
        One of `views.PAGES`.
    """
    told = [drop.path.stem]
    if drop.origin != MEASURED:
        told.append(MARK if drop.rehearsed else drop.origin.upper())
    told += _stretch(drop) if page == "stretch" else _verdict(drop)
    if drop.marks.cfc != USUAL_CLASS:
        told.append(f"CFC {drop.marks.cfc or 'none'}")
    if drop.predicted and page != "stretch":
        told.append(f"predicted {drop.units.text(drop.predicted.peak_force_n, 'N')}")
    if drop.calibration.chosen:
        told.append(f"calibration {drop.calibration.chosen.file or 'own'}")
    return ", ".join(told)


def _verdict(drop: Assessment) -> list[str]:
    """Peak, load and the test: the decision if there is one, else the proposal."""
    marks, verdict = drop.marks, drop.verdict
    peak = drop.shown(marks)
    if peak is None:
        return ["no peak", words(verdict.record_verdict)]
    found = [f"{'at least ' * marks.lower_bound}{peak.interval_text}"]
    if verdict.load_verdict is not None:
        found.append(words(verdict.load_verdict).partition(" (")[0])
    if verdict.record_verdict != "valid":
        found.append(words(verdict.record_verdict))
    if drop.decision:
        found.append(f"{words(drop.decision.verdict).removeprefix('test: ')} decided")
    elif verdict.test_verdict != "pending":
        found.append(f"{words(verdict.test_verdict).removeprefix('test: ')} proposed")
    return found


def _stretch(drop: Assessment) -> list[str]:
    """Stiffness of line and rig, energy and largest stretch, as far as the drop shows them."""
    marks, units = drop.marks, drop.units
    stiffness, kind = marks.line_stiffness_n_per_m, ""
    if stiffness is None:
        stiffness, kind = marks.secant_stiffness_n_per_m, " secant"
    figures = (
        (stiffness, None, 1e-3, "kN/m", kind),
        (marks.energy_absorbed_j, marks.energy_absorbed_expanded_u_j, 1.0, "J", " absorbed"),
        (marks.max_stretch_m, marks.max_stretch_expanded_u_m, 1e3, "mm", " stretch"),
    )
    found = [
        _around(value * factor, spread and spread * factor, si, units) + what
        for value, spread, factor, si, what in figures
        if value is not None
    ]
    return found or ["stiffness and energy not determined"]


def _around(value: float, spread: float | None, si: str, units: Units) -> str:
    """A figure with its expanded uncertainty, where it has one."""
    if spread is None:
        return units.text(value, si, ".3g")
    return shown(value, si, units=units, spread=spread).interval_text
