"""Keeping: what becomes of an event that is not brought home at once, or is forgotten.

What came is on disk; what did not come stays on the board, which forgets nothing that is not
finished, on disk, and under its name.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import NoReturn

from tautlog.board.session import Session
from tautlog.drop.watch import Watch
from tautlog.errors import AbortedError, BoardError, LinkError, RecordError, RecordGoneError

KEEPS = "the board completes its window and keeps the event: `tautlog recover` fetches it"
LOST = (
    "A board that hears nothing falls back to safe within seconds; key off, stay clear, treat the "
    "sled as armed. If it was released all the same, `tautlog recover` fetches the event"
)


class Left(Exception):
    """The user leaves the recording to the board."""


def lose(watch: Watch, problem: LinkError) -> NoReturn:
    """Keep what came of a board that is gone; `recover` goes on with it."""
    with contextlib.suppress(RecordError):
        watch.writer.leave()
    what = f"{problem}. What came is in {watch.plan.path}"
    if watch.released() is None:
        raise type(problem)(f"{what}. {LOST}") from problem
    raise type(problem)(f"{what}; {KEEPS}") from problem


def leave(watch: Watch, problem: BaseException) -> NoReturn:
    """Leave a recording to the board: the record stays as it was last committed."""
    with contextlib.suppress(RecordError):
        watch.writer.leave()
    if isinstance(problem, Left):
        status = watch.receiver.status
        # The release is told before the next status.
        held = status is not None and status.state == "held"
        state = "held" if held else "recording"
        raise AbortedError(
            f"left by {watch.stop.why} while the board was in state {state}. What came is in "
            f"{watch.plan.path}; {KEEPS}"
        ) from problem
    if isinstance(problem, RecordGoneError):
        raise still_held(problem) from problem
    text = str(problem) or type(problem).__name__
    raise RecordError(
        f"the recording stopped: {text}. What came is in {watch.plan.path}; {KEEPS}"
    ) from problem


def forget(session: Session, must_be_there: Callable[[], None]) -> tuple[str, ...]:
    """Let a board forget what is finished, on disk, and under its name.

    Parameters
    ----------
    session : Session
        The board.
    must_be_there : callable
        Raises a RecordError if the record was removed, moved, replaced or damaged.

    Returns
    -------
    tuple of str
        A note where the board was not heard to do so.

    Raises
    ------
    RecordError
        As `must_be_there`: the board keeps the event.
    """
    try:
        must_be_there()
    except RecordError as problem:
        raise retold(problem, f"{problem}; {KEEPS}") from problem
    try:
        session.ask("discard")
    except (LinkError, BoardError) as problem:
        return (
            f"the board was not heard to forget its own copy ({problem}); if it still holds it, "
            "`tautlog recover` knows it again",
        )
    return ()


def still_held(problem: RecordGoneError) -> RecordError:
    """The same error, and that the board keeps the event for the file that was saved."""
    keeps = KEEPS
    if problem.saved and not problem.whole:
        keeps = KEEPS.replace("recover`", f"recover {problem.saved} --port ...`")
    return retold(problem, f"{problem}; {keeps}")


def retold(problem: RecordError, text: str) -> RecordError:
    """The same error with another text."""
    if isinstance(problem, RecordGoneError):
        return RecordGoneError(text, path=problem.path, saved=problem.saved, whole=problem.whole)
    return RecordError(text, path=problem.path)
