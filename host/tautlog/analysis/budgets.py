"""Budgets: the uncertainty of each figure that decides, part by part.

What stands here as a number beside a common-practice remark has no other source; all else
comes from the record and its calibration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tautlog.analysis.peak import Correction, significant
from tautlog.model.limits import (
    CALIBRATION_FREEDOM,
    FITTINGS_FRACTION,
    FRICTION_U,
    HEIGHT_U_M,
    MASS_U_FRACTION,
    ONSET_U_S,
    RING_LEAST_SIGMAS,
)
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.uncertainty import Budget, Part, extrapolation_u, rectangular


@dataclass(frozen=True)
class Chain:
    """What is known of the measuring chain and of its zero.

    Attributes
    ----------
    calibration_u_fraction, calibration_u_n : float
        Expanded (k = 2): what grows with the force, relative; what does not.
    covered_n, quantum_n, bandwidth_hz : float
        Largest force of the calibration; of one count; of the amplifier. 0: unknown.
    zero_u_n, zero_slope_n_per_s : float
        Standard uncertainty of the zero; its drift.
    zero_left_n : float
        What the slack line reads and was not removed; 0 where the zero was.
    steps_u_n, steps_basis : float, str
        Standard uncertainty of the converter's steps, at the peak and at the zero together, and
        what is known of them.
    """

    calibration_u_fraction: float
    calibration_u_n: float
    covered_n: float
    quantum_n: float
    bandwidth_hz: float
    zero_u_n: float
    zero_slope_n_per_s: float
    zero_left_n: float = 0.0
    steps_u_n: float = 0.0
    steps_basis: str = ""

    @property
    def zero_known_n(self) -> float:
        """How far the zero may be off: its scatter, and what was left in."""
        return math.hypot(self.zero_u_n, self.zero_left_n)

    def force_u_fraction(self, force_n: float) -> float:
        """Standard, relative uncertainty of a force, from the calibration."""
        beyond_n = extrapolation_u(force_n, self.covered_n)
        fixed_n = math.hypot(beyond_n, 0.5 * self.calibration_u_n, self.steps_u_n)
        return math.hypot(0.5 * self.calibration_u_fraction, fixed_n / max(abs(force_n), 1e-12))

    def parts(self, force_n: float, since_zero_s: float) -> tuple[Part, ...]:
        """What any force has from the chain, `since_zero_s` after the middle of its zero."""
        found = [
            Part(
                "calibration, slope",
                0.5 * self.calibration_u_fraction * force_n,
                freedom=CALIBRATION_FREEDOM,
                basis=f"{100 * self.calibration_u_fraction:.2g} % (k = 2)",
            ),
            Part(
                "calibration, any force",
                0.5 * self.calibration_u_n,
                freedom=CALIBRATION_FREEDOM,
                basis=f"{self.calibration_u_n:.2g} N (k = 2): non-linearity, hysteresis, zero",
            ),
            Part(
                "extrapolation",
                extrapolation_u(force_n, self.covered_n),
                basis=f"0.4 % of the force beyond {self.covered_n:.0f} N; common practice",
            ),
            Part("zero", self.zero_u_n, "A", 7, "scatter of eight parts of the slack window"),
            Part(
                "zero drift",
                rectangular(self.zero_slope_n_per_s * since_zero_s),
                basis="its slope, followed to the peak",
            ),
            Part(
                "quantisation",
                self.quantum_n / math.sqrt(6.0),
                basis="one count / sqrt 12, at the peak and at zero",
            ),
        ]
        if self.steps_basis:
            found.append(Part("converter's steps", self.steps_u_n, basis=self.steps_basis))
        if self.zero_left_n:
            found.append(
                Part(
                    "zero not removed",
                    abs(self.zero_left_n),
                    basis="what the slack line reads, a known offset that nobody took off (GUM "
                    "F.2.4.5: as large as its estimate)",
                )
            )
        return tuple(found)


def peak_budget(
    height_n: float, chain: Chain, since_zero_s: float, found: tuple[Correction, ...]
) -> tuple[Budget, float]:
    """Budget of the peak of the cell's force in its class, and the correction that is in it.

    Parameters
    ----------
    height_n : float
        Largest value of the curve, its sign turned to positive.
    chain : Chain
        What it was measured with.
    since_zero_s : float
        From the middle of the zero's window to the peak.
    found : tuple of Correction
        What lies between that value and the peak, see `peak`.
    """
    parts = (*chain.parts(height_n, since_zero_s), *(correction.part for correction in found))
    plain = Budget("peak_force_n", "N", height_n, parts)
    added_n = significant(found, plain.combined_u)
    return replace(plain, value=height_n + added_n), added_n


def line_budget(
    height_n: float,
    chain: Chain,
    since_zero_s: float,
    found: tuple[Correction, ...],
    fittings_fraction: float,
    noise_n: float,
) -> Budget:
    """Budget of the peak of the line's force, where nothing rings; see `peak_budget`.

    Parameters
    ----------
    fittings_fraction : float
        Mass of the fittings at the cell over that of the sled; 0 where nobody said.
    noise_n : float
        Rms of one sample: a ring that it hides may have that amplitude.
    """
    parts = (
        *chain.parts(height_n, since_zero_s),
        *(correction.part for correction in found),
        Part(
            "inertia of fittings",
            FITTINGS_FRACTION * fittings_fraction * height_n,
            basis="a tenth of their share of the mass; common practice",
        ),
        Part(
            "ring that noise hides",
            RING_LEAST_SIGMAS * noise_n / math.sqrt(2.0),
            basis="an amplitude below which none is seen, anywhere in its swing (GUM 4.3.5)",
        ),
    )
    plain = Budget("line_peak_force_n", "N", height_n, parts)
    return replace(plain, value=height_n + significant(found, plain.combined_u))


@dataclass(frozen=True)
class FirstPull:
    """The first pull, and what was said of the sled.

    Attributes
    ----------
    mass_kg, height_m, speed_in_m_s : float
        Sled; free travel (None where the speed comes from the fall time); speed at onset.
    impulse_ns, moment_ns2, length_s : float
        Integral of the force; of that integral; onset to slack.
    friction_u : float or None
        Standard uncertainty of friction over weight; None where the drop does not tell it.
    """

    mass_kg: float
    height_m: float | None
    speed_in_m_s: float
    impulse_ns: float
    moment_ns2: float
    length_s: float
    friction_u: float | None

    def height_u(self) -> float:
        """Standard uncertainty of the speed at onset, from the tape or the clock."""
        if self.height_m is None:
            return G * ONSET_U_S
        return 0.5 * self.speed_in_m_s * HEIGHT_U_M / self.height_m

    def rails_u(self, speed_out_m_s: float) -> float:
        """Standard uncertainty of both speeds together, from friction.

        Friction over weight f takes v f / 2 from a speed that was reckoned from the height,
        and v f from one by the time of the fall. It gives v f / 2 to the rebound's: a flight goes
        up with g + a and down with g - a. Both come from the same rails (GUM 5.2).
        """
        friction = FRICTION_U if self.friction_u is None else self.friction_u
        share = 1.0 if self.height_m is None else 0.5
        return friction * abs(share * self.speed_in_m_s - 0.5 * speed_out_m_s)


def impulse_budget(pull: FirstPull, speed_out_m_s: float, chain: Chain, peak_n: float) -> Budget:
    """Budget of the impulse closure."""
    expected = pull.mass_kg * (pull.speed_in_m_s + speed_out_m_s + G * pull.length_s)
    closure = pull.impulse_ns / expected
    per_speed = closure * pull.mass_kg / expected
    flight_u_m_s = 0.5 * G * math.sqrt(2.0) * ONSET_U_S
    clock = f"onset and slack to {1e3 * ONSET_U_S:g} ms"
    parts = (
        Part("force", closure * chain.force_u_fraction(peak_n), basis="calibration and beyond"),
        Part("mass", closure * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part("speed at onset", per_speed * pull.height_u(), basis="height 5 mm"),
        Part("rebound speed", per_speed * flight_u_m_s, basis=f"flight, {clock}"),
        Part("friction", per_speed * pull.rails_u(speed_out_m_s), basis="in fall and flight"),
        Part("zero", chain.zero_known_n * pull.length_s / expected, "A", 7, "over the pull"),
        Part("clock", per_speed * G * 2.0 * ONSET_U_S, basis=clock),
    )
    return Budget("impulse_closure", "1", closure, parts)


def rest_budget(
    rest_n: float,
    mass_kg: float,
    chain: Chain,
    friction_fraction: float | None,
    since_zero_s: float,
) -> Budget:
    """Budget of the rest closure; `since_zero_s` from the zero's window to the rest.

    Friction may hold any part of itself either way: the sled may rest high or low.
    """
    weight_n = mass_kg * G
    friction = FRICTION_U if friction_fraction is None else friction_fraction
    parts = (
        Part("force", rest_n / weight_n * chain.force_u_fraction(rest_n), basis="calibration"),
        Part("mass", rest_n / weight_n * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part("zero", chain.zero_known_n / weight_n, "A", 7, "slack window"),
        Part(
            "zero drift",
            rectangular(chain.zero_slope_n_per_s * since_zero_s / weight_n),
            basis="its slope, followed to the rest",
        ),
        Part(
            "friction at rest", rectangular(friction), basis="what friction of the rails may hold"
        ),
    )
    return Budget("rest_closure", "1", rest_n / weight_n, parts)


def displacement_budget(pull: FirstPull, left_m: float, chain: Chain, peak_n: float) -> Budget:
    """Budget of the stretch at slack."""
    moved_m = pull.moment_ns2 / pull.mass_kg
    parts = (
        Part("force", moved_m * chain.force_u_fraction(peak_n), basis="calibration and beyond"),
        Part("mass", moved_m * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part("speed at onset", pull.height_u() * pull.length_s, basis="height 5 mm"),
        Part("friction", pull.rails_u(0.0) * pull.length_s, basis="in the fall"),
        Part(
            "zero",
            0.5 * chain.zero_known_n * pull.length_s**2 / pull.mass_kg,
            "A",
            7,
            "integrated twice",
        ),
        Part("clock", pull.speed_in_m_s * ONSET_U_S, basis=f"onset to {1e3 * ONSET_U_S:g} ms"),
    )
    return Budget("displacement_closure_m", "m", left_m, parts)
