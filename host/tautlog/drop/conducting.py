"""Conducting: the laptop's side of a drop, from its port to the shunt's step after it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tautlog.board.link import SerialLink
from tautlog.board.resting import read_shunt_step
from tautlog.board.session import Session
from tautlog.drop.crew import Crew
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.recovery import recover
from tautlog.drop.run import NOT_ARMED, run_drop
from tautlog.drop.stop import StopRequest
from tautlog.errors import AbortedError, TautlogError
from tautlog.record import add_shunt_check


def conduct(
    url: str, plan: DropPlan, crew: Crew, stop: StopRequest, *, timeout_scale: float = 1.0
) -> DropOutcome:
    """Do one drop with the board at a port, then read the shunt's step.

    Parameters
    ----------
    stop : StopRequest
        Already listening, so that no signal between the drop and its marks ends the program.
    """
    try:
        with stop.at_once():
            link = SerialLink(url)
    except KeyboardInterrupt as problem:
        raise AbortedError(f"stopped by {stop.why}: {NOT_ARMED}") from problem
    with link:
        session = Session(link, timeout_scale=timeout_scale)
        outcome = run_drop(session, plan, crew)
        if outcome.shunt_before_v is None:
            return outcome
        return replace(outcome, problem=_shunt_after(session, plan, outcome, stop))


def _shunt_after(session: Session, plan: DropPlan, outcome: DropOutcome, stop: StopRequest) -> str:
    """Read the shunt's step after a drop and keep it; return why it could not be read, or ""."""
    assert outcome.shunt_before_v is not None
    try:
        with stop.at_ctrl_c():
            after_v = read_shunt_step(session, plan.calibration)
        add_shunt_check(outcome.path, before_v=outcome.shunt_before_v, after_v=after_v)
    except TautlogError as problem:
        return str(problem)
    except KeyboardInterrupt:
        return f"stopped by {stop.why}"
    return ""


def fetch(url: str, path: Path) -> DropOutcome:
    """Fetch the event that a board holds into the unfinished record of its drop."""
    with SerialLink(url) as link:
        return recover(Session(link), path)
