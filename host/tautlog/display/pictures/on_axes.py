"""On axes: draws the first pull of a drop on the caller's axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tautlog.model.display_units import SI, Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from tautlog.model.force_curve import ForceCurve
    from tautlog.model.marks import Marks

ROUND = 0.6  # shown before and after the contact, in lengths of the contact


def draw_pull(
    axes: Axes, curve: ForceCurve, marks: Marks, label: str = "", units: Units = SI
) -> None:
    """Draw force against time since onset, with target, limit and peak.

    Parameters
    ----------
    axes : Axes
        Axes of matplotlib.
    curve : ForceCurve
        The curve behind the marks.
    marks : Marks
        Figures of the drop.
    label : str
        Text for the legend; default: the class.
    units : Units
        Units of display.
    """
    # Imported late: the caller has imported matplotlib.
    from tautlog.display.pictures.ink import unit_axis

    time_s, force_n = curve.time_s, curve.force_n
    origin_s = marks.onset_time_s or 0.0
    if marks.onset_time_s is not None and marks.slack_time_s is not None:
        span_s = marks.slack_time_s - marks.onset_time_s
        first, last = origin_s - ROUND * span_s, marks.slack_time_s + ROUND * span_s
        shown = (time_s >= first) & (time_s <= last)
        time_s, force_n = time_s[shown], force_n[shown]
    axes.plot(1e3 * (time_s - origin_s), force_n, label=label or curve.name)
    for name, level_n, style in (
        ("target", marks.target_force_n, "--"),
        ("limit", marks.limit_force_n, ":"),
    ):
        if level_n is not None and not _is_drawn(axes, name, level_n):
            axes.axhline(level_n, linestyle=style, linewidth=0.8, color="0.4", label=name)
    if marks.peak_force_n is not None and marks.peak_time_s is not None:
        axes.plot([1e3 * (marks.peak_time_s - origin_s)], [marks.peak_force_n], "k+", ms=10)
    axes.set_xlabel("time since onset, ms")
    unit_axis(axes.yaxis, "force", units)


def _is_drawn(axes: Axes, name: str, level_n: float) -> bool:
    """Whether the same level of another drop is already drawn."""
    return any(
        line.get_label() == name and np.allclose(np.asarray(line.get_ydata(), float), level_n)
        for line in axes.get_lines()
    )
