"""Views: further ways to look at a record: force over stretch, spectra, several at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.filters import cfc_filter
from tautlog.quicklook import Marked
from tautlog.spectrum import HIGHEST_HZ, LOWEST_HZ, response_spectrum
from tautlog.stretch import motion
from tautlog.trace import DropSetup, Trace

FloatArray = npt.NDArray[np.float64]

BEFORE, AFTER = 0.5, 2.0  # of the contact's length, around it
SPECTRUM_POINTS = 90


@dataclass(frozen=True)
class Curve:
    """One curve: its name, and what it is drawn from and over."""

    name: str
    x: FloatArray
    y: FloatArray


def _force(trace: Trace, marked: Marked) -> FloatArray:
    """Force with its zero removed, in the class of the marks."""
    force = trace.force_n - (marked["zero_offset_n"] or 0.0)
    cfc = marked["cfc"]
    return cfc_filter(force, trace.sample_rate_hz, cfc) if cfc else force


def since_onset(name: str, trace: Trace, marked: Marked) -> Curve | None:
    """Force over the time since the line came taut, or None without a contact."""
    onset, base = marked["onset_time_s"], marked["base_duration_s"] or 0.1
    if onset is None:
        return None
    rate = trace.sample_rate_hz
    start = max(int((onset - BEFORE * base) * rate), 0)
    stop = min(int((onset + AFTER * base) * rate), trace.force_n.size)
    time = np.arange(start, stop) / rate - onset
    return Curve(name, time, _force(trace, marked)[start:stop])


def over_stretch(name: str, trace: Trace, marked: Marked, setup: DropSetup) -> Curve | None:
    """Force over the stretch of line and rig, onset to slack, or None where it is not known."""
    onset, slack = marked["onset_time_s"], marked["break_time_s"] or marked["slack_time_s"]
    speed, mass = marked["taut_speed_m_s"], setup.mass_kg
    if None in (onset, slack, speed, mass) or marked["gap_in_contact"]:
        return None
    assert mass is not None
    rate = trace.sample_rate_hz
    first, last = int(np.ceil(onset * rate)), int(slack * rate)
    force = (trace.force_n - (marked["zero_offset_n"] or 0.0))[first : last + 1]
    if (marked["peak_force_n"] or 0.0) < 0:
        force = -force
    if force.size < 3:
        return None
    way, _ = motion(force, rate, first / rate - onset, mass, speed, marked["friction_n"] or 0.0)
    return Curve(name, way, force)


def spectra(name: str, trace: Trace, marked: Marked) -> tuple[Curve, Curve] | None:
    """Amplitude spectrum of the force around the contact, and its shock response (Q = 10).

    The latter as response over peak: what a part with a natural frequency of its own sees
    of the pulse (ISO 18431-4). None without a contact, or with missing samples in it.
    """
    curve = since_onset(name, trace, marked)
    if curve is None or curve.y.size < 32 or not np.isfinite(curve.y).all():
        return None
    rate = trace.sample_rate_hz
    onset = int(np.searchsorted(curve.x, 0.0))
    base = marked["base_duration_s"] or 0.1
    pulse = curve.y[onset : onset + max(int(base * rate), 4)]
    size = 1 << int(np.ceil(np.log2(4 * curve.y.size)))
    amplitude = np.asarray(np.abs(np.fft.rfft(pulse, size)) / rate, np.float64)
    frequency = np.asarray(np.fft.rfftfreq(size, 1.0 / rate), np.float64)
    seen = (frequency >= LOWEST_HZ) & (frequency <= min(HIGHEST_HZ, 0.4 * rate))
    natural = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, 0.1 * rate), SPECTRUM_POINTS)
    response = response_spectrum(pulse, rate, natural) / float(np.abs(pulse).max())
    return Curve(name, frequency[seen], amplitude[seen]), Curve(name, natural, response)
