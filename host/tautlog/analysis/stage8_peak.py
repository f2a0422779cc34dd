"""Stage 8 of marking, the peak: of the cell's force and of the line's, with their budgets."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tautlog.analysis.budgets import line_budget, peak_budget
from tautlog.analysis.ending import Ending, ending
from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS, cfc_filter, highest_class_for
from tautlog.analysis.peak import Correction, Top, corrections
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Impulse, Times, Wholeness
from tautlog.analysis.stage5_ring import RingTold
from tautlog.analysis.stage6_closures import chain_of
from tautlog.model.limits import GLITCH_SAMPLES, PAD_S
from tautlog.model.marks import Finding
from tautlog.model.trace import Trace
from tautlog.model.uncertainty import Budget

SLOPE_S, SLOPE_SAMPLES = 0.001, 4  # before a loss, that its slope is taken from; own choice
# Rise time times bandwidth below which the corner of a break is rounded off; own choice: four
# times the 0.5 from which a rise shows the amplifier itself (`limits.RISE_PER_BANDWIDTH`).
QUICK_RISE = 2.0
USUAL_BANDWIDTH_HZ = 1000.0  # of an amplifier that nobody described; common practice, its low end


@dataclass(frozen=True)
class Peak:
    """The peak of the cell's force; figures as in `marks.Marks`.

    `corrections` is what lies between the largest value of the curve and the peak.
    """

    peak_force_n: float
    peak_correction_n: float
    peak_force_expanded_u_n: float
    peak_coverage_factor: float
    corrections: tuple[Correction, ...]
    budgets: tuple[Budget, ...]
    findings: tuple[Finding, ...]


def tell_peak(pull: Measured, times: Times, whole: Wholeness, impulse: Impulse) -> Peak:
    """Tell the peak, corrected for what is known to be lost and gained."""
    found: tuple[Correction, ...] = ()
    end = None
    if whole.seen_whole:
        found = _corrections(pull, times, impulse)
        end = _ending(pull)
    if end is not None:
        found += (end.correction(),)
    budget, added_n = peak_budget(pull.top_n, chain_of(pull), since_zero_s(pull), found)
    return Peak(
        peak_force_n=pull.sign * budget.value,
        peak_correction_n=pull.sign * added_n + 0.0,  # no "-0"
        peak_force_expanded_u_n=budget.expanded_u,
        peak_coverage_factor=budget.coverage_factor,
        corrections=found,
        budgets=(replace(budget, value=pull.sign * budget.value),),
        findings=_about_ending(end, pull.signal.trace) or _about_rise(pull),
    )


def since_zero_s(pull: Measured) -> float:
    """Time from the middle of the zero's window to the peak."""
    return max(pull.peak - pull.window_middle, 0.0) / pull.rate_hz


def _broke(pull: Measured) -> int | None:
    """Sample at which the load path let go within the contact; None where it did not."""
    if pull.loss is None or not pull.contact.start < pull.loss.index < pull.contact.stop:
        return None
    return int(pull.loss.index)


def _ending(pull: Measured) -> Ending | None:
    """What the place of a break leaves open."""
    broke, contact, spikes = _broke(pull), pull.contact, pull.signal.spikes
    if broke is None:
        return None
    span = max(contact.start - int(PAD_S * pull.rate_hz), 0), contact.start, broke
    near = spikes[np.abs(spikes - broke) <= GLITCH_SAMPLES]
    left_out = pull.sign * (pull.signal.trace.force_n[near] - pull.zero_n)
    glitch_n = float(np.nanmax(left_out)) if near.size else None
    if glitch_n is not None and not glitch_n > pull.force_n[broke]:
        glitch_n = None
    return ending(pull.force_n, pull.rate_hz, pull.signal.cfc, span, pull.top_n, glitch_n)


def _about_ending(end: Ending | None, trace: Trace) -> tuple[Finding, ...]:
    if end is None or not end.unsure:
        return ()
    text = (
        f"the force ended between {trace.at_s(end.first):.4f} s and "
        f"{trace.at_s(end.last):.4f} s, where the trace does not tell: its peak is "
        f"{end.lowest_n:.0f} N or more, up to {end.highest_n:.0f} N"
    )
    return (Finding("break-unsure", text),)


