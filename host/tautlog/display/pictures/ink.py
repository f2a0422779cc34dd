"""Ink: colours, words and lines common to all pictures.

Every line has a name; nothing is shown by colour alone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tautlog.analysis.thinning import thinned

FloatArray = npt.NDArray[np.float64]

# Dark ink for measured values, two patterned bands for target and limit.
INK = "#1b2a41"
FAINT = "#9aa5b1"
TARGET = "#2a7f62"
LIMIT = "#a63d2f"
PLAIN_GROUND = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1}
POINTS = 4000  # a longer curve is drawn by its extremes


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty figure, not shown and not saved."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def few(x: FloatArray, y: FloatArray, most: int = POINTS) -> tuple[FloatArray, FloatArray]:
    """The points to draw of a curve."""
    places = thinned(y, most)
    return x[places], y[places]


def upright(axes: Axes, name: str, at: float, top: float = 0.985) -> None:
    """Draw a vertical line and its name; the name ends at a fraction of the height."""
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


def literal(text: str) -> str:
    """Text with its $ escaped, so that none begins a formula."""
    return text.replace("$", r"\$")


def newton(value: float | None) -> str:
    """A force in whole newtons, to read from a distance."""
    # Round first: a value just below zero must not give "-0".
    return "-" if value is None else f"{round(value) + 0:,d} N".replace(",", " ")


def millisecond(value_s: float | None) -> str:
    """A time in milliseconds, to read from a distance."""
    return "-" if value_s is None else f"{1e3 * value_s:.1f} ms"
