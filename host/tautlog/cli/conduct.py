"""The laptop's side of a drop, the same for a real board and a rehearsed one."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import click

from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import as_json as plain
from tautlog.board.health import read_shunt_step
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.cli.console import ConsoleCrew, print_figures, print_verdict
from tautlog.cli.output import print_json
from tautlog.display.quick_look import draw_new, mark_new
from tautlog.drop.crew import Shield
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.recovery import recover
from tautlog.drop.run import NOT_ARMED, run_drop
from tautlog.drop.stop import StopRequest
from tautlog.errors import AbortedError, LinkError, TautlogError
from tautlog.record import add_shunt_check, open_record


def conduct(
    url: str, plan: DropPlan, crew: ConsoleCrew, stop: StopRequest, *, timeout_scale: float = 1.0
) -> DropOutcome:
    """One drop with whatever answers at a port, and the shunt's step after it.

    Parameters
    ----------
    stop : StopRequest
        Listening; so that no signal between the drop and its marks ends the program.
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
    """Read the shunt's step after a drop and keep it; why not, if it could not be read."""
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
    """Fetch a held event into the unfinished record of its drop."""
    with SerialLink(url) as link:
        return recover(Session(link), path)


def show_outcome(
    outcome: DropOutcome,
    crew: ConsoleCrew,
    *,
    cfc: int | None,
    as_json: bool,
    truth: Callable[[int], Mapping[str, object]] | None = None,
    stop: StopRequest | None = None,
) -> None:
    """Mark the new record, say what was found, draw it.

    The record is marked and drawn also where nobody can be told of it any more. Signals do
    not end that, but for three Ctrl-C or SIGTERM.

    Parameters
    ----------
    truth : callable, optional
        True figures of a rehearsed drop, from the index of the record's first sample.
    stop : StopRequest, optional
        Listening already; one is made without.

    Raises
    ------
    AbortedError
        If somebody would not wait; says what is done and what is not.
    LinkError
        At the end, if the shunt's step after the drop could not be read.
    """
    show = Shield()
    stop = stop or StopRequest()
    with stop.listening(), _told_if_left(outcome.path, stop) as done:
        with show():
            _say_what_came(outcome, crew)
        one = mark_new(outcome.path, cfc=cfc)
        done.append("marked")
        true = truth(open_record(outcome.path).first_sample_index) if truth else None
        with show():
            crew.judged(one)
            if not as_json:
                # The verdict first: drawing takes longer than all else.
                print_verdict(one)
                print_figures(one, true)
        picture = draw_new(outcome.path, one)
        done.append("drawn")
        with show():
            _print_end(one, picture, true, as_json)
    _say_problem(one, show, stop)
    _raise_shunt_problem(outcome)


def _raise_shunt_problem(outcome: DropOutcome) -> None:
    if outcome.problem:
        raise LinkError(
            f"the shunt's step after the drop could not be read ({outcome.problem}); the record "
            "is whole, and judged without it"
        )


@contextlib.contextmanager
def _told_if_left(path: Path, stop: StopRequest) -> Iterator[list[str]]:
    """Say what is done of a record if somebody would not wait for all of it."""
    done: list[str] = []
    try:
        with stop.at_insistence():
            yield done
    except KeyboardInterrupt as problem:
        is_marked = "marked" in done
        lacking = "it is marked and not drawn" if is_marked else "IT IS NOT MARKED YET"
        raise AbortedError(
            f"left by {stop.why}: {path} is whole on disk, {lacking}; `tautlog mark {path}` "
            "judges it at any time"
        ) from problem


def _print_end(
    one: Assessment, picture: Path, true: Mapping[str, object] | None, as_json: bool
) -> None:
    if as_json:
        truth = {"truth": true} if true else {}
        told = {"record": str(one.path), "picture": str(picture), **truth, "marks": plain(one)}
        print_json(told)
    else:
        click.echo(f"record  {one.path}\npicture {picture}")


def _say_problem(one: Assessment, show: Shield, stop: StopRequest) -> None:
    """What went otherwise after the drop, beside the figures."""
    told, path = [], one.path
    if one.problem:
        told.append(f"the marks are not kept with {path}: {one.problem}")
    elif show.failure:
        told.append(f"{path} is whole and marked; it could not all be shown ({show.failure})")
    if stop.came:
        told.append(f"{stop.why} came after the drop: {path} was marked and drawn all the same")
    for text in told:
        with contextlib.suppress(OSError, ValueError):
            click.echo(f"tautlog: {text}", err=True)


def _say_what_came(outcome: DropOutcome, crew: ConsoleCrew) -> None:
    for note in outcome.notes:
        crew.say(f"LOOK: {note}")
    if outcome.early:
        crew.say("the release drive is low")
    lost = f"{outcome.missing_blocks} blocks missing, {outcome.damaged} damaged frames"
    crew.say(f"record: {outcome.path} ({lost})")