def _about_rise(pull: Measured) -> tuple[Finding, ...]:
    """Whether a break came before class and amplifier could follow the rise to it.

    They round the corner off, fixture and amplifier go on for a while after it, and then
    the fall that is found is theirs: the interval would be that of another peak.
    """
    if _broke(pull) is None:
        return ()
    passed_hz = pull.signal.trace.bandwidth_hz or USUAL_BANDWIDTH_HZ
    if pull.signal.cfc is not None:
        passed_hz = min(passed_hz, MINUS_3_DB_PER_CLASS * pull.signal.cfc)
    rose_s = (pull.peak - pull.onset) / pull.rate_hz
    if rose_s >= QUICK_RISE / passed_hz:
        return ()
    text = (
        f"the force rose for {1000 * rose_s:.1f} ms before it broke, and what passes "
        f"{passed_hz:.0f} Hz cannot follow so quickly: its peak is {pull.top_n:.0f} N or more"
    )
    return (Finding("break-unsure", text),)


def _corrections(pull: Measured, times: Times, impulse: Impulse) -> tuple[Correction, ...]:
    """What lies between the largest value of the curve and the peak of the cell's force."""
    rate, cfc, parted_s = pull.rate_hz, pull.signal.cfc, pull.parted_s
    pad = int(PAD_S * rate)
    start, stop = max(pull.contact.start - pad, 0), pull.contact.stop + pad
    if parted_s is not None:
        stop = round(pull.signal.trace.place_of(parted_s)) + 1
    curve = pull.pulse_n[start:stop]
    shape = cfc or highest_class_for(rate)
    at_edge = parted_s is not None and pull.peak >= stop - 2  # the filter ends in a sample
    wide = cfc is None or at_edge
    top = Top(
        curve_n=curve,
        smooth_n=curve if cfc or not shape else cfc_filter(curve, rate, shape),
        place=pull.peak - start,
        rate_hz=rate,
        noise_n=pull.quick_n if wide else float(np.std(pull.pulse_n[pull.window])),
        apart_s=1.0 / rate if wide else 1.0 / (2.0 * MINUS_3_DB_PER_CLASS * float(cfc or 1)),
        bandwidth_hz=pull.signal.trace.bandwidth_hz,
        poles=pull.signal.trace.filter_poles,
        length_s=_length_s(pull, times, impulse),
        slope_n_per_s=0.0 if parted_s is None else _slope_at_loss(pull),
    )
    return corrections(top)


def _length_s(pull: Measured, times: Times, impulse: Impulse) -> float:
    """Length of the half-sine of the same impulse, or what comes next to it."""
    length_s = impulse.half_sine_s or times.duration_s or times.base_duration_s
    return length_s or (pull.contact.stop - pull.contact.start) / pull.rate_hz


def _slope_at_loss(pull: Measured) -> float:
    """Newtons per second at which the force rose in the last millisecond before a loss.

    By a straight line, so that noise does not tell it; since the onset where that is
    shorter; 0 where it fell.
    """
    assert pull.loss is not None  # what has parted has one
    stop = int(pull.loss.index) + 1
    length = max(int(SLOPE_S * pull.rate_hz), SLOPE_SAMPLES)
    piece = pull.force_n[max(stop - length, int(pull.onset), 0) : stop]
    if piece.size < 2:
        return 0.0
    return max(float(np.polyfit(np.arange(piece.size), piece, 1)[0]) * pull.rate_hz, 0.0)


@dataclass(frozen=True)
class LinePeak:
    """The peak of the line's force; figures as in `marks.Marks`."""

    line_peak_force_n: float | None = None
    line_peak_force_expanded_u_n: float | None = None
    budgets: tuple[Budget, ...] = ()


def tell_line_peak(pull: Measured, peak: Peak, ring: RingTold) -> LinePeak:
    """Tell what the line pulled, without what hangs between it and the cell.

    Told where the pull was seen whole and nothing rings while the line is slack: how much
    of a ringing mass lies between line and cell a trace does not tell.
    """
    if not ring.slack_seen or ring.fixture_hz is not None:
        return LinePeak()
    fittings, mass = pull.signal.setup.fittings_kg, pull.signal.setup.mass_kg
    budget = line_budget(
        pull.top_n,
        chain_of(pull),
        since_zero_s(pull),
        peak.corrections,
        fittings / mass if fittings and mass else 0.0,
        pull.noise_n,
    )
    told = replace(budget, value=pull.sign * budget.value)
    return LinePeak(told.value, budget.expanded_u, budgets=(told,))
