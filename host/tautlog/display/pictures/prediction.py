"""Prediction: the pull that a plan predicts."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tautlog.display.pictures.ink import (
    FAINT,
    INK,
    LIMIT,
    PLAIN_GROUND,
    TARGET,
    FloatArray,
    new_figure,
    unit_axis,
)
from tautlog.model.display_units import SI, Units
from tautlog.planning.prediction import Prediction


def draw_prediction(
    time_s: FloatArray,
    force_n: FloatArray,
    predicted: Prediction,
    title: str,
    *,
    target_n: float | None = None,
    limit_n: float | None = None,
    units: Units = SI,
) -> Figure:
    """Draw a predicted pull.

    Parameters
    ----------
    time_s, force_n : ndarray of float64, shape (n,)
        Time since the line comes taut, and force.
    predicted : Prediction
        The peak and its band.
    title : str
        Title of the picture.
    target_n, limit_n : float or None
        Target and limit of the drop.
    units : Units
        Units of display.
    """
    figure = new_figure(9.0, 5.5)
    axes = figure.subplots()
    _pull(axes, 1e3 * time_s, force_n, predicted, units)
    levels = (("target", target_n, TARGET, "--"), ("limit", limit_n, LIMIT, "-."))
    for name, level, colour, style in levels:
        if level:
            text = f"{name} {units.text(level, 'N')}"
            axes.axhline(level, color=colour, lw=1.2, ls=style, label=text)
    if target_n and limit_n and limit_n > target_n:
        axes.axhspan(target_n, limit_n, facecolor=TARGET, alpha=0.1)
    axes.set_xlabel("time since the line comes taut, ms")
    unit_axis(axes.yaxis, "force", units)
    axes.set_ylim(0.0, 1.15 * max(predicted.peak_high_n, target_n or 0.0, limit_n or 0.0))
    axes.set_title(title, fontsize=10, color=INK, loc="left")
    axes.legend(loc="upper right", fontsize=8.5, framealpha=0.9)
    axes.grid(alpha=0.25)
    return figure


def _pull(
    axes: Axes, time_ms: FloatArray, force_n: FloatArray, predicted: Prediction, units: Units
) -> None:
    """Draw the force, its band and the value of its peak."""
    low, high, peak = predicted.peak_low_n, predicted.peak_high_n, predicted.peak_force_n
    axes.fill_between(
        time_ms,
        force_n * (low / peak),
        force_n * (high / peak),
        color=FAINT,
        alpha=0.35,
        lw=0,
        label=f"predicted band, {units.band(low, high, 'N')} at the peak",
    )
    axes.plot(time_ms, force_n, color=INK, lw=1.8, label="predicted force")
    axes.annotate(
        units.text(peak, "N"),
        (float(time_ms[int(np.argmax(force_n))]), peak),
        xytext=(0, 6),
        textcoords="offset points",
        ha="center",
        color=INK,
        bbox=PLAIN_GROUND,
    )
