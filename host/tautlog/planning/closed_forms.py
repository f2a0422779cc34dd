"""What the line will do: closed forms of a falling weight on an elastic member.

The line is a massless linear spring without damping, the rails are free of
friction, and gravity acts during the contact too. Real lines come out lower
(damping, friction) or higher (hardening, bedding-in); `motion`
solves those cases.
"""

from __future__ import annotations

import math

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2


def _require_positive(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"`{name}` must be a finite number > 0, was {value!r}")


def _require_height(height_m: float) -> None:
    if not (height_m >= 0 and math.isfinite(height_m)):
        raise ValueError(f"`height_m` must be a finite number >= 0, was {height_m!r}")


def taut_speed_m_s(height_m: float) -> float:
    """Speed of the sled when the line comes taut, sqrt(2 g h), without friction.

    Parameters
    ----------
    height_m : float
        Free travel until the line is taut, in metres; at least 0.
    """
    _require_height(height_m)
    return math.sqrt(2.0 * STANDARD_GRAVITY_M_PER_S2 * height_m)


def fall_time_s(height_m: float) -> float:
    """Time from the release until the line comes taut, sqrt(2 h / g), without friction."""
    _require_height(height_m)
    return math.sqrt(2.0 * height_m / STANDARD_GRAVITY_M_PER_S2)


def elastic_impact_peak_n(mass_kg: float, height_m: float, stiffness_n_per_m: float) -> float:
    """Peak force of the undamped line, m g (1 + sqrt(1 + 2 k h / (m g))).

    Parameters
    ----------
    mass_kg : float
        All that moves, with half the line; greater than 0.
    height_m : float
        Free travel until the line is taut; 0 gives 2 m g, the suddenly applied load.
    stiffness_n_per_m : float
        Stiffness of line and rig in series; greater than 0.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    References
    ----------
    .. [1] J. M. Gere, Mechanics of Materials, 7th ed., eq. 9-94 (impact factor
       delta_max / delta_st = 1 + sqrt(1 + 2 h / delta_st)).
    """
    _require_positive("mass_kg", mass_kg)
    _require_height(height_m)
    _require_positive("stiffness_n_per_m", stiffness_n_per_m)
    weight_n = mass_kg * STANDARD_GRAVITY_M_PER_S2
    return weight_n * (1.0 + math.sqrt(1.0 + 2.0 * stiffness_n_per_m * height_m / weight_n))


def stiffness_for_peak_n_per_m(mass_kg: float, height_m: float, peak_n: float) -> float:
    """Stiffness that gives a peak, k = F (F - 2 m g) / (2 m g h).

    The inverse of `elastic_impact_peak_n`.

    Raises
    ------
    ValueError
        If an argument is outside its range, the height included, which must be
        greater than 0; or if the peak is not above 2 m g, which no line
        undercuts, however soft.
    """
    _require_positive("mass_kg", mass_kg)
    _require_positive("height_m", height_m)
    weight_n = mass_kg * STANDARD_GRAVITY_M_PER_S2
    if not (peak_n > 2.0 * weight_n and math.isfinite(peak_n)):
        raise ValueError(
            f"`peak_n` must be above 2 m g = {2 * weight_n:.6g} N for {mass_kg:g} kg, "
            f"was {peak_n!r}: take a lighter sled or a higher target"
        )
    return peak_n * (peak_n - 2.0 * weight_n) / (2.0 * weight_n * height_m)


def contact_duration_s(mass_kg: float, height_m: float, stiffness_n_per_m: float) -> float:
    """Time from taut to slack of the undamped line, (2 / w) (pi - atan(v0 w / g)).

    From x'' = g - w**2 x, x(0) = 0, x'(0) = v0, w = sqrt(k / m): the stretch is
    back at zero after this time. Without gravity it would be pi / w.
    """
    _require_positive("mass_kg", mass_kg)
    _require_positive("stiffness_n_per_m", stiffness_n_per_m)
    omega = math.sqrt(stiffness_n_per_m / mass_kg)
    lead = math.atan(taut_speed_m_s(height_m) * omega / STANDARD_GRAVITY_M_PER_S2)
    return 2.0 / omega * (math.pi - lead)


def contact_impulse_ns(mass_kg: float, height_m: float, stiffness_n_per_m: float) -> float:
    """Impulse of the first contact of the undamped line, 2 m v0 + m g T, in N s."""
    contact_s = contact_duration_s(mass_kg, height_m, stiffness_n_per_m)
    speed_m_s = taut_speed_m_s(height_m)
    return mass_kg * (2.0 * speed_m_s + STANDARD_GRAVITY_M_PER_S2 * contact_s)


def peak_stretch_m(mass_kg: float, height_m: float, stiffness_n_per_m: float) -> float:
    """Largest stretch of the undamped line, peak force over stiffness."""
    return elastic_impact_peak_n(mass_kg, height_m, stiffness_n_per_m) / stiffness_n_per_m


def _phase_at(mass_kg: float, height_m: float, stiffness_n_per_m: float, fraction: float) -> float:
    """Phase before the peak, in radians, at which the force is `fraction` of the peak.

    In the contact F = m g + A cos(w (t - t_peak)) with A = F_peak - m g, which
    follows from the equation of motion in `contact_duration_s`.
    """
    if not 0.0 < fraction < 1.0:
        raise ValueError(f"`fraction` must be between 0 and 1, was {fraction!r}")
    peak_n = elastic_impact_peak_n(mass_kg, height_m, stiffness_n_per_m)
    weight_n = mass_kg * STANDARD_GRAVITY_M_PER_S2
    return math.acos((fraction * peak_n - weight_n) / (peak_n - weight_n))


def duration_above_s(
    mass_kg: float, height_m: float, stiffness_n_per_m: float, *, fraction: float = 0.1
) -> float:
    """Time that the undamped line spends above a fraction of its peak force.

    Parameters
    ----------
    mass_kg, height_m, stiffness_n_per_m : float
        As for `elastic_impact_peak_n`.
    fraction : float
        Between 0 and 1. 0.1 is the duration of shock and packaging standards
        (common practice), 0.5 the full width at half maximum.
    """
    phase = _phase_at(mass_kg, height_m, stiffness_n_per_m, fraction)
    return 2.0 * phase / math.sqrt(stiffness_n_per_m / mass_kg)


def rise_time_s(mass_kg: float, height_m: float, stiffness_n_per_m: float) -> float:
    """Time of the undamped line from 10 % to 90 % of its peak force."""
    low = _phase_at(mass_kg, height_m, stiffness_n_per_m, 0.1)
    high = _phase_at(mass_kg, height_m, stiffness_n_per_m, 0.9)
    return (low - high) / math.sqrt(stiffness_n_per_m / mass_kg)
