"""Picture: one drop, for a crew that stands around a laptop.

Every line carries its name; nothing is told by
colour alone.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from tautlog.analysis.verdict_words import quick_look
from tautlog.display.views import TIMES, Panel, View
from tautlog.errors import RecordError
from tautlog.files.new_file import new_file
from tautlog.model.force_curve import ForceCurve
from tautlog.model.origin import MARK, REHEARSED

if TYPE_CHECKING:  # the plan is heavy
    from tautlog.planning.expected import Expected

FloatArray = npt.NDArray[np.float64]

# Dark ink for what was measured, two patterned bands for what was wanted.
INK = "#1b2a41"
_FAINT = "#9aa5b1"
TARGET = "#2a7f62"
LIMIT = "#a63d2f"
_POINTS = 4000  # a trace is drawn as its envelope beyond this


def draw(
    curve: ForceCurve, marks: Mapping[str, Any], title: str, expected: Expected | None = None
) -> Figure:
    """Draw a record.

    Parameters
    ----------
    curve : ForceCurve
        What the marks were taken from.
    marks : mapping
        The object that ``tautlog mark --json`` prints.
    title : str
        What stands on top.
    expected : Expected or None
        The predicted pull, drawn as a band behind the measured one.

    Returns
    -------
    Figure
        11 x 7.5 inches, not shown and not saved.
    """
    figure = Figure(figsize=(11.0, 7.5), layout="constrained")
    FigureCanvasAgg(figure)
    head, contact, whole = figure.subplots(3, 1, height_ratios=[1.5, 4.2, 1.8])
    _head(head, marks, title)
    _contact(contact, curve, marks, expected)
    _whole(whole, curve, marks)
    if marks.get("origin") == REHEARSED:
        _stamp(figure)
    return figure


def _stamp(figure: Figure) -> None:
    """Across the curves, so that nobody takes a rehearsal for a drop."""
    look: dict[str, Any] = {"ha": "center", "va": "center", "rotation": 18, "alpha": 0.22}
    figure.text(0.5, 0.42, MARK, fontsize=84, weight="bold", color=LIMIT, **look)


def draw_prediction(
    time_s: FloatArray,
    force_n: FloatArray,
    figures: Mapping[str, Any],
    title: str,
) -> Figure:
    """Draw a predicted pull.

    Parameters
    ----------
    time_s, force_n : ndarray of float64, shape (n,)
        Time since the line comes taut, and force.
    figures : mapping
        The object that ``tautlog plan --json`` prints.
    title : str
        What stands on top.
    """
    figure = Figure(figsize=(9.0, 5.5), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    low, high, peak = (float(figures[f"peak_{name}_n"]) for name in ("low", "high", "force"))
    top_ms = 1e3 * float(time_s[int(np.argmax(force_n))])
    axes.fill_between(
        1e3 * time_s,
        force_n * (low / peak),
        force_n * (high / peak),
        color=_FAINT,
        alpha=0.35,
        lw=0,
        label=f"band of the prediction, {low:.0f} to {high:.0f} N at the peak",
    )
    axes.plot(1e3 * time_s, force_n, color=INK, lw=1.8, label="predicted force")
    axes.annotate(
        f"{peak:.0f} N",
        (top_ms, peak),
        xytext=(0, 6),
        textcoords="offset points",
        ha="center",
        color=INK,
    )
    for name, colour, style in (("target", TARGET, "--"), ("limit", LIMIT, "-.")):
        value = figures.get(f"{name}_force_n")
        if value:
            axes.axhline(value, color=colour, lw=1.2, ls=style, label=f"{name} {value:.0f} N")
    axes.set_xlabel("time since the line comes taut, ms")
    axes.set_ylabel("force, N")
    axes.set_ylim(0.0, 1.15 * max(high, figures.get("limit_force_n") or 0.0))
    axes.set_title(title, fontsize=10, color=INK, loc="left")
    axes.legend(loc="upper right", fontsize=8.5, framealpha=0.9)
    axes.grid(alpha=0.25)
    return figure


def draw_residuals(loads_n: FloatArray, percent: FloatArray, title: str) -> Figure:
    """Draw what a calibration leaves, in per cent of the range over load, in their order."""
    figure = Figure(figsize=(8.0, 4.5), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    axes.axhline(0.0, color=_FAINT, lw=1.0)
    axes.plot(loads_n, percent, color=_FAINT, lw=0.8)
    rising = np.concatenate([[True], np.diff(loads_n) >= 0])
    for way, marker, name in ((rising, "^", "load going up"), (~rising, "v", "coming down")):
        axes.plot(loads_n[way], percent[way], marker, ms=7, color=INK, label=name, ls="none")
    axes.set_xlabel("load, N")
    axes.set_ylabel("residual, % of range")
    axes.set_title(title, fontsize=9.5, color=INK, loc="left")
    axes.legend(fontsize=8.5)
    axes.grid(alpha=0.25)
    return figure


# Curves that lie over one another, told apart by dashes as well.
_STYLES = ("-", "--", "-.", ":")
_HUES = ("#1b2a41", "#a63d2f", "#2a7f62", "#7a5195", "#b8860b")


def draw_view(view: View) -> Figure:
    """Draw a view, for paper."""
    count = len(view.panels)
    figure = Figure(figsize=(10.0, 6.0 if count == 1 else 7.5), layout="constrained")
    FigureCanvasAgg(figure)
    places = figure.subplots(count, 1, squeeze=False).ravel()
    for axes, panel in zip(places, view.panels, strict=True):
        put_panel(axes, panel)
    places[0].set_title(_literal(view.title), fontsize=10, color=INK, loc="left")
    return figure


def put_panel(axes: Axes, panel: Panel) -> list[Line2D]:
    """Put a panel on axes: curves told apart by dashes and colour, and named.

    Returns
    -------
    list of Line2D
        One for each curve, in their order.
    """
    lines = []
    plain = 0
    for curve in panel.curves:
        look: dict[str, Any] = {"color": _FAINT, "lw": 0.8}
        if not curve.faint:
            look = {"color": _HUES[plain % len(_HUES)], "ls": _STYLES[plain % len(_STYLES)]}
            look["lw"] = 1.6
            plain += 1
        lines += axes.plot(*thinned(curve.x, curve.y), label=_literal(curve.name), **look)
    axes.margins(x=0.0 if all(curve.goes_on for curve in panel.curves) else 0.03)
    if panel.x_log:
        axes.set_xscale("log")
    if panel.y_log:
        axes.set_yscale("log")
    for name, level in panel.levels:
        axes.axhline(level, color=_FAINT, lw=1.2, ls=(0, (6, 3, 1, 3)))
        axes.annotate(
            _literal(name),
            (1.0, level),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="bottom",
            fontsize=8.5,
        )
    for number, (name, time_s) in enumerate(panel.times):
        _upright(axes, name, time_s, top=0.985 - 0.13 * (number % 3))
    if panel.levels and not panel.y_log:
        top = 1.1 * max(level for _, level in panel.levels)
        axes.set_ylim(top=max(axes.get_ylim()[1], top))
    axes.set_xlabel(_labelled(panel.x))
    axes.set_ylabel(_labelled(panel.y))
    axes.grid(alpha=0.25)
    axes.legend(fontsize=8.5, framealpha=0.9)
    return lines


def _labelled(named: tuple[str, str]) -> str:
    return ", ".join(part for part in named if part)


def thinned(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What is drawn of a curve: all samples, or smallest and largest of each of many bins."""
    per_bin = x.size // (_POINTS // 2)
    if per_bin < 2:
        return x, y
    bins = x.size // per_bin
    table = y[: bins * per_bin].reshape(bins, per_bin)
    values = np.stack([np.fmin.reduce(table, 1), np.fmax.reduce(table, 1)], axis=1).ravel()
    return np.repeat(x[per_bin // 2 : bins * per_bin : per_bin], 2), values


def _literal(text: str) -> str:
    """Text in which no $ begins a formula."""
    return text.replace("$", r"\$")


def fonts_folder() -> Path:
    """Where the letters lie that pictures are written in."""
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def save(figure: Figure, path: Path) -> None:
    """Write a picture to a new file, in the format of its ending.

    Raises
    ------
    RecordExistsError
        If the file exists.
    RecordError
        If it cannot be written, or the ending names no picture format.
    """
    # In memory first: not every format of the library bears a disk that refuses.
    drawn = io.BytesIO()
    with new_file(path) as draft:
        try:
            figure.savefig(drawn, dpi=130, format=path.suffix[1:] or "none")
        except ValueError as problem:
            raise RecordError(f"{path} cannot be written: {problem}", path=str(path)) from problem
        draft.write_bytes(drawn.getvalue())


def _number(value: object, form: str) -> str:
    return "-" if value is None else format(value, form)


def _newton(value: float | None) -> str:
    # Rounded first: a little below zero is no "-0".
    return "-" if value is None else f"{round(value) + 0:,d} N".replace(",", " ")


def _ms(value: float | None) -> str:
    return "-" if value is None else f"{1e3 * value:.1f} ms"


def _head(axes: Axes, marks: Mapping[str, Any], title: str) -> None:
    axes.set_axis_off()
    axes.text(0.0, 1.06, _literal(title), fontsize=9, color=INK, va="top")
    places = (0.92, 0.76, 0.60, 0.34, 0.18)
    for number, (line, place) in enumerate(zip(quick_look(marks), places, strict=True)):
        load = number == 2  # which is what is read from afar
        axes.text(
            0.0,
            place,
            _literal(textwrap.shorten(line, 110 if load else 150, placeholder=" ...")),
            fontsize=17 if load else 11,
            weight="bold" if load else "normal",
            color=INK,
            va="top",
        )
    figures = (
        f"duration {_ms(marks.get('duration_s'))}   rise {_ms(marks.get('rise_time_s'))}   "
        f"impulse {_number(marks.get('impulse_ns'), '.1f')} N s   "
        f"unfiltered {_newton(marks.get('peak_force_unfiltered_n'))}   "
        f"rest {_newton(marks.get('rest_force_n'))}   bounces {_number(marks.get('bounces'), 'd')}"
        f"   impulse closure {_number(marks.get('impulse_closure'), '.3f')}"
    )
    axes.text(0.0, 0.01, figures, fontsize=9.5, color=INK, va="top")


def _contact(
    axes: Axes, curve: ForceCurve, marks: Mapping[str, Any], expected: Expected | None
) -> None:
    """The contact that was measured, large."""
    first_s, last_s = _window(curve, marks)
    onset_s = marks.get("onset_time_s")
    if expected is not None and onset_s is not None:
        axes.fill_between(
            1e3 * (expected.since_onset_s + onset_s - first_s),
            expected.low_n,
            expected.high_n,
            facecolor="none",
            edgecolor=_FAINT,
            hatch="....",
            lw=0.8,
            label=expected.text,
        )
    raw_s, raw_n = _span(curve.unfiltered_n, curve.sample_rate_hz, first_s, last_s)
    axes.plot(1e3 * (raw_s - first_s), raw_n, color=_FAINT, lw=0.8, label="unfiltered")
    if curve.cfc:
        time_s, line_n = _span(curve.force_n, curve.sample_rate_hz, first_s, last_s)
        axes.plot(1e3 * (time_s - first_s), line_n, color=INK, lw=1.8, label=curve.name)
    _bands(axes, marks, raw_n)
    axes.set_xlim(0.0, 1e3 * (last_s - first_s))
    axes.set_ylabel("force, N")
    axes.set_xlabel(f"ms, from {first_s:.3f} s of the trace")
    _mark_peak(axes, curve, first_s, marks)
    _mark_duration(axes, curve, first_s, marks)
    _mark_times(axes, first_s, last_s, marks)
    axes.grid(alpha=0.25)
    axes.legend(loc="center right", fontsize=8, framealpha=0.9)


def _window(curve: ForceCurve, marks: Mapping[str, Any]) -> tuple[float, float]:
    """Span of the measured contact with a third of it on either side."""
    end_s = curve.force_n.size / curve.sample_rate_hz
    onset_s, slack_s = marks.get("onset_time_s"), marks.get("slack_time_s")
    if onset_s is None:
        return 0.0, max(end_s, 1.0 / curve.sample_rate_hz)
    slack_s = slack_s if slack_s is not None else end_s
    margin_s = max(0.35 * (slack_s - onset_s), 2.0 / curve.sample_rate_hz)
    return max(onset_s - margin_s, 0.0), min(slack_s + margin_s, end_s)


def _span(
    force_n: FloatArray, rate_hz: float, first_s: float, last_s: float
) -> tuple[FloatArray, FloatArray]:
    """Times and values to draw of a part of a trace."""
    low = max(int(first_s * rate_hz), 0)
    high = max(int(np.ceil(last_s * rate_hz)) + 1, low + 1)
    part = force_n[low:high]
    return thinned((low + np.arange(part.size)) / rate_hz, part)


def _bands(axes: Axes, marks: Mapping[str, Any], drawn_n: FloatArray) -> None:
    """Target and limit, each with its name."""
    target_n, limit_n = marks.get("target_force_n"), marks.get("limit_force_n")
    highest = [value for value in (target_n, limit_n) if value is not None]
    finite = drawn_n[np.isfinite(drawn_n)]
    top_n = 1.22 * max([*highest, float(finite.max()) if finite.size else 1.0, 1.0])
    low_n = min(float(finite.min()) if finite.size else 0.0, 0.0)
    axes.set_ylim(1.1 * low_n - 0.04 * top_n, top_n)
    if target_n is not None:
        axes.axhline(target_n, color=TARGET, lw=1.2, ls="--")
        axes.annotate(
            f"target {_newton(target_n)}",
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
            f"limit {_newton(limit_n)}, overload above",
            (0.006, limit_n),
            xycoords=("axes fraction", "data"),
            va="bottom",
            fontsize=9,
            color=LIMIT,
            xytext=(0, 2),
            textcoords="offset points",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1},
        )
    if target_n is not None and limit_n is not None:
        axes.axhspan(target_n, limit_n, facecolor=TARGET, alpha=0.12)


def _mark_peak(axes: Axes, curve: ForceCurve, first_s: float, marks: Mapping[str, Any]) -> None:
    """A marker on the curve, its bar from one end of the stated interval to the other."""
    peak_n, peak_s = marks.get("peak_force_n"), marks.get("peak_time_s")
    if peak_n is None or peak_s is None:
        return
    at_ms = 1e3 * (peak_s - first_s)
    read_n, spread = curve.at(peak_s), marks.get("peak_force_expanded_u_n")
    bar = None
    if spread is not None:
        bar = [[max(spread - peak_n + read_n, 0.0)], [max(spread + peak_n - read_n, 0.0)]]
    axes.errorbar([at_ms], [read_n], yerr=bar, fmt="v", ms=7, color=INK, capsize=5)
    axes.annotate(
        f"peak {_newton(peak_n)}",
        (at_ms, read_n),
        xytext=(10, 12),
        textcoords="offset points",
        fontsize=10,
        weight="bold",
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.6, "pad": 1},
    )


