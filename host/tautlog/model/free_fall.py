"""Free fall: how long a sled takes to fall its height if nothing brakes it."""

from __future__ import annotations

import math

from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2


def free_fall_s(height_m: float) -> float:
    """Seconds of a fall without friction, h = g t**2 / 2; a real one is longer by little."""
    return math.sqrt(2.0 * height_m / STANDARD_GRAVITY_M_PER_S2)
