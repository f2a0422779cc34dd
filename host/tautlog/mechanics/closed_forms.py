"""Closed forms: what the line will do, those of a falling weight on an elastic member.

The line is a massless linear spring without damping, the rails have no friction,
and gravity also acts during the contact. Real peaks are lower (damping, friction)
or higher (hardening, bedding-in); `motion` solves those cases.
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
        If an argument is outside its range (the height must be greater than 0),
        or if the peak is not above 2 m g: no line, however soft, gives less.
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
