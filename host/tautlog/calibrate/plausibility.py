"""Plausibility: whether a calibration can be right, before anybody relies on it.

Its slope is compared with the cell's data sheet and the gain; without a data sheet, with the
earlier calibration and with what the rig is for. Its uncertainty is compared with what a chain
of strain gauges and one step of the converter allow. A calibration in millivolts, grams or
kilograms is off by 1000 or 9.8, and is refused unless a named person accepts it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tautlog.errors import CalibrationError
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.limits import LEAST_U_FRACTION
from tautlog.model.shown import shown
from tautlog.model.signature import signed

if TYPE_CHECKING:  # needs scipy, which reading a campaign does not
    from tautlog.calibrate.calibrating import Point

# Common practice: uncertified cells keep 2 mV/V within some per cent, excitation and a gain
# set by resistors add a few more. A wrong unit, jumper or cell is off by far more.
SLOPE_BAND = 0.10
BETWEEN_BAND = 0.10  # from one calibration of the same chain to the next
# Own choice: with more than this many targets from rail to rail, the target is a few counts.
MOST_RANGE = 100.0
LEAST_COUNTS = 20.0  # of the converter, by which known loads must move the reading
PROMISE = "data sheet and gain promise"
UNIT_WITHIN = 0.2  # of a ratio of two units (natural log): most likely their confusion
G = 9.80665
RATIOS = (
    (1e3, "loads in g for kg, or readings in V where they are mV"),
    (1e-3, "readings in mV for V, or loads in kN for N"),
    (G, "masses in kg times g taken twice, or kgf for N the wrong way round"),
    (1 / G, "masses in kg typed as newtons"),
    (1e3 / G, "grams typed as newtons"),
    (G / 1e3, "newtons taken for grams"),
    (1e6, "two mistakes of 1000"),
    (1e-6, "two mistakes of 1000"),
    (10.0, "a gain ten times too low"),
    (0.1, "a gain ten times too high"),
    (2.0, "half the gain or excitation"),
    (0.5, "twice the gain or excitation"),
)


def data_sheet_slope(
    rated_n: float | None,
    sensitivity_mv_per_v: float | None,
    excitation_v: float | None,
    gain: float | None,
) -> float | None:
    """Newtons per volt at the converter by the data sheet, or None."""
    if not (rated_n and sensitivity_mv_per_v and excitation_v and gain):
        return None
    return rated_n / (1e-3 * sensitivity_mv_per_v * excitation_v * gain)


def slope_doubts(
    calibration: Calibration,
    *,
    promised: float | None,
    planned_n: float | None,
    before: Calibration | None = None,
    units: Units = SI,
) -> tuple[str, ...]:
    """Why a calibration's slope is implausible; empty if it is plausible or cannot be checked.

    A curved calibration is checked at its zero and at the highest force that is used.

    Parameters
    ----------
    calibration : Calibration
        The calibration to check.
    promised : float or None
        Newtons per volt by data sheet and gain.
    planned_n : float or None
        Highest planned force.
    before : Calibration or None
        The earlier calibration, for comparison if nothing is promised.
    units : Units
        Units in which forces are said; a slope stays in N/V.
    """
    slope = abs(calibration.newton_per_volt)
    top_n = max(planned_n or 0.0, calibration.range_n)
    top_slope = slope_at(calibration, top_n)
    if top_slope is None:
        return (
            f"with its curvature of {calibration.newton_per_square_volt:.5g} N/V2 it bends back "
            f"before it reaches {units.text(top_n, 'N')}",
        )
    curved = calibration.newton_per_square_volt != 0.0
    at_top = f"at {units.text(top_n, 'N')} its slope is"
    if promised:
        found = _compared(slope, promised, PROMISE, SLOPE_BAND)
        at_top_n = _compared(top_slope, promised, PROMISE, SLOPE_BAND, at_top)
        return found + (at_top_n if curved else ())
    found = ()
    if before is not None:
        found += _compared(
            slope, abs(before.newton_per_volt), "the earlier calibration has", BETWEEN_BAND
        )
    if curved:
        found += _compared(top_slope, slope, "at its zero it is", SLOPE_BAND, at_top)
    return found + _span_doubts(calibration, planned_n, units)


def _span_doubts(
    calibration: Calibration, planned_n: float | None, units: Units
) -> tuple[str, ...]:
    """Whether what is planned fits between the rails, and is not far too small for them."""
    span_v = calibration.rail_high_v - calibration.rail_low_v
    range_n = abs(calibration.newton_per_volt) * span_v
    if not planned_n or planned_n <= range_n <= MOST_RANGE * planned_n:
        return ()
    return (
        f"it spans {units.text(range_n, 'N', '.3g')} from rail to rail, but "
        f"{units.text(planned_n, 'N')} is planned: check the units of loads and readings",
    )


def slope_at(calibration: Calibration, force_n: float) -> float | None:
    """Newtons per volt at a force, without sign; None if the curve does not reach the force.

    For F = a v + b v**2, with v from the zero, the slope a + 2 b v is sqrt(a**2 + 4 b F).
    """
    a, b = calibration.newton_per_volt, calibration.newton_per_square_volt
    square = a * a + 4.0 * b * force_n
    return math.sqrt(square) if square > 0.0 else None


def sign_doubts(
    calibration: Calibration, stated: float | None, *, measured: bool
) -> tuple[str, ...]:
    """Why the sign of a slope is implausible; empty if it is plausible.

    A negative slope needs two sources: campaign.toml and a calibration with weights.

    Parameters
    ----------
    calibration : Calibration
        The calibration to check.
    stated : float or None
        newton_per_volt in campaign.toml, whose sign counts; None: tension raises the voltage.
    measured : bool
        It was fitted to known loads; else campaign.toml states it.
    """
    if calibration.newton_per_volt < 0.0 and not measured:
        return (
            "newton_per_volt in campaign.toml says that tension lowers the voltage, but no "
            "calibration with weights has shown it: calibrate with weights (`tautlog calibrate`), "
            "which must give the same sign, or remove the minus",
        )
    if (calibration.newton_per_volt < 0.0) == ((stated or 1.0) < 0.0):
        return ()
    seen = "lowers" if calibration.newton_per_volt < 0.0 else "raises"
    other = "raises" if seen == "lowers" else "lowers"
    expected = f"campaign.toml says that it {other} it" if stated else f"it should {other[:-1]} it"
    return (
        f"tension {seen} the voltage, but {expected}: the sign of the bridge is reversed; swap its "
        "signal wires, unless the loads pushed the cell",
    )


def uncertainty_doubts(calibration: Calibration, units: Units = SI) -> tuple[str, ...]:
    """Why a calibration's uncertainty is impossibly small; empty if it is not.

    The relative part is checked at the force from rail to rail, where a fixed part helps least;
    the whole at the largest calibrated force, or from rail to rail if that is not stated.
    """
    slope = abs(calibration.newton_per_volt)
    span_n = slope * (calibration.rail_high_v - calibration.rail_low_v)
    found: tuple[str, ...] = ()
    share = calibration.expanded_u_at_n(span_n) / span_n
    mend = "state the real uncertainty of weights and chain, or calibrate again"
    if share < LEAST_U_FRACTION:
        told = shown(100 * share, "%", (100 * LEAST_U_FRACTION,), least=2)
        found += (
            f"its expanded uncertainty is {told.text} of {units.text(span_n, 'N')}, less than "
            f"{told.level()}: no such chain is that good; {mend}",
        )
    top_n, step_n = calibration.range_n or span_n, slope * calibration.volt_per_count(1)
    own_n = calibration.expanded_u_at_n(top_n)
    if own_n < step_n:
        own = shown(own_n, "N", (step_n,), units, least=2)
        found += (
            f"its expanded uncertainty at {units.text(top_n, 'N')} is {own.text}, less than the "
            f"{own.level()} of one step of the converter; {mend}",
        )
    return found


def unchecked_scale(missing: Sequence[str], before: bool) -> str:
    """Say that nothing checks the scale of a calibration; "" if something does.

    Parameters
    ----------
    missing : sequence of str
        Values of the data sheet that are not stated.
    before : bool
        There is an earlier calibration for comparison.
    """
    if not missing or before:
        return ""
    return (
        f"nothing checks the scale of these forces (not stated: {', '.join(missing)}; no earlier "
        "calibration): kilograms typed as newtons would be 9.80665 times off, unnoticed"
    )


def point_doubts(points: Sequence[Point], calibration: Calibration) -> tuple[str, ...]:
    """Why readings cannot be volts at the converter."""
    volts = [point.volt for point in points]
    found: tuple[str, ...] = ()
    highest = max(map(abs, volts))
    if highest > 1.05 * calibration.reference_v:
        found += (
            f"readings go up to {highest:.4g} V, but the converter ends at "
            f"{calibration.reference_v:g} V: are they in mV?",
        )
    span, step = max(volts) - min(volts), calibration.volt_per_count(1)
    if span < LEAST_COUNTS * step:
        found += (
            f"all loads move the reading by {span:.3g} V, {span / step:.2g} steps of the "
            f"converter; at least {LEAST_COUNTS:g} are needed: are the readings in V, not mV, or "
            "is the gain too low?",
        )
    return found


def accepted_by(calibration: Calibration) -> str:
    """Who accepted it, from "NAME: REASON"; "" if name or reason is missing."""
    name, _, reason = calibration.accepted.partition(":")
    return signed(name) if signed(reason) else ""


def refuse_doubtful(doubts: Sequence[str]) -> None:
    """Refuse a calibration that is neither plausible nor accepted.

    Raises
    ------
    CalibrationError
        Lists all doubts.
    """
    if doubts:
        raise CalibrationError(f"do not rely on these forces; calibration: {'; '.join(doubts)}")


def _compared(
    slope: float, other: float, whose: str, band: float, its: str = "its slope is"
) -> tuple[str, ...]:
    ratio = slope / other
    if abs(ratio - 1.0) <= band + 1e-9:
        return ()
    hint = next(
        (
            f"perhaps {text}"
            for known, text in RATIOS
            if abs(math.log(ratio / known)) <= UNIT_WITHIN
        ),
        "check gain, excitation, cell and units",
    )
    return (f"{its} {slope:.5g} N/V, but {whose} {other:.5g} N/V: {_times(ratio, band)}; {hint}",)


def _times(ratio: float, band: float) -> str:
    """How far a slope is off, and what is allowed."""
    if 0.5 < ratio < 2.0:
        off = shown(100 * (ratio - 1.0), "%", (100 * band,))
        return f"{off.signed}, {off.level()} is allowed"
    return f"{ratio:.4g} times as much, {100 * band:.0f} % is allowed"
