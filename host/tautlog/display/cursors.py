"""Cursors: the sample under the pointer, and the difference between two cursors.

A cursor sits on a measured sample, never between two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.display.views import Curve, FloatArray, Panel

_PRODUCTS = {("N", "s"): ("impulse", "N s"), ("N", "m"): ("energy", "J")}


@dataclass(frozen=True)
class Cursor:
    """Index of a curve in a panel, and of a sample in the curve."""

    curve: int
    sample: int


def pointed_at(panel: Panel, x: float, y: float, scale: tuple[float, float]) -> Cursor | None:
    """The sample under a pointer; None if there are no samples.

    On a curve with monotonic x it is the sample at x, whatever its height. On a curve that
    turns back, such as force against stretch, it is the nearest sample. Of several curves the
    nearest counts, except faint ones.

    Parameters
    ----------
    panel : Panel
        The panel with the curves.
    x, y : float
        The pointer, in data units.
    scale : tuple of float
        Width and height of the visible range; distances are relative to them.
    """

    def far(cursor: Cursor) -> float:
        curve = panel.curves[cursor.curve]
        found = _distances(curve, x, y, scale, slice(cursor.sample, cursor.sample + 1))[0]
        return float(found) if np.isfinite(found) else np.inf

    found = [
        Cursor(number, _sample_of(curve, x, y, scale))
        for number, curve in enumerate(panel.curves)
        if curve.x.size and not curve.faint
    ]
    return min(found, key=far, default=None)


def _sample_of(curve: Curve, x: float, y: float, scale: tuple[float, float]) -> int:
    if not curve.is_monotonic:
        return int(np.nanargmin(_distances(curve, x, y, scale, slice(None))))
    after = min(int(np.searchsorted(curve.x, x)), curve.x.size - 1)
    before = max(after - 1, 0)
    return before if x - curve.x[before] <= curve.x[after] - x else after


def _distances(
    curve: Curve, x: float, y: float, scale: tuple[float, float], samples: slice
) -> FloatArray:
    return np.hypot((curve.x[samples] - x) / scale[0], (curve.y[samples] - y) / scale[1])


def moved(panel: Panel, cursor: Cursor, by: int) -> Cursor:
    """The cursor moved by a number of samples, within its curve."""
    last = panel.curves[cursor.curve].x.size - 1
    return Cursor(cursor.curve, min(max(cursor.sample + by, 0), last))


def kept(old: Panel, cursor: Cursor, new: Panel) -> Cursor:
    """The cursor on a panel whose curves changed: on the same curve, faint ones not counted."""
    before = [number for number, curve in enumerate(old.curves) if not curve.faint]
    after = [number for number, curve in enumerate(new.curves) if not curve.faint]
    place = before.index(cursor.curve)
    return moved(new, Cursor(after[min(place, len(after) - 1)], cursor.sample), 0)


def reading(panel: Panel, cursor: Cursor) -> str:
    """The reading of a cursor: both values with units, and the curve."""
    curve = panel.curves[cursor.curve]
    x, y = float(curve.x[cursor.sample]), float(curve.y[cursor.sample])
    return f"{_figure(x, panel.x[1])}   {_figure(y, panel.y[1])}   {curve.name}"


def difference(panel: Panel, first: Cursor, second: Cursor) -> str:
    """The difference between two cursors; on one curve also mean, maximum and area between.

    The area under force is the impulse against time, and the energy against stretch.
    """
    curve, other = panel.curves[first.curve], panel.curves[second.curve]
    x = float(other.x[second.sample] - curve.x[first.sample])
    y = float(other.y[second.sample] - curve.y[first.sample])
    text = f"{_figure(x, panel.x[1])}   {_figure(y, panel.y[1])}"
    if first.curve != second.curve or first.sample == second.sample:
        return text
    low, high = sorted((first.sample, second.sample))
    part = curve.y[low : high + 1]
    unit = panel.y[1]
    text += f"   between: mean {_figure(float(part.mean()), unit)}, "
    text += f"highest {_figure(float(part.max()), unit)}"
    product = _PRODUCTS.get((unit, panel.x[1]))
    if product:
        area = float(np.trapezoid(part, curve.x[low : high + 1]))
        text += f", {product[0]} {_figure(area, product[1])}"
    return text


def _figure(value: float, unit: str) -> str:
    if not np.isfinite(value):
        return "missing"
    if unit == "s" and abs(value) < 1.0:
        return f"{1e3 * value:.3f} ms"
    places = {"s": ".6f", "m": ".5f", "N": ".1f"}.get(unit, ".5g")
    return f"{value:{places}} {unit}".strip()
