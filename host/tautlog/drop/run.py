"""Run: a drop, with arming, release and reception, in the order in which a crew does them.

The order is fixed: the chain is judged before the crew is asked, and the recorder stores before
the countdown. The laptop can only request a release; switch, key and catch decide. Nothing here
prints: a `Crew` is informed, and asked.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from typing import Any

from tautlog.analysis.contradictions import Story, contradictions
from tautlog.board.finding import ReadinessFinding
from tautlog.board.readiness import (
    Facts,
    arm_fields,
    findings,
    read_facts,
    refuse,
)
from tautlog.board.session import Session
from tautlog.campaign.zone import note_armed, note_not_armed, require_looked
from tautlog.drop.armed import Armed
from tautlog.drop.arming import SAFE, arm, make_safe
from tautlog.drop.crew import Crew, ShieldedCrew
from tautlog.drop.keeping import forget, lacking, leave, lose
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.permit import require
from tautlog.drop.recording import Recording
from tautlog.drop.reentered import found_open, opened_texts, refuse_reentered
from tautlog.drop.stop import StopRequest
from tautlog.drop.watch import Watch, watch
from tautlog.errors import (
    AbortedError,
    BoardError,
    LinkError,
    NotReadyError,
    RefusedError,
)
from tautlog.files.locks import LOCKS
from tautlog.firmware import wire
from tautlog.model.readbacks import reason_text
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter

KEPT_BACK = (
    "{}: the board keeps the event, and `tautlog recover` tries to fetch it into a separate record"
)
UNLOCKED = ReadinessFinding(
    "no-lock",
    False,
    "this system does not lock files",
    "only one program may use a record while it is written",
    "do not open it with another program until the drop is done",
)
NOT_ARMED = "the board was not armed, the release drive is low"


@dataclass(frozen=True)
class _Ready:
    """Facts and findings before arming, the limits for the board, and the set-up as permitted."""

    facts: Facts
    found: list[ReadinessFinding]
    limits: dict[str, int]
    setup: DropSetup

    def as_json(self) -> dict[str, Any]:
        """The form kept in the record."""
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
    plan, crew : DropPlan, Crew
        The drop, with its permit, see `granting.permitted`; the people to inform and to ask.

    Raises
    ------
    NotReadyError
        If the readings cannot be trusted with this drop; before the crew is asked.
    RefusedError
        If the board refuses to arm, with all reasons. Before anything is sent, if the permit is
        not a permit, was made by hand, or was used before.
    AbortedError
        If the drop was called off before the release; the message states the board's state. If
        the user did not wait for the end of the recording; then the board keeps the event.
    LinkError
        If the board is lost; the data up to then is in the record, and `recover` fetches what
        the board holds.
    RecordError
        If the record cannot be written. Before the release the board then returns to state
        safe; after it, the board keeps the event.
    RecordGoneError
        As RecordError, if the record was removed, moved or replaced; the message says where it
        was saved.
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
            setup=ready.setup,
            calibration=plan.calibration,
            instrument=session.instrument,
            campaign=plan.campaign,
            arming=ready.as_json(),
            channels=plan.channels,
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
    """Arm the board. On any failure, order it into state safe and leave no empty record."""
    folder = plan.permit.folder
    try:
        if stop.asked:
            raise AbortedError(f"stopped by {stop.why}: {NOT_ARMED}")
        if folder is not None:  # a program that is killed must not forget it
            require_looked(folder)
            note_armed(folder, plan.path.name)
        grant = arm(session, by_hand=plan.by_hand, limits=limits)
        return watch(session, plan, crew, writer, grant, stop)
    except BaseException as problem:
        # The board may have armed although its answer was lost or damaged.
        state = make_safe(session)
        writer.withdraw()
        if folder is not None and isinstance(problem, RefusedError) and state is SAFE:
            note_not_armed(folder, str(problem))
        if isinstance(problem, RefusedError):
            refuse_reentered(plan.permit, problem, state)
        complete = isinstance(problem, (AbortedError, RefusedError)) and state is SAFE
        if complete or not isinstance(problem, (AbortedError, BoardError, LinkError)):
            raise
        raise type(problem)(f"{problem}. {state}") from problem


def _bring_home(watched: Watch) -> DropOutcome:
    """Release, record, and store the event."""
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
    lacks = _lacking(watched)
    forgot: tuple[str, ...] = (KEPT_BACK.format(lacks),)
    if not lacks:
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


def _lacking(watched: Watch) -> str:
    """Why the record is not known to hold the whole of the board's event, or ""."""
    seen, receiver = watched.writer.reception, watched.receiver
    if seen.given_up_blocks:
        return f"the board never sent {seen.given_up_blocks} block(s) that it claims to hold"
    if receiver.missing_blocks:
        return f"{receiver.missing_blocks} block(s) are missing"
    if seen.misfit_blocks or seen.astray_blocks:
        return "blocks came that cannot be of this drop"
    board = watched.session.instrument
    first, end = watched.grant.first, receiver.expected
    return lacking(receiver.events, board.samples_per_block, first, end)


