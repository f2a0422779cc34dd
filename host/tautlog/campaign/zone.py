"""Zone: whether people must stay out of it, kept in the campaign's folder and its chain.

A line is added before a board is armed. Until a named person has looked at sled, pin and latch,
nobody knows how the sled stands: a program that was killed leaves the line, and the next one asks.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

from tautlog.errors import CampaignError, RefusedError
from tautlog.files.json_lines import add_line, read_standing
from tautlog.files.sound import SoundLines, sound_lines
from tautlog.model.names import short
from tautlog.model.signature import signed
from tautlog.model.timestamp import require_time, stamp

FILE_NAME = "zone.jsonl"
ARMED, NOT_ARMED, AT_REST = "armed", "not-armed", "at-rest"
KINDS = (ARMED, NOT_ARMED, AT_REST)
HOW = (
    "Say who looked at sled, pin and latch: `--looked-by NAME` of the command (`tautlog check`, "
    "`drop`, `calibrate`, `proof` or `health --bring-up`), or the page of the drop at the desk"
)


@dataclass(frozen=True)
class ZoneEntry:
    """One line.

    Attributes
    ----------
    utc : str
        When.
    kind : str
        `ARMED`: a board was about to be armed; `NOT_ARMED`: it was not, and said so; `AT_REST`: a
        person has looked.
    by : str
        Who looked.
    about : str
        The record of the drop, or why it was not armed.
    """

    utc: str
    kind: str
    by: str = ""
    about: str = ""

    def __post_init__(self) -> None:
        require_time("utc", self.utc)
        if self.kind not in KINDS:
            raise CampaignError(f"kind = {short(self.kind)}: expected one of {', '.join(KINDS)}")
        if self.kind == AT_REST and not signed(self.by):
            raise CampaignError("say by name who has looked at sled, pin and latch")


def stay_out(folder: Path) -> ZoneEntry | None:
    """The arming after which nobody has looked yet; None if people may go in.

    Raises
    ------
    CampaignError
        If a line cannot be read; names the line.
    """
    open_since: list[ZoneEntry] = []
    sound, looked = sound_lines(folder, FILE_NAME), 0
    for line in read_standing(folder / FILE_NAME, ZoneEntry, "entry"):
        entry = line.entry
        if entry is not None and entry.kind == ARMED:
            open_since.append(entry)
        elif sound.begun and line.number not in sound.numbers:
            continue  # a look that this campaign did not keep lets nobody in
        elif entry is None or entry.kind == AT_REST:
            open_since.clear()
            looked = line.number
        else:
            del open_since[-1:]
    return open_since[-1] if open_since else _lost_since(sound, looked)


def _lost_since(sound: SoundLines, looked: int) -> ZoneEntry | None:
    """What may have been an arming: a line after the last look that is no more as it was kept."""
    places = [place for place, (link, _) in enumerate(sound.in_order) if link.number == looked]
    after = sound.in_order[places[-1] + 1 :] if places else sound.in_order
    lost = [link for link, there in after if not there]
    if not lost:
        return None
    about = f"what line {lost[-1].number} of {FILE_NAME} said, which is gone or changed"
    return ZoneEntry(lost[-1].utc, ARMED, about=about)


def note_armed(folder: Path, record: str) -> None:
    """Note that a board is about to be armed; it is on disk on return.

    Raises
    ------
    CampaignError
        If it cannot be written: then nothing may be armed.
    """
    _add(folder, ZoneEntry(stamp(), ARMED, about=record))


def note_held(folder: Path) -> None:
    """Note that a board holds the event of a drop, if no drop is open: how the sled stands is open.

    Raises
    ------
    CampaignError
        If it cannot be read or written.
    """
    if stay_out(folder) is None:
        note_armed(folder, "an event that it still held")


def note_not_armed(folder: Path, why: str) -> None:
    """Note that a board refused to arm and is safe; an earlier drop stays open.

    Raises
    ------
    CampaignError
        If it cannot be written.
    """
    _add(folder, ZoneEntry(stamp(), NOT_ARMED, about=why))


def confirm_at_rest(folder: Path, by: str) -> None:
    """Keep who has looked at sled, pin and latch, and when.

    Raises
    ------
    CampaignError
        If nobody is named, or it cannot be written.
    """
    open_since = stay_out(folder)
    about = "" if open_since is None else open_since.about
    _add(folder, ZoneEntry(stamp(), AT_REST, by=signed(by), about=about))


def require_looked(folder: Path, by: str = "") -> None:
    """The guard before anybody begins something at the rig.

    Parameters
    ----------
    folder : Path
        The campaign's.
    by : str
        Who has looked since the last drop; kept if somebody had to.

    Raises
    ------
    RefusedError
        If nobody has looked since a board was last armed.
    CampaignError
        If that cannot be read or kept.
    """
    open_since = stay_out(folder)
    if open_since is None:
        return
    if signed(by):
        confirm_at_rest(folder, by)
        return
    raise RefusedError(stay_out_text(open_since))


def stay_out_now(folder: Path) -> str:
    """That people must stay out, in words, or ""; raises as `stay_out` does."""
    since = stay_out(folder)
    return "" if since is None else stay_out_text(since)


def stay_out_text(since: ZoneEntry) -> str:
    """That people must stay out, since when, and how that ends."""
    drop = f" for {since.about}" if since.about else ""
    return (
        f"STAY OUT: nobody has confirmed that the rig is at rest since the board was armed{drop} "
        f"at {since.utc[:19].replace('T', ' ')} UTC. {HOW}"
    )


def _add(folder: Path, entry: ZoneEntry) -> None:
    add_line(folder / FILE_NAME, asdict(entry))
