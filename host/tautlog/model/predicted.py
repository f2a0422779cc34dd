"""Predicted: the prediction for a drop, as it is kept with its marks."""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields
from typing import Any


@dataclass(frozen=True)
class Predicted:
    """The predicted peak of a drop, and the values it was calculated from.

    Attributes
    ----------
    peak_force_n, peak_low_n, peak_high_n : float
        Peak of the first pull, and its band.
    mass_kg, height_m : float
        Mass and height of the drop.
    friction_n : float or None
        Friction of the rails, if known.
    line : str
        Name of the line.
    stiffness_n_per_m, hardening_per_m2, damping_ratio : float
        Values of that line.
    source : str
        Source of these values.
    reckoned_utc : str
        Time of the calculation.
    on_the_day : bool
        Calculated within a day of the drop; else later, from what was known before the drop.
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


def predicted_in(content: object) -> Predicted | None:
    """The prediction in a JSON object; None if it is not a whole prediction."""
    if not isinstance(content, dict):
        return None
    values: dict[str, Any] = {}
    for part in fields(Predicted):
        value = content.get(part.name, None if part.default is MISSING else part.default)
        if not _fits(value, str(part.type)):
            return None
        values[part.name] = value
    return Predicted(**values)


def _fits(value: object, kind: str) -> bool:
    if kind in ("str", "bool"):
        return type(value).__name__ == kind
    if value is None:
        return "None" in kind
    return isinstance(value, (int, float)) and not isinstance(value, bool)
