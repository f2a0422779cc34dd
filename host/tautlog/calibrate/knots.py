"""Knots: a curve of many points as few straight pieces, within a tolerance."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from tautlog.model.linearity import MOST_KNOTS

FloatArray = npt.NDArray[np.float64]
WIDER = 1.25  # factor of the tolerance when there are too many


def fitted_knots(
    codes: npt.NDArray[np.int64], errors: FloatArray, tolerance: float
) -> tuple[tuple[tuple[float, float], ...], float]:
    """Knots of a converter's table, and the rms distance of the levels from it.

    The knots' codes come from `corners`; their errors are those of the continuous piecewise
    line with these codes that lies closest to all levels (least squares), so that no single
    noisy level is a knot. A step between two neighbouring codes has a knot on each of them.

    Parameters
    ----------
    codes : ndarray of int64, shape (n,)
        Codes, one after the other.
    errors : ndarray of float64, shape (n,)
        Error of the level where each begins, in steps.
    tolerance : float
        Steps by which a level may lie off its straight piece; widened for more than
        `linearity.MOST_KNOTS`.
    """
    places = corners(errors, tolerance)
    while places.size > MOST_KNOTS:
        tolerance *= WIDER
        places = corners(errors, tolerance)
    at = codes[places].astype(np.float64)
    hats = np.array([np.interp(codes, at, unit) for unit in np.eye(at.size)]).T
    values = np.linalg.lstsq(hats, errors, rcond=None)[0]
    left = errors - hats @ values
    # Three digits, so that the file reads back what was judged.
    knots = tuple(
        (float(code), round(float(value), 3)) for code, value in zip(at, values, strict=True)
    )
    return knots, math.sqrt(float(np.mean(left**2)))


def corners(values: FloatArray, tolerance: float) -> npt.NDArray[np.int64]:
    """Places of the corners of a polygon within a tolerance of all points.

    Ramer, Douglas and Peucker: where the point furthest off a straight piece lies further than
    the tolerance, it becomes a corner. Distances are vertical, because codes have no error.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        The curve at 0, 1, 2 ...; n >= 2.
    tolerance : float
        In the unit of the curve; greater than 0.
    """
    kept = {0, values.size - 1}
    open_pieces = [(0, values.size - 1)]
    while open_pieces:
        start, end = open_pieces.pop()
        if end - start < 2:
            continue
        line = np.linspace(values[start], values[end], end - start + 1)
        off = np.abs(values[start : end + 1] - line)
        furthest = int(off.argmax())
        if off[furthest] > tolerance:
            kept.add(start + furthest)
            open_pieces += [(start, start + furthest), (start + furthest, end)]
    return np.array(sorted(kept), dtype=np.int64)
