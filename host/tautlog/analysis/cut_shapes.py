"""Cut shapes: smooth curves with and without a chord in place of their top.

A polynomial (and a swing, where the fixture rings) is fitted to a window around a top twice:
as it is, and with the part between two places replaced by the straight line between them, as
a rail does it. Both have the same parameters, so that the sums of squares tell which one
the samples are. All is linear; what does not depend on the samples is made once.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.polynomial import legendre
from scipy.ndimage import uniform_filter1d

FloatArray = npt.NDArray[np.float64]
Curves = Callable[[FloatArray], FloatArray]  # places of any shape; one row a curve

# All of it own choices, held against the tops of tests/benchmarks/clipping.py.
DEGREE = 8  # of the richest polynomial
DEGREES = (4, 6, 8)
SWING_DEGREES = (4, 6)
SWINGS = 4  # cosine and sine, and both times t: a ringing that decays
LEAST_CYCLES = 1.4  # in a window: a slower swing is what the polynomials are for
LEAST_SWING_BINS = 24  # that a swing and a polynomial can be told apart in
# Half widths and centres of chords, of the half window; blur of a filter behind the rail, of
# the chord's half width.
WIDTHS = np.geomspace(0.08, 0.62, 9)
CENTRES = np.linspace(-0.3, 0.3, 7)
BLURS = (0.0, 0.35, 0.9)
_FEW = 1e-9  # of a row's length: keeps a normal matrix regular


@dataclass(frozen=True)
class Family:
    """Fits of one family of curves to one window.

    Attributes
    ----------
    degree : int
        Of the polynomial.
    swings : bool
        Whether a ringing is in it.
    freedom : int
        Degrees of freedom of the residual.
    smooth : float
        Sum of squares of the smooth curve.
    cut : ndarray of float64, shape (shapes,)
        The same of each cut shape.
    depth, slope : ndarray of float64, shape (shapes,)
        How far the smooth curve stands above the chord's middle, and by how much the chord's
        ends differ.
    """

    degree: int
    swings: bool
    freedom: int
    smooth: float
    cut: FloatArray
    depth: FloatArray
    slope: FloatArray


@dataclass(frozen=True)
class Bank:
    """All that fits of a number of samples have in common.

    `ends` (shapes, 2) are the chords' places within -1 to 1, `blur` (shapes,) their blur;
    `plain` (9, samples) and `cut` (shapes, 9, samples) are orthonormal rows; `depth` and
    `slope` turn products with them into figures, for each degree.
    """

    time: FloatArray
    ends: FloatArray
    blur: FloatArray
    plain: FloatArray
    cut: FloatArray
    depth: dict[int, FloatArray]
    slope: dict[int, FloatArray]

    @property
    def half(self) -> FloatArray:
        """Half widths of the chords."""
        return np.asarray(0.5 * (self.ends[:, 1] - self.ends[:, 0]))


@functools.lru_cache(maxsize=32)
def bank_of(samples: int) -> Bank:
    """Bank of shapes for a number of samples, at least a dozen."""
    time = (np.arange(samples) + 0.5) / samples * 2.0 - 1.0
    ends = np.array(
        [
            (centre - width, centre + width)
            for width in WIDTHS
            for centre in CENTRES
            if abs(centre) + width < 0.9 and width * samples >= 2.0
        ]
    )

    def curves(at: FloatArray) -> FloatArray:
        return np.asarray(legendre.legvander(at, DEGREE).T, dtype=np.float64)

    cut, depth, slope = _cut(curves, time, ends)
    rows, triangle = np.linalg.qr(cut.transpose(0, 2, 1))
    plain = np.linalg.qr(curves(time).T)[0].T.copy()
    inverse = {d: np.linalg.pinv(triangle[:, : d + 1, : d + 1]) for d in DEGREES}

    def figures(values: FloatArray) -> dict[int, FloatArray]:
        return {
            d: np.einsum("mi,mij->mj", values[:, : d + 1], inverse[d], optimize=True)
            for d in DEGREES
        }

    return Bank(
        time,
        np.tile(ends, (len(BLURS), 1)),
        np.repeat(BLURS, len(ends)),
        plain,
        np.ascontiguousarray(rows.transpose(0, 2, 1)),
        figures(depth),
        figures(slope),
    )


def _cut(
    curves: Curves, time: FloatArray, ends: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Curves with chords, shape (shapes, curves, samples); depth and slope of each curve."""
    first, last = ends[:, 0], ends[:, 1]
    at_first, at_last = curves(first).T, curves(last).T
    share = np.clip((time - first[:, None]) / (last - first)[:, None], 0.0, 1.0)
    inside = (time >= first[:, None]) & (time <= last[:, None])
    whole = curves(time)
    chord = at_first[:, :, None] * (1.0 - share)[:, None] + at_last[:, :, None] * share[:, None]
    missing = np.where(inside[:, None], whole[None] - chord, 0.0)
    widths = np.maximum(np.round(0.25 * (last - first) * time.size), 1).astype(int)
    found = [whole[None] - _blurred(missing, blur, widths) for blur in BLURS]
    depth = curves(0.5 * (first + last)).T - 0.5 * (at_first + at_last)
    several = (len(BLURS), 1)
    return np.concatenate(found), np.tile(depth, several), np.tile(at_last - at_first, several)


