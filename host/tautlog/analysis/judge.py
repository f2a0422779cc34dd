"""Judge: three questions that are never merged, and one combination of them.

Is the test and its record valid (`judge_record`)? Which load was reached (`judge_load`)?
What does the trace alone show of the load path (`judge_trace`)? What inspection found is
entered by people. The tool proposes; a named person decides.
"""

from __future__ import annotations

from tautlog.analysis.judge_load import carried_target, judge_load
from tautlog.analysis.judge_record import NOTE, judge_record
from tautlog.analysis.judge_trace import judge_trace
from tautlog.analysis.leg_limits import OVER, PERHAPS_OVER, UNDER, UNPROVEN
from tautlog.model.inspection import ARTICLE_FINDINGS, GAVE_WAY, NOT_INSPECTED
from tautlog.model.marks import Marks
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import RECORD_VERDICTS, Reason, Verdict


def judge(marks: Marks, setup: DropSetup, loaded: Marks | None = None) -> Verdict:
    """Turn marks into verdicts.

    Parameters
    ----------
    marks : Marks
        The figures.
    setup : DropSetup
        Mass, target, limit and the article's finding.
    loaded : Marks, optional
        The marks whose peak is held against target and limit: those of one leg, if the test is
        judged on it. Default: `marks`.
    """
    judged = judge_record(marks, setup)
    record_verdict = RECORD_VERDICTS[judged[0].severity if judged else NOTE]
    loaded = loaded or marks
    proven, why = _of_legs(marks, *judge_load(loaded, setup))
    load_verdict, load_why = _with_leg_above(marks, proven, why)
    trace_says, trace_why = judge_trace(marks, setup)
    test_verdict, text = combine(
        record_verdict,
        proven if proven in _NOT_REACHED else load_verdict,
        setup.article_finding,
        mount_failed=marks.has("mount-moved"),
        carried=carried_target(loaded, setup),
    )
    if marks.has(OVER) or marks.has(PERHAPS_OVER):
        test_verdict, text = _with_leg_over(test_verdict, text)
    reasons = [Reason(told.code, told.text) for told in judged]
    reasons += [load_why, trace_why, Reason(f"test-{test_verdict}", text)]
    codes = {reason.code for reason in reasons}
    others = (finding for finding in marks.findings if finding.code not in codes)
    reasons += [Reason(finding.code, finding.text) for finding in others]
    return Verdict(
        record_verdict,
        load_verdict,
        trace_says,
        setup.article_finding,
        test_verdict,
        tuple(reasons),
    )


def _of_legs(marks: Marks, load: str | None, why: Reason) -> tuple[str | None, Reason]:
    """The load verdict, with legs that have targets and limits of their own.

    What the sum does not prove no leg proves. What the sum proves falls with a leg that lacks its
    target; with a leg above its limit it is an overload, even if the sum stays below.
    """
    if load not in ("on-target", "possible-overload"):
        return load, why
    for code, word in _BY_LEG.items():
        if marks.has(code) and not (word == "possible-overload" == load):
            text = f"{why.text}; but {marks.text_of(code)}"
            return word, Reason(f"load-{word}", text)
    return load, why


def _with_leg_above(marks: Marks, load: str | None, why: Reason) -> tuple[str | None, Reason]:
    """The load verdict, if a leg was above its own limit, or perhaps was.

    What one leg bore stands, whatever the sum reached or was asked: an article that was pulled
    above a limit must not be listed as one that was hardly loaded. It proves no target, so that
    `combine` goes on with what the sum says. A lower bound and "no load" say too little to be
    outweighed by what is only possible.
    """
    if marks.has(OVER) and load != "overload":
        return "overload", Reason("load-overload", f"{why.text}; but {marks.text_of(OVER)}")
    if marks.has(PERHAPS_OVER) and load in (None, "under", "unproven"):
        text = f"{why.text}; but {marks.text_of(PERHAPS_OVER)}"
        return "possible-overload", Reason("load-possible-overload", text)
    return load, why


def _with_leg_over(test: str, text: str) -> tuple[str, str]:
    """What a test says when one leg was above its own limit, or perhaps was."""
    if test == "fail":
        return "no-verdict", (
            "the article failed, and one leg may have been above its own limit: repeat with a new "
            "one"
        )
    if test in ("no-test", "no-verdict"):
        text += "; one leg may have been above its own limit: inspect the article again"
    return test, text


# Loads of which no leg above its limit makes a target that was reached.
_NOT_REACHED = (None, "under", "unproven", "at-least", "no-load")

_BY_LEG = {
    UNDER: "under",
    UNPROVEN: "unproven",
    OVER: "overload",
    PERHAPS_OVER: "possible-overload",
}

# What a whole article proves, by the load; any other load proves nothing.
_WHOLE = {
    "on-target": ("pass", "the target was proven and the article is whole"),
    "overload": ("pass-overtested", "whole after an overload: retire or inspect it again"),
    "possible-overload": ("pass-overtested", "the target was proven, perhaps exceeded"),
    "under": ("no-test", "below the target: it counts as exposure only"),
}


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
    failed = article in GAVE_WAY
    if load_verdict == "no-load" and not failed:
        return "no-test", "no load reached the article"
    if article == NOT_INSPECTED:
        return "pending", "the article has not been inspected"
    if record_verdict == "invalid" and failed:
        return "no-verdict", "the article failed at an unknown load"
    if record_verdict == "invalid":
        return "no-test", "the record is invalid, but the article was exposed"
    if record_verdict == "suspect":
        return "no-verdict", "the record is suspect: explain that first"
    if failed:
        return _of_failed(load_verdict, carried)
    return _WHOLE.get(str(load_verdict), ("no-verdict", "the target is not proven"))


def _of_failed(load_verdict: str | None, carried: bool) -> tuple[str, str]:
    """What an article proves that gave way, in a valid record."""
    if load_verdict in ("overload", "possible-overload") and carried:
        return "no-verdict", (
            "the article carried the target before it failed, above the limit: strength "
            "is shown, survival of the pulse is not; repeat with a new one"
        )
    if load_verdict in ("overload", "possible-overload"):
        return "no-verdict", "the article failed above the limit: repeat with a new one"
    if load_verdict in ("under", "on-target", "unproven"):
        return "fail", "the article failed, and the limit was not exceeded"
    return "no-verdict", "the article failed, at a load that is not judged"
