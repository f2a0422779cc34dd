"""Answer: what was to be proven, whether it was, and by which drops.

Only drops that count are asked; a rehearsal proves nothing. A failure outweighs every pass of the
same article. A pass at less than the required target, or in other surroundings than were agreed,
proves nothing of the requirement. The program never answers for the person who decides: a proposal
is called a proposal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import Answer, ArticleAnswer
from tautlog.display.report.instruments import drops_text
from tautlog.display.report.sources import Source
from tautlog.display.report.words import form, outcome_word
from tautlog.model.legs import SUM
from tautlog.model.origin import MARK
from tautlog.model.surroundings import Atmosphere

PROVEN = "PROVEN"
PASSES = ("pass", "pass-overtested")
SHAPES = {
    "proven": "\N{BLACK CIRCLE}",
    "proposed": "\N{CIRCLE WITH LEFT HALF BLACK}",
    "failed": "\N{MULTIPLICATION X}",
    "open": "\N{WHITE DIAMOND}",
    "nothing": "\N{WHITE CIRCLE}",
}
_ALMOST = 1.0 - 1e-9  # a target that was typed as another unit is the same target


@dataclass(frozen=True)
class Required:
    """What a drop must have aimed at for its pass to count."""

    target_n: float | None = None
    limit_n: float | None = None
    judged_on: str | None = None
    atmosphere: Atmosphere = field(default_factory=Atmosphere)


def answer_of(
    sources: Sequence[Source],
    campaign: Campaign | None,
    unreadable: Sequence[RecordSummary] = (),
) -> Answer:
    """The answer of a report's drops to the requirement of their campaign.

    Parameters
    ----------
    sources, campaign : sequence of Source, Campaign or None
        The drops in the order of their numbers, and their campaign.
    unreadable : sequence of RecordSummary
        Files that may hold drops but cannot be read.
    """
    real = [source for source in sources if source.counts]
    asked = real or sources
    required = _required(campaign)
    names = sorted({source.record.setup.article for source in asked})
    rows = tuple(
        _of_article(name, [one for one in asked if one.record.setup.article == name], required)
        for name in names
    )
    if real and campaign is not None:
        rows += tuple(
            ArticleAnswer(article.name, "nothing", SHAPES["nothing"], "NOT TESTED", "no drop here")
            for article in campaign.articles
            if article.name not in names
        )
    kind, word = _together(rows) if real else ("nothing", f"NOTHING PROVEN: {MARK}")
    return Answer(
        question=_question(campaign, names),
        kind=kind,
        shape=SHAPES[kind],
        word=word,
        articles=rows if real else tuple(map(_as_rehearsed, rows)),
        notes=tuple(_notes(sources, real, unreadable)),
    )


def _required(campaign: Campaign | None) -> Required:
    if campaign is None:
        return Required()
    setup = campaign.setup
    return Required(setup.target_n, setup.upper_n, setup.judged_on, campaign.atmosphere)


def _question(campaign: Campaign | None, names: Sequence[str]) -> str:
    told = [name or "the article that is not named" for name in names] or ["the article"]
    asked = f"Does {told[0]} stand"
    if len(told) > 1:
        asked = f"Do {', '.join(told[:-1])} and {told[-1]} stand"
    if campaign is None:
        return f"{asked} the target of each drop?"
    setup, kind, units = campaign.setup, campaign.requirement.kind, campaign.units
    if setup.target_n is None:
        return f"{asked} the {kind} load? No target is stated."
    return (
        f"{asked} the {kind} load of {form(setup.target_n, 'N', units)}, tested to no more "
        f"than {form(setup.upper_n, 'N', units)}?"
    )


def _of_article(name: str, mine: Sequence[Source], required: Required) -> ArticleAnswer:
    """The answer for one article, from all its drops."""
    kind, word, deciding, note = _found(mine, required)
    told = "; ".join(_told(source) for source in deciding)
    return ArticleAnswer(
        name or "not named", kind, SHAPES[kind], word, "; ".join(filter(None, (told, note)))
    )


def _found(mine: Sequence[Source], required: Required) -> tuple[str, str, list[Source], str]:
    """Kind and word of an answer, the drops that lead to it, and what else must be said."""
    failed = [one for one in mine if _final(one) == "fail" and _speaks_against(one, required)]
    passes = [one for one in mine if _final(one) in PASSES]
    passed = [one for one in passes if not _lacks(one, required)]
    if failed:
        also = f"it had passed in {drops_text(passed)}" if passed else ""
        return "failed", "NOT PROVEN, FAILED", failed, also
    decided = [one for one in passed if one.drop.decision]
    if decided:
        agreed = [one for one in decided if one.drop.verdict.test_verdict in PASSES]
        if agreed:
            return "proven", PROVEN, agreed, ""
        return "proven", "PROVEN BY DECISION, NOT AS PROPOSED", decided, ""
    if passed:
        return "proposed", "PROPOSED AS PROVEN, NOT DECIDED", passed, "a named person must decide"
    if passes:
        lacks = dict.fromkeys(_lacks(one, required) for one in passes)
        return "nothing", "NOT PROVEN", passes, "; ".join(lacks)
    pending = [one for one in mine if _final(one) == "pending"]
    if pending:
        return "open", "OPEN, NOT INSPECTED", pending, ""
    return "nothing", "NOT PROVEN", list(mine), ""


def _final(source: Source) -> str:
    """The verdict that holds: the decision if there is one, else the proposal."""
    decision = source.drop.decision
    return decision.verdict if decision else source.drop.verdict.test_verdict


def _lacks(source: Source, required: Required) -> str:
    """Why a pass of this drop does not answer the requirement, or ""."""
    setup, target_n = source.drop.setup, required.target_n
    if target_n is not None:
        if setup.target_n is None or setup.target_n < target_n * _ALMOST:
            return f"{form(target_n, 'N', source.drop.units)} is required"
        if setup.judged_on != required.judged_on:
            return f"judged on {setup.judged_on or SUM}, {required.judged_on or SUM} is required"
    return "; ".join(required.atmosphere.departures(setup.surroundings))


def _speaks_against(source: Source, required: Required) -> bool:
    """Whether a failure does: not if the load is proven to have lain above all that is required."""
    marks, limit_n = source.drop.loaded, required.limit_n
    if limit_n is None or marks.peak_force_n is None or marks.peak_force_expanded_u_n is None:
        return True
    first_n = abs(marks.first_damage_force_n or marks.peak_force_n)
    return first_n - marks.peak_force_expanded_u_n <= limit_n


def _told(source: Source) -> str:
    """What one drop says, and who says so."""
    proposed, decision = source.drop.verdict.test_verdict, source.drop.decision
    head = f"drop {source.number}"
    if source.drop.setup.target_n is not None:
        target = form(source.drop.setup.target_n, "N", source.drop.units)
        head += f" at a target of {target}"
    if decision is None:
        return f"{head}: {outcome_word(proposed)} proposed"
    text = f"{head}: {outcome_word(decision.verdict)} decided by {decision.by}"
    return text if decision.verdict == proposed else f"{text}, {outcome_word(proposed)} proposed"


def _together(rows: Sequence[ArticleAnswer]) -> tuple[str, str]:
    """The answer over all articles that were dropped."""
    kinds = [row.kind for row in rows]
    if len(rows) == 1:
        return rows[0].kind, rows[0].word
    proven = sum(row.word == PROVEN for row in rows)
    against = kinds.count("proven") - proven
    word = f"{proven} OF {len(rows)} ARTICLES PROVEN"
    if against:  # never counted together: the program said otherwise
        word = f"{word}, {against} BY DECISION AGAINST THE PROPOSAL"
    if "failed" in kinds:
        return "failed", f"{word}, {kinds.count('failed')} FAILED"
    if proven == len(rows):
        return "proven", f"ALL {proven} ARTICLES PROVEN"
    if against or "open" in kinds or "proposed" in kinds:
        return "open", word
    return "nothing", word


def _as_rehearsed(row: ArticleAnswer) -> ArticleAnswer:
    """The same, as what a real drop would have said."""
    return ArticleAnswer(row.name, row.kind, row.shape, f"{MARK}, as if {row.word}", row.text)


def _notes(
    sources: Sequence[Source], real: Sequence[Source], unreadable: Sequence[RecordSummary]
) -> list[str]:
    """What limits the answer."""
    found = []
    rehearsed = len(sources) - len(real)
    if rehearsed:
        found.append(
            f"{rehearsed} of {len(sources)} records "
            f"{'is a rehearsal' if rehearsed == 1 else 'are rehearsals'}: nothing moved, and they "
            "prove nothing"
        )
    if unreadable:
        word = "file" if len(unreadable) == 1 else "files"
        found.append(f"{len(unreadable)} {word} cannot be read and may hold further drops")
    imported = sum(source.imported for source in real)
    if imported:
        found.append(f"imported, that is recorded by another instrument: {imported}")
    return found
