"""Plan words: a plan in words, the same in a terminal and on a page."""

from __future__ import annotations

from tautlog.planning.ladder import Step
from tautlog.planning.odds import Odds
from tautlog.planning.plan import Plan

FRICTION_UNKNOWN = "the friction is not known: the band reaches lower for that"
LADDER_HEAD = ("load", "height m", "peak N", "band N", "duration ms", "stretch mm", "purpose")


def drop_text(planned: Plan) -> str:
    """What falls, from which height, on which line, and what was solved for."""
    drop, line = planned.drop, planned.drop.line
    found = f" (found: {planned.solved})" if planned.solved else ""
    if planned.length_m is not None:
        found = f" (found: {planned.length_m:.3f} m of line)"
    return (
        f"{drop.mass_kg:.4g} kg from {drop.height_m:.3f} m on {line.name}, "
        f"{line.stiffness_n_per_m:.5g} N/m{found}"
    )


def figure_rows(planned: Plan) -> tuple[tuple[str, str, str], ...]:
    """What the drop will do: name, value and remark of each figure."""
    predicted, line = planned.prediction, planned.drop.line
    return (
        (
            "peak",
            f"{predicted.peak_force_n:.0f} N",
            f"{predicted.peak_low_n:.0f} to {predicted.peak_high_n:.0f} N, k = 2 and bedding-in "
            f"(+{100 * line.may_stiffen:.0f} % of stiffness)",
        ),
        ("duration", f"{1000 * predicted.duration_s:.1f} ms", "above 10 % of the peak"),
        ("rise", f"{1000 * predicted.rise_time_s:.1f} ms", "10 to 90 %"),
        ("taut to slack", f"{1000 * predicted.base_duration_s:.1f} ms", ""),
        ("stretch", f"{1000 * predicted.stretch_m:.0f} mm", "of line and rig"),
        (
            "speed",
            f"{predicted.taut_speed_m_s:.2f} m/s",
            f"after {predicted.fall_time_s:.3f} s of fall",
        ),
        ("energy", f"{predicted.energy_j:.0f} J", "of the sled as the line comes taut"),
        ("impulse", f"{predicted.impulse_ns:.1f} N s", ""),
    )


def ladder_rows(steps: tuple[Step, ...]) -> list[tuple[str, ...]]:
    """One row for each step, under `LADDER_HEAD`."""
    return [
        (
            f"{100 * step.fraction:.0f} %",
            f"{step.prediction.height_m:.3f}",
            f"{step.prediction.peak_force_n:.0f}",
            f"{step.prediction.peak_low_n:.0f} to {step.prediction.peak_high_n:.0f}",
            f"{1000 * step.prediction.duration_s:.0f}",
            f"{1000 * step.prediction.stretch_m:.0f}",
            step.purpose,
        )
        for step in steps
    ]


def odds_lines(odds: Odds) -> tuple[str, ...]:
    """The height that makes a proof most likely, and what to measure better."""
    chance = odds.chance
    best = (
        f"from {odds.height_m:.3f} m a drop proves the target with a chance of "
        f"{100 * chance.proves:.0f} %; its peak lies below the target in {100 * chance.below:.0f} %"
        f", above the limit in {100 * chance.above:.0f} %"
    )
    parts = {
        one.name: f"{100 * one.u_fraction:.1f} % of the peak" if one.u_fraction else "one-sided"
        for one in odds.better
    }
    return best, *(
        f"{one.name} ({parts[one.name]}): {100 * one.proves:.0f} % would prove it, were that known "
        "exactly"
        for one in odds.better
    )
