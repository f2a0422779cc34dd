"""Keeping: keeps an event that did not arrive completely, and lets a board discard one.

The data that arrived is on disk; the rest stays on the board. The board discards an event only
when its record is finished, on disk, and under its name.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from typing import NoReturn

from tautlog.analysis.contradictions import ENDED, RELEASES, events_lacking
from tautlog.board.session import Session
from tautlog.drop.arming import make_safe
from tautlog.drop.watch import Watch
from tautlog.errors import AbortedError, BoardError, LinkError, RecordError, RecordGoneError
from tautlog.model.stream import BoardEvent

KEEPS = "the board finishes its recording and keeps the event: fetch it with `tautlog recover`"
LOST = (
    "A board that hears nothing returns to state safe within seconds; key off, stay clear, treat "
    "the sled as armed. If it was released anyway, fetch the event with `tautlog recover`"
)


class Left(Exception):
    """The user left the recording to the board."""


def lose(watch: Watch, problem: LinkError) -> NoReturn:
    """Keep the data of a board that is gone; `recover` continues it."""
    with contextlib.suppress(RecordError):
        watch.writer.leave()
    what = f"{problem}. The data so far is in {watch.plan.path}{not_left_armed(watch)}"
    if watch.released() is None:
        raise type(problem)(f"{what}. {LOST}") from problem
    raise type(problem)(f"{what}; {KEEPS}") from problem


def leave(watch: Watch, problem: BaseException) -> NoReturn:
    """Leave a recording to the board: the record stays as last committed."""
    with contextlib.suppress(RecordError):
        watch.writer.leave()
    armed = not_left_armed(watch)
    if isinstance(problem, Left):
        status = watch.receiver.status
        # The release event comes before the next status.
        held = status is not None and status.state == "held"
        state = "held" if held else "recording"
        raise AbortedError(
            f"left by {watch.stop.why} while the board was in state {state}. The data so far is "
            f"in {watch.plan.path}; {KEEPS}{armed}"
        ) from problem
    if isinstance(problem, RecordGoneError):
        raise still_held(problem) from problem
    text = str(problem) or type(problem).__name__
    raise RecordError(
        f"the recording stopped: {text}. The data so far is in {watch.plan.path}; {KEEPS}{armed}"
    ) from problem


def not_left_armed(watch: Watch) -> str:
    """Order a board safe that told of a release and says that it is armed; the result in words."""
    status = watch.receiver.status
    if watch.released() is None or status is None or status.state != "armed":
        return ""
    return f". The board told of a release, and says that it is armed. {make_safe(watch.session)}"


def lacking(events: Iterable[BoardEvent], samples_per_block: int, oldest: int, head: int) -> str:
    """Why blocks from `oldest` to before `head` are not the whole event that a board tells of.

    A board that is wrong about its numbers would discard what nobody has.

    Parameters
    ----------
    events : iterable of BoardEvent
        Its events, with their sample index as the board counts.
    samples_per_block, oldest, head : int
        Of one channel; first block, and the one after the last.

    Returns
    -------
    str
        In words; "" if they are.
    """
    known = list(events)
    if events_lacking(known):
        return "not all of the board's events came"
    first, last = oldest * samples_per_block, (head + 1) * samples_per_block
    for event in known:
        if event.name not in (*RELEASES, ENDED):
            continue
        # Blocks that were acknowledged are let go of, among them perhaps that of the release.
        may_be_gone = event.name in RELEASES
        if event.sample_index > last or (event.sample_index < first and not may_be_gone):
            block = event.sample_index // samples_per_block
            return (
                f"the board tells of {event.name} in block {block}, and of blocks {oldest} to "
                f"{head - 1}"
            )
    return ""


def forget(session: Session, must_be_there: Callable[[], None]) -> tuple[str, ...]:
    """Let a board discard an event whose record is finished, on disk, and under its name.

    Parameters
    ----------
    session : Session
        The board.
    must_be_there : callable
        Raises a RecordError if the record was removed, moved, replaced or damaged.

    Returns
    -------
    tuple of str
        A note if the board did not confirm.

    Raises
    ------
    RecordError
        From `must_be_there`; then the board keeps the event.
    """
    try:
        must_be_there()
    except RecordError as problem:
        raise reworded(problem, f"{problem}; {KEEPS}") from problem
    try:
        session.ask("discard")
    except (LinkError, BoardError) as problem:
        return (
            f"the board did not confirm that it discarded its copy ({problem}); if it still holds "
            "it, `tautlog recover` recognizes it",
        )
    return ()


def still_held(problem: RecordGoneError) -> RecordError:
    """The same error, with the note that the board keeps the event for the saved file."""
    keeps = KEEPS
    if problem.saved and not problem.whole:
        keeps = KEEPS.replace("recover`", f"recover {problem.saved} --port ...`")
    return reworded(problem, f"{problem}; {keeps}")


def reworded(problem: RecordError, text: str) -> RecordError:
    """The same error with another text."""
    if isinstance(problem, RecordGoneError):
        return RecordGoneError(text, path=problem.path, saved=problem.saved, whole=problem.whole)
    return RecordError(text, path=problem.path)
