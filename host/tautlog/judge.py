"""Judge: three questions that are never merged, and one combination of them.

Is the test and its record valid? Which load was reached? What does the trace alone
show of the load path? What inspection found is entered by people. The tool
proposes; a named person decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from tautlog.marks import Marks
from tautlog.trace import DropSetup

ARTICLE_FINDINGS = (
    "intact",
    "deformed-within",
    "deformed-beyond",
    "parted",
    "slipped",
    "not-inspected",
)
_FAILED = ("deformed-beyond", "parted", "slipped")

# Limits of validity: common practice, no source.
CLOSURE_SUSPECT = 0.05
CLOSURE_INVALID = 0.10
REST_TOLERANCE = 0.03
REST_LEAST_N = 3.0
DRIFT_NOTE = 0.005
DRIFT_INVALID = 0.02
SLIP_CLOSURE = 0.05  # of one: else a wrong force looks like a slip
REST_NOTHING = 0.2  # of m g: less than this hangs from the line no more

NOTE, SUSPECT, INVALID = range(3)


@dataclass(frozen=True)
class Reason:
    """A condition that bore on a verdict: a short code, and plain words."""

    code: str
    text: str


@dataclass(frozen=True)
class Verdict:
    """The verdicts of one drop.

    Attributes
    ----------
    record_verdict : str
        valid, suspect or invalid.
    load_verdict : str or None
        no-load, under, unproven, on-target, possible-overload, overload or at-least;
        None without a target.
    trace_says : str
        held, let-go, slipped or unclear.
    article : str
        One of ARTICLE_FINDINGS.
    test_verdict : str
        pass, pass-overtested, fail, no-test, no-verdict or pending.
    reasons : tuple of Reason
        All that bore on them.
    """

    record_verdict: str
    load_verdict: str | None
    trace_says: str
    article: str
    test_verdict: str
    reasons: tuple[Reason, ...]


Judged = tuple[int, str, str] | None  # severity, code, text
Condition = Callable[[Marks, DropSetup], Judged]


def judge(marks: Marks, setup: DropSetup) -> Verdict:
    """Turn marks into verdicts.

    Parameters
    ----------
    marks : Marks
        The figures.
    setup : DropSetup
        Mass, target, limit and the article's finding.
    """
    judged = [one for one in (condition(marks, setup) for condition in CONDITIONS) if one]
    severity = max((one[0] for one in judged), default=NOTE)
    record_verdict = ("valid", "suspect", "invalid")[severity]
    reasons = [Reason(code, text) for _, code, text in judged]
    load_verdict, why = _load(marks, setup)
    reasons.append(why)
    trace_says, why = _trace_says(marks, setup)
    reasons.append(why)
    article = setup.article_finding
    test_verdict, text = combine(record_verdict, load_verdict, article)
    reasons.append(Reason(f"test-{test_verdict}", text))
    told = {reason.code for reason in reasons}
    reasons += [Reason(one.code, one.text) for one in marks.findings if one.code not in told]
    return Verdict(record_verdict, load_verdict, trace_says, article, test_verdict, tuple(reasons))


# Is the record valid? One condition each; add one by adding it to CONDITIONS.


def _samples(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("no-samples"):
        return INVALID, "no-samples", "the record holds no samples to judge"
    return None


def _gap(marks: Marks, setup: DropSetup) -> Judged:
    if marks.gap_in_contact:
        text = "samples are missing in the contact: its peak is a lower bound"
        return INVALID, "gap-in-contact", text
    if marks.missing_samples:
        text = f"{marks.missing_samples} samples are missing, none of them near the contact"
        return NOTE, "gap", text
    return None


def _clipped(marks: Marks, setup: DropSetup) -> Judged:
    if marks.clipped:
        return SUSPECT, "clipped", "the top of the force is cut off: its peak is a lower bound"
    return None


def _reversed(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("reversed"):
        text = (
            "the force is negative: swap the cell's signal wires, or import with --invert; the "
            "raw data can be marked again with the right sign"
        )
        return INVALID, "reversed", text
    return None


def _impulse(marks: Marks, setup: DropSetup) -> Judged:
    closure = marks.impulse_closure
    if closure is None:
        return NOTE, "closure-unknown", "no impulse check: it needs mass, height and a rebound"
    off = abs(closure - 1.0)
    text = (
        f"the impulse is {closure:.3f} of what mass, height and rebound ask for: gain, mass, "
        "height, a touched stop or lost samples would show so"
    )
    if off > CLOSURE_INVALID:
        return INVALID, "closure-wrong", text
    if off > CLOSURE_SUSPECT:
        return SUSPECT, "closure-off", text
    return NOTE, "closure-good", f"the impulse is {closure:.3f} of what momentum asks for"


def _rest(marks: Marks, setup: DropSetup) -> Judged:
    closure, weight_n = marks.rest_closure, setup.weight_n
    if closure is None or weight_n is None or marks.break_time_s is not None:
        return None  # after a break nothing is left to hang
    if abs(closure - 1.0) * weight_n <= max(REST_TOLERANCE * weight_n, REST_LEAST_N):
        return None
    kept = closure * (setup.mass_kg or 0.0)
    text = (
        f"the rest force says {kept:.2f} kg, {setup.mass_kg:g} kg was entered: it parted, rests on "
        "something, or gain or mass is wrong"
    )
    return SUSPECT, "rest-off", text


def _drift(marks: Marks, setup: DropSetup) -> Judged:
    if marks.zero_drift_n is None or not setup.target_n:
        return None
    share = abs(marks.zero_drift_n) / setup.target_n
    text = f"the zero before the release differs by {marks.zero_drift_n:.1f} N from the slack one"
    if share > DRIFT_INVALID:
        return INVALID, "zero-shift", text + ": check the cell again"
    if share > DRIFT_NOTE:
        return NOTE, "zero-drift", text
    return None


def _release(marks: Marks, setup: DropSetup) -> Judged:
    if marks.release_time_s is None:
        return NOTE, "release-unknown", "no release is marked: fall time is not available"
    return None


CONDITIONS: tuple[Condition, ...] = (
    _samples,
    _gap,
    _clipped,
    _reversed,
    _impulse,
    _rest,
    _drift,
    _release,
)


# Which load was reached?


def _load(marks: Marks, setup: DropSetup) -> tuple[str | None, Reason]:
    """Guard-banded against target and limit (ILAC-G8:09/2019, decision rules)."""
    if marks.peak_force_n is None or marks.peak_force_expanded_u_n is None:
        return "no-load", Reason("load-no-load", "no contact was measured")
    force, spread = abs(marks.peak_force_n), marks.peak_force_expanded_u_n
    if marks.clipped or marks.gap_in_contact:
        return "at-least", Reason("load-at-least", f"at least {force:.0f} N: a lower bound only")
    target, upper = setup.target_n, setup.upper_n
    if target is None or upper is None:
        return None, Reason("load-no-target", "no target force was given: the load is not judged")
    words = f"{force:.0f} N +/- {spread:.0f} N (k = 2) against {target:.0f} N to {upper:.0f} N"
    if force - spread > upper:
        return "overload", Reason("load-overload", f"{words}: above the limit")
    if force + spread < target:
        return "under", Reason("load-under", f"{words}: below the target")
    if force - spread < target:
        text = f"{words}: the target lies within the uncertainty; aim for {target + spread:.0f} N"
        return "unproven", Reason("load-unproven", text)
    if force + spread > upper:
        text = f"{words}: the target is proven, an overload is not excluded"
        return "possible-overload", Reason("load-possible-overload", text)
    return "on-target", Reason("load-on-target", f"{words}: proven within both")


# What does the trace show?


def _trace_says(marks: Marks, setup: DropSetup) -> tuple[str, Reason]:
    rest, weight = marks.rest_force_n, setup.weight_n
    if rest is not None and marks.has("reversed"):
        rest = -rest
    if marks.break_time_s is not None:
        text = f"the load path let go at {abs(marks.break_force_n or 0.0):.0f} N"
        return "let-go", Reason("trace-let-go", text)
    if marks.peak_force_n is None:
        return "unclear", Reason("trace-unclear", "there was no contact")
    if rest is None or weight is None:
        lacking = "rest force" if rest is None else "mass"
        return "unclear", Reason("trace-unclear", f"no {lacking}: the trace alone does not tell")
    if marks.has("flat-top"):
        return "unclear", Reason("trace-unclear", "the top is flat: clipped, or something yielded")
    tolerance = max(REST_TOLERANCE * weight, REST_LEAST_N)
    if abs(rest - weight) <= tolerance:
        if marks.has("slip"):
            return _says_slip(marks.impulse_closure)
        return "held", Reason("trace-held", f"the sled hangs: {rest:.1f} N, m g is {weight:.1f} N")
    if abs(rest) < REST_NOTHING * weight and not marks.bounces:
        return "let-go", Reason("trace-let-go", f"nothing hangs any more: {rest:.1f} N at rest")
    text = f"{rest:.1f} N at rest is neither m g = {weight:.1f} N nor nothing"
    return "unclear", Reason("trace-unclear", text)


def _says_slip(closure: float | None) -> tuple[str, Reason]:
    if closure is not None and abs(closure - 1.0) <= SLIP_CLOSURE:
        return "slipped", Reason("trace-slipped", "the line slipped, or something yielded")
    return "unclear", Reason("trace-unclear", "a slip, or a force or mass that is wrong")


# What does it all mean for the test?


def combine(record_verdict: str, load_verdict: str | None, article: str) -> tuple[str, str]:
    """Test verdict, and why in plain words.

    Parameters
    ----------
    record_verdict, load_verdict : str
        As in `Verdict`.
    article : str
        One of ARTICLE_FINDINGS.

    Raises
    ------
    ValueError
        If the finding is unknown.
    """
    if article not in ARTICLE_FINDINGS:
        raise ValueError(f"`article` must be one of {ARTICLE_FINDINGS}, was {article!r}")
    if load_verdict == "no-load" and article not in _FAILED:
        return "no-test", "no load reached the article"
    if article == "not-inspected":
        return "pending", "the article has not been inspected"
    failed = article in _FAILED
    if record_verdict == "invalid":
        if failed:
            return "no-verdict", "the article failed, at a load that is not known"
        return "no-test", "the record is invalid; the article was exposed all the same"
    if record_verdict == "suspect":
        return "no-verdict", "the record is suspect: explain that first"
    if failed:
        if load_verdict in ("overload", "possible-overload"):
            return "no-verdict", "the article failed above the limit: repeat with a new one"
        if load_verdict in ("under", "on-target", "unproven"):
            return "fail", "the article failed, and the limit was not exceeded"
        return "no-verdict", "the article failed, at a load that is not judged"
    table = {
        "on-target": ("pass", "the target was proven and the article is whole"),
        "overload": ("pass-overtested", "whole after an overload: retire or inspect it again"),
        "possible-overload": ("pass-overtested", "the target was proven, perhaps exceeded"),
        "under": ("no-test", "below the target: it counts as exposure only"),
    }
    return table.get(str(load_verdict), ("no-verdict", "the target is not proven"))


_MARK_KEYS = [
    "sample_rate_hz",
    "samples",
    "missing_samples",
    "clipped",
    "zero_offset_n",
    "noise_n",
    "release_time_s",
    "onset_time_s",
    "slack_time_s",
    "peak_force_n",
    "peak_force_expanded_u_n",
    "cfc",
    "peak_time_s",
    "peak_force_unfiltered_n",
    "rise_time_s",
    "duration_s",
    "fwhm_s",
    "base_duration_s",
    "impulse_ns",
    "half_sine_s",
    "quasi_static_above_hz",
    "rest_force_n",
    "bounces",
    "fall_time_s",
    "taut_speed_m_s",
    "restitution",
    "line_stiffness_n_per_m",
    "damping_ratio",
    "friction_n",
    "release_delay_s",
    "energy_absorbed_j",
    "max_stretch_m",
    "loop_loss",
    "secant_stiffness_n_per_m",
    "hardening_per_m2",
    "impulse_closure",
    "rest_closure",
    "displacement_closure_m",
    "break_time_s",
    "break_force_n",
    "article_wire_s",
    "mount_wire_s",
    "target_force_n",
    "limit_force_n",
]
_VERDICT_KEYS = ["record_verdict", "load_verdict", "trace_says", "article", "test_verdict"]


def as_json(marks: Marks, verdict: Verdict, record_name: str) -> dict[str, Any]:
    """Marks and verdicts as one flat object of JSON; not a number becomes None."""
    result: dict[str, Any] = {"record": record_name}
    for key in _MARK_KEYS:
        value = getattr(marks, key)
        whole = not isinstance(value, float) or math.isfinite(value)
        result[key] = value if whole else None
    for key in _VERDICT_KEYS:
        result[key] = getattr(verdict, key)
    result["reasons"] = [asdict(reason) for reason in verdict.reasons]
    return result
