"""Shunt: the resistor that a board lays across one arm of the bridge, and its step.

Where one is fitted its step is the proof that the bridge lives. It checks wiring and gain;
the gauge itself is not loaded, so it calibrates nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.errors import CalibrationError
from tautlog.model.limits import SHUNT_INVALID, SHUNT_SUSPECT


@dataclass(frozen=True)
class Shunt:
    """A resistor that is fitted.

    Attributes
    ----------
    expected_v : float or None
        Step that it should make at the converter; None where nobody can say.
    basis : str
        Where that is from.
    signed : bool
        The sign is known too; a data sheet does not say across which arm it lies.
    """

    expected_v: float | None = None
    basis: str = ""
    signed: bool = False

    @property
    def text(self) -> str:
        """What is expected, and by what."""
        if self.expected_v is None:
            return "some step"
        return f"{self.expected_v:.4f} V ({self.basis})"

    def judge(self, step_v: float) -> str:
        """Whether a step is "good", "suspect" or "invalid"; `expected_v` must be known."""
        assert self.expected_v is not None
        if self.signed:
            return shunt_check(step_v, self.expected_v)[0]
        return shunt_check(abs(step_v), abs(self.expected_v))[0]


def shunt_check(step_v: float, expected_v: float) -> tuple[str, str]:
    """What a shunt's step says: "good", "suspect" beyond 2 %, "invalid" beyond 5 %."""
    if expected_v == 0 or not math.isfinite(expected_v):
        raise CalibrationError("the expected step of the shunt must be a number other than 0")
    off = step_v / expected_v - 1.0
    bounds = (("good", SHUNT_SUSPECT), ("suspect", SHUNT_INVALID))
    state = next((name for name, most in bounds if abs(off) <= most), "invalid")
    return state, f"shunt step {step_v:.4f} V, expected {expected_v:.4f} V: {100 * off:+.1f} %"


def shunt_step_mv_per_v(bridge_ohm: float, shunt_ohm: float) -> float:
    """Output of a balanced bridge with one arm shunted, R / (4 Rs + 2 R), in mV/V.

    Exact; R / (4 Rs) is the usual approximation. It checks wiring and gain and replaces no
    calibration by force: the gauge itself is not loaded.
    """
    return 1000.0 * bridge_ohm / (4.0 * shunt_ohm + 2.0 * bridge_ohm)
