"""Verdict lines: the result of a drop, in the same words at the rig, on pictures and on paper."""

from __future__ import annotations

import shlex

from tautlog.analysis.judge_trace import REST_NOTHING
from tautlog.archive.assessment import Assessment
from tautlog.model.display_units import Units
from tautlog.model.legs import AXIAL, SUM, Legs
from tautlog.model.limits import upper_of
from tautlog.model.origin import IMPORTED, MARK
from tautlog.model.shown import shown_force
from tautlog.model.verdict_words import prediction_words, words
from tautlog.record import Decision

# Reasons that may come first but are not faults.
_NO_FAULT = frozenset(
    "closure-good closure-unknown bandwidth-unknown release-unknown "
    "shunt-good gap zero-drift zero-return".split()
)
# Load verdicts that claim that a load was reached.
_CLAIMS = ("on-target", "possible-overload", "overload")
OWN_AGAIN = "the record's own"


def quick_look(drop: Assessment) -> list[str]:
    """Five lines in the order in which a crew needs them (common practice).

    Is the sled at rest? Is the record whole? Which load was reached? Did anything give way?
    What next? Terminal and picture show the same lines. Nothing is called safe: people at the
    rig decide when to approach it.
    """
    record, load, trace, test = verdict_lines(drop)
    return [
        f"1 {_only_rehearsed(drop)}rest: {_rest_words(drop)}",
        f"2 {record}",
        f"3 {load}",
        f"4 {trace}",
        f"5 {test}; {_next_words(drop)}",
    ]


def verdict_lines(drop: Assessment) -> list[str]:
    """Record, load, load path and test in words, the same at the rig and in a report."""
    lines = (
        f"{words(drop.verdict.record_verdict)}{_first_reason(drop)}",
        load_words(drop),
        words(drop.verdict.trace_says),
        _test_words(drop),
    )
    return [f"{_only_rehearsed(drop)}{text}" for text in lines]


def decided_words(decision: Decision) -> str:
    """A decision, and who made it."""
    return f"{words(decision.verdict).removeprefix('test: ')} decided by {decision.by}"


def notes(drop: Assessment) -> list[str]:
    """Notes to the verdicts: doubts, prediction, and a calibration other than the record's own."""
    found = _origin_words(drop)
    predicted = drop.predicted
    if predicted:
        text = prediction_words(predicted, drop.marks.peak_force_n, drop.units)
        found.append(f"{text}; from line {predicted.line} by {predicted.source}")
    return found + channel_words(drop) + _calibration_words(drop)


def notes_without_prediction(drop: Assessment) -> list[str]:
    """Notes to the verdicts where the prediction is shown elsewhere."""
    return _origin_words(drop) + channel_words(drop) + _calibration_words(drop)


def channel_words(drop: Assessment) -> list[str]:
    """What legs, accelerometer and supply show, one line each; none for a single channel."""
    told = drop.beside
    found = [] if told.legs is None else _leg_words(told.legs, drop.units)
    found += [one.text for one in (told.witness, told.excitation) if one is not None]
    return found


def _leg_words(legs: Legs, units: Units) -> list[str]:
    found = []
    for leg in legs.legs:
        if leg.peak_force_n is None:
            found.append(f"{leg.name}: {'no pull' if leg.calibrated else 'NOT CALIBRATED'}")
            continue
        levels_n = (leg.target_n, upper_of(leg.target_n, leg.limit_n))
        shown = shown_force(leg.peak_force_n, leg.peak_force_expanded_u_n or 0.0, levels_n, units)
        share = ""
        if leg.share is not None and leg.share_expanded_u is not None:
            share = f", {100 * leg.share:.1f} % +/- {100 * leg.share_expanded_u:.1f} % of the sum"
        own = f"; by itself {words(leg.load_verdict)}" if leg.load_verdict else ""
        found.append(f"{leg.name}: peak {shown.text}{shown.around} (k = 2){share}{own}")
    found += _sum_words(legs, units)
    apart_s, spread_s = legs.onset_difference_s, legs.onset_difference_expanded_u_s
    if apart_s is not None and spread_s is not None:
        first = f"{legs.first_taut} came taut first" if legs.first_taut else "together, or nearly"
        found.append(
            f"onsets {1e3 * apart_s:.2f} ms +/- {1e3 * spread_s:.2f} ms (k = 2) apart: {first}"
        )
    return found


