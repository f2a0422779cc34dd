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
from tautlog.model.timestamp import today


def new_calibration(
    campaign: Campaign | None,
    points: Sequence[Point],
    base: Calibration,
    *,
    degree: int | None = None,
    day: str | None = None,
    note: str = "",
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
    )
    return replace(made, warnings=(*made.warnings, *_warnings(campaign, made)))


def _warnings(campaign: Campaign | None, made: Calibrated) -> list[str]:
    """What will matter when it is used: its age, and whether its scale is checked."""
    age = [check.text for check in validity(made.calibration, today()) if check.refuses]
    unchecked = scale_unchecked(campaign)
    return age + ([unchecked] if unchecked else [])


def told(made: Calibrated) -> list[str]:
    """Slope, range, uncertainty and spread of a calibration, one line of words each."""
    calibration = made.calibration
    curve = f", curvature {calibration.newton_per_square_volt:.4g} N/V2" if made.degree == 2 else ""
    share = 100 * made.budget.expanded_u / calibration.range_n
    lines = [
        f"{calibration.newton_per_volt:.6g} N/V{curve}, covered to {calibration.range_n:.0f} N",
        f"U = {made.budget.expanded_u:.3g} N at {calibration.range_n:.0f} N = {share:.2g} % "
        f"(k = {made.budget.coverage_factor:.3g}); {100 * calibration.expanded_u_fraction:.2g} % "
        f"of any force and {calibration.expanded_u_n:.2g} N (k = 2)",
    ]
    for name in ("hysteresis", "repeatability", "zero_return"):
        value = getattr(made, f"{name}_fraction")
        text = "not known" if value is None else f"{100 * value:.3f} % of the range"
        lines.append(f"{name.replace('_', ' ')}: {text}")
    return lines


RESIDUALS_HEAD = ("run", "load N", "volt", "residual N", "% of range")


def residual_rows(made: Calibrated) -> list[tuple[str, str, str, str, str]]:
    """One row for each point, under `RESIDUALS_HEAD`."""
    range_n = made.calibration.range_n
    return [
        (
            str(point.run),
            f"{point.load_n:.3f}",
            f"{point.volt:.6g}",
            f"{left:+.3g}",
            f"{100 * left / range_n:+.3f}",
        )
        for point, left in zip(made.points, made.fit.residuals, strict=True)
    ]
