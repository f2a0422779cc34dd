"""Verdict lines: what a drop came to, in the same words at the rig, on a picture and on paper."""

from __future__ import annotations

from tautlog.archive.assessment import Assessment
from tautlog.model.origin import IMPORTED, MARK
from tautlog.model.verdict_words import force_text, prediction_words, words
from tautlog.record import Decision

# Reasons that stand before others and are no fault.
_NO_FAULT = frozenset(
    "closure-good closure-unknown bandwidth-unknown release-unknown "
    "shunt-good gap zero-drift zero-return".split()
)
# What claims that a load was reached.
_CLAIMS = ("on-target", "possible-overload", "overload")
OWN_AGAIN = "the record's own again"


def quick_look(one: Assessment) -> list[str]:
    """Five lines in the order in which a crew must know them (common practice).

    Is the sled at rest? Is the record whole? Which load was reached? Did something give?
    What next? The same on the terminal and on the picture. Nothing is called safe: people
    at the rig decide when it is approached.
    """
    record, load, trace, test = verdict_lines(one)
    return [
        f"1 {_only_rehearsed(one)}rest: {_rest_words(one)}",
        f"2 {record}",
        f"3 {load}",
        f"4 {trace}",
        f"5 {test}; {_next_words(one)}",
    ]


def verdict_lines(one: Assessment) -> list[str]:
    """Record, load, load path and test, each in its words; the same at the rig and in a report."""
    told = (
        f"{words(one.verdict.record_verdict)}{_first_reason(one)}",
        _load_words(one),
        words(one.verdict.trace_says),
        _test_words(one),
    )
    return [f"{_only_rehearsed(one)}{text}" for text in told]


def decided_words(decision: Decision) -> str:
    """Who decided what."""
    return f"{words(decision.verdict).removeprefix('test: ')} decided by {decision.by}"


def notes(one: Assessment) -> list[str]:
    """What stands beside the verdicts: doubts, prediction, a calibration of another day."""
    found = _origin_words(one)
    predicted = one.predicted
    if predicted:
        told = prediction_words(predicted, one.marks.peak_force_n)
        found.append(f"{told}; from line {predicted.line} by {predicted.source}")
    return found + _calibration_words(one)


def notes_without_prediction(one: Assessment) -> list[str]:
    """The same where the prediction is told elsewhere."""
    return _origin_words(one) + _calibration_words(one)


def _origin_words(one: Assessment) -> list[str]:
    """Where it came from if not from the rig, and what is not believed."""
    found = []
    if one.rehearsed:
        found.append(f"{MARK}: the rig was simulated, nothing moved; it counts for nothing")
    if one.origin == IMPORTED:
        found.append("imported: the trace is of another instrument")
    return found + [f"NOT BELIEVED: {text}" for text in one.edited]


def _calibration_words(one: Assessment) -> list[str]:
    """A calibration of another day, and one that was corrected."""
    told, found = one.calibration, []
    if told.chosen:
        found.append(
            f"calibration {told.chosen.file or OWN_AGAIN}, {told.used.newton_per_volt:.6g} N/V of "
            f"{told.used.date or 'no date'}, chosen by {told.chosen.by} "
            f"({told.chosen.reason}); recorded under {told.recorded.newton_per_volt:.6g} N/V"
        )
    if told.corrected:
        found.append(
            f"THE CALIBRATION IS CORRECTED: {told.corrected}; `tautlog mark --calibration` takes "
            "another"
        )
    return found


def _test_words(one: Assessment) -> str:
    """What the test counts as: what is proposed, and beside it what a person decided."""
    proposed = words(one.verdict.test_verdict)
    if not one.decision:
        return proposed
    return f"{proposed} is proposed, {decided_words(one.decision)}"


def _only_rehearsed(one: Assessment) -> str:
    return f"{MARK}: " if one.rehearsed else ""


def _rest_words(one: Assessment) -> str:
    if one.verdict.trace_says == "let-go":
        return "the load path let go, the sled is where it fell; look before you approach"
    if one.has("not-a-pull"):
        return "NOT KNOWN: the force does not look like a pull; stay out"
    if one.marks.peak_force_n is None:
        return "no contact: the sled may still hang on latch or rails; stay out"
    if one.marks.rest_force_n is None:
        return "NOT KNOWN whether the sled hangs still; stay out"
    return f"{one.marks.rest_force_n:.0f} N; stay out until pin and catch are confirmed by people"


def _first_reason(one: Assessment) -> str:
    """What makes a record suspect or invalid: the first reason, which is the condition."""
    if one.verdict.record_verdict == "valid":
        return ""
    reasons = [reason.text for reason in one.verdict.reasons if reason.code not in _NO_FAULT]
    return f": {reasons[0]}" if reasons else ""


def _load_words(one: Assessment) -> str:
    marks, verdict = one.marks, one.verdict
    spread, factor = marks.peak_force_expanded_u_n, marks.peak_coverage_factor or 2.0
    if marks.peak_force_n is None:
        return _no_peak_words(one)
    around = "" if spread is None else f" +/- {force_text(spread)} N (k = {factor:.2g})"
    said = words(verdict.load_verdict)
    if one.has("reversed"):
        said = "NEGATIVE, no pull as it stands: swap the wires"
    elif verdict.record_verdict == "invalid" and verdict.load_verdict in _CLAIMS:
        said = f"{said}, but the record is INVALID"
    return f"peak {force_text(marks.peak_force_n)} N{around}: {said}"


def _no_peak_words(one: Assessment) -> str:
    """Without a peak there is no bound: what was reached is known only where nothing was."""
    if one.verdict.load_verdict == "no-load" and one.verdict.record_verdict == "valid":
        return f"no peak: {words('no-load')}"
    if one.has("not-a-pull"):
        return "no peak: the force does not look like a pull, the load is NOT KNOWN"
    return "no peak: no pull was seen, the load is NOT KNOWN"


def _next_words(one: Assessment) -> str:
    if one.has("not-a-pull"):
        return "find out what this force is"
    if one.marks.peak_force_n is None:
        return "find out why the line did not come taut"
    if one.verdict.trace_says in ("let-go", "slipped"):
        return "stop, and find what gave"
    if one.verdict.record_verdict != "valid":
        return "explain the record before the next drop"
    if one.verdict.article == "not-inspected":
        return "inspect the article"
    return "go on by the plan, if nothing moved or changed"
