"""Arming: arms a board, reads its grant, and returns it to state safe."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from tautlog.board.answers import MEND, whole
from tautlog.board.messages import Status
from tautlog.board.session import Session
from tautlog.errors import BoardError, LinkError, LinkTimeoutError, RefusedError
from tautlog.firmware import wire
from tautlog.model.names import short

SAFE_S = 3.0  # longest wait for state safe
ASK_S = 0.5
TOKEN = re.compile(f"[0-9a-fA-F]{{{2 * wire.TOKEN_BYTES}}}")
SAFE = "The board is in state safe, the release drive is low"
RELEASED = (
    "THE SLED WAS RELEASED: the board records by itself and keeps the event; fetch it with "
    "`tautlog recover`"
)
UNKNOWN = (
    "The board has not confirmed that it is safe: key off, stay clear, treat the sled as armed"
)


@dataclass(frozen=True)
class Grant:
    """A board's answer after it has armed.

    Attributes
    ----------
    token : bytes
        The release must repeat it.
    first, armed : int
        First block to store; next block at arming.
    """

    token: bytes
    first: int
    armed: int


def arm(session: Session, *, by_hand: bool, limits: Mapping[str, int]) -> Grant:
    """Ask a board to arm.

    Parameters
    ----------
    session : Session
        The board.
    by_hand : bool
        Release by hand.
    limits : mapping of str to int
        Limits of the signal in sample values; see `readiness.arm_fields`.

    Raises
    ------
    RefusedError
        If the board refuses, with all reasons.
    LinkError
        If no answer comes. The board may still have armed: the caller must `make_safe`.
    BoardError
        If the answer makes no sense. The board may still have armed, too.
    """
    answer = session.ask("arm", by="hand" if by_hand else "drive", **limits)
    first, armed = whole("arm", answer, "first"), whole("arm", answer, "armed")
    held = session.instrument.history_blocks
    if not 0 <= armed - first <= held:
        raise BoardError(
            f"the board's answer to `arm` has first = {first} and armed = {armed}, expected first "
            f"at most {held} blocks, its memory, before armed: {MEND}"
        )
    return Grant(_token(answer.get("token")), first, armed)


def _token(text: object) -> bytes:
    if not isinstance(text, str) or not TOKEN.fullmatch(text):
        raise BoardError(
            f"the board's answer to `arm` has token = {short(text)}, expected "
            f"{2 * wire.TOKEN_BYTES} digits of base 16: {MEND}"
        )
    return bytes.fromhex(text)


def make_safe(session: Session) -> str:
    """Order a board into state safe and return the result in words; raises nothing."""
    try:
        session.send(wire.ABORT)
        deadline = session.clock() + SAFE_S * session.scale
        while session.clock() < deadline:
            state = _state(session)
            if state == "safe":
                return SAFE
            if state in ("recording", "held"):
                return RELEASED
    except LinkError:
        pass
    return UNKNOWN


def _state(session: Session) -> str:
    """The newest state that the board reports, or ""."""
    try:
        return str(session.ask("status", wait_s=ASK_S).get("state", ""))
    except (RefusedError, LinkTimeoutError):
        states = [message.state for message in session.pump() if isinstance(message, Status)]
        return states[-1] if states else ""
