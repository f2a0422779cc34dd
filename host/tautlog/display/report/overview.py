"""Overview: the parts of a report about all its drops together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tautlog.analysis.loading import exposed
from tautlog.archive.assessment import Assessment
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.people import not_theirs
from tautlog.campaign.requirement import Requirement
from tautlog.display.report.contents import ArticleRow, Item, Questions
from tautlog.display.report.drops import against_plan, bare, override_text
from tautlog.display.report.fields import not_stated
from tautlog.display.report.instruments import NOT_STATED, drops_text
from tautlog.display.report.people import acts_in
from tautlog.display.report.sources import Source
from tautlog.display.report.words import finding_word, form, outcome_word
from tautlog.model.display_units import Units
from tautlog.model.inspection import NOT_INSPECTED
from tautlog.model.legs import SUM
from tautlog.model.marks import Marks
from tautlog.model.origin import MARK
from tautlog.model.verdict_words import words

_QUESTIONS = {
    "rest-off",
    "closure-off",
    "closure-wrong",
    "force-scale",
    "bandwidth-low",
    "beyond-excerpt",
    "further-pull",
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
    proposed = outcome_word(drop.verdict.test_verdict)
    if drop.decision:
        decided = outcome_word(drop.decision.verdict)
        was = "" if decided == proposed else f" (proposed: {proposed})"
        proposed = f"{decided} as decided{was}"
    return f"{MARK} ({proposed})" if drop.rehearsed else proposed


def requirement_rows(campaign: Campaign | None) -> tuple[tuple[str, str], ...]:
    """The requirement in campaign.toml; what nobody stated says so."""
    if campaign is None:
        return ()
    requirement, setup, units = campaign.requirement, campaign.setup, campaign.units
    rows = (
        ("kind of load", f"{requirement.kind}: {_KINDS[requirement.kind]}"),
        ("target", form(setup.target_n, "N", units)),
        ("limit", form(setup.upper_n, "N", units)),
        ("criterion", requirement.criterion),
        ("criterion judged by", ", ".join(requirement.dimensions)),
        ("source", requirement.source),
        ("flight load", _flight(requirement, units)),
        ("duration", _between(requirement.shortest_duration_s, requirement.longest_duration_s)),
        ("judged on", requirement.judged_on),
        ("who decides", campaign.decision.decides),
        ("note", campaign.note),
    )
    needed = {"target", "limit", "criterion", "source", "who decides"}
    return tuple(
        (name, NOT_STATED if value in ("", "-") else value)
        for name, value in rows
        if name in needed or value not in ("", "-", SUM)
    )


_KINDS = {
    "limit": "no detrimental permanent deformation",
    "ultimate": "no rupture",
}


def _flight(requirement: Requirement, units: Units) -> str:
    if requirement.flight_load_n is None:
        return ""
    return (
        f"{form(requirement.flight_load_n, 'N', units)} x {requirement.design_factor:g} (design) x "
        f"{requirement.test_factor:g} (test)"
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
        highest=bare(max(peaks, default=None), "N", mine[0].drop.units),
        at_load=_at_load([drop.loaded for drop in drops]),
        found=finding_word(mine[-1].record.inspected_setup.article_finding),
        where=next((found.where for found in reversed(inspected) if found.where), "-"),
    )


def _at_load(drops: Sequence[Marks]) -> str:
    """Milliseconds above each share of the target, over all drops."""
    told = exposed(drops)
    if not told.levels:
        return "no one target"
    text = " / ".join(f"{1e3 * seconds:.1f}" for _, seconds in told.levels)
    return f"at least {text}; {told.unknown} not known whole" if told.unknown else text


def _first_damage(drop: Assessment) -> tuple[str, str, str]:
    """Force, ms after onset and energy absorbed, of the drop that first damaged an article."""
    marks = drop.marks
    onset_s, at_s = marks.onset_time_s, marks.first_damage_time_s
    after_ms = None if onset_s is None or at_s is None else 1e3 * (at_s - onset_s)
    force_n = abs(marks.first_damage_force_n or 0.0)
    energy = bare(marks.energy_absorbed_j, "J", drop.units)
    return bare(force_n, "N", drop.units), form(after_ms), energy


def open_questions(
    sources: list[Source], campaign: Campaign | None, fields: Sequence[Item]
) -> Questions:
    """What is not proven, not inspected and not stated; a rehearsal asks nothing."""
    real = [source for source in sources if source.counts]
    proven = [question for source in real for question in _not_proven(source)]
    if campaign and not any(mount.proven_n > 0 for mount in campaign.mounts):
        proven.append("there is no proof pull of the mount on record")
    return Questions(
        not_proven=tuple(proven),
        not_inspected=tuple(
            f"{_head(source)}: the article has not been inspected"
            for source in real
            if source.drop.verdict.article == NOT_INSPECTED and source.record.released
        ),
        not_stated=_not_stated(real, campaign, fields),
    )


def _head(source: Source) -> str:
    return f"drop {source.number}, {source.name}"


def _not_proven(source: Source) -> list[str]:
    name, verdict, decision = _head(source), source.drop.verdict, source.drop.decision
    found = []
    if verdict.record_verdict != "valid" and not decision:
        found.append(f"{name}: {words(verdict.record_verdict)}, and nobody has decided")
    elif not decision and verdict.test_verdict != "pending":
        proposed = outcome_word(verdict.test_verdict)
        found.append(f"{name}: {proposed} is proposed, and nobody has decided")
    return found + [
        f"{name}: {reason.text}"
        for reason in verdict.reasons
        if reason.code in _QUESTIONS or reason.code.startswith("disagree-")
    ]


def _not_stated(
    real: Sequence[Source], campaign: Campaign | None, fields: Sequence[Item]
) -> tuple[str, ...]:
    """What nobody stated: of the requirement, of single drops, and of what a report needs."""
    found = []
    if campaign is None:
        found.append("the requirement: there is no campaign.toml")
    rows = [name for name, value in requirement_rows(campaign) if value == NOT_STATED]
    found += [f"the requirement's {name}" for name in rows]
    for what in ("article", "line", "mount", "operator", "mass_kg", "height_m", "target_n"):
        silent = [source for source in real if not getattr(source.record.setup, what)]
        if silent:
            found.append(f"{what.rsplit('_', 1)[0]} of {drops_text(silent)}")
    found += [what.partition(") ")[2] for what in not_stated(fields)]
    return tuple(dict.fromkeys(found))


def deviations(sources: Sequence[Source], campaign: Campaign | None) -> tuple[str, ...]:
    """Where drops were not made, recorded or judged as planned, drop by drop."""
    found: dict[str, list[Source]] = {}
    for source in sources:
        for text in _deviations_of(source, campaign):
            found.setdefault(text, []).append(source)
    return tuple(f"{drops_text(mine)}: {text}" for text, mine in found.items())


def _deviations_of(source: Source, campaign: Campaign | None) -> list[str]:
    record, drop = source.record, source.drop
    found = against_plan(source, campaign)
    if record.status != "complete" and not source.imported:
        found.append(f"the record is {record.status}")
    override = override_text(record.setup.override)
    if override:
        found.append(
            f"refused because {override.refused}; overridden by {override.by}: {override.reason}"
        )
    if campaign is not None:
        found += campaign.atmosphere.departures(record.setup.surroundings)
        found += not_theirs(campaign.people, acts_in(source))
    chosen = drop.calibration.chosen
    if chosen:
        found.append(f"judged by another calibration than its own, chosen by {chosen.by}")
    return found + [f"NOT BELIEVED: {text}" for text in drop.edited]
