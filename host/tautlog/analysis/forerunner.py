"""Forerunner: a smaller pull in the fall, before the one that is measured.

A slack line pulls once, when it comes taut. What pulled before that and fell back to nothing was
another part of the load path, or the same one before it slipped: an article that parted while a
second line took over gives a small pull, some milliseconds of nothing, and a whole one after it.
"""

from __future__ import annotations

import numpy as np

from tautlog.analysis.damage import SERRATION, SERRATION_SIGMAS
from tautlog.analysis.stage2_place import FREE_FALL_S, fall_time_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.model.free_fall import free_fall_s
from tautlog.model.marks import Finding

FORERUNNER = "forerunner"

# Of the fall, before the onset, that is looked at: at its begin a latch and its coil are heard,
# and without a release hands were on the line. As where the zero is taken; own choice.
LOOKED_AT = 0.7


def tell_forerunner(pull: Measured) -> tuple[Finding, ...]:
    """Tell the largest pull in the fall before the measured one, if it is no noise."""
    first = pull.onset - LOOKED_AT * _fall_s(pull) * pull.rate_hz
    least_n = max(SERRATION * pull.even_top_n, SERRATION_SIGMAS * pull.even_noise_n)
    found = []
    for contact in pull.earlier:
        peak = contact.start + int(np.argmax(pull.even_n[contact.start : contact.stop]))
        if contact.start >= first and pull.even_n[peak] > least_n:
            found.append((float(pull.even_n[peak]), peak))
    if not found:
        return ()
    force_n, peak = max(found)
    before_ms = 1000.0 * (pull.onset - peak) / pull.rate_hz
    text = (
        f"a pull of {force_n:.0f} N at {pull.at_s(peak):.4f} s fell back to nothing "
        f"{before_ms:.1f} ms before the line came taut: something parted or slipped in the fall, "
        "and what bore the peak may be another part of the load path"
    )
    return (Finding(FORERUNNER, text),)


def _fall_s(pull: Measured) -> float:
    """Time of the fall, by its release, else by its height, else what no fall falls short of."""
    fall_s, height_m = fall_time_s(pull), pull.signal.setup.height_m
    if fall_s is not None:
        return fall_s
    return FREE_FALL_S if height_m is None else free_fall_s(height_m)
