"""Watch: all that a drop needs while its board is armed and records."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.board.receiver import Receiver
from tautlog.board.session import Session
from tautlog.drop.arming import Grant
from tautlog.drop.crew import ShieldedCrew
from tautlog.drop.level import Level
from tautlog.drop.outcome import DropPlan
from tautlog.drop.stop import StopRequest
from tautlog.model.reception import BY_DRIVE, BY_HAND
from tautlog.model.stream import Block, BoardEvent
from tautlog.record import RecordWriter

SILENT_S = 6.0  # longest wait for a word of the board
STUCK_S = 12.0  # longest wait for a further block from a board that is alive


@dataclass(frozen=True)
class Watch:
    """The parts of a drop with an armed board.

    Attributes
    ----------
    session : Session
        The board.
    plan : DropPlan
        The drop.
    crew : ShieldedCrew
        The people at the drop.
    writer : RecordWriter
        The record.
    stop : StopRequest
        The user's request to stop.
    grant : Grant
        The board's answer to `arm`.
    receiver : Receiver
        Takes the board's data.
    level : Level
        Whether the force signals are at rest.
    """

    session: Session
    plan: DropPlan
    crew: ShieldedCrew
    writer: RecordWriter
    stop: StopRequest
    grant: Grant
    receiver: Receiver
    level: Level

    def released(self) -> BoardEvent | None:
        """The release: the switch opened or, if it never does, the force came."""
        by_switch = self.receiver.event("release-opened")
        return by_switch or self.receiver.event("release-by-force")

    def fallen_silent(self) -> str:
        """Say that nothing comes from the board any more, or no further block; or ""."""
        now_s, scale = self.session.clock(), self.session.scale
        age_s, stuck_s = now_s - self.receiver.heard_s, now_s - self.receiver.came_s
        if age_s > SILENT_S * scale:
            return f"the board has sent nothing for {age_s:.1f} s"
        if stuck_s > STUCK_S * scale:
            return f"the board has sent no further block for {stuck_s:.1f} s"
        return ""

    def deadline(self, wait_s: float) -> float:
        """The session time at which a wait for the board ends."""
        return self.session.clock() + wait_s * self.session.scale


def watch(
    session: Session,
    plan: DropPlan,
    crew: ShieldedCrew,
    writer: RecordWriter,
    grant: Grant,
    stop: StopRequest,
) -> Watch:
    """Start watching a board that has armed."""
    writer.reception.by = BY_HAND if plan.by_hand else BY_DRIVE
    writer.reception.release_sent = False
    level = Level(plan, session.instrument)

    def taken(block: Block) -> None:
        level.take(block)
        crew.block(block)

    receiver = Receiver(session, writer, grant.first, taken, writer.reception)
    return Watch(session, plan, crew, writer, stop, grant, receiver, level)
