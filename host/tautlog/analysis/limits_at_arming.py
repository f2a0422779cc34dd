"""Limits at arming: the amplifier's limits that a board was given when it armed.

They are what it watched the signal by. Where a calibration says others, the narrower of both
hold, and it is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tautlog.model.calibration import Calibration

# In sample values: what rounding to counts may make of the same two limits.
SAME = 2


@dataclass(frozen=True)
class InForce:
    """Limits of a sample, in its counts, as `arm` took them.

    Attributes
    ----------
    low, high : int
        At or beyond them the amplifier counts as at its limit.
    """

    low: int
    high: int

    def clipped(self, counts: npt.NDArray[np.uint16]) -> npt.NDArray[np.bool_]:
        """Samples at or beyond the limits, of the shape of `counts`."""
        return (counts <= self.low) | (counts >= self.high)

    def unlike(self, used: Calibration, reduction: int) -> str:
        """In words, how the limits of a calibration differ from these; "" where they do not."""
        step_v = used.volt_per_count(reduction)
        low_v, high_v = used.working_range_v()
        off = (self.low - low_v / step_v, self.high - high_v / step_v)
        if max(abs(steps) for steps in off) <= SAME:
            return ""
        return (
            f"armed with limits of the amplifier at {self.low * step_v:.3f} V and "
            f"{self.high * step_v:.3f} V, the calibration in use puts them at {low_v:.3f} V and "
            f"{high_v:.3f} V: the narrower of both are judged by"
        )


def in_force(arming: Mapping[str, Any]) -> InForce | None:
    """Read the limits out of what a record holds of its arming; None where it holds none.

    Raises
    ------
    ValueError, TypeError
        If they are damaged.
    """
    limits = arming.get("limits")
    if not limits:
        return None
    low, high = limits.get("rail_low"), limits.get("rail_high")
    if low is None or high is None:
        return None
    if not isinstance(low, int) or not isinstance(high, int) or not 0 <= low < high:
        raise ValueError(f"limits at arming of {low!r} to {high!r}")
    return InForce(low, high)
