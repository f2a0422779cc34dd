"""Day: what a campaign must prove, what is open, and what comes next.

The open points come in the order of a day's work; the first of them is the next action. Nothing
here permits a drop: the gate does, and the people at the rig.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tautlog.archive.summary import RecordSummary
from tautlog.calibrate.validity import validity
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.checklist import fresh_checklist
from tautlog.campaign.counted import counted
from tautlog.campaign.deviations import read_log
from tautlog.errors import CampaignError
from tautlog.model.load_path import Mount
from tautlog.model.origin import MARK
from tautlog.model.timestamp import today
from tautlog.model.verdict_words import words

PROVEN = ("pass", "pass-overtested")


@dataclass(frozen=True)
class OpenPoint:
    """Something that is open.

    Attributes
    ----------
    task : str
        Where it is done: "calibrate", "proof", "drop", "plan", "checklist", "deviations",
        "report".
    action : str
        What to do, in a few words that can be read from afar.
    text : str
        The rest of it: what was seen, why, and how.
    record : str
        Name of the record that it is about, or "".
    stops : bool
        No drop should be done before it is closed.
    """

    task: str
    action: str
    text: str = ""
    record: str = ""
    stops: bool = False


@dataclass(frozen=True)
class ArticleState:
    """How far one article is proven.

    Attributes
    ----------
    name : str
        The article, "" if not named.
    drops : int
        Readable drops that count, see `counted.counted`.
    word : str
        "PROVEN" or "FAILED" if a person decided so, the same as proposed if nobody has decided;
        else that it is not proven.
    by : RecordSummary or None
        The drop that says so; else the valid drop with the highest peak.
    """

    name: str
    drops: int
    word: str
    by: RecordSummary | None

    @property
    def done(self) -> bool:
        """Whether no further drop is needed to answer the question."""
        return self.word not in (NOT_DROPPED, NOT_PROVEN)


NOT_DROPPED, NOT_PROVEN = "not dropped yet", "not proven yet"
# In this order: a failure outweighs a pass, a decision outweighs a proposal.
_WORDS = (
    ("FAILED", ("fail",), True),
    ("FAILED, as proposed", ("fail",), False),
    ("PROVEN", PROVEN, True),
    ("PROVEN, as proposed", PROVEN, False),
)


def articles_of(campaign: Campaign, records: Sequence[RecordSummary]) -> list[ArticleState]:
    """How far each article of campaign.toml and of the records is proven."""
    real = counted(campaign, records)
    names = [article.name for article in campaign.articles]
    names += sorted({record.article for record in real} - set(names))
    if not names and campaign.setup.article:
        names = [campaign.setup.article]
    states = [_state(name, [one for one in real if one.article == name]) for name in names]
    if campaign.rehearsed:  # nothing is proven there, not even in a photo of the screen
        return [replace(one, word=f"{MARK}: {one.word}") if one.done else one for one in states]
    return states


def _state(name: str, mine: list[RecordSummary]) -> ArticleState:
    drops = len(mine)
    for word, verdicts, by_person in _WORDS:
        for record in reversed(mine):
            verdict = record.decided if by_person else record.test_verdict
            if verdict in verdicts and bool(record.decided) == by_person:
                return ArticleState(name, drops, word, record)
    valid = [one for one in mine if one.record_verdict == "valid" and one.peak_force_n is not None]
    best = max(valid, key=lambda one: abs(one.peak_force_n or 0.0), default=None)
    return ArticleState(name, drops, NOT_PROVEN if drops else NOT_DROPPED, best)


def open_points(campaign: Campaign, records: Sequence[RecordSummary]) -> list[OpenPoint]:
    """Everything that is open, in the order of a day's work."""
    return [
        *_of_records(campaign, records),
        *_of_deviations(campaign),
        *_of_calibration(campaign),
        *_of_mounts(campaign),
        *_of_work(campaign, records),
    ]


