"""Stage 1 of marking, the signal: a trace made ready to be looked at.

What is missing is filled (for finding places only), what a pulled cable leaves behind is
taken as missing, glitches are left out, and the rest is filtered in its class.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.analysis.damage import dead_from
from tautlog.analysis.filters import cfc_filter, highest_class_for, require_class
from tautlog.analysis.find_contacts import smoothed, without_glitches
from tautlog.model.limits import LARGEST_N
from tautlog.model.marks import Finding
from tautlog.model.trace import DropSetup, Trace

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Signal:
    """A trace as all later stages look at it; arrays of float64, shape (n_samples,).

    Attributes
    ----------
    trace, setup : Trace, DropSetup
        What it was made of, and what people said.
    cfc : int or None
        Class that is used; None for no filter.
    take_zero : bool
        Whether a zero is to be taken off.
    gaps : int
        Samples that are not there.
    missing : ndarray of bool
        The same, and those after the signal died.
    dead : int or None
        Sample from which on the signal is dead.
    clean_n, filtered_n, smooth_n : ndarray
        Without glitches; in its class; under a short moving mean.
    spikes : ndarray of int, shape (n_spikes,)
        Samples that were left out as glitches.
    findings : tuple of Finding
        What was noticed.
    """

    trace: Trace
    setup: DropSetup
    cfc: int | None
    take_zero: bool
    gaps: int
    missing: BoolArray
    dead: int | None
    clean_n: FloatArray
    filtered_n: FloatArray
    smooth_n: FloatArray
    spikes: npt.NDArray[np.intp]
    findings: tuple[Finding, ...]

    @property
    def rate_hz(self) -> float:
        """Samples per second."""
        return self.trace.sample_rate_hz

    @property
    def release(self) -> float | None:
        """Place of the release in samples; None where it is not known."""
        release_s = self.trace.release_time_s
        return None if release_s is None else self.trace.place_of(release_s)


def force_of(trace: Trace) -> FloatArray:
    """Force of a trace; NaN where a sample is missing, or can be no force."""
    return np.where(np.abs(trace.force_n) < LARGEST_N, trace.force_n, np.nan)


def usable_class(cfc: int | None, rate_hz: float) -> tuple[int | None, tuple[Finding, ...]]:
    """The class that a rate allows, and a finding where it is not the one asked for."""
    if cfc is None:
        return None, ()
    require_class(cfc)
    highest = highest_class_for(rate_hz)
    if highest is not None and cfc <= highest:
        return cfc, ()
    instead = "not filtered" if highest is None else f"class {highest} instead"
    text = f"class {cfc} needs {10 * cfc} samples/s, the trace has {rate_hz:g}: {instead}"
    return highest, (Finding("class-lowered", text),)


def signal_of(
    trace: Trace, setup: DropSetup, force: FloatArray, *, cfc: int | None, take_zero: bool
) -> Signal:
    """Make a trace ready, of which some samples are there and whose rate allows the class.

    `force` is what `force_of` gives.
    """
    missing = ~np.isfinite(force)
    gaps = int(missing.sum())
    filled = _filled(force, missing)
    dead = dead_from(filled, trace.clipped, trace.sample_rate_hz, trace.quantum_n)
    if dead is not None:
        # What a pulled cable leaves behind is no force.
        missing[dead:] = True
        filled = _filled(np.where(missing, np.nan, force), missing)
    clean_n, spikes = without_glitches(filled, trace.sample_rate_hz)
    return Signal(
        trace=trace,
        setup=setup,
        cfc=cfc,
        take_zero=take_zero,
        gaps=gaps,
        missing=missing,
        dead=dead,
        clean_n=clean_n,
        filtered_n=cfc_filter(clean_n, trace.sample_rate_hz, cfc) if cfc else clean_n,
        smooth_n=smoothed(clean_n, trace.sample_rate_hz),
        spikes=spikes,
        findings=_glitches(spikes, trace),
    )


def _filled(force: FloatArray, missing: BoolArray) -> FloatArray:
    """Fill for finding things only: a gap is reported, and its figures are bounds."""
    if not missing.any():
        return force
    index = np.arange(force.size)
    return np.interp(index, index[~missing], force[~missing])


def _glitches(spikes: npt.NDArray[np.intp], trace: Trace) -> tuple[Finding, ...]:
    if not spikes.size:
        return ()
    text = (
        f"{spikes.size} sample(s) jump out of the trace, the first at "
        f"{trace.at_s(spikes[0]):.4f} s; they are no peaks and are left out"
    )
    return (Finding("glitch", text),)
