"""Budgets: the uncertainty of each figure that decides, part by part.

What stands here as a number beside a common-practice remark has no other source; all else
comes from the record and its calibration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.uncertainty import (
    FITTINGS,
    HEIGHT_U_M,
    MASS_U_FRACTION,
    Budget,
    Part,
    extrapolation_u,
    one_pole_loss,
    picking_bias,
    rectangular,
    sampling_loss,
)

UNTOLD_FRICTION_U = 0.03  # of the weight, when the drop does not tell it; common practice
SECOND_PASS = 2.5  # the first pass takes up to 2.6 x as much from a half-sine, class x T > 0.3
CLOCK_U_S = 0.0002  # of onset and slack


@dataclass(frozen=True)
class Chain:
    """What is known of the measuring chain and of its zero.

    Attributes
    ----------
    calibration_u_fraction : float
        Expanded (k = 2), relative.
    covered_n, quantum_n, bandwidth_hz : float
        Largest force of the calibration; of one count; of the amplifier. 0: unknown.
    zero_u_n, zero_slope_n_per_s : float
        Standard uncertainty of the zero; its drift.
    noise_n, filtered_noise_n : float
        Rms of the slack line, as sampled and in the channel frequency class.
    """

    calibration_u_fraction: float
    covered_n: float
    quantum_n: float
    bandwidth_hz: float
    zero_u_n: float
    zero_slope_n_per_s: float
    noise_n: float
    filtered_noise_n: float

    def force_u_fraction(self, force_n: float) -> float:
        """Standard, relative uncertainty of a force's scale."""
        beyond = extrapolation_u(force_n, self.covered_n) / max(abs(force_n), 1e-12)
        return math.hypot(0.5 * self.calibration_u_fraction, beyond)


@dataclass(frozen=True)
class Pulse:
    """What is known of the pulse.

    Attributes
    ----------
    length_s : float
        Of the half-sine of the same impulse, or the time above 10 %.
    top_s : float
        Time for which it stays within the noise of its peak.
    since_zero_s : float
        From the middle of the zero's window to the peak.
    filter_loss_n : float
        What a second pass of the class takes from the peak.
    class_hz : float
        -3 dB frequency of the class; half the rate without one.
    slope_n_per_s : float
        How fast the force still rose when the load path let go; 0 where it did not.
    """

    length_s: float
    top_s: float
    since_zero_s: float
    filter_loss_n: float
    class_hz: float
    slope_n_per_s: float = 0.0


def peak_budget(
    peak_n: float,
    chain: Chain,
    pulse: Pulse,
    sample_rate_hz: float,
    fittings_fraction: float | None,
) -> Budget:
    """Budget of the peak force.

    Parameters
    ----------
    peak_n : float
        The class-filtered peak, its sign turned to positive.
    chain, pulse : Chain, Pulse
        What it was measured with, and what it was like.
    sample_rate_hz : float
        Samples per second.
    fittings_fraction : float or None
        Mass of the fittings at the cell over that of the sled.
    """
    independent = 2.0 * pulse.class_hz * pulse.top_s
    parts = [
        Part(
            "calibration",
            0.5 * chain.calibration_u_fraction * peak_n,
            basis=f"{100 * chain.calibration_u_fraction:.2g} % (k = 2)",
        ),
        Part(
            "extrapolation",
            extrapolation_u(peak_n, chain.covered_n),
            basis=f"0.4 % of what lies beyond {chain.covered_n:.0f} N; common practice",
        ),
        Part("zero", chain.zero_u_n, "A", 7, "scatter of eight parts of the slack window"),
        Part(
            "zero drift",
            rectangular(chain.zero_slope_n_per_s * pulse.since_zero_s),
            basis="its slope, followed to the peak",
        ),
        Part(
            "noise",
            chain.filtered_noise_n,
            "A",
            max(2.0 * pulse.class_hz * 0.1, 7.0),
            "rms of the slack line in the class",
        ),
        Part(
            "peak picking",
            rectangular(picking_bias(chain.filtered_noise_n, independent)),
            basis="sigma sqrt(2 ln n) for n independent values at the top",
        ),
        Part(
            "quantisation",
            chain.quantum_n / math.sqrt(6.0),
            basis="one count / sqrt 12, at the peak and at zero",
        ),
        Part(
            "bandwidth of the class",
            rectangular(SECOND_PASS * pulse.filter_loss_n),
            basis=f"{SECOND_PASS:g} x what a second pass takes from the peak",
        ),
        Part(
            "sampling",
            rectangular(sampling_loss(pulse.length_s * sample_rate_hz) * peak_n),
            basis="1 - cos(pi / (2 n)) for n samples in the pulse",
        ),
    ]
    if pulse.slope_n_per_s > 0.0:
        lag_s = 1.0 / sample_rate_hz
        if chain.bandwidth_hz > 0.0:
            lag_s += 1.0 / (2.0 * math.pi * chain.bandwidth_hz)
        parts.append(
            Part(
                "lag at the break",
                rectangular(2.0 * pulse.slope_n_per_s * lag_s),
                basis="twice one sample and the amplifier's time constant, at the last slope",
            )
        )
    if chain.bandwidth_hz > 0.0:
        loss = one_pole_loss(chain.bandwidth_hz, pulse.length_s)
        parts.append(Part("amplifier", rectangular(loss * peak_n), basis="one pole on a half-sine"))
    if fittings_fraction is not None:
        parts.append(
            Part(
                "inertia of fittings",
                FITTINGS * fittings_fraction * peak_n,
                basis="a tenth of their share of the mass; common practice",
            )
        )
    return Budget("peak_force_n", "N", peak_n, tuple(parts))


