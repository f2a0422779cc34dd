"""Limits: every number that several modules use, with its unit and its basis.

Each number is defined once, here. "Common practice" means that there is no other source.
"""

from __future__ import annotations

import math


class Limit(float):
    """A number with its unit and its source.

    Attributes
    ----------
    unit : str
        Unit; "1" for a fraction.
    basis : str
        Meaning and source, or how it was found.
    """

    unit: str
    basis: str

    def __new__(cls, value: float, unit: str, basis: str) -> Limit:
        """Make a limit, which calculates as the plain number does."""
        made = super().__new__(cls, value)
        made.unit, made.basis = unit, basis
        return made

    def __reduce__(self) -> tuple[type[Limit], tuple[float, str, str]]:
        """How to rebuild it in another process."""
        return Limit, (float(self), self.unit, self.basis)


# Stated values of a drop, as standard uncertainties.
MASS_U_FRACTION = Limit(0.005, "1", "of a sled on a scale; common practice")
HEIGHT_U_M = Limit(0.005, "m", "free travel with a tape; common practice")
FRICTION_MOST = Limit(
    0.1,
    "1",
    "of the weight, for rails that were not measured: a rig that runs badly; common practice",
)
FRICTION_U = Limit(
    FRICTION_MOST / math.sqrt(3.0),
    "1",
    "of the weight, about zero, if the drop does not show it: anything from 0 to FRICTION_MOST, "
    "one-sided, sqrt of the mean square (JCGM 100:2008, 4.3.7 and F.2.4.5)",
)
FRICTION_TOLD_U = Limit(0.02, "1", "of the weight, for a stated friction; common practice")

# Times from a trace, as standard uncertainties.
ONSET_U_S = Limit(
    0.0002,
    "s",
    "onset and slack of a line in a chain that does not ring, from 10 000 samples/s on; "
    "simulated drops, tests/benchmarks",
)

# Beyond the calibration, and between cell and article.
NONLINEARITY = Limit(
    0.004, "1", "of the force beyond the largest that calibration covered; common practice"
)
CALIBRATION_FREEDOM = Limit(
    18.0,
    "1",
    "degrees of freedom of a calibration's uncertainty, which is itself known to 16 % at twenty "
    "points, 1 / (2 x 0.16^2) (JCGM 100:2008, G.4.2 and table E.1)",
)
LEAST_U_FRACTION = Limit(
    0.0002,
    "1",
    "of the force, expanded: no strain-gauge chain with a converter like this is better; "
    "a third of the 0.06 % that ISO 376 allows the machine that calibrates its best class, 00 "
    "(figure from memory); own choice",
)
FITTINGS_FRACTION = Limit(
    0.1,
    "1",
    "of the fittings' mass over the sled's: their own inertia at the cell, if the trace does not "
    "show it; common practice",
)

BREAK_MOST = Limit(
    0.1,
    "1",
    "of the peak, expanded, that the place of a break may leave open; beyond it the peak is "
    "reported as a lower bound; own choice",
)

# The test.
OVERLOAD_PER_TARGET = Limit(1.1, "1", "default limit over target; common practice")
HANGING_TOLERANCE = Limit(
    0.02, "1", "of the weight, for the reading of a hanging sled; common practice"
)
HANGING_LEAST_N = Limit(3.0, "N", "least tolerance of that reading; common practice")
GO_ON_WITHIN = Limit(0.15, "1", "measured over predicted, hold point of a ladder; common practice")
HEADROOM = Limit(1.5, "1", "range of cell and amplifier over the target; common practice")
QUASI_STATIC_FACTOR = Limit(
    1.1, "1", "response over peak up to which a part sees a pulse as a static load; common practice"
)
BANDWIDTH_PER_PULSE = Limit(
    3.0, "1", "needed, over the length of a pulse; common practice, after an ASTM STP of Nicolson"
)
RISE_PER_BANDWIDTH = Limit(
    0.5,
    "1",
    "rise time times bandwidth below which an amplifier shows mostly itself: one pole rises in "
    "0.35 over its bandwidth (closed form, ln 9 / 2 pi) and rises add as squares (common "
    "practice), so that at sqrt 2 times as much half of the square is its own",
)
RISE_OF_FILTER = Limit(
    0.35, "1", "rise time times bandwidth of one pole: ln 9 / 2 pi, closed form; of others nearly"
)
LARGEST_N = Limit(1e15, "N", "a larger number is not a force; own choice")
K_FACTOR = Limit(2.0, "1", "for 95.45 % of a normal distribution (JCGM 100:2008, table G.2)")

# How a trace is analysed.
PAD_S = Limit(
    0.1,
    "s",
    "of trace around a pull that is filtered by itself: 37 periods of the corner of class 180, "
    "ten times what ISO 6487, annex A, adds; own choice",
)
SMOOTH_S = Limit(
    0.0004,
    "s",
    "moving mean in which contacts are found: enough against noise, and no onset moves by more "
    "than half of it; own choice",
)
SIGMAS = Limit(
    5.0, "1", "of the smoothed noise, above which a contact stands: one in 3.5 million; own choice"
)
EDGE_SIGMAS = Limit(
    5.0, "1", "of the noise of one sample below the threshold: then edges are exact; own choice"
)
CONTACT_SHARE = Limit(
    0.02, "1", "of the peak: anything lower is no contact and no bounce; common practice"
)
LEAST_FLIGHT_S = Limit(
    0.05, "s", "between two contacts of a sled: ringing of a beam swings faster; common practice"
)
PULL_SHARE = Limit(
    0.05, "1", "of the peak: the onset of a lower pull is not exact enough; own choice"
)
ZERO_SAMPLES = Limit(8.0, "1", "least number of samples for a zero; own choice")
SIGMA_PER_MAD = Limit(
    1.4826, "1", "standard over median absolute deviation of a normal distribution, 1 / 0.67449"
)
RING_LEAST_SIGMAS = Limit(
    3.0, "1", "amplitude of a ring at its start, over the noise of one sample; own choice"
)
RECLOSED_WITHIN_S = Limit(
    0.1,
    "s",
    "after a release: later a hand, or the sled on its way back, may have closed the switch; own "
    "choice",
)
FALL_CLOCK_S = Limit(0.002, "s", "that switch and onset together may be wrong by; own choice")
GLITCH_SAMPLES = Limit(2.0, "1", "that a glitch may last: longer ones are a force; own choice")
STAMP_SAMPLES = Limit(2.0, "1", "that the stamp of an edge may be wrong by; tests/emulated")
UNSAID_HEIGHT_M = Limit(3.0, "m", "assumed if no height is stated; no rig here is higher")

# Momentum and chain.
CLOSURE_SUSPECT = Limit(0.05, "1", "of the impulse, off the momentum law; common practice")
REBOUND_MOST = Limit(
    1.1,
    "1",
    "of the speed of the fall, upwards: no line throws a sled up faster than it fell; more than "
    "10 % beyond means wrong gain, mass or height; common practice",
)
SHUNT_SUSPECT = Limit(0.02, "1", "change of the shunt's step over a drop; common practice")
SHUNT_INVALID = Limit(0.05, "1", "beyond it the chain has changed; common practice")


def upper_of(target_n: float | None, limit_n: float | None) -> float | None:
    """The limit force, or 1.1 x target without one, or None."""
    if limit_n is not None:
        return limit_n
    return None if target_n is None else OVERLOAD_PER_TARGET * target_n
