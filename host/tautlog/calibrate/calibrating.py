"""Calibrating: from known loads and readings to a calibration.

Cell, cable, amplifier and converter are calibrated as one, with weights going up and down again
and the zero at both ends. The result says how linear and repeatable the chain is, up to which
load, and what a planned peak beyond that means.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import fdtr

from tautlog.calibrate.fit import Fit, fit_polynomial
from tautlog.errors import CalibrationError
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.shown import shown
from tautlog.model.uncertainty import Budget, Part, rectangular

FloatArray = npt.NDArray[np.float64]

WEIGHTS_U_FRACTION = 0.001  # masses on a verified scale, and local gravity; common practice
LEAST_LOADS = 3
USUAL_LOADS = 5
LEAST_CORRELATION = 0.99
CURVE_SEEN = 3.0  # standard uncertainties of a level, below which no residual shows a curve
NOT_THE_BOARD = 2.0  # times the scatter of what is typed; own choice
CURVED = 0.99  # confidence that a quadratic fits better
SLOPE_OFF = 0.05  # from the data sheet; beyond it gain or wiring is not as assumed
DATA_SHEET_OFF = 0.02
ZERO_RETURN = 0.001  # of the span
ACROSS_STEPS = 1500.0  # steps between zero and the largest weight, above which one wide code
# turns the slope by less than 1 % even if it is not corrected


@dataclass(frozen=True)
class Point:
    """One known load and its reading; `by_meter` if the board's converter did not read it."""

    load_n: float
    volt: float
    run: int = 1
    by_meter: bool = False


@dataclass(frozen=True)
class Calibrated:
    """A calibration with its fit, uncertainty and warnings.

    Attributes
    ----------
    calibration : Calibration
        The calibration to use.
    points : tuple of Point
        The measured points, as they were read.
    fit : Fit
        Newtons over volts, corrected for the converter's steps.
    degree : int
        1 or 2.
    hysteresis_fraction, repeatability_fraction, zero_return_fraction : float or None
        Largest difference between up and down, largest difference between runs, change of the
        zero; all over the largest load. None if there is nothing to compare.
    budget : Budget
        Uncertainty at the largest load.
    warnings : tuple of str
        What the user must know before using it, in SI, as it is kept.
    said : tuple of str
        The same in the units of display.
    """

    calibration: Calibration
    points: tuple[Point, ...]
    fit: Fit
    degree: int
    hysteresis_fraction: float | None
    repeatability_fraction: float | None
    zero_return_fraction: float | None
    budget: Budget
    warnings: tuple[str, ...] = field(default=())
    said: tuple[str, ...] = field(default=())


def calibrate(
    points: list[Point],
    base: Calibration,
    *,
    degree: int | None = None,
    planned_n: float | None = None,
    data_sheet_newton_per_volt: float | None = None,
    date: str = "",
    note: str = "",
    units: Units = SI,
) -> Calibrated:
    """Make a calibration from points.

    Parameters
    ----------
    points : list of Point
        The measured points, in order.
    base : Calibration
        Gives converter and its steps, rails and bandwidth.
    degree : int or None
        1 or 2; None: 2 only if it fits better beyond doubt (F test, 99 %), else 1.
    planned_n, data_sheet_newton_per_volt : float or None
        Highest planned peak; slope by the data sheets of cell and amplifier.
    date, note : str
        Of the calibration.
    units : Units
        Units of display, for `said`.

    Raises
    ------
    CalibrationError
        If the points give no calibration.
    """
    base, loads = base.resolved, np.array([point.load_n for point in points])
    volts = base.true_v([point.volt for point in points], [point.by_meter for point in points])
    _require_usable(volts, loads)
    line = _line(points, base, volts, loads)
    fit = _chosen(base, volts, loads, line, degree)
    spread = _spread(points, volts, fit)
    fitted = _fitted(replace(base, date=date, note=note, accepted=""), fit, line, volts, loads)
    own, share = _parts(fit, volts, loads, fitted, spread)
    budget = Budget("force at the largest load", "N", float(loads.max()), (*share, *own))
    calibration = _with_u(fitted, budget, own, share)
    seen, promised = _Seen(calibration, spread, line, volts, loads), data_sheet_newton_per_volt
    told = [seen.warnings(planned_n, promised, shown_in) for shown_in in (SI, units)]
    over = spread.over(budget.value)
    return Calibrated(calibration, tuple(points), fit, fit.degree, *over, budget, *told)


