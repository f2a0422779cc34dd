"""Stage 9 of marking, the doubts: what the record does not hold, and what cannot have been."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tautlog.analysis import impossible
from tautlog.analysis.completeness import (
    CALLED_OFF,
    MISSING,
    Extent,
    cut_short,
    starts_late,
    where_it_ends,
)
from tautlog.analysis.stage1_signal import Signal
from tautlog.analysis.stage2_place import Zeroed, fall_time_s, first_window
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Wholeness
from tautlog.analysis.stage5_after import After, LossTold
from tautlog.analysis.stage6_closures import Agreement, Closures
from tautlog.analysis.stretch import motion
from tautlog.model.marks import Finding


@dataclass(frozen=True)
class Completeness:
    """Where the record ends before it holds the whole drop; as in `marks.Marks`."""

    record_ends: str | None
    findings: tuple[Finding, ...]


def tell_completeness(pull: Measured, after: After, loss: LossTold) -> Completeness:
    """Tell what of the drop the record does not hold."""
    signal, top_n, last = pull.signal, pull.even_top_n, _last(pull.signal)
    restless = 0.0
    if signal.trace.release_time_s is None:
        first_n = pull.force_n[first_window(signal)]
        # White noise is no pull: what differs from sample to sample does not count.
        quick = 0.5 * float(np.mean(np.diff(first_n) ** 2)) if first_n.size > 1 else 0.0
        restless = float(np.sqrt(max(float(np.mean(first_n**2)) - quick, 0.0))) / top_n
    return _told(
        signal,
        Extent(
            end_s=pull.at_s(last),
            release_s=signal.trace.release_time_s,
            onset_s=pull.at_s(pull.onset),
            peak_s=pull.at_s(pull.peak),
            slack_s=None if pull.slack is None else pull.at_s(pull.slack),
            height_m=signal.setup.height_m,
            left_of_peak=float(pull.even_n[last]) / top_n,
            caught=bool(after.bounces),
            rests=after.rest_force_n is not None or loss.break_time_s is not None,
            by_board=signal.trace.completeness is not None,
            restless=restless,
        ),
    )


def tell_completeness_untaut(place: Zeroed) -> Completeness:
    """The same for a record in which no contact was found."""
    signal = place.signal
    return _told(
        signal,
        Extent(
            end_s=place.at_s(_last(signal)),
            release_s=signal.trace.release_time_s,
            height_m=signal.setup.height_m,
            by_board=signal.trace.completeness is not None,
        ),
    )


def _last(signal: Signal) -> int:
    """Last sample that is there."""
    return int(np.flatnonzero(~signal.missing)[-1])


def _told(signal: Signal, extent: Extent) -> Completeness:
    place, why = where_it_ends(extent), cut_short(signal.trace.completeness)
    findings = []
    if starts_late(extent):
        text = "the trace begins in the pull: its onset is not in it"
        findings.append(Finding("starts-late", text))
    if why:
        lacking = "" if place is None else f"; what is missing: {MISSING[place]}"
        findings.append(Finding("cut-short", f"{why}{lacking}"))
        told = signal.trace.completeness
        if told is not None and told.called_off:
            findings.append(Finding(CALLED_OFF, why))
    return Completeness(place, tuple(findings))


def tell_impossible(
    pull: Measured, whole: Wholeness, agreement: Agreement, closures: Closures
) -> tuple[Finding, ...]:
    """Tell what no sled of that mass and height can have done."""
    height_m, agreed = pull.signal.setup.height_m, agreement.agreed
    doubts = [_of_momentum(pull, whole, closures)]
    if height_m:
        found_m = None if agreed is None else agreed.height_m
        doubts.append(impossible.of_height(height_m, fall_time_s(pull), found_m))
    if pull.loss is None or pull.thrown_back:
        stop = pull.contact.stop if pull.slack is None else int(pull.slack)
        noise_n = float(np.std(pull.signal.filtered_n[pull.window]))
        doubts.append(
            impossible.of_burst(pull.pulse_n, pull.rate_hz, pull.first, stop, pull.peak, noise_n)
        )
    return tuple(Finding(doubt.code, doubt.text) for doubt in doubts if doubt is not None)


def _of_momentum(pull: Measured, whole: Wholeness, closures: Closures) -> impossible.Doubt | None:
    """What the force leaves to the sled; a loss of load tells that by itself."""
    mass, v_in = pull.signal.setup.mass_kg, closures.fall_speed_m_s
    force = pull.pulled_n
    if not mass or not v_in or not force.size or pull.loss is not None or pull.is_cut_off:
        return None
    speed = motion(force, pull.rate_hz, pull.since_onset_s, mass, v_in)[1]
    whole_pull = pull.slack is not None and whole.seen_whole
    return impossible.of_momentum(speed, v_in, went_slack=whole_pull)
