"""Verdict: the judgement of one drop, in few fixed words, and why.

Three questions are answered separately: is the record valid, which load was reached, and what
does the trace alone show of the load path. The test verdict is proposed from the answers and
from what the inspection found.
"""

from __future__ import annotations

from dataclasses import dataclass

RECORD_VERDICTS = ("valid", "suspect", "invalid")
LOAD_VERDICTS = (
    *("no-load", "under", "unproven", "on-target", "possible-overload", "overload"),
    "at-least",
)
TRACE_SAYS = ("held", "let-go", "slipped", "unclear")
TEST_VERDICTS = ("pass", "pass-overtested", "fail", "no-test", "no-verdict", "pending")
VERDICTS = (*RECORD_VERDICTS, *LOAD_VERDICTS, *TRACE_SAYS, *TEST_VERDICTS)


@dataclass(frozen=True)
class Reason:
    """A condition that affected a verdict: a short code, and plain words."""

    code: str
    text: str


@dataclass(frozen=True)
class Verdict:
    """The verdicts of one drop.

    Attributes
    ----------
    record_verdict : str
        One of `RECORD_VERDICTS`.
    load_verdict : str or None
        One of `LOAD_VERDICTS`; None without a target.
    trace_says : str
        One of `TRACE_SAYS`.
    article : str
        One of `inspection.ARTICLE_FINDINGS`.
    test_verdict : str
        One of `TEST_VERDICTS`.
    reasons : tuple of Reason
        All that affected them; what makes a record suspect or invalid comes first.
    """

    record_verdict: str
    load_verdict: str | None
    trace_says: str
    article: str
    test_verdict: str
    reasons: tuple[Reason, ...]