def _line(points: list[Point], base: Calibration, volts: FloatArray, loads: FloatArray) -> Fit:
    """The straight line through the points.

    Raises
    ------
    CalibrationError
        If they lie on a line as they were typed and not once they are corrected: then it was
        another instrument that read them.
    """
    line = fit_polynomial(volts, loads, 1)
    if base.steps.linearity is None or all(point.by_meter for point in points):
        return line
    typed = fit_polynomial([point.volt for point in points], loads, 1)
    if line.residual_sd > max(
        CURVE_SEEN * _level_u_n(base, line), NOT_THE_BOARD * typed.residual_sd
    ):
        raise CalibrationError(
            f"the points scatter by {typed.residual_sd:.2g} N around a straight line as they are, "
            f"and by {line.residual_sd:.2g} N once they are corrected for the converter's steps: "
            "the board did not read them. Read them with the board, or name the column meter_v"
        )
    return line


def _require_usable(volts: FloatArray, loads: FloatArray) -> None:
    """Refuse points that give no calibration."""
    different = np.unique(loads).size
    if different < LEAST_LOADS:
        raise CalibrationError(
            f"{different} different loads: at least {LEAST_LOADS} are needed; {USUAL_LOADS} and "
            "zero, up and down again, are usual"
        )
    if np.ptp(volts) <= 0:
        raise CalibrationError("the reading does not change with the load: check the wiring")
    follows = abs(float(np.corrcoef(volts, loads)[0, 1]))
    if follows < LEAST_CORRELATION:
        raise CalibrationError(
            f"the reading does not follow the load (correlation {follows:.2f}, "
            f"at least {LEAST_CORRELATION:g} is needed): check wiring, gain and the order of the "
            "weights"
        )


def _level_u_n(base: Calibration, line: Fit) -> float:
    """Standard uncertainty of each level of the converter, as a force."""
    return base.steps.level_u_steps * base.volt_per_count(1) * abs(float(line.coefficients[1]))


def _fitted(
    base: Calibration, fit: Fit, line: Fit, volts: FloatArray, loads: FloatArray
) -> Calibration:
    """A calibration with zero, slope at the zero, and curvature."""
    # Level with no force: the level at the least load, minus what that load adds.
    zero_v = float(np.mean(volts[loads == loads.min()]) - loads.min() / line.coefficients[1])
    curvature = float(fit.coefficients[2]) if fit.coefficients.size > 2 else 0.0
    return replace(
        base,
        newton_per_volt=float(fit.coefficients[1] + 2.0 * curvature * zero_v),
        newton_per_square_volt=curvature,
        zero_v=zero_v,
    )


def _with_u(
    calibration: Calibration, budget: Budget, own: tuple[Part, ...], share: tuple[Part, ...]
) -> Calibration:
    """A calibration with its uncertainty and the largest load that it covers."""
    return replace(
        calibration,
        expanded_u_fraction=2.0 * replace(budget, parts=share).combined_u / budget.value,
        expanded_u_n=2.0 * replace(budget, parts=own).combined_u,
        range_n=budget.value,
    )


def _chosen(
    base: Calibration, volts: FloatArray, loads: FloatArray, line: Fit, degree: int | None
) -> Fit:
    """The fit of the given degree, or of the degree that fits the points.

    Every reading of one load has the same error of its level of the converter, so that repeated
    readings do not tell such errors from a curve.
    """
    seen = float(np.abs(line.residuals).max()) > CURVE_SEEN * _level_u_n(base, line)
    chosen = degree or (2 if seen and _is_curved(volts, loads, line) else 1)
    return line if chosen == 1 else fit_polynomial(volts, loads, chosen)


def _is_curved(volts: FloatArray, loads: FloatArray, line: Fit) -> bool:
    """Whether a quadratic fits better than by chance (F test of nested models)."""
    if volts.size < 5 or np.unique(volts).size < 4:
        return False
    curve = fit_polynomial(volts, loads, 2)
    left, less = float(line.residuals @ line.residuals), float(curve.residuals @ curve.residuals)
    if less <= 0.0:
        return left > 0.0
    ratio = (left - less) / (less / curve.freedom)
    return bool(fdtr(1, curve.freedom, ratio) > CURVED)