def _of_deviations(campaign: Campaign) -> list[OpenPoint]:
    """Deviations that nobody has answered."""
    try:
        log = read_log(campaign.folder)
    except CampaignError as problem:
        return [OpenPoint("deviations", "Look at the deviations", str(problem))]
    return [
        OpenPoint("deviations", f"Answer deviation {one.number}", f"{one.entry.text}: answer it")
        for one in log
        if one.open and one.entry and (campaign.rehearsed or not one.rehearsed)
    ]


def _of_calibration(campaign: Campaign) -> list[OpenPoint]:
    why = list(campaign.calibration_doubts)
    if not why and campaign.calibration_left_out:
        why = [campaign.calibration_left_out]
    if not why:
        checks = validity(campaign.calibration, today())
        why = [one.text for one in checks if one.refuses]
    return [OpenPoint("calibrate", "Calibrate", text, stops=True) for text in why]


def _of_mounts(campaign: Campaign) -> list[OpenPoint]:
    return [point for mount in campaign.mounts for point in _of_mount(mount)]


def _of_mount(mount: Mount) -> list[OpenPoint]:
    why = mount.failed or mount.failed_elsewhere
    action = f"Prove the mount {mount.name}"
    if why:
        text = f"{why}; repair it, pull it again, and enter the pull with `tautlog proof`"
        return [OpenPoint("proof", action, text, stops=True)]
    if mount.proven_n <= 0.0:
        text = "no pull of it is on record: pull it, and enter the pull with `tautlog proof`"
        return [OpenPoint("proof", action, text, stops=True)]
    return []


def _of_records(campaign: Campaign, records: Sequence[RecordSummary]) -> list[OpenPoint]:
    """What drops have left open: first what stops, then newest first, unreadable files last."""
    found = [
        point for record in reversed(counted(campaign, records)) for point in _of_record(record)
    ]
    broken = [
        OpenPoint("drop", f"Look at {one.name}", f"it cannot be read: {one.problem}")
        for one in records
        if one.problem
    ]
    stopping = [point for point in found if point.stops]
    return stopping + [point for point in found if not point.stops] + broken


def _of_record(record: RecordSummary) -> list[OpenPoint]:
    name = record.name
    if record.decided:
        return []
    if record.trace_says in ("let-go", "slipped") and record.found in ("", "not-inspected"):
        action = f"Find what gave way in {name}"
        return [OpenPoint("drop", action, words(record.trace_says), name, stops=True)]
    if record.found in ("", "not-inspected"):
        return [OpenPoint("drop", f"Inspect the article of {name}", "", name)]
    if not record.record_verdict:
        return [OpenPoint("drop", f"Mark {name}", "it has no marks: `tautlog mark`", name)]
    if record.record_verdict != "valid":
        text = f"{words(record.record_verdict)}: explain it before the next drop, and decide"
        return [OpenPoint("drop", f"Explain {name}", text, name)]
    if record.test_verdict in (*PROVEN, "fail"):
        text = f"{words(record.test_verdict)} is proposed, and nobody has decided"
        return [OpenPoint("drop", f"Decide on {name}", text, name)]
    return []


def _of_work(campaign: Campaign, records: Sequence[RecordSummary]) -> list[OpenPoint]:
    """The work that is left: drops of articles that are not proven, else the report."""
    left = [article for article in articles_of(campaign, records) if not article.done]
    if not left:
        return [OpenPoint("report", "Write the report", "no article waits for a drop")]
    found, units = [], campaign.units
    for article in left:
        so_far = ""
        if article.by:
            so_far = (
                f"; the highest valid peak is {article.by.shown_peak(units)} {units.of('N').name}"
            )
        action = f"Plan the next drop of {article.name or 'the article'}"
        found.append(OpenPoint("plan", action, f"it is {article.word}{so_far}"))
    if fresh_checklist(campaign.folder) is None:
        text = "by two persons, right before the drop: none is fresh"
        found.append(OpenPoint("checklist", "Go through the checklist", text))
    return found
