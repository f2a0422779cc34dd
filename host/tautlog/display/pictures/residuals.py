"""Residuals: the residuals of a calibration against load."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from tautlog.display.pictures.ink import FAINT, INK, FloatArray, new_figure


def draw_residuals(loads_n: FloatArray, percent: FloatArray, title: str) -> Figure:
    """Draw the residuals of a calibration in per cent of range, in the order of loading."""
    figure = new_figure(8.0, 4.5)
    axes = figure.subplots()
    axes.axhline(0.0, color=FAINT, lw=1.0)
    axes.plot(loads_n, percent, color=FAINT, lw=0.8)
    rising = np.concatenate([[True], np.diff(loads_n) >= 0])
    for way, marker, name in ((rising, "^", "increasing load"), (~rising, "v", "decreasing load")):
        axes.plot(loads_n[way], percent[way], marker, ms=7, color=INK, label=name, ls="none")
    axes.set_xlabel("load, N")
    axes.set_ylabel("residual, % of range")
    axes.set_title(title, fontsize=9.5, color=INK, loc="left")
    axes.legend(fontsize=8.5)
    axes.grid(alpha=0.25)
    return figure