@dataclass(frozen=True)
class _Spread:
    """Differences between readings of the same load, in newtons; None if not known."""

    hysteresis_n: float | None
    repeatability_n: float | None
    zero_return_n: float | None

    def over(self, top_n: float) -> tuple[float | None, float | None, float | None]:
        """The same as shares of the largest load."""
        hysteresis, repeatability, zero_return = (
            None if gap_n is None else gap_n / top_n
            for gap_n in (self.hysteresis_n, self.repeatability_n, self.zero_return_n)
        )
        return hysteresis, repeatability, zero_return


def _spread(read: list[Point], volts: FloatArray, fit: Fit) -> _Spread:
    """The spread of points as they were read, at their corrected voltages."""
    points = [replace(point, volt=volt) for point, volt in zip(read, volts, strict=True)]
    return _Spread(
        _largest_gap(points, fit, by_direction=True),
        _largest_gap(points, fit, by_direction=False),
        _zero_return(points, fit),
    )


def _directions(points: list[Point]) -> list[int]:
    """1 while the load goes up, -1 while it comes down, 0 if it does neither."""
    found, last = [], 0
    for before, point in zip([None, *points[:-1]], points, strict=True):
        if before is not None and point.run == before.run and point.load_n != before.load_n:
            last = 1 if point.load_n > before.load_n else -1
        elif before is None or point.run != before.run:
            last = 1
        found.append(last)
    return found


def _largest_gap(points: list[Point], fit: Fit, *, by_direction: bool) -> float | None:
    """Largest difference at one load, between up and down or between runs, in newtons.

    Runs are compared on the way up only: a difference on the way down is hysteresis.
    """
    groups: dict[float, dict[int, list[float]]] = {}
    for point, way in zip(points, _directions(points), strict=True):
        if not by_direction and way < 0:
            continue
        at_load = groups.setdefault(point.load_n, {})
        at_load.setdefault(way if by_direction else point.run, []).append(float(fit.at(point.volt)))
    gaps = []
    for at_load in groups.values():
        means = [float(np.mean(values)) for values in at_load.values()]
        if len(means) > 1:
            gaps.append(max(means) - min(means))
    return max(gaps) if gaps else None


def _zero_return(points: list[Point], fit: Fit) -> float | None:
    """Change of the zero from the first to the last unloaded point, in newtons."""
    least = min(point.load_n for point in points)
    zeros = [point for point in points if point.load_n == least]
    if len(zeros) < 2 or least > 0.02 * max(point.load_n for point in points):
        return None
    return abs(float(fit.at(zeros[-1].volt)) - float(fit.at(zeros[0].volt)))


def _parts(
    fit: Fit,
    volts: FloatArray,
    loads: FloatArray,
    fitted: Calibration,
    spread: _Spread,
) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """Parts that do not grow with the force; parts that do, at the largest load.

    A drop takes its zero from its own slack line: what counts is the slope, and how far the
    reading of any load departs from the line through the zero readings.
    """
    unloaded = loads == loads.min()
    top_v, zero_v = float(volts[int(np.argmax(loads))]), float(np.mean(volts[unloaded]))
    order = np.arange(1, fit.coefficients.size)
    swing = top_v**order - zero_v**order
    slope_u = math.sqrt(max(float(swing @ fit.covariance[1:, 1:] @ swing), 0.0))
    departure = np.abs(fit.residuals - np.mean(fit.residuals[unloaded])).max()
    own = (
        Part(
            "non-linearity", rectangular(float(departure)), basis="largest residual, from zero on"
        ),
        Part("hysteresis", rectangular(0.5 * (spread.hysteresis_n or 0.0)), basis="up less down"),
        Part(
            "repeatability",
            rectangular(0.5 * (spread.repeatability_n or 0.0)),
            basis="between runs",
        ),
        Part("zero return", rectangular(spread.zero_return_n or 0.0), basis="first to last zero"),
        # A mean over many samples does not reduce it: the steps are not equally wide.
        Part("converter", 0.5 * fitted.quantum_n(1), basis="one step, expanded; own choice"),
    )
    share = (
        Part("slope", slope_u, "A", fit.freedom, "scatter of the points"),
        Part("weights", WEIGHTS_U_FRACTION * float(loads.max()), basis="0.1 %; common practice"),
        _unequal_steps(fitted, volts, loads),
    )
    return own, share