def _mark_duration(axes: Axes, curve: ForceCurve, first_s: float, marks: Mapping[str, Any]) -> None:
    """An arrow as long as the duration, at 10 % of the peak."""
    duration_s, peak_s = marks.get("duration_s"), marks.get("peak_time_s")
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
        f"duration {_ms(duration_s)}, above 10 % of the peak",
        (start_ms + 500 * duration_s, 0.1 * peak_n),
        xytext=(0, 5),
        textcoords="offset points",
        ha="center",
        fontsize=9,
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1},
    )


def _mark_times(axes: Axes, first_s: float, last_s: float, marks: Mapping[str, Any]) -> None:
    """Upright lines with names at the times that lie inside the axes."""
    for key, name in TIMES.items():
        at_s = marks.get(key)
        if at_s is None or not first_s <= at_s <= last_s:
            continue
        scale, zero = (1e3, first_s) if axes.get_xlabel().startswith("ms") else (1.0, 0.0)
        _upright(axes, name, scale * (at_s - zero))


def _upright(axes: Axes, name: str, at: float, top: float = 0.985) -> None:
    """An upright line with its name, which ends at a part of the height."""
    axes.axvline(at, color=INK, lw=0.9, ls=":")
    axes.annotate(
        name,
        (at, top),
        xycoords=("data", "axes fraction"),
        rotation=90,
        fontsize=9,
        ha="right",
        va="top",
        color=INK,
        annotation_clip=True,
    )


def _whole(axes: Axes, curve: ForceCurve, marks: Mapping[str, Any]) -> None:
    """The whole record, small."""
    end_s = curve.force_n.size / curve.sample_rate_hz
    time_s, line_n = _span(curve.force_n, curve.sample_rate_hz, 0.0, end_s)
    axes.plot(time_s, line_n, color=INK, lw=0.8)
    axes.set_xlim(0.0, max(end_s, 1.0 / curve.sample_rate_hz))
    axes.set_xlabel("s, from the start of the trace")
    axes.set_ylabel("force, N")
    rest_n = marks.get("rest_force_n")
    if rest_n is not None:
        axes.axhline(rest_n, color=_FAINT, lw=1.0, ls="--")
        axes.annotate(
            f"rest {_newton(rest_n)}",
            (0.995, rest_n),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="bottom",
            fontsize=9,
            color=INK,
        )
    _mark_times(
        axes,
        0.0,
        end_s,
        {"release_time_s": marks.get("release_time_s"), "onset_time_s": marks.get("onset_time_s")},
    )
    axes.grid(alpha=0.25)
