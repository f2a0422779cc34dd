"""Contact: the measured pull with its figures, as one part of a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes

from tautlog.archive.assessment import Assessment
from tautlog.display.pictures.ink import (
    FAINT,
    INK,
    LIMIT,
    PLAIN_GROUND,
    POINTS,
    TARGET,
    FloatArray,
    few,
    millisecond,
    unit_axis,
    upright,
)
from tautlog.display.views import TIMES
from tautlog.model.force_curve import ForceCurve
from tautlog.model.marks import Marks

if TYPE_CHECKING:  # the plan is heavy
    from tautlog.planning.expected import Expected

LEG_DASHES = ("--", "-.", ":")  # told apart without colour


def put_contact(
    axes: Axes, drop: Assessment, expected: Expected | None, points: int = POINTS
) -> None:
    """Draw the measured contact on axes, with its prediction behind it."""
    curve, marks = drop.curve, drop.marks
    first_s, last_s = _window(curve, marks)
    raw_s, raw_n = span(curve, curve.unfiltered_n, (first_s, last_s), points)
    axes.plot(1e3 * (raw_s - first_s), raw_n, color=FAINT, lw=0.8, label="unfiltered")
    if curve.cfc:
        time_s, line_n = span(curve, curve.force_n, (first_s, last_s), points)
        axes.plot(1e3 * (time_s - first_s), line_n, color=INK, lw=1.8, label=curve.name)
    _legs(axes, drop, (first_s, last_s), points)
    _bands(axes, drop, raw_n)
    axes.set_xlim(0.0, 1e3 * (last_s - first_s))
    if expected is not None and marks.onset_time_s is not None:
        _expect(axes, expected, 1e3 * (marks.onset_time_s - first_s))
    unit_axis(axes.yaxis, "force", drop.units)
    axes.set_xlabel(f"time from {first_s:.3f} s of the trace, ms{_since_release(first_s, marks)}")
    _mark_peak(axes, curve, first_s, drop)
    _mark_duration(axes, curve, first_s, marks)
    for key, name in TIMES.items():
        at_s = getattr(marks, key)
        if at_s is not None and first_s <= at_s <= last_s:
            upright(axes, name, 1e3 * (at_s - first_s))
    axes.grid(alpha=0.25)
    axes.legend(loc="center right", fontsize=8, framealpha=0.9)


def _legs(axes: Axes, drop: Assessment, ends_s: tuple[float, float], points: int) -> None:
    """Draw each leg in its own dashes below the sum."""
    legs = drop.beside.legs
    for number, leg in enumerate(legs.legs if legs else ()):
        curve = None if leg.marks is None else leg.marks.curve
        if curve is None:
            continue
        time_s, leg_n = span(curve, curve.force_n, ends_s, points)
        dashes = LEG_DASHES[number % len(LEG_DASHES)]
        axes.plot(1e3 * (time_s - ends_s[0]), leg_n, color=INK, lw=1.1, ls=dashes, label=leg.name)


def _expect(axes: Axes, expected: Expected, onset_ms: float) -> None:
    """Draw a band behind the curve, clipped to the axes: a PDF does not clip it."""
    at_ms = 1e3 * expected.since_onset_s + onset_ms
    (first_ms, last_ms), ends_n = axes.get_xlim(), axes.get_ylim()
    seen = (at_ms >= first_ms) & (at_ms <= last_ms)
    axes.fill_between(
        at_ms[seen],
        np.clip(expected.low_n[seen], *ends_n),
        np.clip(expected.high_n[seen], *ends_n),
        facecolor=(FAINT, 0.22),
        edgecolor=FAINT,
        ls=":",
        lw=1.4,
        label=expected.text,
    )


def _since_release(at_s: float, marks: Marks) -> str:
    if marks.release_time_s is None:
        return ""
    since_s = at_s - marks.release_time_s
    return f" ({abs(since_s):.3f} s {'before' if since_s < 0 else 'after'} the release)"


def _window(curve: ForceCurve, marks: Marks) -> tuple[float, float]:
    """Span of the measured contact with a third of its length on either side."""
    begins_s, end_s = curve.begins_s, curve.ends_s
    onset_s, slack_s = marks.onset_time_s, marks.slack_time_s
    if onset_s is None:
        return begins_s, max(end_s, begins_s + 1.0 / curve.sample_rate_hz)
    slack_s = slack_s if slack_s is not None else end_s
    margin_s = max(0.35 * (slack_s - onset_s), 2.0 / curve.sample_rate_hz)
    return max(onset_s - margin_s, begins_s), min(slack_s + margin_s, end_s)


def span(
    curve: ForceCurve, force_n: FloatArray, ends_s: tuple[float, float], points: int = POINTS
) -> tuple[FloatArray, FloatArray]:
    """Times and values to draw for a part of a trace: of a curve, or of its unfiltered force."""
    low = max(int(curve.place_of(ends_s[0])), 0)
    high = max(int(np.ceil(curve.place_of(ends_s[1]))) + 1, low + 1)
    part = force_n[low:high]
    time_s = curve.begins_s + (low + np.arange(part.size)) / curve.sample_rate_hz
    return few(time_s, part, points)


def _bands(axes: Axes, drop: Assessment, drawn_n: FloatArray) -> None:
    """Draw target and limit, each with its name."""
    marks, texts = drop.marks, drop.shown_levels
    target_n, limit_n = marks.target_force_n, marks.limit_force_n
    highest = [value for value in (target_n, limit_n) if value is not None]
    finite = drawn_n[np.isfinite(drawn_n)]
    top_n = 1.22 * max([*highest, float(finite.max()) if finite.size else 1.0, 1.0])
    low_n = min(float(finite.min()) if finite.size else 0.0, 0.0)
    axes.set_ylim(1.1 * low_n - 0.04 * top_n, top_n)
    if target_n is not None:
        axes.axhline(target_n, color=TARGET, lw=1.2, ls="--")
        axes.annotate(
            f"target {texts['target']}",
            (0.006, target_n),
            xycoords=("axes fraction", "data"),
            va="bottom" if limit_n is None else "top",
            fontsize=9,
            color=TARGET,
            xytext=(0, -2),
            textcoords="offset points",
        )
    if limit_n is not None:
        axes.axhline(limit_n, color=LIMIT, lw=1.2, ls="-.")
        axes.axhspan(limit_n, top_n, facecolor="none", edgecolor=LIMIT, alpha=0.25, hatch="//")
        axes.annotate(
            f"limit {texts['limit']}, overload above",
            (0.006, limit_n),
            xycoords=("axes fraction", "data"),
            va="bottom",
            fontsize=9,
            color=LIMIT,
            xytext=(0, 2),
            textcoords="offset points",
            bbox=PLAIN_GROUND,
        )
    if target_n is not None and limit_n is not None:
        axes.axhspan(target_n, limit_n, facecolor=TARGET, alpha=0.12)


def _mark_peak(axes: Axes, curve: ForceCurve, first_s: float, drop: Assessment) -> None:
    """Mark the peak on the curve, with a bar over the whole stated interval."""
    marks, shown = drop.marks, drop.shown(drop.marks)
    peak_n, peak_s = marks.peak_force_n, marks.peak_time_s
    if peak_n is None or peak_s is None or shown is None:
        return
    at_ms = 1e3 * (peak_s - first_s)
    read_n, spread = curve.at(peak_s), marks.peak_force_expanded_u_n
    bar = None
    if spread is not None:
        bar = [[max(spread - peak_n + read_n, 0.0)], [max(spread + peak_n - read_n, 0.0)]]
    axes.errorbar([at_ms], [read_n], yerr=bar, fmt="v", ms=7, color=INK, capsize=5)
    axes.annotate(
        f"peak {shown.text}",
        (at_ms, read_n),
        xytext=(10, 12),
        textcoords="offset points",
        fontsize=10,
        weight="bold",
        color=INK,
        bbox={**PLAIN_GROUND, "alpha": 0.6},
    )


def _mark_duration(axes: Axes, curve: ForceCurve, first_s: float, marks: Marks) -> None:
    """Draw an arrow as long as the duration, at 10 % of the peak."""
    duration_s, peak_s = marks.duration_s, marks.peak_time_s
    if duration_s is None or peak_s is None or curve.duration_from_s is None:
        return
    peak_n = curve.at(peak_s)
    start_ms = 1e3 * (curve.duration_from_s - first_s)
    axes.annotate(
        "",
        (start_ms, 0.1 * peak_n),
        (start_ms + 1e3 * duration_s, 0.1 * peak_n),
        arrowprops={"arrowstyle": "<->", "color": INK, "lw": 1.2, "shrinkA": 0, "shrinkB": 0},
    )
    axes.annotate(
        f"duration {millisecond(duration_s)}, above 10 % of the peak",
        (start_ms + 500 * duration_s, 0.1 * peak_n),
        xytext=(0, 5),
        textcoords="offset points",
        ha="center",
        fontsize=9,
        color=INK,
        bbox=PLAIN_GROUND,
    )
