"""Uncertainty of a figure, after the GUM (JCGM 100:2008).

A budget lists every contribution with its standard uncertainty. Their root sum of squares times
k is the expanded uncertainty; k is Student's t for 95.45 % and the effective degrees of freedom
(Welch and Satterthwaite, GUM annex G), which is 2 for many degrees of freedom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from tautlog.model.display_units import Unit
from tautlog.model.limits import NONLINEARITY

COVERAGE = 0.9545


@dataclass(frozen=True)
class Part:
    """One contribution.

    Attributes
    ----------
    name : str
        Its cause.
    u : float
        Standard uncertainty, in the unit of the figure.
    kind : str
        "A", from the scatter of this record, or "B", from another source.
    freedom : float
        Degrees of freedom; infinite for most of kind B.
    basis : str
        How it was found, in plain words.
    """

    name: str
    u: float
    kind: str = "B"
    freedom: float = math.inf
    basis: str = ""


@dataclass(frozen=True)
class Budget:
    """All contributions to one figure.

    Attributes
    ----------
    figure, unit : str
        Key of the figure, and its unit.
    value : float
        The figure.
    parts : tuple of Part
        The contributions; taken as independent.
    """

    figure: str
    unit: str
    value: float
    parts: tuple[Part, ...]

    def shown_in(self, unit: Unit) -> Budget:
        """The same budget in a unit of display."""
        if unit.size == 1.0:
            return self
        parts = tuple(replace(part, u=part.u / unit.size) for part in self.parts)
        return replace(self, unit=unit.name, value=self.value / unit.size, parts=parts)

    @property
    def combined_u(self) -> float:
        """Root sum of squares (GUM 5.1.2)."""
        return math.sqrt(sum(part.u**2 for part in self.parts))

    @property
    def freedom(self) -> float:
        """Effective degrees of freedom (GUM G.4.1)."""
        combined = self.combined_u
        if not combined:
            return math.inf
        # Shares of the whole, so that no power of a figure beyond all sense overflows.
        spread = sum((part.u / combined) ** 4 / part.freedom for part in self.parts)
        return 1.0 / spread if spread > 0.0 else math.inf

    @property
    def coverage_factor(self) -> float:
        """Coverage factor for 95.45 %, from the degrees of freedom, rounded down (GUM G.6.4)."""
        return student_t(COVERAGE, self.freedom)

    @property
    def expanded_u(self) -> float:
        """Coverage factor times the combined standard uncertainty."""
        return self.coverage_factor * self.combined_u


def student_t(coverage: float, freedom: float) -> float:
    """Half-width, in standard deviations, that covers a fraction of Student's distribution.

    The degrees of freedom are truncated to a whole number, at least 1, as GUM G.4.1 says.
    """
    whole = 1e12 if math.isinf(freedom) or freedom > 1e12 else max(math.floor(freedom), 1)
    return float(stdtrit(whole, 0.5 * (1.0 + coverage)))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value anywhere within +/- a half-width (GUM 4.3.7)."""
    return abs(half_width) / math.sqrt(3.0)


def extrapolation_u(force_n: float, covered_n: float) -> float:
    """Standard uncertainty of a force beyond the largest applied load."""
    return NONLINEARITY * max(abs(force_n) - covered_n, 0.0)


def sampling_loss(samples_per_pulse: float) -> float:
    """Largest fraction of a half-sine's peak lost between two samples, 1 - cos(pi/(2n))."""
    return 1.0 if samples_per_pulse <= 1.0 else 1.0 - math.cos(math.pi / (2.0 * samples_per_pulse))


def one_pole_loss(bandwidth_hz: float, pulse_s: float) -> float:
    """Fraction of a half-sine's peak that an amplifier with one pole loses.

    From the closed form of its response, y = a (a sin(pi x) - pi cos(pi x) + pi exp(-a x)) /
    (a**2 + pi**2) with a = 2 pi f T, at 2000 places within the pulse.
    """
    a = 2.0 * math.pi * bandwidth_hz * pulse_s
    x = np.linspace(0.0, 1.0, 2001)
    response = a * (a * np.sin(np.pi * x) - np.pi * np.cos(np.pi * x) + np.pi * np.exp(-a * x))
    return 1.0 - float(response.max()) / (a**2 + math.pi**2)
