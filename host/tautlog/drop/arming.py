"""Arming: what is asked of a board, what it grants, and how it is made safe again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tautlog.board.messages import Status
from tautlog.board.session import Session
from tautlog.errors import BoardError, LinkError, LinkTimeoutError, RefusedError
from tautlog.firmware import wire

SAFE_S = 3.0  # longest wait for a board that was told to be safe
ASK_S = 0.5
SAFE = "The board is in state safe, the release drive is low"
RELEASED = (
    "THE SLED WAS RELEASED: the board records by itself and keeps the event, `tautlog recover` "
    "fetches it"
)
UNKNOWN = (
    "The board has not confirmed that it is safe: key off, stay clear, treat the sled as armed"
)


@dataclass(frozen=True)
class Grant:
    """What a board answers when it has armed.

    Attributes
    ----------
    token : bytes
        That the release must repeat.
    first, armed : int
        Block from which on must be stored; the next one at arming.
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
        A hand will release.
    limits : mapping of str to int
        Of the signal, in sample values; see `readiness.arm_fields`.

    Raises
    ------
    RefusedError
        If it will not, with every reason.
    LinkError
        If no answer comes. It may have armed all the same: `make_safe` is for the caller.
    BoardError
        If the answer makes no sense; likewise.
    """
    answer = session.ask("arm", by="hand" if by_hand else "drive", **limits)
    try:
        token = bytes.fromhex(str(answer["token"]))
        first, armed = int(str(answer["first"])), int(str(answer["armed"]))
    except (KeyError, ValueError) as problem:
        raise BoardError(f"the board's answer to `arm` lacks or garbles {problem}") from problem
    if len(token) != wire.TOKEN_BYTES or not 0 <= first <= armed:
        raise BoardError(f"the board's answer to `arm` makes no sense: {answer}")
    return Grant(token, first, armed)


def make_safe(session: Session) -> str:
    """Tell a board to be safe, and say in words what became of it; raises nothing."""
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
    """The newest state that the board tells, or ""."""
    try:
        return str(session.ask("status", wait_s=ASK_S).get("state", ""))
    except (RefusedError, LinkTimeoutError):
        told = [message.state for message in session.pump() if isinstance(message, Status)]
        return told[-1] if told else ""
