"""Predicted: what was promised of a drop, as it is kept with its marks."""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields
from typing import Any


@dataclass(frozen=True)
class Predicted:
    """The peak that was reckoned for a drop, and what it was reckoned from.

    Attributes
    ----------
    peak_force_n, peak_low_n, peak_high_n : float
        Peak of the first pull, and its band.
    mass_kg, height_m : float
        Of the drop.
    friction_n : float or None
        Of the rails, where it is known.
    line : str
        Name of its line.
    stiffness_n_per_m, hardening_per_m2, damping_ratio : float
        Of that line.
    source : str
        Where these come from.
    reckoned_utc : str
        When it was reckoned.
    on_the_day : bool
        Within a day of the drop; else afterwards, from what was known before it.
    """

    peak_force_n: float
    peak_low_n: float
    peak_high_n: float
    mass_kg: float
    height_m: float
    line: str
    stiffness_n_per_m: float
    hardening_per_m2: float
    damping_ratio: float
    friction_n: float | None
    source: str
    reckoned_utc: str = ""
    on_the_day: bool = False


def predicted_in(told: object) -> Predicted | None:
    """The prediction that a JSON object tells; None where it is none, or lacks something."""
    if not isinstance(told, dict):
        return None
    values: dict[str, Any] = {}
    for one in fields(Predicted):
        value = told.get(one.name, None if one.default is MISSING else one.default)
        if not _fits(value, str(one.type)):
            return None
        values[one.name] = value
    return Predicted(**values)


def _fits(value: object, kind: str) -> bool:
    if kind in ("str", "bool"):
        return type(value).__name__ == kind
    if value is None:
        return "None" in kind
    return isinstance(value, (int, float)) and not isinstance(value, bool)
