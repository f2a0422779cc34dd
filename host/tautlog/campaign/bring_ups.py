"""Bring-ups: what was read when each wire was opened and shorted by hand.

Each step is one line in the campaign's `bring_up.jsonl`; lines are only added. See `json_lines` for
how to correct one. What counts of them is for `model.proven_wiring`.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from tautlog.errors import CampaignError
from tautlog.files.append import Appended
from tautlog.files.json_lines import Standing, add_line, read_standing
from tautlog.model.commissioning import Parts
from tautlog.model.proven_wiring import BoardSeen, Proving, StepDone
from tautlog.model.stream import Instrument

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign

FILE_NAME = "bring_up.jsonl"


def read_bring_up(folder: Path) -> list[Standing[StepDone]]:
    """All steps of a campaign in the order of their times, superseded ones too.

    Raises
    ------
    CampaignError
        If a line cannot be read; names the line.
    """
    return read_standing(folder / FILE_NAME, StepDone, "bring-up step")


def add_step(folder: Path, done: StepDone) -> Appended:
    """Append a step; nothing is rewritten.

    Raises
    ------
    CampaignError
        If it cannot be written, or the superseded line does not exist.
    """
    return add_line(folder / FILE_NAME, asdict(done))


def parts_of(campaign: Campaign) -> Parts:
    """The parts that a campaign states."""
    return Parts(campaign.fitted, bool(campaign.cell.shunt_ohm))


def board_seen(instrument: Instrument) -> BoardSeen:
    """A board that greeted, for the guard."""
    return BoardSeen(instrument.serial, instrument.board, instrument.wiring)


def proving_of(campaign: Campaign, instrument: Instrument | None = None) -> Proving:
    """What a campaign knows of the wiring of a board, or of any if none has greeted."""
    board = None if instrument is None else board_seen(instrument)
    parts = parts_of(campaign)
    try:
        lines = read_bring_up(campaign.folder)
    except CampaignError as problem:
        return Proving(unread=str(problem), parts=parts, board=board)
    counting = (line.entry for line in lines if line.superseded_by is None)
    done = tuple(entry for entry in counting if entry is not None)
    return Proving(done=done, parts=parts, board=board)


def real_proving_of(campaign: Campaign) -> Proving:
    """What is known of the wiring of any board that counts: of a simulated one in practice only.

    A drop asks `proving_of` instead, which knows the board that greeted.
    """
    found = proving_of(campaign)
    done = tuple(step for step in found.done if campaign.rehearsed or not step.rehearsed)
    return replace(found, done=done)
