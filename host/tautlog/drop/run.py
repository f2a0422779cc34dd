"""Drop: arming, release and reception, in the order in which a crew does them.

The order is fixed: the chain is judged before anybody is asked, the recorder stores before
anybody counts down, and the laptop can only ask for a release; switch, key and catch decide.
Nothing here prints: a `Crew` is told, and asked.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

from tautlog.analysis.contradictions import Story, contradictions
from tautlog.board.readiness import Facts, Finding, arm_fields, findings, read_facts, refuse
from tautlog.board.session import Session
from tautlog.drop.armed import Armed
from tautlog.drop.arming import SAFE, arm, make_safe
from tautlog.drop.crew import Crew, ShieldedCrew
from tautlog.drop.keeping import forget, leave, lose
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.permission import require
from tautlog.drop.recording import Recording
from tautlog.drop.stop import StopRequest
from tautlog.drop.watch import Watch, watch
from tautlog.errors import (
    AbortedError,
    BoardError,
    LinkError,
    RefusedError,
)
from tautlog.firmware import wire
from tautlog.record import RecordWriter
from tautlog.record.disk import LOCKS

KEPT_BACK = (
    "the board never sent {} block(s) that it said it holds: it keeps the event, `tautlog recover` "
    "tries to fetch them into a record of their own"
)
UNLOCKED = Finding(
    "no-lock",
    False,
    "this system locks no files",
    "a record that is written belongs to one program",
    "leave it alone with every other program until the drop is done",
)
NOT_ARMED = "the board was not armed, the release drive is low"


@dataclass(frozen=True)
class _Ready:
    """What was measured and found, and the limits that go to the board."""

    facts: Facts
    found: list[Finding]
    limits: dict[str, int]

    def told(self) -> dict[str, Any]:
        """As it goes into the record."""
        return {
            "health": asdict(self.facts.health),
            "findings": [
                {"code": finding.code, "refuses": finding.refuses, "text": finding.text}
                for finding in self.found
            ],
            "shunt_step_v": self.facts.shunt_step_v,
            "limits": self.limits,
        }


def run_drop(session: Session, plan: DropPlan, crew: Crew) -> DropOutcome:
    """Do one drop with the board of a session.

    Parameters
    ----------
    session : Session
        The board.
    plan : DropPlan
        The drop, with the permit that it is done on; see `permit.permitted`.
    crew : Crew
        Who is told, and asked.

    Raises
    ------
    NotReadyError
        If what the instrument reads cannot be trusted with this drop; before anybody is asked.
    RefusedError
        If the board will not arm, with every reason; before anything is sent, if the permit is
        none, was made by hand, or was used before.
    AbortedError
        If it was called off before the release; says what state the board is in. If the user
        would not wait for the end of the recording: the board keeps the event.
    LinkError
        If the board is lost; what came until then is in the record, and
        `recover` fetches what the board holds.
    RecordError
        If the record cannot be written. Before the release the board then falls back to safe;
        after it, it keeps the event.
    RecordGoneError
        Likewise, if the record was removed, moved or replaced; says where it was saved.
    """
    require(plan.permit).spend()
    shielded = ShieldedCrew(crew)
    with StopRequest().listening() as stop:
        try:
            with stop.at_once():
                ready = _prepare(session, plan, shielded)
        except KeyboardInterrupt as problem:
            raise AbortedError(f"stopped by {stop.why or 'Ctrl-C'}: {NOT_ARMED}") from problem
        writer = RecordWriter.create(
            plan.path,
            setup=plan.setup,
            calibration=plan.calibration,
            instrument=session.instrument,
            campaign=plan.campaign,
            arming=ready.told(),
        )
        watched = _arm(session, plan, shielded, writer, ready.limits, stop)
        return replace(_bring_home(watched), shunt_before_v=ready.facts.shunt_step_v)


def _arm(
    session: Session,
    plan: DropPlan,
    crew: ShieldedCrew,
    writer: RecordWriter,
    limits: dict[str, int],
    stop: StopRequest,
) -> Watch:
    """Ask the board to arm; whatever comes in between leaves it safe, and no empty record."""
    try:
        if stop.asked:
            raise AbortedError(f"stopped by {stop.why}: {NOT_ARMED}")
        grant = arm(session, by_hand=plan.by_hand, limits=limits)
        return watch(session, plan, crew, writer, grant, stop)
    except BaseException as problem:
        # The answer may have been lost, or damaged, on a board that did arm.
        said = make_safe(session)
        writer.withdraw()
        told = isinstance(problem, (AbortedError, RefusedError)) and said is SAFE
        if told or not isinstance(problem, (AbortedError, BoardError, LinkError)):
            raise
        raise type(problem)(f"{problem}. {said}") from problem


def _bring_home(watched: Watch) -> DropOutcome:
    """Release, record, and bring the event home."""
    armed, recording = Armed(watched), Recording(watched)
    try:
        armed.until_released()
        recording.record()
        recording.end()
        watched.writer.finish("complete", "; ".join(_notes(watched, armed.late)))
    except LinkError as problem:
        lose(watched, problem)
    except BaseException as problem:
        if watched.released() is not None:
            leave(watched, problem)
        armed.abort(problem)
    withheld = watched.writer.reception.given_up_blocks
    forgot: tuple[str, ...] = (KEPT_BACK.format(withheld),)
    if not withheld:
        forgot = forget(watched.session, watched.writer.must_be_there)
    return DropOutcome(
        path=watched.plan.path,
        early=watched.stop.asked,
        first_block=watched.grant.first,
        missing_blocks=watched.receiver.missing_blocks,
        damaged=watched.session.damaged,
        events=watched.receiver.events,
        notes=_notes(watched, armed.late) + forgot,
    )


def _notes(watched: Watch, late: str) -> tuple[str, ...]:
    """What went otherwise than planned."""
    notes = []
    if late:
        notes.append(f"called off too late, the sled had gone: {late}")
    if watched.stop.asked:
        notes.append(f"ended early by the user ({watched.stop.why})")
    elif watched.stop.came:
        notes.append(f"{watched.stop.why} came while recording, which went on to its end")
    ended = watched.receiver.event("recording-ended")
    if ended is not None and ended.value not in (wire.FINISHED, wire.ABORTED):
        notes.append(f"the board ended the recording itself: {wire.REASONS[ended.value][1]}")
    if watched.crew.failure:
        notes.append(f"nothing could be shown any more ({watched.crew.failure})")
    board = watched.session.instrument
    story = Story(
        watched.receiver.events,
        board.sample_rate_hz,
        board.samples_per_block,
        reception=watched.writer.reception,
    )
    notes += [finding.text for finding in contradictions(story)]
    return tuple(notes)


def _prepare(session: Session, plan: DropPlan, crew: ShieldedCrew) -> _Ready:
    """Everything before arming: greeting, health, shunt, the guard, the phrase."""
    instrument = session.greet()
    plan.permit.require_board(instrument)
    if instrument.state != "safe":
        raise _not_safe(instrument.state)
    facts = read_facts(
        session,
        plan.calibration,
        plan.setup,
        plan.shunt,
        lambda health: crew.met(instrument, health),
        stated_zero_v=plan.permit.stated_zero_v,
    )
    found = [*findings(facts), *([] if LOCKS else [UNLOCKED])]
    crew.found(found)
    refuse(found)
    agreed = crew.agree(plan.setup)
    if crew.failure:
        raise AbortedError(f"nothing can be shown ({crew.failure}): {NOT_ARMED}")
    if not agreed:
        raise AbortedError(f"the phrase was not typed: {NOT_ARMED}")
    limits = arm_fields(plan.calibration, instrument.reduction, facts.stated_zero_v)
    return _Ready(facts, found, limits)


def _not_safe(state: str) -> RefusedError:
    if state == "held":
        return RefusedError(
            "the board holds the event of an earlier drop: `tautlog recover` fetches it first",
            reasons=(wire.REASONS[wire.EVENT_HELD][1],),
        )
    return RefusedError(
        f"the board is {state}: another program may be using it. Key off, then try again"
    )