@dataclass(frozen=True)
class Pull1:
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

    def speed_in_u(self) -> float:
        """Standard uncertainty of the speed at onset."""
        if self.height_m is None:
            return G * CLOCK_U_S + self.speed_in_m_s * UNTOLD_FRICTION_U
        friction = UNTOLD_FRICTION_U if self.friction_u is None else self.friction_u
        return 0.5 * self.speed_in_m_s * math.hypot(HEIGHT_U_M / self.height_m, friction)


def impulse_budget(pull: Pull1, speed_out_m_s: float, chain: Chain, peak_n: float) -> Budget:
    """Budget of the impulse closure."""
    expected = pull.mass_kg * (pull.speed_in_m_s + speed_out_m_s + G * pull.length_s)
    closure = pull.impulse_ns / expected
    parts = (
        Part("force", closure * chain.force_u_fraction(peak_n), basis="calibration and beyond"),
        Part("mass", closure * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part(
            "speed at onset",
            closure * pull.mass_kg * pull.speed_in_u() / expected,
            basis="height 5 mm, friction",
        ),
        Part("zero", chain.zero_u_n * pull.length_s / expected, "A", 7, "over the pull"),
        Part(
            "clock",
            closure * pull.mass_kg * G * 2.0 * CLOCK_U_S / expected,
            basis="onset and slack to 0.2 ms",
        ),
    )
    return Budget("impulse_closure", "1", closure, parts)


def rest_budget(
    rest_n: float,
    mass_kg: float,
    chain: Chain,
    friction_fraction: float | None,
    since_zero_s: float,
) -> Budget:
    """Budget of the rest closure; `since_zero_s` from the zero's window to the rest."""
    weight_n = mass_kg * G
    friction = UNTOLD_FRICTION_U if friction_fraction is None else friction_fraction
    parts = (
        Part("force", rest_n / weight_n * chain.force_u_fraction(rest_n), basis="calibration"),
        Part("mass", rest_n / weight_n * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part("zero", chain.zero_u_n / weight_n, "A", 7, "slack window"),
        Part(
            "zero drift",
            rectangular(chain.zero_slope_n_per_s * since_zero_s / weight_n),
            basis="its slope, followed to the rest",
        ),
        Part("friction at rest", rectangular(friction), basis="what the rails may hold"),
    )
    return Budget("rest_closure", "1", rest_n / weight_n, parts)


def displacement_budget(pull: Pull1, left_m: float, chain: Chain, peak_n: float) -> Budget:
    """Budget of the stretch at slack."""
    moved_m = pull.moment_ns2 / pull.mass_kg
    parts = (
        Part("force", moved_m * chain.force_u_fraction(peak_n), basis="calibration and beyond"),
        Part("mass", moved_m * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part("speed at onset", pull.speed_in_u() * pull.length_s, basis="height 5 mm, friction"),
        Part(
            "zero",
            0.5 * chain.zero_u_n * pull.length_s**2 / pull.mass_kg,
            "A",
            7,
            "integrated twice",
        ),
        Part("clock", pull.speed_in_m_s * CLOCK_U_S, basis="onset and slack to 0.2 ms"),
    )
    return Budget("displacement_closure_m", "m", left_m, parts)
