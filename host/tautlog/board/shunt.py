"""Shunt: the resistor that a board switches across one arm of the bridge, and its step.

If one is fitted, its step proves that the bridge responds. It checks wiring and gain. It does
not load the gauge, so it is not a calibration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.errors import CalibrationError
from tautlog.model.limits import SHUNT_INVALID, SHUNT_SUSPECT
from tautlog.model.shown import shown


@dataclass(frozen=True)
class Shunt:
    """A fitted shunt resistor.

    Attributes
    ----------
    expected_v : float or None
        Expected step at the converter; None if unknown.
    basis : str
        Source of the expected step.
    signed : bool
        The sign is known, too; a data sheet does not say across which arm it lies.
    """

    expected_v: float | None = None
    basis: str = ""
    signed: bool = False

    @property
    def text(self) -> str:
        """The expected step and its basis."""
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
    """Judge a shunt's step: "good", "suspect" beyond 2 %, "invalid" beyond 5 %."""
    if expected_v == 0 or not math.isfinite(expected_v):
        raise CalibrationError("the expected step of the shunt must be a number other than 0")
    off = step_v / expected_v - 1.0
    bounds = (("good", SHUNT_SUSPECT), ("suspect", SHUNT_INVALID))
    state = next((name for name, most in bounds if abs(off) <= most), "invalid")
    by = shown(100.0 * off, "%", (100.0 * SHUNT_SUSPECT, 100.0 * SHUNT_INVALID), least=1)
    return state, f"shunt step {step_v:.4f} V, expected {expected_v:.4f} V: {by.signed}"


def shunt_step_mv_per_v(bridge_ohm: float, shunt_ohm: float) -> float:
    """Output of a balanced bridge with one arm shunted, R / (4 Rs + 2 R), in mV/V.

    Exact; R / (4 Rs) is the usual approximation. The step checks wiring and gain and does not
    replace a force calibration: the gauge itself is not loaded.
    """
    return 1000.0 * bridge_ohm / (4.0 * shunt_ohm + 2.0 * bridge_ohm)
