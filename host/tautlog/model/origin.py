"""Origin: whether a record was measured on the rig, rehearsed, or imported.

A rehearsal moves nothing. It must never pass for a drop, wherever its file lies: all code that
counts drops, learns from them or reports them asks here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

MEASURED, REHEARSED, IMPORTED = "measured", "rehearsed", "imported"
FOLDER = "rehearsals"  # of a campaign, for rehearsed records
MARK = "REHEARSAL"
# How a rehearsed board names itself in its greeting, and so in all its records.
_BOARD, _SERIAL = "virtual board", "rehearsal"


def board_is_rehearsed(board: str, serial: str) -> bool:
    """Whether a board with this greeting is simulated."""
    return board.startswith(_BOARD) or serial.startswith(_SERIAL)


@dataclass(frozen=True)
class Meeting:
    """A campaign and a board that greeted.

    Attributes
    ----------
    practises : bool
        The campaign is there to practise with.
    board, serial : str
        The board, as it greeted.
    keeps : str
        What would be kept of it as true of the campaign's rig, such as "a calibration"; "" if it
        is only read, or what is kept says by itself that it was rehearsed.
    """

    practises: bool
    board: str
    serial: str
    keeps: str = ""


def stranger(meeting: Meeting) -> str:
    """Why this board is not for this campaign, with the mend; "" if it is.

    A practice campaign meets no real board, whatever is asked of it: what is true of the rehearsed
    rig (proofs, wires, gains) says nothing of a real one, and a sled would fall on the strength of
    it. A real campaign may read a rehearsed board, and keeps nothing of it.
    """
    rehearsed = board_is_rehearsed(meeting.board, meeting.serial)
    if meeting.practises and not rehearsed:
        return (
            f"this campaign is there to practise with, and the board is real ({meeting.board}, "
            f"{meeting.serial}): work in a campaign of its own, made with `tautlog init`"
        )
    if rehearsed and not meeting.practises and meeting.keeps:
        return (
            f"the board is simulated ({meeting.board}, {meeting.serial}), and {meeting.keeps} of "
            "it would count in a real campaign: practise in a campaign made with `tautlog init "
            "FOLDER --practice`"
        )
    return ""


def origin_of(attributes: Mapping[str, object], *, imported: bool) -> str:
    """Origin of a record, by its root attributes.

    Records older than the attribute `origin` are recognised by the name of their board.
    """
    if imported:
        return IMPORTED
    board, serial = str(attributes.get("board", "")), str(attributes.get("serial", ""))
    if attributes.get("origin") == REHEARSED or board_is_rehearsed(board, serial):
        return REHEARSED
    return MEASURED
