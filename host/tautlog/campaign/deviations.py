"""Deviations: where the work was not done as the procedure says, stated by people.

Each is one line in the campaign's `deviations.jsonl`, with its link in the chain; lines are only
added. A deviation is never deleted: a second entry answers it, and both are shown. See `json_lines`
for how to correct one; the correction of a deviation is a deviation, and an answer's an answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.people import APPROVER, Act, not_theirs
from tautlog.campaign.procedure_steps import STEPS
from tautlog.campaign.requirement import Requirement
from tautlog.errors import CampaignError
from tautlog.files.append import Appended
from tautlog.files.json_lines import Standing, add_line, read_standing
from tautlog.model.key import keys_of
from tautlog.model.names import alike, meant, short
from tautlog.model.origin import MARK
from tautlog.model.signature import signed
from tautlog.model.timestamp import require_time, time_problem

FILE_NAME = "deviations.jsonl"
MOST_LETTERS = 2000  # of one text; own choice, half a page
REQUIREMENTS = tuple(keys_of(Requirement))
_NEEDED = {"by": "the name of who states it", "text": "what was done otherwise, in plain words"}


@dataclass(frozen=True)
class Deviation:
    """One entry: a deviation, or the answer to one.

    Attributes
    ----------
    utc, by, text : str
        When it was entered, who states it, and what was done otherwise, or how it was answered.
    record, record_id : str
        Name and identity of the record that it affects; "" if it affects none alone.
    step, requirement : str
        The step of the procedure, a key of `STEPS`; the key of [requirement] that it affects.
    agreed : str
        Who else agreed to it; "" if nobody has.
    answers : int or None
        Number of the deviation that it answers and so closes; None for a deviation.
    rehearsed : bool
        It is about a rehearsal: it counts for nothing, and is kept apart.
    supersedes, reason : int or None, str
        Number of the entry that this entry corrects, and why.

    Raises
    ------
    CampaignError
        If it is not signed, says nothing, or states what nobody can mean.
    """

    utc: str
    by: str
    text: str
    record: str = ""
    record_id: str = ""
    step: str = ""
    requirement: str = ""
    agreed: str = ""
    answers: int | None = None
    rehearsed: bool = False
    supersedes: int | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        require_time("utc", self.utc)
        for name, what in _NEEDED.items():
            text = getattr(self, name)
            if signed(text) != text or not text:
                raise CampaignError(f"{name} = {short(text)}: expected {what}")
        if self.agreed and signed(self.agreed) != self.agreed:
            raise CampaignError(f"agreed = {short(self.agreed)}: expected a name")
        for name in ("by", "text", "record", "agreed", "reason"):
            _require_seen(name, getattr(self, name))
        if alike(self.by, self.agreed):
            raise CampaignError(
                f"agreed = {short(self.agreed)}: that is who states it; name somebody else, or "
                "leave it out"
            )
        for name, known in (("step", tuple(STEPS)), ("requirement", REQUIREMENTS)):
            text = getattr(self, name)
            if text and text not in known:
                raise CampaignError(f"{name} = {short(text)} is not known; {meant(text, known)}")
        if self.answers is not None and (self.record or self.step or self.requirement):
            raise CampaignError("an answer names no record, step or requirement: the deviation did")

    @property
    def affects(self) -> str:
        """What it affects, in words."""
        parts = (
            ("drop", self.record),
            ("step", self.step),
            ("requirement", self.requirement),
        )
        return ", ".join(f"{what} {name}" for what, name in parts if name) or "the whole campaign"


@dataclass(frozen=True)
class Logged:
    """A deviation, and what became of it.

    Attributes
    ----------
    number, utc : int, str
        Of its line; its time, or that of the line it corrects.
    entry : Deviation or None
        None for a line that cannot be read and was corrected.
    superseded_by : int or None
        Number of the deviation that corrects it.
    answers : tuple of (int, Deviation)
        The answers that count, with their numbers.
    """

    number: int
    utc: str
    entry: Deviation | None
    superseded_by: int | None = None
    answers: tuple[tuple[int, Deviation], ...] = ()

    @property
    def open(self) -> bool:
        """Whether nobody has answered or corrected it."""
        return self.superseded_by is None and not self.answers

    @property
    def rehearsed(self) -> bool:
        """Whether it is about a rehearsal."""
        return self.entry is not None and self.entry.rehearsed

    @property
    def words(self) -> str:
        """All of it in one line, the same wherever it is shown."""
        if self.entry is None:
            return f"{self.number}, cannot be read; corrected by {self.superseded_by}"
        made = self.entry
        mark = f"{MARK}: " if made.rehearsed else ""
        agreed = f"agreed by {made.agreed}" if made.agreed else "agreed by nobody else"
        told = (
            f"{mark}{self.number}, {self.utc[:16].replace('T', ' ')} UTC, {made.affects}: "
            f"{made.text} (stated by {made.by}, {agreed})"
        )
        if made.supersedes is not None:
            told += f"; it corrects {made.supersedes}: {made.reason}"
        if self.superseded_by is not None:
            return f"{told}; corrected by {self.superseded_by}"
        closed = [f"closed by {number}, {one.by}: {one.text}" for number, one in self.answers]
        return f"{told}; {'; '.join(closed) or 'OPEN'}"


def read_entries(folder: Path, *, correcting: int | None = None) -> list[Standing[Deviation]]:
    """All entries of a campaign, corrected ones too; see `read_standing`.

    Raises
    ------
    CampaignError
        If a line that counts cannot be read; names the line.
    """
    return read_standing(folder / FILE_NAME, Deviation, "deviation", correcting=correcting)


def read_log(folder: Path) -> tuple[Logged, ...]:
    """All deviations of a campaign by their times, each with its answers; none is left out.

    Raises
    ------
    CampaignError
        If a line that counts cannot be read; names the line.
    """
    lines = read_entries(folder)
    by_number = {line.number: line for line in lines}
    answers: dict[int, list[tuple[int, Deviation]]] = {}
    for line in lines:
        entry = line.entry
        if entry and entry.answers is not None and line.superseded_by is None:
            answers.setdefault(entry.answers, []).append((line.number, entry))
    return tuple(
        Logged(
            line.number,
            line.utc,
            line.entry,
            _corrected_by(line, by_number),
            tuple(answers.get(line.number, ())),
        )
        for line in lines
        if line.entry is None or line.entry.answers is None
    )


def _corrected_by(
    line: Standing[Deviation], by_number: dict[int, Standing[Deviation]]
) -> int | None:
    """The line that corrects a deviation; an answer written by hand in its place does not."""
    other = by_number.get(line.superseded_by or 0)
    if other is None or (other.entry is not None and other.entry.answers is not None):
        return None
    return line.superseded_by


def enter_deviation(
    campaign: Campaign, made: Deviation, records: Sequence[RecordSummary]
) -> tuple[Appended, tuple[str, ...]]:
    """Append a deviation, an answer, or a correction; nothing is rewritten.

    Whether it is about a rehearsal is found out here, whatever the entry says.

    Parameters
    ----------
    campaign, made : Campaign, Deviation
        The campaign, and the entry.
    records : sequence of RecordSummary
        All its records, with its rehearsals.

    Returns
    -------
    Appended, tuple of str
        What was added; what is doubtful about who agreed.

    Raises
    ------
    CampaignError
        If it cannot be written; or names a record, deviation or entry that is not there, or a
        record whose time lies in the future.
    """
    log = read_entries(campaign.folder, correcting=made.supersedes)
    _require_kind(made, log)
    record = _record(made.record, records) if made.record else None
    answered = _answered(made.answers, log) if made.answers is not None else None
    rehearsed = campaign.rehearsed or (record is not None and record.rehearsed)
    made = replace(
        made,
        record_id=record.record_id if record else "",
        rehearsed=answered.rehearsed if answered else rehearsed,
    )
    acts = [Act(APPROVER, made.agreed)]
    added = add_line(campaign.folder / FILE_NAME, asdict(made))
    return added, not_theirs(campaign.people, acts)


def _require_seen(name: str, text: str) -> None:
    """Refuse signs that nobody sees, line ends too, and texts that nobody reads."""
    hidden = next((sign for sign in text if not sign.isprintable()), "")
    if hidden:
        raise CampaignError(
            f"{name} = {short(text)}: it holds the sign U+{ord(hidden):04X}, which is not seen; "
            "write it on one line, without it"
        )
    if len(text) > MOST_LETTERS:
        raise CampaignError(f"{name}: {len(text)} letters, at most {MOST_LETTERS} are allowed")


def _require_kind(made: Deviation, log: Sequence[Standing[Deviation]]) -> None:
    """Refuse to correct a deviation by an answer, which would delete it; and the reverse."""
    wrong = next((one.entry for one in log if one.number == made.supersedes), None)
    if wrong is not None and (wrong.answers is None) != (made.answers is None):
        kind = "a deviation" if wrong.answers is None else "an answer"
        mend = "answer it instead" if wrong.answers is None else "give the number that it answers"
        raise CampaignError(f"entry {made.supersedes} is {kind}, and corrected by one only: {mend}")


def _record(name: str, records: Sequence[RecordSummary]) -> RecordSummary:
    """The one record of that name.

    Raises
    ------
    CampaignError
        If there is none or more than one, or its time lies in the future.
    """
    named = [one for one in records if one.name == name]
    if len(named) > 1:
        raise CampaignError(f"record {short(name)}: {len(named)} files bear that name; rename one")
    if not named:
        there = meant(name, [one.name for one in records][-8:])
        raise CampaignError(f"record {short(name)} is not in this campaign; {there}")
    record = named[0]
    problem = time_problem(record.utc[:19] + "Z") if record.utc else ""
    if "future" in problem:
        raise CampaignError(f"record {short(name)}, of {record.utc}: {problem}; set the clock")
    return record


def _answered(number: int, log: Sequence[Standing[Deviation]]) -> Deviation:
    """The deviation that an answer is about.

    Raises
    ------
    CampaignError
        If there is none of that number, or it was corrected.
    """
    line = next((one for one in log if one.number == number), None)
    if line is None or line.entry is None or line.entry.answers is not None:
        numbers = [str(one.number) for one in log if one.entry and one.entry.answers is None]
        there = f"there are {', '.join(numbers)}" if numbers else "there is none"
        raise CampaignError(f"answers = {number}: no deviation has that number; {there}")
    if line.superseded_by is not None:
        raise CampaignError(
            f"answers = {number}: deviation {number} was corrected by {line.superseded_by}: "
            "answer that one"
        )
    return line.entry
