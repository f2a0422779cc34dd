"""Marking: from a trace to its marks.

`mark` calls one stage after the other. Each is a function of the frozen results of stages
before it, and gives one that later stages take, so that no other order can be written:

    signal -> place -> loss -> contact -> after -> closures -> damage -> peak -> doubts

(modules `stage_...`). A field of a result that bears the name of a figure of `marks.Marks` is
that figure; what each of them means stands there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from tautlog.analysis.analog_filter import judge_filter
from tautlog.analysis.forerunner import tell_forerunner
from tautlog.analysis.further_pull import tell_further_pull
from tautlog.analysis.loading import tell_loading
from tautlog.analysis.resolution import step_of
from tautlog.analysis.silence import tell_silence
from tautlog.analysis.stage1_signal import force_of, signal_of, usable_class
from tautlog.analysis.stage2_place import Located, Zeroed, ZeroTold, locate, tell_zero
from tautlog.analysis.stage3_loss import Measured, find_parting
from tautlog.analysis.stage4_contact import (
    at_rails,
    hides_pull,
    tell_impulse,
    tell_times,
    tell_wholeness,
)
from tautlog.analysis.stage5_after import tell_after, tell_loss, tell_wires
from tautlog.analysis.stage5_ring import tell_ring
from tautlog.analysis.stage6_closures import tell_agreement, tell_closures, tell_plateau
from tautlog.analysis.stage6_speed import tell_speed
from tautlog.analysis.stage7_damage import tell_damage, tell_shape, tell_stretch
from tautlog.analysis.stage8_peak import tell_line_peak, tell_peak
from tautlog.analysis.stage9_doubts import (
    tell_completeness,
    tell_completeness_untaut,
    tell_impossible,
)
from tautlog.analysis.swing import odd_swing_n
from tautlog.model.force_curve import ForceCurve
from tautlog.model.marks import BEFORE_ONSET, Finding, Marks
from tautlog.model.trace import DropSetup, Trace

ZEROS = ("slack", "none")  # how a zero is taken, the usual way first
LEAST_SAMPLES = 16  # of a trace: twice what a zero needs; own choice

_FIGURES = frozenset(figure.name for figure in fields(Marks)) - {"findings", "budgets", "curve"}


def mark(trace: Trace, setup: DropSetup, *, cfc: int | None = 180, zero: str = "slack") -> Marks:
    """Compute the marks of a trace.

    Parameters
    ----------
    trace : Trace
        The trace; any content, also none.
    setup : DropSetup
        Mass, height and target, where known.
    cfc : int or None
        Channel frequency class, or None for no filter. One that the rate forbids is lowered.
    zero : str
        "slack": take the zero from the slack window; "none": take none.

    Raises
    ------
    ValueError
        If `cfc` or `zero` is none of the allowed values.
    """
    if zero not in ZEROS:
        raise ValueError(f"`zero` must be {' or '.join(ZEROS)}, was {zero!r}")
    force = force_of(trace)
    trace = trace if trace.quantum_n else replace(trace, quantum_n=step_of(force))
    used, lowered = usable_class(cfc, trace.sample_rate_hz)
    marks = Marks(
        sample_rate_hz=trace.sample_rate_hz,
        samples=force.size,
        missing_samples=int(np.count_nonzero(np.isnan(force))),
        release_time_s=trace.release_time_s,
        flash_time_s=trace.flash_time_s,
        flash_late_s=trace.flash_late_s,
        article_wire_s=trace.article_wire_s,
        mount_wire_s=trace.mount_wire_s,
        cfc=used,
        target_force_n=setup.target_n,
        limit_force_n=setup.upper_n,
        findings=lowered + _told_beforehand(trace) + _of_filter(trace, used),
    )
    if force.size - marks.missing_samples < LEAST_SAMPLES:
        few = Finding("no-samples", f"the trace has only {force.size} samples")
        curve = ForceCurve(trace.sample_rate_hz, force.copy(), force, begins_s=trace.begins_s)
        return _with(replace(marks, record_ends=BEFORE_ONSET, curve=curve), [few])
    signal = signal_of(trace, setup, force, cfc=used, take_zero=zero == "slack")
    del force  # as long as the trace
    marks = _with(marks, signal.findings)
    place = locate(signal)
    told = tell_zero(place)
    if isinstance(place, Located):
        return _of_pull(marks, find_parting(place), told)
    return _of_no_pull(marks, place, told)


def _of_filter(trace: Trace, cfc: int | None) -> tuple[Finding, ...]:
    """What the analog filter does to the class; nothing where nobody stated a bandwidth."""
    if not cfc or not trace.bandwidth_hz > 0.0 or not trace.conversion_rate_hz > 0.0:
        return ()
    found = judge_filter(trace.bandwidth_hz, trace.filter_poles, trace.conversion_rate_hz, cfc)
    codes = []
    if not found.flat:
        codes.append("filter-droops")
    if not found.keeps_out:
        codes.append("filter-folds" if found.poles else "filter-unknown")
    return tuple(Finding(code, f"the amplifier's low-pass, {found.text}") for code in codes)


def _told_beforehand(trace: Trace) -> tuple[Finding, ...]:
    """What its record tells of a trace before anybody looks at it."""
    found = []
    if trace.release_doubt:
        text = f"the time of the release is in doubt: {trace.release_doubt}"
        found.append(Finding("release-doubt", text))
    if trace.release_note:
        found.append(Finding("release-knock", trace.release_note))
    if trace.flash_doubt:
        found.append(Finding("flash-late", trace.flash_doubt))
    found += [Finding(told.code, told.text) for told in trace.contradictions]
    if trace.calibration_expired:
        text = "the calibration was out of date on that day"
        found.append(Finding("calibration-expired", text))
    return tuple(found)


def _of_pull(marks: Marks, pull: Measured, zero: ZeroTold) -> Marks:
    """Marks of a trace with a contact."""
    times = tell_times(pull, zero)
    whole = tell_wholeness(pull, times)
    impulse = tell_impulse(pull, whole)
    after = tell_after(pull, whole)
    agreement = tell_agreement(pull, whole, after)
    closures = tell_closures(pull, impulse, after, agreement)
    speed = tell_speed(pull, impulse, agreement, closures)
    plateau = tell_plateau(pull, whole, impulse, closures)
    loss = tell_loss(pull, whole, closures.fall_speed_m_s)
    wires = tell_wires(pull)
    ring = tell_ring(pull, whole)
    shape = tell_shape(pull, closures, ring.calm_n)
    stretch = tell_stretch(pull, whole, after, agreement, closures, speed, loss)
    damage = tell_damage(pull, loss, shape, stretch)
    peak = tell_peak(pull, times, whole, impulse)
    loading = tell_loading(pull, times, whole, peak)
    line = tell_line_peak(pull, peak, ring)
    ends = tell_completeness(pull, after, loss)
    return _with(
        marks,
        *(zero.findings, times.findings, whole.findings, after.findings, agreement.findings),
        *(
            speed.findings,
            plateau,
            loss.findings,
            wires,
            shape.findings,
            stretch.findings,
            peak.findings,
        ),
        *(ends.findings, tell_impossible(pull, whole, agreement, closures)),
        tell_further_pull(pull, after),
        (*tell_forerunner(pull), *tell_silence(pull)),
        **_figures_of(
            *(zero, times, whole, impulse, after, agreement, closures, speed, loss, shape),
            *(stretch.stretch, stretch.spread, damage, peak, loading, ring, line, ends),
        ),
        budgets=(
            *(*peak.budgets, *closures.budgets, *line.budgets),
            *(*speed.budgets, *stretch.spread.budgets),
        ),
        curve=_curve(pull, int(pull.sign), pull.parted_s, times.ends),
    )


def _of_no_pull(marks: Marks, place: Zeroed, zero: ZeroTold) -> Marks:
    """Marks of a trace in which no contact stands out."""
    signal = place.signal
    clipped, rails = at_rails(place, None, None)
    swing_n = odd_swing_n(signal.filtered_n, signal.clean_n, signal.setup.weight_n)
    if swing_n is None:
        text = "no contact exceeds the noise: the line never came taut"
        why = Finding("never-taut", text)
    else:
        text = (
            f"the force swings by {swing_n:.0f} N and does not look like a pull of a line: "
            "hum, a loose cable or another signal"
        )
        why = Finding("not-a-pull", text)
    ends = tell_completeness_untaut(place)
    return _with(
        marks,
        *(zero.findings, rails, (why,), ends.findings),
        **_figures_of(zero, ends),
        clipped=clipped,
        gap_in_contact=hides_pull(signal, signal.clean_n.size),
        curve=_curve(place, 1),
    )


def _figures_of(*results: object) -> dict[str, Any]:
    """Figures of stages, by the names of their fields."""
    return {
        name: value
        for result in results
        for name, value in vars(result).items()
        if name in _FIGURES
    }


def _with(marks: Marks, *findings: Sequence[Finding], **figures: Any) -> Marks:
    """The marks with more findings, in their order, and figures."""
    more = (finding for several in findings for finding in several)
    return replace(marks, findings=(*marks.findings, *more), **figures)


def _curve(
    place: Zeroed,
    sign: int,
    parted_s: float | None = None,
    ends: tuple[float, float] | None = None,
) -> ForceCurve:
    """What all figures were taken from, to be shown and exported."""
    signal = place.signal
    start_s, stop_s = ends if ends is not None else (None, None)
    return ForceCurve(
        sample_rate_hz=signal.rate_hz,
        force_n=np.where(signal.missing, np.nan, place.sign * place.pulse_n),
        unfiltered_n=np.where(signal.missing, np.nan, signal.trace.force_n) - place.zero_n,
        cfc=signal.cfc,
        zero_n=place.zero_n if signal.take_zero else None,
        sign=sign,
        break_time_s=parted_s,
        duration_from_s=start_s,
        duration_to_s=stop_s,
        glitches=int(signal.spikes.size),
        begins_s=signal.trace.begins_s,
    )