def _blurred(missing: FloatArray, blur: float, widths: npt.NDArray[np.int_]) -> FloatArray:
    """What a chord takes away as a filter behind the rail leaves it: two boxes in a row."""
    if not blur:
        return missing
    result = missing.copy()
    for width in np.unique(widths):
        some = widths == width
        length = max(round(blur * float(width)), 1)
        for _ in range(2):
            result[some] = uniform_filter1d(result[some], length, axis=-1, mode="constant")
    return result


def fit_all(force: FloatArray) -> list[Family]:
    """Fit all shapes to one window, shape (samples,), family by family."""
    bank, size = bank_of(force.size), force.size
    plain, cut = bank.plain @ force, bank.cut @ force
    power = float(force @ force)
    left = power - np.cumsum(plain**2)
    cut_left = power - np.cumsum(cut**2, axis=1)
    found = [
        Family(
            d,
            False,
            size - d - 1,
            float(left[d]),
            cut_left[:, d],
            np.einsum("mi,mi->m", bank.depth[d], cut[:, : d + 1]),
            np.einsum("mi,mi->m", bank.slope[d], cut[:, : d + 1]),
        )
        for d in DEGREES
        if size >= d + 6
    ]
    return found


def with_swings(force: FloatArray) -> list[Family]:
    """The same with a ringing of the strongest frequency that a polynomial leaves."""
    bank = bank_of(force.size)
    plain = bank.plain @ force
    cycles = _strongest(force - bank.plain[:7].T @ plain[:7])
    if cycles is None:
        return []

    def curves(at: FloatArray) -> FloatArray:
        swing = np.pi * cycles * at
        return np.stack([np.cos(swing), np.sin(swing), at * np.cos(swing), at * np.sin(swing)])

    few = len(bank.ends) // len(BLURS)
    added, depth, slope = _cut(curves, bank.time, bank.ends[:few])
    cut = bank.cut @ force
    whole = curves(bank.time)
    power = float(force @ force)
    found = []
    across = bank.cut @ added.transpose(0, 2, 1)
    for d in SWING_DEGREES:
        rows = d + 1
        weights, gained = _added(added, across[:, :rows], cut[:, :rows], force)
        one = (bank.plain[:rows] @ whole.T)[None]
        _, plain_gained = _added(whole[None], one, plain[None, :rows], force)
        rest = cut[:, :rows] - np.einsum("mik,mk->mi", across[:, :rows], weights)
        found.append(
            Family(
                d,
                True,
                force.size - rows - SWINGS,
                power - float(plain[:rows] @ plain[:rows]) - float(plain_gained[0]),
                power - (cut[:, :rows] ** 2).sum(axis=1) - gained,
                np.einsum("mi,mi->m", bank.depth[d], rest) + np.einsum("mk,mk->m", depth, weights),
                np.einsum("mi,mi->m", bank.slope[d], rest) + np.einsum("mk,mk->m", slope, weights),
            )
        )
    return found


def _added(
    added: FloatArray, across: FloatArray, products: FloatArray, force: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Weights of more curves besides orthonormal rows, and the squares that they take away.

    Frisch and Waugh (Econometrica 1 (1933) 387, from memory): what the rows explain of the
    new curves is taken from them first.
    """
    square = added @ added.transpose(0, 2, 1) - across.transpose(0, 2, 1) @ across
    square = square + _FEW * force.size * np.eye(SWINGS)
    right = added @ force - np.einsum("mik,mi->mk", across, products)
    weights = np.linalg.solve(square, right[:, :, None])[:, :, 0]
    return weights, np.einsum("mk,mk->m", right, weights)


def _strongest(residual: FloatArray) -> float | None:
    """Cycles per window of the strongest swing of a residual, or None."""
    if residual.size < LEAST_SWING_BINS:
        return None
    finer = 8
    spectrum = np.abs(np.fft.rfft(residual * np.hanning(residual.size), finer * residual.size))
    first = int(LEAST_CYCLES * finer)
    cycles = (first + int(np.argmax(spectrum[first:]))) / finer
    return cycles if cycles < residual.size / 3 else None
