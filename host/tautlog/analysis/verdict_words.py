"""Verdicts in words, the same on screen, picture and paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tautlog.model.origin import IMPORTED, MARK, REHEARSED

# Reasons that stand before others and are no fault.
_NO_FAULT = frozenset(
    "closure-good closure-unknown bandwidth-unknown release-unknown "
    "shunt-good gap zero-drift zero-return".split()
)

_WORDS = {
    "valid": "record valid",
    "suspect": "record SUSPECT",
    "invalid": "record INVALID",
    "no-load": "no load reached the part",
    "under": "UNDER target",
    "unproven": "target NOT PROVEN (within the uncertainty)",
    "on-target": "ON TARGET",
    "possible-overload": "POSSIBLE OVERLOAD",
    "overload": "OVERLOAD",
    "at-least": "AT LEAST this load (a lower bound)",
    "held": "trace: load path HELD",
    "let-go": "trace: load path LET GO",
    "slipped": "trace: load path SLIPPED",
    "unclear": "trace: load path UNCLEAR",
    "pass": "test: PASS",
    "pass-overtested": "test: PASS, over-tested",
    "fail": "test: FAIL",
    "no-test": "test: NO TEST",
    "no-verdict": "test: NO VERDICT",
    "pending": "test: pending, the article is not inspected",
}

VERDICTS = tuple(_WORDS)
# What claims that a load was reached.
_CLAIMS = ("on-target", "possible-overload", "overload")
# Of the test; the same as `judge.TEST_VERDICTS`, which needs the filters to be loaded.
TEST_VERDICTS = tuple(one for one, told in _WORDS.items() if told.startswith("test: "))


def words(verdict: object) -> str:
    """A verdict in words; that of a load without a target for None."""
    return (
        "load not judged (no target)" if verdict is None else _WORDS.get(str(verdict), str(verdict))
    )


def quick_look(marked: Mapping[str, Any]) -> list[str]:
    """Five lines in the order in which a crew must know them (common practice).

    Is the sled at rest? Is the record whole? Which load was reached? Did something give?
    What next? The same on the terminal and on the picture. Nothing is called safe: people
    at the rig decide when it is approached.

    Parameters
    ----------
    marked : mapping
        The object that ``tautlog mark --json`` prints.
    """
    record, load, trace, test = verdict_lines(marked)
    return [
        f"1 {_only_rehearsed(marked)}rest: {_rest_words(marked)}",
        f"2 {record}",
        f"3 {load}",
        f"4 {trace}",
        f"5 {test}; {_next_words(marked)}",
    ]


def verdict_lines(marked: Mapping[str, Any]) -> list[str]:
    """Record, load, load path and test, each in its words; the same at the rig and in a report."""
    told = (
        f"{words(marked['record_verdict'])}{_first_reason(marked)}",
        _load_words(marked),
        words(marked["trace_says"]),
        test_words(marked),
    )
    return [f"{_only_rehearsed(marked)}{one}" for one in told]


def test_words(marked: Mapping[str, Any]) -> str:
    """What the test counts as: what is proposed, and beside it what a person decided."""
    proposed, decision = words(marked["test_verdict"]), marked.get("decision")
    if not decision:
        return proposed
    return f"{proposed} is proposed, {decided_words(decision)}"


def decided_words(decision: Mapping[str, Any]) -> str:
    """Who decided what."""
    return f"{words(decision['verdict']).removeprefix('test: ')} decided by {decision['by']}"


def force_text(value: float | None, spread: float | None = None) -> str:
    """A force in whole newtons, with its expanded uncertainty; the same in list and report."""
    if value is None:
        return "-"
    return f"{value:.0f}" + ("" if spread is None else f" +/- {spread:.0f}")


def plain_number(value: float) -> str:
    """A mass or a height as somebody would write it: four digits, no powers of ten."""
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"


def prediction_words(predicted: Mapping[str, Any], measured_n: float | None = None) -> str:
    """A prediction, and what was measured over it."""
    peak, low, high = (predicted[f"peak_{name}_n"] for name in ("force", "low", "high"))
    text = f"predicted {peak:.0f} N ({low:.0f} to {high:.0f} N)"
    if measured_n is not None:
        text += f"; measured over predicted {abs(measured_n) / peak:.3f}"
    return text


def notes(marked: Mapping[str, Any]) -> list[str]:
    """What stands beside the verdicts: origin, prediction, and a calibration of another day."""
    found = []
    if marked.get("origin") == REHEARSED:
        found.append(f"{MARK}: the rig was simulated, nothing moved; it counts for nothing")
    if marked.get("origin") == IMPORTED:
        found.append("imported: the trace is of another instrument")
    found += [f"NOT BELIEVED: {text}" for text in marked.get("edited") or ()]
    predicted = marked.get("predicted")
    if predicted:
        told = prediction_words(predicted, marked["peak_force_n"])
        found.append(f"{told}; from line {predicted['line']} by {predicted['source']}")
    calibration = marked.get("calibration") or {}
    if calibration.get("by"):
        which = calibration["file"] or "the record's own again"
        found.append(
            f"calibration {which}, {calibration['newton_per_volt']:.6g} N/V of "
            f"{calibration['date'] or 'no date'}, chosen by {calibration['by']} "
            f"({calibration['reason']}); recorded under "
            f"{calibration['recorded_newton_per_volt']:.6g} N/V"
        )
    if calibration.get("corrected"):
        found.append(
            f"THE CALIBRATION IS CORRECTED: {calibration['corrected']}; `tautlog mark "
            "--calibration` takes another"
        )
    return found


def _only_rehearsed(marked: Mapping[str, Any]) -> str:
    return f"{MARK}: " if marked.get("origin") == REHEARSED else ""


def _rest_words(marked: Mapping[str, Any]) -> str:
    rest, says = marked.get("rest_force_n"), marked.get("trace_says")
    if says == "let-go":
        return "the load path let go, the sled is where it fell; look before you approach"
    if _has(marked, "not-a-pull"):
        return "NOT KNOWN: the force does not look like a pull; stay out"
    if marked.get("peak_force_n") is None:
        return "no contact: the sled may still hang on latch or rails; stay out"
    if rest is None:
        return "NOT KNOWN whether the sled hangs still; stay out"
    return f"{rest:.0f} N; stay out until pin and catch are confirmed by people"


def _first_reason(marked: Mapping[str, Any]) -> str:
    """What makes a record suspect or invalid: the first reason, which is the condition."""
    if marked["record_verdict"] == "valid":
        return ""
    reasons = [one["text"] for one in marked["reasons"] if one["code"] not in _NO_FAULT]
    return f": {reasons[0]}" if reasons else ""


def _load_words(marked: Mapping[str, Any]) -> str:
    peak, spread = marked["peak_force_n"], marked["peak_force_expanded_u_n"]
    factor = marked.get("peak_coverage_factor") or 2.0
    if peak is None:
        return _no_peak_words(marked)
    around = "" if spread is None else f" +/- {force_text(spread)} N (k = {factor:.2g})"
    said = words(marked["load_verdict"])
    if _has(marked, "reversed"):
        said = "NEGATIVE, no pull as it stands: swap the wires"
    elif marked["record_verdict"] == "invalid" and marked["load_verdict"] in _CLAIMS:
        said = f"{said}, but the record is INVALID"
    return f"peak {force_text(peak)} N{around}: {said}"


def _no_peak_words(marked: Mapping[str, Any]) -> str:
    """Without a peak there is no bound: what was reached is known only where nothing was."""
    if marked["load_verdict"] == "no-load" and marked["record_verdict"] == "valid":
        return f"no peak: {words('no-load')}"
    if _has(marked, "not-a-pull"):
        return "no peak: the force does not look like a pull, the load is NOT KNOWN"
    return "no peak: no pull was seen, the load is NOT KNOWN"


def _has(marked: Mapping[str, Any], code: str) -> bool:
    return any(one["code"] == code for one in marked["reasons"])


def _next_words(marked: Mapping[str, Any]) -> str:
    if _has(marked, "not-a-pull"):
        return "find out what this force is"
    if marked.get("peak_force_n") is None:
        return "find out why the line did not come taut"
    if marked["trace_says"] in ("let-go", "slipped"):
        return "stop, and find what gave"
    if marked["record_verdict"] != "valid":
        return "explain the record before the next drop"
    if marked["article"] == "not-inspected":
        return "inspect the article"
    return "go on by the plan, if nothing moved or changed"
