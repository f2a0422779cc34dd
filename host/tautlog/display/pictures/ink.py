"""Ink: colours, words and lines common to all pictures.

Every line has a name; nothing is shown by colour alone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import AutoLocator

from tautlog.analysis.thinning import thinned
from tautlog.model.display_units import Units

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


def force(value_n: float | None, units: Units) -> str:
    """A force with its unit, to read from a distance."""
    return "-" if value_n is None else units.text(value_n, "N")


def unit_axis(axis: Axis, name: str, units: Units, si: str = "N") -> None:
    """Name an axis whose data are SI, and put its ticks at round numbers of the shown unit."""
    unit = units.of(si)
    axis.set_label_text(f"{name}, {unit.name}")
    if unit.size != 1.0:
        axis.set_major_locator(_RoundInUnit(unit.size))
        axis.set_major_formatter(lambda value, _: f"{value / unit.size:.10g}")


class _RoundInUnit(AutoLocator):
    """Ticks at round numbers of a unit."""

    def __init__(self, size: float) -> None:
        super().__init__()
        self._size = size

    def tick_values(self, vmin: float, vmax: float) -> list[float]:
        """The ticks of a span, in the unit of the data."""
        ticks = super().tick_values(vmin / self._size, vmax / self._size)
        return [self._size * tick for tick in ticks]


def millisecond(value_s: float | None) -> str:
    """A time in milliseconds, to read from a distance."""
    return "-" if value_s is None else f"{1e3 * value_s:.1f} ms"
