"""Re-entered: a contact of the release chain opened between readiness and release.

Somebody may have been at the rig. What was checked before does not hold any more: the checklist
is void, and the next drop begins with a new one. The permit is used up in any case.
"""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.campaign.checklist import void_checklist
from tautlog.drop.permit import Permit
from tautlog.errors import CampaignError, RefusedError
from tautlog.firmware import wire
from tautlog.model.readbacks import change_text, name_of, open_text
from tautlog.model.stream import BoardEvent

MOST_TOLD = 4
AGAIN = "a checklist made before is void: begin again with `tautlog check`"


def after_event(permit: Permit, reason: int) -> str:
    """Void the checklist if a board's reason is an open contact; what to say of it, or ""."""
    name = name_of(reason)
    return _void(permit, (name,)) if name else ""


def found_open(permit: Permit, names: Sequence[str], problem: RefusedError) -> None:
    """Void the checklist for contacts that readiness found open, and refuse with what to do.

    Raises
    ------
    RefusedError
        `problem`, whatever is open.
    """
    if not names:
        raise problem
    again = _void(permit, tuple(names))
    said = f"{problem}. {again[0].upper()}{again[1:]}"
    raise type(problem)(said, reasons=problem.reasons) from problem


def refuse_reentered(permit: Permit, problem: RefusedError, state: str) -> None:
    """The same for a refusal to arm: readiness had found every contact closed.

    Raises
    ------
    RefusedError
        If a contact is among its reasons: the refusal, and what to do.
    """
    names = tuple(name for name in wire.READBACKS if open_text(name) in problem.reasons)
    if names:
        again = _void(permit, names)
        said = f"{problem}. {state}. {again[0].upper()}{again[1:]}"
        raise RefusedError(said, reasons=problem.reasons) from problem


def opened_texts(
    events: Sequence[BoardEvent], released: BoardEvent | None, rate_hz: float
) -> list[str]:
    """Which contacts moved while the board recorded; the board saw them in its loop."""
    if released is None:
        return []
    moved = [
        event
        for event in events
        if event.name == "readback" and event.sample_index >= released.sample_index
    ]
    told = [
        f"{change_text(event.value)} "
        f"{(event.sample_index - released.sample_index) / rate_hz:.1f} s after the release"
        for event in moved[:MOST_TOLD]
    ]
    if len(moved) > MOST_TOLD:
        told.append(f"contacts of the release chain moved {len(moved) - MOST_TOLD} more time(s)")
    return told


def _void(permit: Permit, names: tuple[str, ...]) -> str:
    if permit.folder is None:
        return AGAIN
    try:
        void_checklist(permit.folder, f"{', '.join(names)} opened after the check")
    except CampaignError as problem:
        return f"{AGAIN}, and take away the old one by hand, for {problem}"
    return AGAIN
