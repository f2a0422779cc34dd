"""Origin: whether a record was measured on the rig, rehearsed, or imported.

A rehearsal moves nothing. It must never pass for a drop, wherever its file lies: all code that
counts drops, learns from them or reports them asks here.
"""

from __future__ import annotations

from collections.abc import Mapping

MEASURED, REHEARSED, IMPORTED = "measured", "rehearsed", "imported"
FOLDER = "rehearsals"  # of a campaign, for rehearsed records
MARK = "REHEARSAL"
# How a rehearsed board names itself in its greeting, and so in all its records.
_BOARD, _SERIAL = "virtual board", "rehearsal"


def board_is_rehearsed(board: str, serial: str) -> bool:
    """Whether a board with this greeting is simulated."""
    return board.startswith(_BOARD) or serial.startswith(_SERIAL)


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
