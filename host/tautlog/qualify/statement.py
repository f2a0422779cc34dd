"""Statement: what the drops of a campaign show of all parts of a version, or why they do not.

The program proposes a statement; a named person makes it, under local codes and licensed practice.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.archive.chain_check import check_chain
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.qualification import Qualification
from tautlog.errors import StatementError
from tautlog.model.names import alike, short
from tautlog.model.origin import IMPORTED
from tautlog.model.surroundings import Atmosphere
from tautlog.qualify.claims import Claim, claim_of
from tautlog.qualify.outcomes import (
    FELL_EARLIER,
    OPEN,
    Outcome,
    Tried,
    broke_in,
    each_trace_once,
    fell_earlier,
    outcome_of,
    real_drops,
)

_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
CAUTION = (
    "A statement is about parts made, kept and loaded as the tested ones were. A named person "
    "makes it, under local codes and licensed practice, which come first."
)


@dataclass(frozen=True)
class Statement:
    """A statement about a part, or why there is none.

    Attributes
    ----------
    claim : Claim
        What is claimed, by which method, from how many articles.
    version : str
        Version of the articles, "" if none is stated.
    reliability, confidence : float
        Share of the parts, and one-sided confidence.
    target_n : float or None
        Force that the test must reach.
    assumptions, why_not : tuple of str
        What must be true for it; why it is not made.
    outcomes : tuple of Outcome
        Every article of the version.
    decides : str
        Who is to decide, as the campaign states it.
    """

    claim: Claim
    version: str
    reliability: float
    confidence: float
    target_n: float | None
    assumptions: tuple[str, ...]
    why_not: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    decides: str = ""

    @property
    def made(self) -> bool:
        """Whether the drops show it."""
        return not self.why_not

    @property
    def meets_target(self) -> bool | None:
        """Whether the claimed load reaches the target; None without one of them."""
        if self.claim.load_n is None or self.target_n is None:
            return None
        return self.claim.load_n >= self.target_n

    @property
    def deciders(self) -> tuple[str, ...]:
        """Who decided on the drops that count."""
        return tuple(sorted({one.by for one in self.outcomes if one.by}))

    @property
    def word(self) -> str:
        """The answer in a few words."""
        if not self.made:
            return "NOTHING STATED"
        return "STATED, BELOW THE TARGET" if self.meets_target is False else "STATED"

    @property
    def shown(self) -> str:
        """What the articles show by themselves, whatever was agreed; "" if nothing."""
        share = self.claim.shown_share
        if share is None:
            return ""
        return (
            f"{self.claim.successes} of {self.claim.n} articles show a share of at least "
            f"{share:.3f} at {self.confidence:g} confidence, if their number was fixed beforehand"
        )

    @property
    def text(self) -> str:
        """The statement in one sentence, or that it cannot be made."""
        claim = self.claim.text
        if self.made:
            return f"{claim}."
        return f"It cannot be stated that {claim[:1].lower()}{claim[1:]}."


def statement_of(
    campaign: Campaign, records: Sequence[RecordSummary], asked: Qualification | None = None
) -> Statement:
    """The statement that a campaign's drops allow.

    Parameters
    ----------
    campaign : Campaign
        Gives target, limit, articles with their versions, and what was agreed.
    records : sequence of RecordSummary
        All its records, by time of the drop.
    asked : Qualification, optional
        What is to be stated (default: as campaign.toml states it).

    Raises
    ------
    StatementError
        If nothing is asked for: no reliability and no confidence.
    """
    asked = asked or campaign.qualification
    if asked.reliability is None or asked.confidence is None:
        raise StatementError(
            "no statement is asked for: state reliability and confidence under [qualification] in "
            "campaign.toml, before the first drop"
        )
    counted, copies = each_trace_once(records)
    setup = campaign.setup
    units = campaign.units
    tried = Tried(setup.target_n, setup.upper_n, campaign.atmosphere, units)
    version, unclear = _version(campaign, asked.version)
    names = [one.name for one in campaign.articles if one.version == version]
    outcomes = tuple(outcome_of(name, counted, tried) for name in names)
    claim = claim_of(asked, version, outcomes, setup.target_n, units)
    return Statement(
        claim,
        version,
        asked.reliability,
        asked.confidence,
        setup.target_n,
        assumptions=(*copies, *claim.assumptions, *_assumed(asked, campaign, counted, names)),
        why_not=(*unclear, *_hidden(campaign, records, outcomes), *claim.why_not),
        outcomes=outcomes,
        decides=campaign.decision.decides,
    )


def _version(campaign: Campaign, wanted: str) -> tuple[str, list[str]]:
    """The version that is asked about, and what is unclear about it."""
    versions = sorted({article.version for article in campaign.articles})
    if not versions:
        return wanted, ["campaign.toml names no [[article]]: which articles are alike is not known"]
    if wanted:
        known = wanted in versions
        return wanted, [] if known else [f"no [[article]] has the version {short(wanted)}"]
    if len(versions) > 1:
        told = ", ".join(short(version) for version in versions)
        return "", [f"the articles have several versions ({told}): state which"]
    return versions[0], []


def _hidden(
    campaign: Campaign, records: Sequence[RecordSummary], outcomes: Sequence[Outcome]
) -> list[str]:
    """What forbids any statement, because it may hide a break."""
    found = [f"{one.article}: {one.why}" for one in outcomes if one.result == OPEN]
    broken = [one.name for one in records if one.problem]
    if broken:
        found.append(f"files that cannot be read may hold a break: {', '.join(broken)}")
    listed = [article.name for article in campaign.articles]
    for record in real_drops(records):
        if broke_in(record) and not any(alike(record.article, name) for name in listed):
            who = short(record.article) if record.article else "an article without a name"
            found.append(
                f"{record.name}: {who} broke and is no [[article]] of campaign.toml; state its "
                "version there"
            )
    found += _against_chain(campaign, records) + _agreed_late(campaign, records)
    if campaign.rehearsed:
        found.append("it is a campaign to practise with: its drops are no evidence")
    return found


def _against_chain(campaign: Campaign, records: Sequence[RecordSummary]) -> list[str]:
    """What the chain shows to be gone or changed: a break may have been in it."""
    # Behind the summaries of a simulated campaign there are no files, and no chain.
    if campaign.rehearsed or not any(one.path.exists() for one in records):
        return []
    wrong = [one for one in check_chain(campaign.folder, list(records)) if one.differs]
    more = f", and {len(wrong) - 1} more" if len(wrong) > 1 else ""
    return [f"`tautlog verify` finds {one.path.name}: {one.text}{more}" for one in wrong[:1]]


def _agreed_late(campaign: Campaign, records: Sequence[RecordSummary]) -> list[str]:
    """Whether the numbers name a day of agreement that lies after the first drop."""
    days = [one.utc[:10] for one in real_drops(records) if one.utc]
    agreed = _DAY.findall(campaign.qualification.agreed)
    if not days or not agreed or max(agreed) <= min(days):
        return []
    return [f"its numbers were agreed on {max(agreed)}, after the first drop of {min(days)}"]


def _assumed(
    asked: Qualification,
    campaign: Campaign,
    records: Sequence[RecordSummary],
    names: Sequence[str],
) -> list[str]:
    """What must be true for any statement, and cannot be seen in records."""
    found = [
        "the articles were chosen at random from all parts of the version, which are made alike",
        "each article is one sample, however often it was dropped",
        "which article has which version is as campaign.toml says it now",
    ]
    if asked.agreed:
        found.append(
            f"its numbers were agreed before the first drop, as campaign.toml says now "
            f"({asked.agreed}); no seal shows it"
        )
    else:
        found.append("NOBODY STATES that its numbers were agreed before the first drop")
    if not campaign.laboratory.sampling:
        found.append("NOBODY STATES how the articles were chosen ([laboratory] sampling)")
    if campaign.atmosphere == Atmosphere():
        found.append("no surroundings are agreed: any temperature and humidity counted")
    mine = [one for one in real_drops(records) if any(alike(one.article, name) for name in names)]
    found += [f"{one.name}: {FELL_EARLIER}" for one in mine if fell_earlier(one)]
    imported = sum(one.origin == IMPORTED for one in mine)
    if imported:
        found.append(f"{imported} records come from another instrument and are taken as they came")
    found += [
        f"{one.name} is retired ({one.why}): what it showed before counts, whenever that was"
        for one in campaign.retired
        if one.kind == "article" and any(alike(one.name, name) for name in names)
    ]
    return found