def _sum_words(legs: Legs, units: Units) -> list[str]:
    """Which sum the force of the drop is, the vector, and how unequally the legs pulled."""
    if legs.sum_is == AXIAL:
        found = ["the sum is that along the vertical, by the stated angles"]
    else:
        found = ["the sum is the plain sum of the forces, not along the vertical"]
    total_n, spread_n = legs.resultant_force_n, legs.resultant_expanded_u_n
    if total_n is not None and spread_n is not None:
        total = shown_force(total_n, spread_n, units=units)
        found.append(
            f"vector sum at the peak: {total.text}{total.around} "
            f"(k = 2), {legs.resultant_off_vertical_deg:.1f} degrees off the vertical"
        )
    if legs.asymmetry is not None and legs.asymmetry_expanded_u is not None:
        found.append(
            f"asymmetry at the peak: {100 * legs.asymmetry:.1f} % +/- "
            f"{100 * legs.asymmetry_expanded_u:.1f} % (largest less smallest over their sum; own "
            "definition)"
        )
    if legs.let_go_order == "unclear":
        found.append("which leg let go first is unclear")
    return found


def _origin_words(drop: Assessment) -> list[str]:
    """The drop's origin, if it is not the rig, and entries that are not believed."""
    found = []
    if drop.rehearsed:
        found.append(f"{MARK}: the rig was simulated and nothing moved; this is no evidence")
    if drop.origin == IMPORTED:
        found.append("imported: another instrument recorded the trace")
    return found + [f"NOT BELIEVED: {text}" for text in drop.edited]


def _calibration_words(drop: Assessment) -> list[str]:
    """The calibration, if it is not the record's own or was corrected."""
    calibration, found = drop.calibration, []
    used, chosen = calibration.used, calibration.chosen
    if chosen:
        date = f"dated {used.date}" if used.date else "undated"
        found.append(
            f"calibration {chosen.file or OWN_AGAIN}, {used.newton_per_volt:.6g} N/V, {date}, "
            f"chosen by {chosen.by} ({chosen.reason}); recorded with "
            f"{calibration.recorded.newton_per_volt:.6g} N/V"
        )
    if calibration.corrected:
        found.append(
            f"THE CALIBRATION WAS CORRECTED: {calibration.corrected}; choose another with "
            "`tautlog mark --calibration`"
        )
    return found


def _test_words(drop: Assessment) -> str:
    """The proposed test verdict, and the decision if a person made one."""
    proposed = words(drop.verdict.test_verdict)
    if not drop.decision:
        return proposed
    return f"{proposed} proposed, {decided_words(drop.decision)}"


def _only_rehearsed(drop: Assessment) -> str:
    return f"{MARK}: " if drop.rehearsed else ""


def _rest_words(drop: Assessment) -> str:
    if drop.has("leg-uncalibrated"):
        return "NOT KNOWN: a leg is not calibrated, so that its pull is not known; stay out"
    one_went = drop.has("leg-let-go") or drop.has("leg-order-unclear")
    if one_went and drop.marks.rest_force_n is not None:
        rest = drop.units.text(drop.marks.rest_force_n, "N")
        return f"{rest} on the other legs; look before you approach"
    if drop.verdict.trace_says == "let-go":
        return "the load path let go, the sled lies where it fell; look before you approach"
    if drop.has("not-a-pull"):
        return "NOT KNOWN: the force does not look like a pull; stay out"
    if drop.marks.peak_force_n is None:
        return "no contact: the sled may still hang on latch or rails; stay out"
    if drop.marks.rest_force_n is None:
        return "NOT KNOWN whether the sled hangs still; stay out"
    rest = drop.units.text(drop.marks.rest_force_n, "N")
    if _nothing_pulls(drop):
        return (
            f"{rest}, NOT KNOWN where the sled is: it may lie where it fell, or hang anywhere "
            "above; stay out"
        )
    return f"{rest}; stay out until pin and catch are confirmed by people"


