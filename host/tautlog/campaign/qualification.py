"""Qualification: the statement about the part that a campaign is to prove, agreed beforehand.

How many articles are tried and how many of them may fail must be settled before the first of
them is dropped: whoever goes on dropping until the numbers suit has no confidence left.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model import quantities as q
from tautlog.model.key import stated

STANDS, STRENGTH = "stands-target", "strength"
NORMAL, WEIBULL = "normal", "weibull"
_ARTICLES = (0, 100_000)


@dataclass(frozen=True)
class Qualification:
    """What is to be stated about all parts of one version.

    `reliability` and `confidence` are None if nothing is to be stated.
    """

    claim: str = field(
        default=STANDS,
        metadata=stated(
            "What is stated. stands-target: a share of the parts stands the target; strength: the "
            "load that a share of the parts stands.",
            choices=(STANDS, STRENGTH),
        ),
    )
    reliability: float | None = field(
        default=None,
        metadata=stated("Share of the parts of which it is stated.", 0.90, q.RELIABILITY),
    )
    confidence: float | None = field(
        default=None,
        metadata=stated("One-sided confidence of the statement.", 0.90, q.CONFIDENCE),
    )
    version: str = field(
        default="",
        metadata=stated("Version of the articles that it is about, as in [[article]].", "A"),
    )
    articles: int = field(
        default=0,
        metadata=stated(
            "How many articles are tried, fixed before the first drop (`tautlog qualify --plan` "
            "counts them).",
            22,
            whole=_ARTICLES,
        ),
    )
    failures_allowed: int = field(
        default=0,
        metadata=stated("How many of them may fail, for stands-target.", whole=_ARTICLES),
    )
    distribution: str = field(
        default=WEIBULL,
        metadata=stated(
            "Distribution of strength. weibull: articles may have held; normal: all must break.",
            choices=(WEIBULL, NORMAL),
        ),
    )
    to_failure: int = field(
        default=0,
        metadata=stated(
            "How many articles are loaded until they break, after the others.", whole=_ARTICLES
        ),
    )
    agreed: str = field(
        default="",
        metadata=stated(
            "Who agreed to these numbers, and when, before the first drop.",
            "A. Rigger, 2026-03-01",
        ),
    )

    @property
    def asked(self) -> bool:
        """Whether a statement is asked for."""
        return self.reliability is not None and self.confidence is not None
