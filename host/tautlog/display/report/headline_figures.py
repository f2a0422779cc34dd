"""Headline figures: the ten figures of a drop that a reader asks for, in words, with units."""

from __future__ import annotations

from tautlog.archive.assessment import Assessment
from tautlog.model.display_units import Units
from tautlog.model.marks import Marks
from tautlog.model.shown import shown

UNKNOWN = "not determined"
COUNT = 10


def headline_figures(drop: Assessment) -> tuple[tuple[str, str], ...]:
    """Ten names with their values; a figure that the drop does not show says so."""
    marks, units = drop.marks, drop.units
    filtered = f"class {marks.cfc}" if marks.cfc else "not filtered"
    return (
        (f"Peak force, {filtered}", _peak(drop)),
        ("Rise time, 10 to 90 % of the peak", _shown(marks.rise_time_s, "ms", units, 1e3)),
        ("Duration above 10 % of the peak", _shown(marks.duration_s, "ms", units, 1e3)),
        ("Impulse of the pull", _shown(marks.impulse_ns, "N s", units)),
        (
            "Speed as the line came taut",
            _around(marks.taut_speed_m_s, marks.taut_speed_expanded_u_m_s, "m/s", units),
        ),
        (
            "Largest stretch of line and rig",
            _around(marks.max_stretch_m, marks.max_stretch_expanded_u_m, "mm", units, 1e3),
        ),
        (
            "Energy that line and rig absorbed",
            _around(marks.energy_absorbed_j, marks.energy_absorbed_expanded_u_j, "J", units),
        ),
        ("Stiffness of line and rig", _stiffness(marks, units)),
        _end(marks, units),
        ("Impulse, measured over expected", _closure(marks)),
    )


def _peak(drop: Assessment) -> str:
    peak = drop.shown(drop.marks)
    if peak is None:
        return "no peak"
    text = peak.interval_text
    return f"at least {text}" if drop.marks.lower_bound else text


def _stiffness(marks: Marks, units: Units) -> str:
    fitted, secant = marks.line_stiffness_n_per_m, marks.secant_stiffness_n_per_m
    if fitted is None and secant is not None:
        return f"{_shown(secant, 'kN/m', units, 1e-3)}, secant"
    return _shown(fitted, "kN/m", units, 1e-3)


def _end(marks: Marks, units: Units) -> tuple[str, str]:
    """What was left after the pull: the sled's weight, or nothing since the load path let go."""
    if marks.break_force_n is not None:
        return "Force at which the load was lost", _shown(marks.break_force_n, "N", units)
    return "Force at rest after the drop", _shown(marks.rest_force_n, "N", units)


def _closure(marks: Marks) -> str:
    ratio, spread = marks.impulse_closure, marks.impulse_closure_expanded_u
    if ratio is None:
        return UNKNOWN
    return f"{ratio:.3f}" + ("" if spread is None else f" +/- {spread:.3f}")


def _around(
    value: float | None, spread: float | None, si: str, units: Units, factor: float = 1.0
) -> str:
    """A figure times a factor with its expanded uncertainty, where it has one."""
    if value is None or spread is None:
        return _shown(value, si, units, factor)
    return shown(factor * value, si, units=units, spread=factor * spread).interval_text


def _shown(value: float | None, si: str, units: Units, factor: float = 1.0) -> str:
    """A figure times a factor in the unit that is read most easily, to three digits or whole."""
    if value is None:
        return UNKNOWN
    name, size = units.of(si)
    scaled = value * factor / size
    number = f"{scaled:.0f}" if abs(scaled) >= 100.0 else f"{scaled:#.3g}".rstrip(".")
    return f"{number} {name}"