def _unequal_steps(fitted: Calibration, volts: FloatArray, loads: FloatArray) -> Part:
    """What unequal steps of the converter may do to the slope, at the largest load.

    The ends of the range carry the slope: an error of their difference turns it.
    """
    step_v = fitted.volt_per_count(1)
    ends = (float(volts.min()) / step_v, float(volts.max()) / step_v)
    u_n = fitted.steps.u_steps(*ends) * fitted.quantum_n(1)
    # The range may begin above zero; the slope then turns by more than its upper end.
    u_n *= float(loads.max()) / float(np.ptp(loads))
    return Part("converter's steps", u_n, basis=fitted.steps.basis)


def _across_steps(calibration: Calibration, volts: FloatArray, units: Units) -> list[str]:
    """Warnings that the weights lie on both sides of a wide code, or that nothing is known."""
    step_v = calibration.volt_per_count(1)
    low, high = float(volts.min()) / step_v, float(volts.max()) / step_v
    steps = calibration.steps
    if not calibration.converter and calibration.converter_bits <= 12:
        return [
            "whose converter read the points is not known: unequal steps may turn the slope by "
            f"{100 * 2.0 * steps.u_steps(low, high) / (high - low):.2g} % (k = 2); state converter "
            "under [calibration], or calibrate with the board"
        ]
    codes = steps.between(low, high)
    if not codes or high - low > ACROSS_STEPS:
        return []
    assert steps.linearity is not None
    left_n = steps.u_steps(low, high) * calibration.quantum_n(1)
    return [
        f"weights and zero lie on both sides of the converter's wide code {codes[0]} (at "
        f"{codes[0] * step_v:.3f} V): the fit is corrected for it, "
        f"{units.text(2.0 * left_n, 'N', '.2g')} are left "
        "(k = 2); a zero above it, heavier weights or `tautlog converter` make it better"
    ]


class _Seen(NamedTuple):
    """What warnings are told from: the calibration, its spread, its line, and the points."""

    calibration: Calibration
    spread: _Spread
    line: Fit
    volts: FloatArray
    loads: FloatArray

    def warnings(
        self, planned_n: float | None, promised: float | None, units: Units
    ) -> tuple[str, ...]:
        """All warnings, in some units."""
        return (
            *_gaps_of_loading(self.loads),
            *_warnings(self.calibration, self.spread, planned_n, units),
            *_off_data_sheet(self.calibration, promised),
            *_scatter(self.line, float(self.loads.max())),
            *_across_steps(self.calibration, self.volts, units),
        )


def _gaps_of_loading(loads: FloatArray) -> list[str]:
    """Warnings about loads that are fewer than usual."""
    found = []
    if np.unique(loads).size < USUAL_LOADS:
        found.append(f"{np.unique(loads).size} different loads: {USUAL_LOADS} or more are usual")
    if not (np.diff(loads) < 0).any():
        found.append("no load on the way down: hysteresis is not known")
    return found


def _warnings(
    calibration: Calibration, spread: _Spread, planned_n: float | None, units: Units
) -> list[str]:
    """Warnings about the result."""
    found = []
    top_n, zero_return_n = calibration.range_n, spread.zero_return_n
    if calibration.newton_per_volt < 0:
        found.append("tension lowers the voltage: the cell is wired in reverse, or was pushed")
    if zero_return_n is not None and zero_return_n > ZERO_RETURN * top_n:
        off = units.text(zero_return_n, "N", ".2g")
        found.append(f"the zero returned {off} off: creep, or something touches")
    if planned_n and planned_n > top_n:
        planned = shown(planned_n, "N", (top_n,), units)
        found.append(
            f"calibrated to {planned.level()}, but {planned.text} is planned: extrapolation "
            f"x {planned_n / top_n:.1f}; cross-check once with a borrowed cell"
        )
    return found


def _off_data_sheet(calibration: Calibration, promised: float | None) -> list[str]:
    """A warning if the slope differs from data sheet and gain."""
    off = calibration.newton_per_volt / promised - 1.0 if promised else 0.0
    if abs(off) <= DATA_SHEET_OFF:
        return []
    text = f"the slope differs by {100 * off:+.1f} % from the cell's data sheet and the gain"
    if abs(off) > SLOPE_OFF:
        text += ": check gain, excitation and units"
    return [text]


def _scatter(line: Fit, top_n: float) -> list[str]:
    if line.residual_sd <= 0.005 * top_n:
        return []
    return ["the points scatter by more than 0.5 % of the range: check whether something touches"]
