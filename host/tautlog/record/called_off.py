"""Called off: whether a drop ended before any release, by the board's own word."""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.firmware import wire
from tautlog.model.stream import BoardEvent

RELEASE_EVENT = "release-opened"
RELEASE_EVENTS = (RELEASE_EVENT, "release-by-force")
_DRIVEN_EVENT, _SAFE_EVENT = "release-driven", "went-safe"
_SLED_UNKNOWN = (wire.NOT_LATCHED, wire.NO_RELEASE)


def called_off(status: str, events: Sequence[BoardEvent]) -> str:
    """Why a drop was called off before any release, in words; "" if it was not, or may not be.

    A board that went safe because the switch was open, or did not open when driven, knows nothing
    of the sled.
    """
    names = {event.name for event in events}
    if status != "aborted" or names & {*RELEASE_EVENTS, _DRIVEN_EVENT}:
        return ""
    safe = [event.value for event in events if event.name == _SAFE_EVENT]
    if not safe or safe[-1] not in wire.REASONS or safe[-1] in _SLED_UNKNOWN:
        return ""
    return str(wire.REASONS[safe[-1]][1])
