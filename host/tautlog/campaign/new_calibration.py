"""New calibration: what points become in a campaign, with all that its user must know.

Terminal and desk make and describe calibrations here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tautlog.calibrate.calibrating import Calibrated, Point, calibrate
from tautlog.calibrate.validity import validity
from tautlog.campaign.calibrations import scale_unchecked
from tautlog.campaign.campaign import Campaign
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.timestamp import today


def new_calibration(
    campaign: Campaign | None,
    points: Sequence[Point],
    base: Calibration,
    *,
    degree: int | None = None,
    day: str | None = None,
    note: str = "",
    units: Units | None = None,
) -> Calibrated:
    """Make a calibration from points; nothing is kept.

    Parameters
    ----------
    campaign : Campaign or None
        Gives planned force and data sheets; see `Campaign.for_channel` for another leg.
    points, base, degree, note : ...
        As for `calibrate`.
    day : str or None
        Its day; None for today.
    units : Units or None
        Units of display; None for those of the campaign.

    Raises
    ------
    CalibrationError
        If the points give no calibration.
    """
    made = calibrate(
        list(points),
        base,
        degree=degree,
        planned_n=campaign.setup.upper_n if campaign else None,
        data_sheet_newton_per_volt=campaign.promised_newton_per_volt if campaign else None,
        date=day or today(),
        note=note,
        units=units or (campaign.units if campaign else SI),
    )
    more = _warnings(campaign, made)
    return replace(made, warnings=(*made.warnings, *more), said=(*made.said, *more))


def _warnings(campaign: Campaign | None, made: Calibrated) -> list[str]:
    """What will matter when it is used: its age, and whether its scale is checked."""
    age = [check.text for check in validity(made.calibration, today()) if check.refuses]
    unchecked = scale_unchecked(campaign)
    return age + ([unchecked] if unchecked else [])


def told(made: Calibrated, units: Units = SI) -> list[str]:
    """Slope, range, uncertainty and spread of a calibration, one line of words each.

    The slope stays in N/V.
    """
    calibration = made.calibration
    curve = f", curvature {calibration.newton_per_square_volt:.4g} N/V2" if made.degree == 2 else ""
    share = 100 * made.budget.expanded_u / calibration.range_n
    top = units.text(calibration.range_n, "N")
    lines = [
        f"{calibration.newton_per_volt:.6g} N/V{curve}, covered to {top}",
        f"U = {units.text(made.budget.expanded_u, 'N', '.3g')} at {top} = {share:.2g} % "
        f"(k = {made.budget.coverage_factor:.3g}); {100 * calibration.expanded_u_fraction:.2g} % "
        f"of any force and {units.text(calibration.expanded_u_n, 'N', '.2g')} (k = 2)",
    ]
    for name in ("hysteresis", "repeatability", "zero_return"):
        value = getattr(made, f"{name}_fraction")
        text = "not known" if value is None else f"{100 * value:.3f} % of the range"
        lines.append(f"{name.replace('_', ' ')}: {text}")
    return lines


def residuals_head(units: Units = SI) -> tuple[str, ...]:
    """Names of the columns of `residual_rows`."""
    force = units.of("N").name
    return ("run", f"load, {force}", "volt", f"residual, {force}", "% of range")


def residual_rows(made: Calibrated, units: Units = SI) -> list[tuple[str, str, str, str, str]]:
    """One row for each point, under `residuals_head`."""
    range_n = made.calibration.range_n
    return [
        (
            str(point.run),
            units.number(point.load_n, "N", ".3f"),
            f"{point.volt:.6g}",
            units.number(left, "N", "+.3g"),
            f"{100 * left / range_n:+.3f}",
        )
        for point, left in zip(made.points, made.fit.residuals, strict=True)
    ]
