"""Overview: the parts of a report about all its drops together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tautlog.archive.assessment import Assessment
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import ArticleRow
from tautlog.display.report.sources import Source
from tautlog.display.report.words import form, short
from tautlog.model.origin import MARK
from tautlog.model.verdict_words import words

_QUESTIONS = {
    "rest-off",
    "closure-off",
    "closure-wrong",
    "force-scale",
    "bandwidth-low",
    "stop-touched",
    "mount-moved",
    "two-peaks",
}


def count_text(sources: list[Source]) -> str:
    """The number of drops, in words."""
    rehearsed = sum(source.record.rehearsed for source in sources)
    drops = len(sources) - rehearsed
    text = f"{drops} drop" + ("" if drops == 1 else "s")
    return f"{text}, and {rehearsed} rehearsed" if rehearsed else text


def outcomes_text(sources: list[Source], unreadable: Sequence[RecordSummary]) -> str:
    """How many drops ended how, in one line: a reader wants to know this first.

    If a decision differs from the proposal, the line shows both.
    """
    counts = Counter(_outcome(source.drop) for source in sources)
    parts = [f"{number} {what}" for what, number in counts.most_common()]
    if unreadable:
        parts.append(f"{len(unreadable)} cannot be read")
    return "; ".join(parts)


def _outcome(drop: Assessment) -> str:
    proposed = short(drop.verdict.test_verdict)
    if drop.decision:
        decided = short(drop.decision.verdict)
        was = "" if decided == proposed else f" (proposed: {proposed})"
        proposed = f"{decided} as decided{was}"
    return f"{MARK} ({proposed})" if drop.rehearsed else proposed


def requirement_rows(campaign: Campaign | None) -> tuple[tuple[str, str], ...]:
    """The requirement in campaign.toml."""
    if campaign is None:
        return ()
    requirement, setup = campaign.requirement, campaign.setup
    return (
        ("kind of load", requirement.kind),
        ("target", form(setup.target_n, "N")),
        ("limit", form(setup.upper_n, "N")),
        ("flight load", form(requirement.flight_load_n, "N")),
        (
            "design factor x test factor",
            f"{requirement.design_factor:g} x {requirement.test_factor:g}",
        ),
        ("duration", _between(requirement.shortest_duration_s, requirement.longest_duration_s)),
        ("criterion", requirement.criterion or "-"),
        ("source", requirement.source or "-"),
        ("who decides", campaign.decision.decides or "-"),
        ("note", campaign.note or "-"),
    )


def _between(low_s: float | None, high_s: float | None) -> str:
    if low_s is None and high_s is None:
        return "-"
    return f"{form(low_s, 's')} to {form(high_s, 's')}"


def article_rows(sources: list[Source], campaign: Campaign | None) -> tuple[ArticleRow, ...]:
    """The load history of each article in these drops."""
    versions = {article.name: article.version for article in campaign.articles} if campaign else {}
    names = sorted({source.record.setup.article for source in sources})
    return tuple(
        _article(
            name,
            versions.get(name) or "-",
            [source for source in sources if source.record.setup.article == name],
        )
        for name in names
    )


def _article(name: str, version: str, mine: list[Source]) -> ArticleRow:
    drops = [source.drop for source in mine]
    damaged = [drop for drop in drops if drop.marks.first_damage_force_n is not None]
    peaks = [abs(drop.marks.peak_force_n) for drop in drops if drop.marks.peak_force_n]
    inspected = [inspection for source in mine for inspection in source.record.inspections]
    damage, after, energy = _first_damage(damaged[0]) if damaged else ("-", "-", "-")
    return ArticleRow(
        name=name or "not named",
        version=version,
        drops=str(len(mine)),
        damage=damage,
        after=after,
        energy=energy,
        highest=form(max(peaks, default=None)),
        found=mine[-1].record.inspected_setup.article_finding,
        where=next((found.where for found in reversed(inspected) if found.where), "-"),
    )


def _first_damage(drop: Assessment) -> tuple[str, str, str]:
    """Force, ms after onset and energy absorbed, of the drop that first damaged an article."""
    marks = drop.marks
    onset_s, at_s = marks.onset_time_s, marks.first_damage_time_s
    after_ms = None if onset_s is None or at_s is None else 1e3 * (at_s - onset_s)
    force_n = abs(marks.first_damage_force_n or 0.0)
    return form(force_n), form(after_ms), form(marks.energy_absorbed_j)


def open_questions(sources: list[Source], campaign: Campaign | None) -> tuple[str, ...]:
    """Open questions of all drops; a rehearsal has none."""
    real = [source for source in sources if not source.record.rehearsed]
    found = [question for source in real for question in _open_of(source)]
    if campaign and not any(mount.proven_n > 0 for mount in campaign.mounts):
        found.append("there is no proof pull of the mount on record")
    return tuple(found)


def _open_of(source: Source) -> list[str]:
    name, verdict, decision = source.record.path.stem, source.drop.verdict, source.drop.decision
    found = []
    if verdict.test_verdict == "pending" and not decision:
        found.append(f"{name}: the article has not been inspected")
    if verdict.record_verdict != "valid" and not decision:
        found.append(f"{name}: {words(verdict.record_verdict)}, and nobody has decided")
    return found + [
        f"{name}: {reason.text}"
        for reason in verdict.reasons
        if reason.code in _QUESTIONS or reason.code.startswith("disagree-")
    ]
