"""Judge: three questions that are never merged, and one combination of them.

Is the test and its record valid? Which load was reached? What does the trace alone
show of the load path? What inspection found is entered by people. The tool
proposes; a named person decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from typing import Any

from tautlog.analysis.completeness import MISSING
from tautlog.analysis.confirmation import doubt_of_loss
from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS
from tautlog.model.contradiction import SEVERITIES
from tautlog.model.inspection import ARTICLE_FINDINGS, GAVE_WAY, NOT_INSPECTED
from tautlog.model.limits import (
    CLOSURE_SUSPECT,
    HANGING_LEAST_N,
    LEAST_FLIGHT_S,
    SHUNT_INVALID,
    SHUNT_SUSPECT,
)
from tautlog.model.marks import IN_FLIGHT, IN_THE_FALL, UNSEEN, Marks
from tautlog.model.trace import DropSetup

TEST_VERDICTS = ("pass", "pass-overtested", "fail", "no-test", "no-verdict", "pending")

# Limits of validity: common practice, no source.
CLOSURE_INVALID = 0.10
REST_TOLERANCE = 0.03
REST_MOST_OFF = 0.6  # of m g: less may be a sled that rests on something
DRIFT_NOTE = 0.005
DRIFT_INVALID = 0.02
SHIFT_NOTE = 0.005  # of the target, as the drift
SHIFT_INVALID = 0.02
NO_LOAD = 2.0  # times m g: less is no pull, when ten times as much was wanted
EXPECTED_TIMES = 10.0
NARROW_WINDOW = 0.02  # of the target
SLIP_CLOSURE = 0.05  # of one: else a wrong force looks like a slip
SANK = 1.5  # times its expanded uncertainty, which knows little of friction: own simulation
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
        One of `inspection.ARTICLE_FINDINGS`.
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
    judged.sort(key=lambda one: -one[0])  # the gravest is told first
    severity = max((one[0] for one in judged), default=NOTE)
    record_verdict = ("valid", "suspect", "invalid")[severity]
    reasons = [Reason(code, text) for _, code, text in judged]
    load_verdict, why = _load(marks, setup)
    reasons.append(why)
    trace_says, why = _trace_says(marks, setup)
    reasons.append(why)
    article = setup.article_finding
    test_verdict, text = combine(
        record_verdict,
        load_verdict,
        article,
        mount_failed=marks.has("mount-moved"),
        carried=_carried(marks, setup),
    )
    reasons.append(Reason(f"test-{test_verdict}", text))
    told = {reason.code for reason in reasons}
    reasons += [Reason(one.code, one.text) for one in marks.findings if one.code not in told]
    return Verdict(record_verdict, load_verdict, trace_says, article, test_verdict, tuple(reasons))


def _text_of(marks: Marks, code: str) -> str:
    """Words of the first finding of a code, or ""."""
    return next((one.text for one in marks.findings if one.code == code), "")


# Is the record valid? One condition each; add one by adding it to CONDITIONS.


def _samples(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("no-samples"):
        return INVALID, "no-samples", "the record holds no samples to judge"
    return None


def _pull(marks: Marks, setup: DropSetup) -> Judged:
    text = _text_of(marks, "not-a-pull")
    return (INVALID, "not-a-pull", text) if text else None


def _sealed(marks: Marks, setup: DropSetup) -> Judged:
    if setup.not_sealed is None:
        return None
    text = f"{setup.not_sealed}: not what was sealed; look for another copy of the record"
    return INVALID, "not-sealed", text


def _gap(marks: Marks, setup: DropSetup) -> Judged:
    if marks.gap_in_contact:
        text = "samples are missing in the contact: its peak is a lower bound"
        return INVALID, "gap-in-contact", text
    if marks.missing_samples:
        text = f"{marks.missing_samples} samples are missing, none of them near the contact"
        return NOTE, "gap", text
    return None


def _complete(marks: Marks, setup: DropSetup) -> Judged:
    """A record that was cut short is no whole test, whatever it holds."""
    if marks.has("starts-late"):
        return INVALID, "starts-late", "the record begins in the pull: zero and onset are missing"
    place = marks.record_ends
    why = _text_of(marks, "cut-short")
    if place in UNSEEN:
        text = why or f"the record ends too early; what is missing: {MISSING[place]}"
        return INVALID, "cut-short", text
    if why:
        return SUSPECT, "cut-short", why
    if place in (IN_THE_FALL, IN_FLIGHT):
        return SUSPECT, "cut-short", f"the record ends soon; what is missing: {MISSING[place]}"
    return None


def _contradicted(marks: Marks, setup: DropSetup) -> Judged:
    """What the board told cannot all be true; the gravest comes first."""
    found = next((one for one in marks.findings if one.code in SEVERITIES), None)
    if found is None:
        return None
    severity = {"suspect": SUSPECT, "invalid": INVALID}[SEVERITIES[found.code]]
    return severity, found.code, found.text


def _clipped(marks: Marks, setup: DropSetup) -> Judged:
    at_rail = _text_of(marks, "clipped")
    if at_rail:
        return INVALID, "clipped", at_rail + ": what it reads there is no force"
    if not marks.clipped:
        return _clip_not_excluded(marks)
    readings = {
        "plateau-whole": "no rail, something yielded, slipped or held; its peak is a lower bound",
        "plateau-cut": "cut off by a rail, its impulse is lacking; its peak is a lower bound",
    }
    text = next(
        (words for code, words in readings.items() if marks.has(code)),
        "cut off by a rail, or something yielded; its peak is a lower bound",
    )
    return SUSPECT, "clipped", f"the top of the force is flat: {text}"


def _clip_not_excluded(marks: Marks) -> Judged:
    text = _text_of(marks, "clip-not-excluded")
    return (SUSPECT, "clip-not-excluded", text) if text else None


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
        if marks.has("impulse-impossible"):
            return INVALID, "impulse-impossible", _text_of(marks, "impulse-impossible")
        for code in ("impulse-too-large", "impulse-too-small"):
            if marks.has(code):
                return SUSPECT, code, _text_of(marks, code)
        return NOTE, "closure-unknown", "no impulse check: it needs mass, height and a rebound"
    off = abs(closure - 1.0)
    spread = marks.impulse_closure_expanded_u or 0.0
    if marks.has("disagree-first-pull") and 1.0 - closure > max(CLOSURE_SUSPECT, spread):
        text = (
            f"the line took only {closure:.3f} of the momentum, and all later pulls agree: a stop "
            "or the catch took the rest"
        )
        return INVALID, "stop-touched", text
    text = (
        f"the impulse is {closure:.3f} +/- {spread:.3f} (k = 2) of what mass, height and rebound "
        "ask for: gain, mass, height, a touched stop or lost samples would show so"
    )
    if off > CLOSURE_INVALID:
        return INVALID, "closure-wrong", text
    if off > CLOSURE_SUSPECT:
        return SUSPECT, "closure-off", text
    # The calibration's own uncertainty is in it. Below 1 friction may have taken the rest, which
    # is one-sided: of good simulated drops one in ten lies below its interval, none above.
    if spread and closure - 1.0 > spread:
        return SUSPECT, "force-scale", f"{text}; its uncertainty, calibration and all, excludes 1"
    text = f"the impulse is {closure:.3f} +/- {spread:.3f} (k = 2) of what momentum asks for"
    return NOTE, "closure-good", text


def _bandwidth(marks: Marks, setup: DropSetup) -> Judged:
    text = _text_of(marks, "bandwidth-low")
    return (SUSPECT, "bandwidth-low", text) if text else None


def _height(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("height-off"):
        return SUSPECT, "height-off", _text_of(marks, "height-off")
    return None


def _burst(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("burst"):
        return SUSPECT, "burst", _text_of(marks, "burst")
    if marks.has("held-after"):
        text = "the force collapsed and the sled was caught all the same: what was the peak?"
        return SUSPECT, "collapse", text
    return None


def _loss(marks: Marks, setup: DropSetup) -> Judged:
    """A loss of load that nothing else tells, or that inspection denies."""
    doubt = doubt_of_loss(marks, setup)
    return None if doubt is None else (SUSPECT, *doubt)


def _rest(marks: Marks, setup: DropSetup) -> Judged:
    closure, weight_n = marks.rest_closure, setup.weight_n
    if closure is None or weight_n is None or marks.break_time_s is not None:
        return None  # after a break nothing is left to hang
    if setup.end_state == "rests":
        return None  # it shall end on the catch
    if abs(closure - 1.0) * weight_n <= _rest_tolerance(marks, weight_n):
        return None
    kept = closure * (setup.mass_kg or 0.0)
    text = (
        f"the rest force says {kept:.2f} kg, {setup.mass_kg:g} kg was entered: it parted, rests on "
        "something, or gain or mass is wrong"
    )
    return SUSPECT, "rest-off", text


def _rest_tolerance(marks: Marks, weight_n: float) -> float:
    """How far a hanging sled may be off: 3 %, 3 N, or what friction and zero allow."""
    spread = (marks.rest_closure_expanded_u or 0.0) * weight_n
    return max(REST_TOLERANCE * weight_n, HANGING_LEAST_N, spread)


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


def _shift(marks: Marks, setup: DropSetup) -> Judged:
    scale_n = setup.target_n or abs(marks.peak_force_n or 0.0)
    if marks.zero_shift_n is None or not scale_n:
        return None
    share = abs(marks.zero_shift_n) / scale_n
    text = f"the zero after the pull differs by {marks.zero_shift_n:.1f} N from that before"
    if share > SHIFT_INVALID:
        return (
            INVALID,
            "cell-overloaded",
            text + ": an overloaded cell, or an amplifier that recovers",
        )
    if share > SHIFT_NOTE:
        return NOTE, "zero-return", text
    return None


def _mount(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("mount-moved"):
        text = "the mount's break wire opened, and not after the article's: no test of the article"
        return INVALID, "mount-moved", text
    return None


def _cable(marks: Marks, setup: DropSetup) -> Judged:
    if not marks.has("cable-lost"):
        return None
    text = "the signal was lost: a pulled cable or an open input, which says nothing of the article"
    return (INVALID if marks.gap_in_contact else NOTE), "cable-lost", text


def _shunt(marks: Marks, setup: DropSetup) -> Judged:
    if setup.shunt_off is None:
        return None
    off = abs(setup.shunt_off)
    text = f"the shunt's step changed by {100 * setup.shunt_off:+.1f} % over the drop"
    if off > SHUNT_INVALID:
        return INVALID, "shunt-off", text + ": the chain is not what it was"
    if off > SHUNT_SUSPECT:
        return SUSPECT, "shunt-off", text
    return NOTE, "shunt-good", text


def _expired(marks: Marks, setup: DropSetup) -> Judged:
    if marks.has("calibration-expired"):
        text = (
            "the calibration was too old on that day: no qualification, engineering information "
            "until the chain has been checked again"
        )
        return INVALID, "calibration-expired", text
    return None


def _duration(marks: Marks, setup: DropSetup) -> Judged:
    low_s, high_s = setup.shortest_s, setup.longest_s
    if marks.duration_s is None or (low_s is None and high_s is None):
        return None
    if (low_s or 0.0) <= marks.duration_s <= (math.inf if high_s is None else high_s):
        return None
    wanted = f"{1000 * (low_s or 0.0):g} ms to " + (
        "any length" if high_s is None else f"{1000 * high_s:g} ms"
    )
    text = f"the pulse lasted {1000 * marks.duration_s:.1f} ms, required is {wanted}"
    return SUSPECT, "duration-off", text


def _release(marks: Marks, setup: DropSetup) -> Judged:
    if marks.release_time_s is None:
        return NOTE, "release-unknown", "no release is marked: fall time is not available"
    doubt = next((one.text for one in marks.findings if one.code == "release-doubt"), None)
    if doubt is not None:
        text = f"{doubt}; no fall time, and no friction or delay of the latch from it"
        return NOTE, "release-doubt", text
    return None


CONDITIONS: tuple[Condition, ...] = (
    _samples,
    _sealed,
    _pull,
    _gap,
    _complete,
    _contradicted,
    _clipped,
    _reversed,
    _impulse,
    _bandwidth,
    _height,
    _burst,
    _loss,
    _rest,
    _drift,
    _shift,
    _mount,
    _cable,
    _shunt,
    _expired,
    _duration,
    _release,
)


# Which load was reached?


def _load(marks: Marks, setup: DropSetup) -> tuple[str | None, Reason]:
    """Guard-banded against target and limit (ILAC-G8:09/2019, decision rules)."""
    if marks.peak_force_n is None and marks.clipped:
        text = "the signal lay at a limit: which load was reached is not known"
        return "at-least", Reason("load-at-least", text)
    if marks.peak_force_n is None or marks.peak_force_expanded_u_n is None:
        if marks.has("not-a-pull"):
            text = "nothing in the force looks like a pull: which load was reached is not known"
            return "at-least", Reason("load-at-least", text)
        if marks.lower_bound:
            text = "no contact was measured, and the record does not hold all that may have come"
            return "at-least", Reason("load-at-least", text)
        return "no-load", Reason("load-no-load", "no contact was measured")
    force, spread = abs(marks.peak_force_n), marks.peak_force_expanded_u_n
    if marks.lower_bound:
        return "at-least", Reason("load-at-least", f"at least {force:.0f} N: a lower bound only")
    target, upper = setup.target_n, setup.upper_n
    weight_n = setup.weight_n
    if weight_n and target and force < NO_LOAD * weight_n and target > EXPECTED_TIMES * force:
        text = f"{force:.0f} N is less than twice the weight: no pull of the line"
        return "no-load", Reason("load-no-load", text)
    if _too_slow(marks):
        text = (
            f"at least {force:.0f} N: class {marks.cfc} passes less than the "
            f"{marks.bandwidth_needed_hz:.0f} Hz that a pulse this short needs; mark it with a "
            "higher class"
        )
        return "at-least", Reason("load-at-least", text)
    if target is None or upper is None:
        return None, Reason("load-no-target", "no target force was given: the load is not judged")
    factor = marks.peak_coverage_factor or 2.0
    words = (
        f"{force:.0f} N +/- {spread:.0f} N (k = {factor:.2g}) against {target:.0f} N to "
        f"{upper:.0f} N{_window(target, upper, spread)}"
    )
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


def _too_slow(marks: Marks) -> bool:
    """Whether the class passes less than 3 / T (common practice); a break ends T early."""
    needed = marks.bandwidth_needed_hz
    if marks.cfc is None or needed is None or marks.break_time_s is not None:
        return False
    return MINUS_3_DB_PER_CLASS * marks.cfc < needed


def _window(target: float, upper: float, spread: float) -> str:
    """Say what can be proven at all within target and limit, where that is little."""
    low, high = target + spread, upper - spread
    if high < low:
        return (
            "; with this uncertainty no force can be proven to lie within both: lower it, or "
            "widen the band"
        )
    if high - low < NARROW_WINDOW * target:
        return f"; only {low:.0f} to {high:.0f} N can be proven to lie within both"
    return ""


def _carried(marks: Marks, setup: DropSetup) -> bool:
    """Whether the load at first damage is proven above the target."""
    damage, spread, peak = (
        marks.first_damage_force_n,
        marks.peak_force_expanded_u_n,
        marks.peak_force_n,
    )
    if damage is None or spread is None or not peak or setup.target_n is None:
        return False
    return abs(damage) * (1.0 - spread / abs(peak)) >= setup.target_n


# What does the trace show?


def _trace_says(marks: Marks, setup: DropSetup) -> tuple[str, Reason]:
    rest, weight = marks.rest_force_n, setup.weight_n
    if rest is not None and marks.has("reversed"):
        rest = -rest
    if marks.break_time_s is not None:
        share = rest / weight if rest is not None and weight else 0.0
        if REST_MOST_OFF < share < 2.0 - REST_MOST_OFF or marks.has("held-after"):
            text = (
                "the force collapsed and yet the load path held after it: one of several legs, or "
                "a slip that held again"
            )
            return "unclear", Reason("trace-unclear", text)
        text = f"the load path let go at {abs(marks.break_force_n or 0.0):.0f} N"
        return "let-go", Reason("trace-let-go", text)
    if marks.peak_force_n is None:
        return "unclear", Reason("trace-unclear", "there was no contact")
    if setup.end_state == "rests":
        rest = None  # what lies on the catch tells nothing of the line
    if rest is None and marks.has("slip") and marks.impulse_closure is not None:
        return _says_slip(marks)
    if marks.has("slip-not-excluded") and (rest is None or not _nothing_hangs(marks, rest, weight)):
        return "unclear", Reason("trace-unclear", _text_of(marks, "slip-not-excluded"))
    if marks.has("disagree-first-pull") and not marks.has("slip") and _sank(marks):
        text = (
            "all agrees but the first pull, and the sled ended it lower: a slip, or a stop that "
            "took a part of it"
        )
        return "unclear", Reason("trace-unclear", text)
    if rest is None and _thrown_back(marks):
        text = (
            f"the sled was thrown back and caught {marks.bounces} times, and its momentum is "
            "accounted for; the record ends before it hangs still"
        )
        return "held", Reason("trace-held", text)
    if rest is None or weight is None:
        lacking = "rest force" if rest is None else "mass"
        return "unclear", Reason("trace-unclear", f"no {lacking}: the trace alone does not tell")
    if marks.has("flat-top"):
        if marks.has("slip"):
            return _says_slip(marks)
        return "unclear", Reason("trace-unclear", "the top is flat: clipped, or something yielded")
    if marks.has("two-peaks") and marks.impulse_closure is None:
        text = "two peaks in one contact, and no impulse check that would explain them"
        return "unclear", Reason("trace-unclear", text)
    hangs = f"the sled hangs: {rest:.1f} N, m g is {weight:.1f} N"
    if abs(rest - weight) <= _rest_tolerance(marks, weight):
        if marks.has("slip"):
            return _says_slip(marks)
        return "held", Reason("trace-held", hangs)
    if REST_MOST_OFF * weight < rest < (2.0 - REST_MOST_OFF) * weight and _thrown_back(marks):
        if marks.has("slip"):
            return _says_slip(marks)
        return "held", Reason("trace-held", hangs + ", after it was thrown back and caught")
    if _nothing_hangs(marks, rest, weight):
        return "let-go", Reason("trace-let-go", f"nothing hangs any more: {rest:.1f} N at rest")
    text = f"{rest:.1f} N at rest is neither m g = {weight:.1f} N nor nothing"
    return "unclear", Reason("trace-unclear", text)


def _sank(marks: Marks) -> bool:
    """Whether the sled was lower when the line went slack than when it came taut."""
    sunk_m, spread_m = marks.displacement_closure_m, marks.displacement_closure_expanded_u_m
    return sunk_m is not None and spread_m is not None and sunk_m > SANK * spread_m


def _nothing_hangs(marks: Marks, rest_n: float, weight_n: float | None) -> bool:
    return weight_n is not None and abs(rest_n) < REST_NOTHING * weight_n and not marks.bounces


def _thrown_back(marks: Marks) -> bool:
    """Whether a rebound shows that the line still held after its first pull."""
    closure = marks.impulse_closure
    if closure is None or not marks.bounce_list or marks.has("flat-top"):
        return False
    flights = [one.flight_s for one in marks.bounce_list]
    return abs(closure - 1.0) <= CLOSURE_SUSPECT and flights[0] > LEAST_FLIGHT_S


def _says_slip(marks: Marks) -> tuple[str, Reason]:
    closure, spread = marks.impulse_closure, marks.impulse_closure_expanded_u or 0.0
    whole = closure is not None and abs(closure - 1.0) <= min(SLIP_CLOSURE, spread)
    if whole and not (marks.has("disagree-height") or marks.has("height-off")):
        what = "something yielded" if marks.has("flat-top") else "the line slipped, or part yielded"
        return "slipped", Reason("trace-slipped", f"{what}: the sled ends lower, impulse is whole")
    return "unclear", Reason("trace-unclear", "a slip, or a force or mass that is wrong")


# What does it all mean for the test?


def combine(
    record_verdict: str,
    load_verdict: str | None,
    article: str,
    *,
    mount_failed: bool = False,
    carried: bool = False,
) -> tuple[str, str]:
    """Test verdict, and why in plain words.

    Parameters
    ----------
    record_verdict, load_verdict : str
        As in `Verdict`.
    article : str
        One of `inspection.ARTICLE_FINDINGS`.
    mount_failed : bool
        The mount's break wire opened, and not after the article's.
    carried : bool
        The load at first damage is proven above the target.

    Raises
    ------
    ValueError
        If the finding is unknown.
    """
    if article not in ARTICLE_FINDINGS:
        raise ValueError(f"`article` must be one of {ARTICLE_FINDINGS}, was {article!r}")
    if mount_failed:
        return "no-test", (
            "the mount went: stop the campaign, prove the mount again, and inspect the article "
            "as if overloaded"
        )
    if load_verdict == "no-load" and article not in GAVE_WAY:
        return "no-test", "no load reached the article"
    if article == NOT_INSPECTED:
        return "pending", "the article has not been inspected"
    failed = article in GAVE_WAY
    if record_verdict == "invalid":
        if failed:
            return "no-verdict", "the article failed, at a load that is not known"
        return "no-test", "the record is invalid; the article was exposed all the same"
    if record_verdict == "suspect":
        return "no-verdict", "the record is suspect: explain that first"
    if failed:
        if load_verdict in ("overload", "possible-overload"):
            if carried:
                return "no-verdict", (
                    "the article carried the target before it failed, above the limit: strength "
                    "is shown, survival of the pulse is not; repeat with a new one"
                )
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


_NOT_IN_JSON = ("findings", "budgets", "curve")
_VERDICT_KEYS = ["record_verdict", "load_verdict", "trace_says", "article", "test_verdict"]


def as_json(marks: Marks, verdict: Verdict, record_name: str) -> dict[str, Any]:
    """Marks and verdicts as one flat object of JSON; not a number becomes None."""
    result: dict[str, Any] = {"record": record_name}
    for one in fields(marks):
        if one.name not in _NOT_IN_JSON:
            result[one.name] = _plain(getattr(marks, one.name))
    for key in _VERDICT_KEYS:
        result[key] = getattr(verdict, key)
    result["reasons"] = [asdict(reason) for reason in verdict.reasons]
    return result


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [asdict(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def budgets_as_json(marks: Marks) -> list[dict[str, Any]]:
    """Budgets as JSON: of each figure its parts, k and the expanded uncertainty."""
    return [
        {
            "figure": one.figure,
            "unit": one.unit,
            "value": one.value,
            "combined_u": one.combined_u,
            "degrees_of_freedom": one.freedom if math.isfinite(one.freedom) else None,
            "coverage_factor": one.coverage_factor,
            "expanded_u": one.expanded_u,
            "parts": [
                {
                    "name": part.name,
                    "u": part.u,
                    "kind": part.kind,
                    "degrees_of_freedom": part.freedom if math.isfinite(part.freedom) else None,
                    "basis": part.basis,
                }
                for part in one.parts
            ],
        }
        for one in marks.budgets
    ]