def _notes(watched: Watch, late: str) -> tuple[str, ...]:
    """Deviations from the plan, in words."""
    notes = []
    if late:
        notes.append(f"called off too late, the sled was already released: {late}")
    if watched.stop.asked:
        notes.append(f"ended early by the user ({watched.stop.why})")
    elif watched.stop.came:
        notes.append(f"{watched.stop.why} came while recording; the recording went on to its end")
    ended = watched.receiver.event("recording-ended")
    if ended is not None and ended.value not in (wire.FINISHED, wire.ABORTED):
        notes.append(f"the board ended the recording itself: {reason_text(ended.value)}")
    gone = watched.receiver.missing_blocks - watched.writer.reception.given_up_blocks
    if gone > 0:
        notes.append(f"{gone} block(s) are missing: no frame brought them while the board had them")
    if watched.crew.failure:
        notes.append(f"the display failed ({watched.crew.failure})")
    board = watched.session.instrument
    story = Story(
        watched.receiver.events,
        board.sample_rate_hz,
        board.samples_per_block,
        reception=watched.writer.reception,
    )
    notes += opened_texts(watched.receiver.events, watched.released(), board.sample_rate_hz)
    notes += [finding.text for finding in contradictions(story)]
    return tuple(notes)


def _prepare(session: Session, plan: DropPlan, crew: ShieldedCrew) -> _Ready:
    """Do everything before arming: greeting, health, shunt, guard and phrase."""
    instrument = session.greet()
    setup = plan.permit.require_board(instrument, by_hand=plan.by_hand)
    if instrument.state != "safe":
        raise _not_safe(instrument.state)
    facts = read_facts(
        session,
        plan.calibration,
        plan.setup,
        plan.shunt,
        lambda health: crew.met(instrument, health),
        stated_zero_v=plan.permit.stated_zero_v,
        channels=plan.channels,
    )
    others = [] if LOCKS else [UNLOCKED]
    if setup.override != plan.setup.override:
        others.append(_overridden(setup))
    told = [*findings(replace(facts, units=plan.units)), *others]
    crew.found(told)
    try:
        refuse(told)
    except NotReadyError as problem:
        found_open(plan.permit, facts.health.open_readbacks, problem)
    agreed = crew.agree(plan.setup)
    if crew.failure:
        raise AbortedError(f"the display failed ({crew.failure}): {NOT_ARMED}")
    if not agreed:
        raise AbortedError(f"the phrase was not typed: {NOT_ARMED}")
    limits = arm_fields(plan.calibration, instrument.reduction, facts.stated_zero_v)
    return _Ready(facts, [*findings(facts), *others], limits, setup)


def _overridden(setup: DropSetup) -> ReadinessFinding:
    """What a named person overrides now that the board is known."""
    said = json.loads(setup.override)
    return ReadinessFinding(
        "wiring-unproven",
        False,
        f"OVERRIDE by {said['by']} ({said['reason']}): {said['refused']}",
        "each wire was to be opened and shorted by hand",
        "treat everything that this board reads and drives as not known",
    )


def _not_safe(state: str) -> RefusedError:
    if state == "held":
        return RefusedError(
            "the board holds the event of an earlier drop: fetch it first with `tautlog recover`",
            reasons=(wire.REASONS[wire.EVENT_HELD][1],),
        )
    return RefusedError(
        f"the board is {state}: another program may be using it. Key off, then try again"
    )
