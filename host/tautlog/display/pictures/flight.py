"""Flight: the pull of a drop over that of the flight, with words."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tautlog.archive.assessment import Assessment
from tautlog.display.pictures.drop import stamp
from tautlog.display.pictures.ink import (
    FAINT,
    INK,
    LIMIT,
    TARGET,
    few,
    literal,
    new_figure,
    unit_axis,
)
from tautlog.display.views import NamedDrop, since_onset
from tautlog.planning.against_flight import AgainstFlight

SIZE_IN = (9.0, 4.6)
STAMP_PT = 54


def draw_flight(drop: Assessment, against: AgainstFlight, name: str = "") -> Figure:
    """Draw both pulls since their lines came taut, and what is harder or softer.

    Parameters
    ----------
    drop, against : Assessment, AgainstFlight
        The drop, and what it is laid beside.
    name : str
        Name of the drop, for the title; "" for none.
    """
    figure = new_figure(*SIZE_IN)
    axes, words = figure.subplots(2, 1, height_ratios=[3.4, 1.2])
    put_pulls(axes, drop, against)
    if name:
        axes.set_title(literal(f"{name}: the drop over flight"), fontsize=10, color=INK, loc="left")
    words.set_axis_off()
    for number, text in enumerate(against.texts):
        words.text(0.0, 1.0 - 0.21 * number, literal(text), fontsize=9, color=INK, va="top")
    if drop.rehearsed:
        stamp(figure, STAMP_PT)
    return figure


def put_pulls(axes: Axes, drop: Assessment, against: AgainstFlight) -> None:
    """Draw the measured pull, and the flight with the band of its force."""
    pulse, u = against.pulse, against.u_fraction
    measured = since_onset(NamedDrop("drop", drop))
    if measured is not None:
        x, y = few(measured.x, measured.y)
        axes.plot(1e3 * x, y, color=INK, lw=1.8, label="drop")
    x, y = few(pulse.time_s, pulse.force_n)
    axes.plot(1e3 * x, y, color=LIMIT, lw=1.6, ls="--", label="flight, by its model")
    if u:
        axes.fill_between(
            1e3 * x,
            (1.0 - u) * y,
            (1.0 + u) * y,
            facecolor=(LIMIT, 0.1),
            edgecolor=FAINT,
            ls=":",
            label=f"flight, force +/- {100 * u:.0f} %",
        )
    target_n = drop.loaded.target_force_n
    if target_n:
        text = f"target {drop.units.text(target_n, 'N')}"
        axes.axhline(target_n, color=TARGET, lw=1.2, ls="-.", label=text)
    base_s = drop.marks.base_duration_s or 0.0
    axes.set_xlim(-0.1e3 * base_s, 1e3 * max(1.3 * base_s, float(pulse.time_s[-1])))
    axes.set_xlabel("time since the line came taut, ms")
    unit_axis(axes.yaxis, "force", drop.units)
    axes.grid(alpha=0.25)
    axes.legend(fontsize=8.5, framealpha=0.9, loc="upper right")
