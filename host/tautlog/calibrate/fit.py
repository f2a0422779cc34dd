"""Fit: a polynomial through points, with residuals and uncertainty of its coefficients."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.errors import CalibrationError

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """A polynomial by least squares.

    Attributes
    ----------
    coefficients, standard_deviations : ndarray of float64, shape (degree + 1,)
        Coefficients of 1, x, x**2, ... and their standard deviations.
    residuals : ndarray of float64, shape (n,)
        y minus the polynomial.
    residual_sd : float
        Root of the sum of squared residuals over the degrees of freedom.
    freedom : int
        Points minus coefficients.
    covariance : ndarray of float64, shape (degree + 1, degree + 1)
        Covariance of the coefficients.
    """

    coefficients: FloatArray
    standard_deviations: FloatArray
    residuals: FloatArray
    residual_sd: float
    freedom: int
    covariance: FloatArray

    @property
    def degree(self) -> int:
        """Highest power of x."""
        return self.coefficients.size - 1

    def at(self, x: npt.ArrayLike) -> FloatArray:
        """The polynomial at x."""
        places = np.asarray(x, dtype=np.float64)
        return np.asarray(np.polynomial.polynomial.polyval(places, self.coefficients), np.float64)


def fit_polynomial(x: npt.ArrayLike, y: npt.ArrayLike, degree: int) -> Fit:
    """Fit a polynomial by least squares.

    x is scaled to -1 ... 1, and QR solves the scaled problem. This gives twelve digits of the
    NIST reference data sets; raw powers of x would lose half of them.

    Raises
    ------
    CalibrationError
        If there are too few different x, or a value is not a finite number.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.ndim != 1 or x.shape != y.shape or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise CalibrationError("points must be pairs of numbers")
    different = np.unique(x).size
    if different < degree + 1 or x.size < degree + 2:
        raise CalibrationError(
            f"{x.size} points at {different} different values: a polynomial of degree {degree} "
            f"needs {degree + 2} points at {degree + 1} values or more"
        )
    middle, half = 0.5 * (x.max() + x.min()), 0.5 * (x.max() - x.min())
    scaled = np.vander((x - middle) / half, degree + 1, increasing=True)
    q, r = np.linalg.qr(scaled)
    inside = np.linalg.solve(r, q.T @ y)
    residuals = y - scaled @ inside
    freedom = x.size - degree - 1
    variance = float(residuals @ residuals) / freedom
    inverse = np.linalg.inv(r)
    back = _unscaling(degree, middle, half)
    covariance = back @ (variance * inverse @ inverse.T) @ back.T
    return Fit(
        coefficients=back @ inside,
        standard_deviations=np.sqrt(np.diag(covariance)),
        residuals=residuals,
        residual_sd=float(np.sqrt(variance)),
        freedom=freedom,
        covariance=covariance,
    )


def _unscaling(degree: int, middle: float, half: float) -> FloatArray:
    """Matrix that turns coefficients of ((x - middle) / half)**j into those of x**i."""
    matrix = np.zeros((degree + 1, degree + 1))
    power = np.array([1.0])
    for j in range(degree + 1):
        matrix[: power.size, j] = power
        power = np.convolve(power, [-middle / half, 1.0 / half])
    return matrix
