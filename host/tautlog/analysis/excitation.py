"""Excitation: the supply of the bridges over a drop. Forces are as wrong as the supply is."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from tautlog.analysis.zero import REST_S
from tautlog.model.channels import ExcitationMonitor
from tautlog.model.marks import Finding, Marks
from tautlog.model.shown import shown
from tautlog.model.witness import Excitation

FloatArray = npt.NDArray[np.float64]

MEAN_S = 0.002  # moving mean in which a sag is looked for; own choice
BEFORE_S = 0.4  # of the record before the release, or before the onset; own choice
SAG_SIGMAS = 4.0  # of that mean's noise, beyond which a sag is none of its making; own choice


def supply_v(volts: FloatArray, scale: ExcitationMonitor) -> FloatArray:
    """Supply in volts from the channel's volts.

    Raises
    ------
    ValueError
        If the divider is not stated.
    """
    if not scale.divider_ratio:
        raise ValueError("`divider_ratio` is not stated")
    return volts * scale.divider_ratio


def smoothed_v(supply: FloatArray, rate_hz: float) -> FloatArray:
    """Supply as a moving mean of 2 ms; NaN where a sample is missing."""
    size = max(round(MEAN_S * rate_hz), 1)
    return np.asarray(uniform_filter1d(supply, size, mode="nearest"), np.float64)


def tell_excitation(
    marks: Marks, volts: FloatArray, scale: ExcitationMonitor | None, *, corrected: bool = False
) -> Excitation:
    """Tell the supply before, during and after the pull.

    Parameters
    ----------
    marks : Marks
        Marks of the force: where the release and the contact are.
    volts : ndarray of float64, shape (n_samples,)
        The channel at the times of the force; NaN where missing.
    scale : ExcitationMonitor or None
        What is stated about it.
    corrected : bool
        The forces were corrected by it.
    """
    if scale is None or not scale.divider_ratio:
        return Excitation(text="the divider of the excitation is not stated: volts are kept")
    rate = marks.sample_rate_hz
    supply = supply_v(volts, scale)
    start_s = marks.release_time_s if marks.release_time_s is not None else marks.onset_time_s
    stop = supply.size if start_s is None else max(int(marks.place_of(start_s)), 1)
    before = supply[max(stop - int(BEFORE_S * rate), 0) : stop]
    after = supply[-max(int(REST_S[1] * rate), 1) :]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if not before.size or not before.mean():
        return Excitation(text="the samples of the excitation are missing")
    before_v = float(before.mean())
    after_v = float(after.mean()) if after.size else None
    sag = _sag(marks, supply, before_v, float(before.std()))
    expected_v = scale.expected_v
    off = before_v / expected_v - 1.0 if expected_v else None
    drift = None if after_v is None else after_v / before_v - 1.0
    found = tuple(_findings(scale, off, drift, sag, before_v))
    if corrected and found:
        found = (_corrected(before_v, sag),)
    text = "; ".join(finding.text for finding in found)
    return Excitation(
        before_v=before_v,
        after_v=after_v,
        off_fraction=off,
        drift_fraction=drift,
        sag_fraction=sag,
        corrected=corrected,
        text=text or f"excitation steady at {before_v:.3f} V",
        findings=found or (Finding("excitation-steady", f"excitation steady at {before_v:.3f} V"),),
    )


def _corrected(before_v: float, sag: float | None) -> Finding:
    text = (
        f"the forces were corrected by the excitation, {before_v:.3f} V before the drop, "
        f"{100 * (sag or 0.0):.1f} % less under the pull"
    )
    return Finding("excitation-corrected", text)


def _sag(marks: Marks, supply: FloatArray, before_v: float, noise_v: float) -> float | None:
    """Largest fall in the contact, over the level before; 0 if noise explains it."""
    rate = marks.sample_rate_hz
    last_s = marks.slack_time_s or marks.break_time_s
    if marks.onset_time_s is None or last_s is None:
        return None
    smooth = smoothed_v(supply, rate)[
        int(marks.place_of(marks.onset_time_s)) : int(marks.place_of(last_s)) + 1
    ]
    if not np.isfinite(smooth).any():
        return None
    fall_v = before_v - float(np.nanmin(smooth))
    return fall_v / before_v if fall_v > SAG_SIGMAS * noise_v / math.sqrt(MEAN_S * rate) else 0.0


def _findings(
    scale: ExcitationMonitor,
    off: float | None,
    drift: float | None,
    sag: float | None,
    before_v: float,
) -> list[Finding]:
    most, found = scale.tolerance_fraction, []
    if off is None:
        text = f"excitation {before_v:.3f} V: the expected voltage is not stated"
        found.append(Finding("excitation-unjudged", text))
    elif abs(off) > most:
        text = (
            f"excitation {before_v:.3f} V instead of {scale.expected_v:g} V, {_allowed(off, most)}"
            f": forces are {_share(off, most)} off unless the converter's reference follows it"
        )
        found.append(Finding("excitation-off", text))
    if drift is not None and abs(drift) > most:
        told = _share(drift, most)
        text = f"the excitation drifted by {told} over the drop, {_allowed(drift, most)}"
        found.append(Finding("excitation-drift", text))
    if sag is not None and sag > most:
        text = (
            f"the excitation sagged by {_share(sag, most).lstrip('+')} under the pull, "
            f"{_allowed(sag, most)}: the peak reads too low by as much"
        )
        found.append(Finding("excitation-sag", text))
    return found


def _share(part: float, most: float) -> str:
    return shown(100.0 * part, "%", (100.0 * most,), least=1).signed


def _allowed(part: float, most: float) -> str:
    return f"allowed is {shown(100.0 * part, '%', (100.0 * most,), least=1).level()}"
