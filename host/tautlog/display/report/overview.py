"""Overview: what a report tells of all its drops together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tautlog.archive.assessment import Assessment
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import ArticleTold
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


def count_told(sources: list[Source]) -> str:
    """How many there are."""
    rehearsed = sum(one.record.rehearsed for one in sources)
    drops = len(sources) - rehearsed
    told = f"{drops} drop" + ("" if drops == 1 else "s")
    return f"{told}, and {rehearsed} rehearsed" if rehearsed else told


def outcomes_told(sources: list[Source], unreadable: Sequence[RecordSummary]) -> str:
    """How many drops ended how, in one line: what a reader wants to know first.

    Where a person decided otherwise than was proposed, both stand there.
    """
    counts = Counter(_outcome(one.drop) for one in sources)
    told = [f"{number} {what}" for what, number in counts.most_common()]
    if unreadable:
        told.append(f"{len(unreadable)} cannot be read")
    return "; ".join(told)


def _outcome(one: Assessment) -> str:
    proposed = short(one.verdict.test_verdict)
    if one.decision:
        decided = short(one.decision.verdict)
        was = "" if decided == proposed else f" (proposed: {proposed})"
        proposed = f"{decided} as decided{was}"
    return f"{MARK} ({proposed})" if one.rehearsed else proposed


def requirement_told(campaign: Campaign | None) -> tuple[tuple[str, str], ...]:
    """What campaign.toml asks of a drop."""
    if campaign is None:
        return ()
    one, setup = campaign.requirement, campaign.setup
    return (
        ("kind of load", one.kind),
        ("target", form(setup.target_n, "N")),
        ("limit", form(setup.upper_n, "N")),
        ("flight load", form(one.flight_load_n, "N")),
        ("design factor x test factor", f"{one.design_factor:g} x {one.test_factor:g}"),
        ("duration", _between(one.shortest_duration_s, one.longest_duration_s)),
        ("criterion", one.criterion or "-"),
        ("source", one.source or "-"),
        ("who decides", campaign.decision.decides or "-"),
        ("remarks", campaign.note or "-"),
    )


def _between(low_s: float | None, high_s: float | None) -> str:
    if low_s is None and high_s is None:
        return "-"
    return f"{form(low_s, 's')} to {form(high_s, 's')}"


def articles_told(sources: list[Source], campaign: Campaign | None) -> tuple[ArticleTold, ...]:
    """What each article has borne in these drops."""
    versions = {one.name: one.version for one in campaign.articles} if campaign else {}
    names = sorted({one.record.setup.article for one in sources})
    return tuple(
        _article(name, versions.get(name) or "-", [one for one in sources if _is_of(one, name)])
        for name in names
    )


def _is_of(one: Source, article: str) -> bool:
    return one.record.setup.article == article


def _article(name: str, version: str, mine: list[Source]) -> ArticleTold:
    drops = [one.drop for one in mine]
    damaged = [one for one in drops if one.marks.first_damage_force_n is not None]
    peaks = [abs(one.marks.peak_force_n) for one in drops if one.marks.peak_force_n]
    inspected = [one for source in mine for one in source.record.inspections]
    damage, after, energy = _first_damage(damaged[0]) if damaged else ("-", "-", "-")
    return ArticleTold(
        name=name or "not named",
        version=version,
        drops=str(len(mine)),
        damage=damage,
        after=after,
        energy=energy,
        highest=form(max(peaks, default=None)),
        found=mine[-1].record.inspected_setup.article_finding,
        where=next((one.where for one in reversed(inspected) if one.where), "-"),
    )


def _first_damage(one: Assessment) -> tuple[str, str, str]:
    """Force, ms since onset, and energy taken up, of the drop that first damaged an article."""
    marks = one.marks
    onset_s, at_s = marks.onset_time_s, marks.first_damage_time_s
    after_ms = None if onset_s is None or at_s is None else 1e3 * (at_s - onset_s)
    force_n = abs(marks.first_damage_force_n or 0.0)
    return form(force_n), form(after_ms), form(marks.energy_absorbed_j)


def questions_told(sources: list[Source], campaign: Campaign | None) -> tuple[str, ...]:
    """What is still open; of a rehearsal nothing is asked."""
    found = [told for one in sources if not one.record.rehearsed for told in _open_of(one)]
    if campaign and not any(one.proven_n > 0 for one in campaign.mounts):
        found.append("no proof pull of the mount is on record")
    return tuple(found)


def _open_of(one: Source) -> list[str]:
    name, verdict, decision = one.record.path.stem, one.drop.verdict, one.drop.decision
    found = []
    if verdict.test_verdict == "pending" and not decision:
        found.append(f"{name}: the article has not been inspected")
    if verdict.record_verdict != "valid" and not decision:
        found.append(f"{name}: the {words(verdict.record_verdict)}, and nobody has decided")
    return found + [
        f"{name}: {reason.text}"
        for reason in verdict.reasons
        if reason.code in _QUESTIONS or reason.code.startswith("disagree-")
    ]
