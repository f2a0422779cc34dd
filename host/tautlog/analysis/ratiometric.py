"""Ratiometric: forces corrected by expected over measured supply of the bridges, where stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tautlog.analysis.excitation import smoothed_v, supply_v
from tautlog.model.channels import YES, ExcitationMonitor
from tautlog.model.trace import Trace


def correction_of(
    volts: npt.NDArray[np.float64], scale: ExcitationMonitor | None, rate_hz: float
) -> npt.NDArray[np.float64] | None:
    """Factor on what the bridge gives, sample by sample; None unless stated and known."""
    if scale is None or scale.ratiometric != YES or not scale.divider_ratio:
        return None
    if not scale.expected_v:
        return None
    supply = smoothed_v(supply_v(volts, scale), rate_hz)
    # A supply that is gone gives no force, and no factor either.
    factor = np.full(supply.size, np.nan)
    there = supply > 0.5 * scale.expected_v
    factor[there] = scale.expected_v / supply[there]
    return factor


def corrected(trace: Trace, zero_n: float, factor: npt.NDArray[np.float64]) -> Trace:
    """A trace whose part above the amplifier's zero is multiplied by a factor.

    Parameters
    ----------
    trace : Trace
        The force as measured.
    zero_n : float
        What the amplifier's own offset reads as a force: the supply does not move it.
    factor : ndarray of float64, shape (n_samples,)
        As `correction_of` gives.
    """
    return replace(trace, force_n=zero_n + (trace.force_n - zero_n) * factor)
