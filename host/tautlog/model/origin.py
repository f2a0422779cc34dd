"""Origin: whether a record was measured on the rig, rehearsed, or imported.

A rehearsal moves nothing. It must never pass for a drop, wherever its file lies: what
counts drops, learns from them or tells of them asks here.
"""

from __future__ import annotations

from collections.abc import Mapping

MEASURED, REHEARSED, IMPORTED = "measured", "rehearsed", "imported"
FOLDER = "rehearsals"  # of a campaign, where rehearsed records go
MARK = "REHEARSAL"
# How a rehearsed board names itself in its greeting, and so in every record that it made.
_BOARD, _SERIAL = "virtual board", "rehearsal"


def board_is_rehearsed(board: str, serial: str) -> bool:
    """Whether a board that greets so is a simulated one."""
    return board.startswith(_BOARD) or serial.startswith(_SERIAL)


def origin_of(told: Mapping[str, object], *, imported: bool) -> str:
    """Where a record came from, by its root attributes.

    Records of before this attribute are known by the board that they name.
    """
    if imported:
        return IMPORTED
    board, serial = str(told.get("board", "")), str(told.get("serial", ""))
    if told.get("origin") == REHEARSED or board_is_rehearsed(board, serial):
        return REHEARSED
    return MEASURED
