"""Plan words: a plan in words, the same in a terminal and on a page."""

from __future__ import annotations

from tautlog.model.display_units import SI, Units
from tautlog.model.shown import shown_force
from tautlog.planning.ladder import Step
from tautlog.planning.odds import Odds
from tautlog.planning.plan import Plan

FRICTION_UNKNOWN = "the friction is not known: the band reaches lower for that"


def drop_text(planned: Plan) -> str:
    """What falls, from which height, on which line, and what was solved for."""
    drop, line, units = planned.drop, planned.drop.line, planned.units
    found = f" (found: {planned.solved})" if planned.solved else ""
    if planned.length_m is not None:
        found = f" (found: {units.text(planned.length_m, 'm', '.3f')} of line)"
    return (
        f"{units.text(drop.mass_kg, 'kg', '.4g')} from {units.text(drop.height_m, 'm', '.3f')} on "
        f"{line.name}, {units.text(line.stiffness_n_per_m, 'N/m', '.5g')}{found}"
    )


def figure_rows(planned: Plan) -> tuple[tuple[str, str, str], ...]:
    """What the drop will do: name, value and remark of each figure."""
    predicted, line, units = planned.prediction, planned.drop.line, planned.units
    levels_n = planned.target_n, planned.upper_n
    return (
        (
            "peak",
            shown_force(predicted.peak_force_n, None, levels_n, units).text,
            f"{units.band(predicted.peak_low_n, predicted.peak_high_n, 'N')}, k = 2 and bedding-in "
            f"(+{100 * line.may_stiffen:.0f} % of stiffness)",
        ),
        ("duration", f"{1000 * predicted.duration_s:.1f} ms", "above 10 % of the peak"),
        ("rise", f"{1000 * predicted.rise_time_s:.1f} ms", "10 to 90 %"),
        ("taut to slack", f"{1000 * predicted.base_duration_s:.1f} ms", ""),
        ("stretch", units.text(1000 * predicted.stretch_m, "mm"), "of line and rig"),
        (
            "speed",
            units.text(predicted.taut_speed_m_s, "m/s", ".2f"),
            f"after {predicted.fall_time_s:.3f} s of fall",
        ),
        ("energy", units.text(predicted.energy_j, "J"), "of the sled as the line comes taut"),
        ("impulse", units.text(predicted.impulse_ns, "N s", ".1f"), ""),
    )


def ladder_head(units: Units) -> tuple[str, ...]:
    """The columns of `ladder_rows`."""
    force, length, small = (units.of(si).name for si in ("N", "m", "mm"))
    figures = (f"height {length}", f"peak {force}", f"band {force}")
    return ("load", *figures, "duration ms", f"stretch {small}", "purpose")


def ladder_rows(steps: tuple[Step, ...], units: Units = SI) -> list[tuple[str, ...]]:
    """One row for each step, under `ladder_head`."""
    return [
        (
            f"{100 * step.fraction:.0f} %",
            units.number(step.prediction.height_m, "m", ".3f"),
            units.number(step.prediction.peak_force_n, "N"),
            units.number(step.prediction.peak_low_n, "N")
            + f" to {units.number(step.prediction.peak_high_n, 'N')}",
            f"{1000 * step.prediction.duration_s:.0f}",
            units.number(1000 * step.prediction.stretch_m, "mm"),
            step.purpose,
        )
        for step in steps
    ]


def odds_lines(odds: Odds, units: Units = SI) -> tuple[str, ...]:
    """The height that makes a proof most likely, and what to measure better."""
    chance = odds.chance
    best = (
        f"from {units.text(odds.height_m, 'm', '.3f')} a drop proves the target with a chance of "
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
