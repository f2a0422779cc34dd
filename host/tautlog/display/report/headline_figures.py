"""Headline figures: the ten figures of a drop that a reader asks for, in words, with units."""

from __future__ import annotations

from tautlog.archive.assessment import Assessment
from tautlog.model.marks import Marks

UNKNOWN = "not determined"
COUNT = 10


def headline_figures(drop: Assessment) -> tuple[tuple[str, str], ...]:
    """Ten names with their values; a figure that the drop does not show says so."""
    marks = drop.marks
    filtered = f"class {marks.cfc}" if marks.cfc else "not filtered"
    return (
        (f"Peak force, {filtered}", _peak(drop)),
        ("Rise time, 10 to 90 % of the peak", _scaled(marks.rise_time_s, 1e3, "ms")),
        ("Duration above 10 % of the peak", _scaled(marks.duration_s, 1e3, "ms")),
        ("Impulse of the pull", _scaled(marks.impulse_ns, 1.0, "N s")),
        ("Speed as the line came taut", _scaled(marks.taut_speed_m_s, 1.0, "m/s")),
        ("Largest stretch of line and rig", _scaled(marks.max_stretch_m, 1e3, "mm")),
        ("Energy that line and rig absorbed", _scaled(marks.energy_absorbed_j, 1.0, "J")),
        ("Stiffness of line and rig", _stiffness(marks)),
        _end(marks),
        ("Impulse, measured over expected", _closure(marks)),
    )


def _peak(drop: Assessment) -> str:
    peak = drop.shown(drop.marks)
    if peak is None:
        return "no peak"
    text = f"{peak.interval} {peak.unit}"
    return f"at least {text}" if drop.marks.lower_bound else text


def _stiffness(marks: Marks) -> str:
    fitted, secant = marks.line_stiffness_n_per_m, marks.secant_stiffness_n_per_m
    if fitted is None and secant is not None:
        return f"{_scaled(secant, 1e-3, 'kN/m')}, secant"
    return _scaled(fitted, 1e-3, "kN/m")


def _end(marks: Marks) -> tuple[str, str]:
    """What was left after the pull: the sled's weight, or nothing since the load path let go."""
    if marks.break_force_n is not None:
        return "Force at which the load was lost", _scaled(marks.break_force_n, 1.0, "N")
    return "Force at rest after the drop", _scaled(marks.rest_force_n, 1.0, "N")


def _closure(marks: Marks) -> str:
    ratio, spread = marks.impulse_closure, marks.impulse_closure_expanded_u
    if ratio is None:
        return UNKNOWN
    return f"{ratio:.3f}" + ("" if spread is None else f" +/- {spread:.3f}")


def _scaled(value: float | None, factor: float, unit: str) -> str:
    """A figure in the unit that is read most easily, to three digits or whole."""
    if value is None:
        return UNKNOWN
    scaled = value * factor
    number = f"{scaled:.0f}" if abs(scaled) >= 100.0 else f"{scaled:#.3g}".rstrip(".")
    return f"{number} {unit}"
