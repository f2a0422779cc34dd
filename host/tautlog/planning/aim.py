"""Aim: not the target, but the middle of the band that can be proven."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.model.display_units import SI, Units
from tautlog.model.limits import OVERLOAD_PER_TARGET


@dataclass(frozen=True)
class Aim:
    """What to aim at so that a target is proven.

    Attributes
    ----------
    force_n : float
        Aim.
    low_n, high_n : float
        What must be measured to be proven on target: target / (1 - U) to limit / (1 + U).
    note : str
        Why this aim, in words.
    u_fraction : float
        Expanded relative uncertainty (k = 2) of the measured peak.
    """

    force_n: float
    low_n: float
    high_n: float
    note: str
    u_fraction: float = 0.0


def aim_for(
    target_n: float, limit_n: float | None, expanded_u_fraction: float, units: Units = SI
) -> Aim:
    """Return the guard-banded aim (ILAC-G8:09/2019, decision rules).

    Parameters
    ----------
    target_n, limit_n : float, float or None
        Target and limit (default limit: 1.1 x target).
    expanded_u_fraction : float
        Expanded relative uncertainty (k = 2) of the measured peak.
    units : Units
        Units in which its note is said.

    Raises
    ------
    PlanError
        If the numbers are out of range.
    """
    upper = OVERLOAD_PER_TARGET * target_n if limit_n is None else limit_n
    u = expanded_u_fraction
    if not (target_n > 0 and upper > target_n and 0 <= u < 1):
        raise PlanError(
            f"target {target_n:g} N, limit {upper:g} N, uncertainty {u:g}: allowed are target > 0, "
            "limit > target, 0 <= uncertainty < 1"
        )
    low, high = target_n / (1.0 - u), upper / (1.0 + u)
    if low <= high:
        return Aim(
            0.5 * (low + high),
            low,
            high,
            f"a measured {units.inner_band(low, high, 'N')} proves the target, with U = "
            f"{100 * u:.2g} %",
            u,
        )
    return Aim(
        low,
        low,
        high,
        f"with U = {100 * u:.2g} % no peak can be proven to lie between "
        f"{units.number(target_n, 'N')} and {units.text(upper, 'N')}: aim for "
        f"{units.text(low, 'N')} to prove the target, and judge the overload "
        "separately; or reduce U, or widen the band",
        u,
    )
