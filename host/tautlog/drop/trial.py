"""Trial: a board armed for a moment with the latch's coil off, to see what it does.

Nothing is recorded. The board is ordered into state safe at the end, whatever happens; an event
that the trial itself made on it is discarded, so that the next drop is not refused for it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tautlog.board.messages import Status
from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.drop.arming import ASK_S, Grant, arm, make_safe
from tautlog.errors import AbortedError, BoardError, LinkError, LinkTimeoutError, RefusedError
from tautlog.firmware import wire
from tautlog.model.commissioning import BY_DRIVE, BY_HAND, LATCH_OPENED
from tautlog.model.stream import Block, BoardEvent

LOOK_S = 4.0  # on the board's clock, for a person to look; own choice
ACT_S = 30.0  # for a person to turn a key or open a latch
END_S = 12.0  # on the laptop's, for the board to end by itself: silence 2 s, no release 1.5 s
HELD_S = 15.0


@dataclass(frozen=True)
class Trial:
    """What is tried.

    Attributes
    ----------
    armed : str
        `commissioning.BY_HAND` or `BY_DRIVE`; by drive a pulse is sent.
    ends : str
        What should end it, see `commissioning.Phase.ends`.
    speed : float
        Board seconds per laptop second.
    """

    armed: str
    ends: str
    speed: float = 1.0


@dataclass(frozen=True)
class Told:
    """What the board told.

    Attributes
    ----------
    events : tuple of str
        Names of its events.
    ended : str
        Name of the reason for which it went safe, or "".
    refusal : str
        Why it did not arm, or "".
    """

    events: tuple[str, ...] = ()
    ended: str = ""
    refusal: str = ""


class _Events:
    """A store that keeps nothing: the receiver has the events."""

    def append(self, block: Block) -> None:
        """Let the samples go."""

    def add_event(self, event: BoardEvent) -> None:
        """The receiver keeps it."""

    def commit(self) -> None:
        """Do nothing: there is no disk."""


def try_armed(session: Session, trial: Trial, now: Callable[[], None]) -> Told:
    """Arm the board, let `now` be done, and see how it ends.

    Raises
    ------
    LinkError, BoardError
        If the board is lost. Before they are raised, it was ordered into state safe.
    AbortedError
        If it cannot be told to be safe again.
    """
    try:
        grant = arm(session, by_hand=trial.armed == BY_HAND, limits={})
    except RefusedError as problem:
        return Told(refusal=str(problem))
    except (LinkError, BoardError):  # it may have armed all the same
        make_safe(session)
        raise
    receiver = Receiver(session, _Events(), grant.first)
    try:
        _watch(session, receiver, trial, grant, now)
    finally:
        state = _let_go(session, receiver)
    if state != "safe":
        raise AbortedError(
            "the board has not confirmed that it is safe: key off, stay clear, power it off"
        )
    ended = receiver.event("went-safe")
    reason = wire.REASONS.get(ended.value, ("another reason",))[0] if ended else ""
    return Told(tuple(event.name for event in receiver.events), reason)


def _watch(
    session: Session, receiver: Receiver, trial: Trial, grant: Grant, now: Callable[[], None]
) -> None:
    """Keep the board armed until it ends as it should, or its time is over."""
    wait_s = {"": LOOK_S / trial.speed, "key-off": ACT_S, "released": ACT_S}
    longest_s = wait_s.get(trial.ends, END_S) * session.scale
    deadline = session.clock() + END_S * session.scale
    sent, told = False, False
    while session.clock() < deadline:
        if trial.ends == "laptop-silent" and told:
            if _is_safe_in_silence(session, receiver):
                return
            continue
        receiver.step()
        if any(receiver.event(name) for name in ("went-safe", *LATCH_OPENED)):
            return
        if receiver.acked <= grant.armed:
            continue  # it is not yet storing, so that no pulse would be taken
        if not told:
            now()
            told = True
            deadline = session.clock() + longest_s
        if trial.armed == BY_DRIVE and not sent:
            session.send(wire.RELEASE, grant.token)
            sent = True


def _is_safe_in_silence(session: Session, receiver: Receiver) -> bool:
    """Listen without a word; the events that come are the receiver's."""
    for message in session.pump():
        if isinstance(message, BoardEvent) and message not in receiver.events:
            receiver.events.append(message)
        if isinstance(message, Status) and message.state == "safe":
            return receiver.event("went-safe") is not None
    return receiver.event("went-safe") is not None


def _let_go(session: Session, receiver: Receiver) -> str:
    """Order the board into state safe, and discard the event that the trial made; its state."""
    session.send(wire.ABORT)
    deadline = session.clock() + HELD_S * session.scale
    state = ""
    while session.clock() < deadline and state != "safe":
        receiver.step()
        state = _state_now(session, receiver)
        if state == "recording":
            session.send(wire.FINISH)
        if state == "held":
            session.ask("discard")
    if state == "safe":
        session.ask("stream", on=False)
        receiver.step()  # what came with the last answers
    return state


def _state_now(session: Session, receiver: Receiver) -> str:
    """The board's state; a board that is armed or records answers by its status alone."""
    try:
        return str(session.ask("status", wait_s=ASK_S).get("state", ""))
    except RefusedError:
        return receiver.status.state if receiver.status is not None else ""
    except LinkTimeoutError:
        return ""