def _nothing_pulls(drop: Assessment) -> bool:
    """Whether a sled that should hang from the line does not pull it at rest."""
    rest_n, weight_n = drop.marks.rest_force_n, drop.setup.weight_n
    if rest_n is None or not weight_n or drop.setup.end_state == "rests":
        return False
    return abs(rest_n) < REST_NOTHING * weight_n


def _first_reason(drop: Assessment) -> str:
    """The first reason for a suspect or invalid record."""
    if drop.verdict.record_verdict == "valid":
        return ""
    reasons = [reason.text for reason in drop.verdict.reasons if reason.code not in _NO_FAULT]
    return f": {reasons[0]}" if reasons else ""


def load_words(drop: Assessment) -> str:
    """The peak with its interval, and which load was reached."""
    verdict, legs, peak = drop.verdict, drop.beside.legs, drop.shown_peak
    if peak is None:
        return _no_peak_words(drop)
    factor = drop.loaded.peak_coverage_factor or 2.0
    around = f"{peak.around} (k = {factor:.2g})" if peak.spread else ""
    load = f"{words(verdict.load_verdict)}{_by_one_leg(drop)}"
    if drop.has("reversed"):
        load = "NEGATIVE, not a pull as wired: swap the wires"
    elif verdict.record_verdict == "invalid" and verdict.load_verdict in _CLAIMS:
        load = f"{load}, but the record is INVALID"
    which = "" if legs is None or legs.judged_on == SUM else f"{legs.judged_on}: "
    return f"{which}peak {peak.text}{around}: {load}"


def _by_one_leg(drop: Assessment) -> str:
    """Say that a leg decides on the load verdict, not the peak beside it; or ""."""
    legs, code = drop.beside.legs, f"load-{drop.verdict.load_verdict}"
    if legs is None:
        return ""
    why = next((reason.text for reason in drop.verdict.reasons if reason.code == code), "")
    return " of one leg" if any(finding.text in why for finding in legs.findings) else ""


def _no_peak_words(drop: Assessment) -> str:
    """The load without a peak. There is no bound: only a valid "no load" is known."""
    if drop.verdict.load_verdict == "no-load" and drop.verdict.record_verdict == "valid":
        return f"no peak: {words('no-load')}"
    if drop.has("leg-uncalibrated"):
        return "no peak: the sum of the legs is NOT KNOWN"
    if drop.has("not-a-pull"):
        return "no peak: the force does not look like a pull, the load is NOT KNOWN"
    return "no peak: no pull was seen, the load is NOT KNOWN"


def _next_words(drop: Assessment) -> str:
    if drop.has("leg-uncalibrated"):
        return "calibrate the leg, then mark the record again"
    if drop.has("not-a-pull"):
        return "find out what this force is"
    if drop.marks.peak_force_n is None:
        return "find out why the line did not come taut"
    if drop.verdict.trace_says in ("let-go", "slipped"):
        return "stop, and find what gave way"
    if drop.verdict.record_verdict != "valid":
        return "explain the record before the next drop"
    if drop.verdict.article == "not-inspected":
        return "inspect the article"
    return "continue with the plan, if nothing moved or changed"


def next_command(drop: Assessment) -> str:
    """The command that does what comes next; what people must do stands in the fifth line."""
    path = shlex.quote(str(drop.path))
    if drop.has("leg-uncalibrated"):
        return "tautlog calibrate --channel NAME"
    if drop.has("not-a-pull") or drop.marks.peak_force_n is None:
        return f"tautlog show {path}"
    if drop.verdict.article == "not-inspected":
        return f"tautlog inspect {path} --found FINDING --by NAME"
    if drop.verdict.record_verdict != "valid":
        return f"tautlog show {path}"
    if not drop.decision:
        return f"tautlog decide {path} --verdict VERDICT --by NAME --reason TEXT"
    return "tautlog plan"
