"""Flight pulse: force over time of a load in flight, by the models of `model.flight`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.find_contacts import rise_through
from tautlog.analysis.loading import time_above
from tautlog.model.flight import FlightLoad, Opening, Snatch

FloatArray = npt.NDArray[np.float64]
POINTS = 4001
FILLINGS = 4.0  # drawn of an opening, in filling times; own choice
LOW, HIGH = 0.1, 0.9  # of the peak, as for the rise of a drop


@dataclass(frozen=True)
class FlightPulse:
    """A pull in flight.

    Attributes
    ----------
    time_s, force_n : ndarray of float64, shape (POINTS,)
        Time since the line came taut, evenly spaced; force.
    impulse_low_ns, impulse_high_ns : float
        Bounds of the impulse, by the momentum law.
    ends : bool
        Whether the force is zero again at the end; that of an open canopy goes on.
    """

    time_s: FloatArray
    force_n: FloatArray
    impulse_low_ns: float
    impulse_high_ns: float
    ends: bool

    @property
    def peak_force_n(self) -> float:
        """The largest force."""
        return float(self.force_n.max())

    @property
    def rise_time_s(self) -> float:
        """First crossings of 10 and 90 % of the peak."""
        top = int(np.argmax(self.force_n))
        low, high = (
            rise_through(self.force_n, share * self.peak_force_n, 0, top) for share in (LOW, HIGH)
        )
        assert low is not None and high is not None  # it starts at zero and reaches its peak
        return (high - low) * float(self.time_s[1])

    def above_s(self, level_n: float) -> float | None:
        """Time at or above a level; None where the pulse is not over by its end."""
        if not self.ends and float(self.force_n[-1]) >= level_n:
            return None
        return time_above(self.force_n, level_n) * float(self.time_s[1])


def pulse_of(load: FlightLoad) -> FlightPulse:
    """Force over time of a load in flight."""
    return _of_snatch(load) if isinstance(load, Snatch) else _of_opening(load)


def _of_snatch(load: Snatch) -> FlightPulse:
    """A half-sine: a linear spring between two free bodies (closed form of mechanics).

    A line without loss throws them apart as fast as they came, impulse 2 mu v; one that keeps
    them together changes half of that.
    """
    time_s = np.linspace(0.0, load.duration_s, POINTS)
    force_n = load.force_n * np.sin(np.pi * time_s / load.duration_s)
    momentum_ns = load.reduced_mass_kg * load.speed_m_s
    return FlightPulse(time_s, np.maximum(force_n, 0.0), momentum_ns, 2.0 * momentum_ns, ends=True)


def _of_opening(load: Opening) -> FlightPulse:
    """Drag alone: area as time to the power j while it fills, then constant.

    With tau = t / t_f and w = v0 / v: w = 1 + B tau**(j + 1), and after tau = 1
    w = 1 + B + (tau - 1) / A; F = Cx Cd S q min(tau, 1)**j / w**2. See `Opening` for A and B.
    Impulse by momentum: m v0 B / (1 + B) when it is full, never more than m v0.
    """
    tau = np.linspace(0.0, FILLINGS, POINTS)
    a, j = load.ballistic, load.growth
    b = 1.0 / (a * (j + 1.0))
    slower = np.where(tau < 1.0, 1.0 + b * tau ** (j + 1.0), 1.0 + b + (tau - 1.0) / a)
    force_n = load.infinite_mass_load_n * np.minimum(tau, 1.0) ** j / slower**2
    momentum_ns = load.body_kg * load.speed_m_s
    gone_ns = momentum_ns * b / (1.0 + b)
    return FlightPulse(load.filling_s * tau, force_n, gone_ns, momentum_ns, ends=False)
