"""The laptop's side of a drop, the same for a real and for a rehearsed board."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from enum import Enum
from pathlib import Path

import click

from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import as_json as plain
from tautlog.archive.verdict_lines import next_command
from tautlog.board.health import read_shunt_step
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.cli.console import ConsoleCrew, print_figures, print_verdict
from tautlog.cli.output import print_json
from tautlog.display.quick_look import draw_new, mark_new, picture_path
from tautlog.drop.crew import Shield
from tautlog.drop.outcome import DropOutcome, DropPlan
from tautlog.drop.recovery import recover
from tautlog.drop.run import NOT_ARMED, run_drop
from tautlog.drop.stop import StopRequest
from tautlog.errors import AbortedError, LinkError, TautlogError
from tautlog.files.chain import head_of
from tautlog.record import add_shunt_check, open_record


class Shown(Enum):
    """How much of a new record is shown."""

    FIVE_LINES = "reasons, five lines, next command"
    EVERY_FIGURE = "all figures before them"
    AS_JSON = "one JSON object"

    @classmethod
    def asked(cls, *, every_figure: bool, as_json: bool) -> Shown:
        """What the options ask for; JSON has all figures anyway."""
        if as_json:
            return cls.AS_JSON
        return cls.EVERY_FIGURE if every_figure else cls.FIVE_LINES


def conduct(
    url: str, plan: DropPlan, crew: ConsoleCrew, stop: StopRequest, *, timeout_scale: float = 1.0
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


def show_outcome(
    outcome: DropOutcome,
    crew: ConsoleCrew,
    *,
    cfc: int | None,
    shown: Shown,
    truth: Callable[[int], Mapping[str, object]] | None = None,
    stop: StopRequest | None = None,
) -> None:
    """Mark the new record, show the results, draw it.

    On a terminal the five lines and the next command stand last. The record's name comes before
    them, and that of its picture, which is drawn once the verdict is seen: drawing takes longest.

    The record is marked and drawn even if the terminal is gone. Only three Ctrl-C or SIGTERM
    end that.

    Parameters
    ----------
    truth : callable, optional
        Gives the true figures of a rehearsed drop from the index of the record's first sample.
    stop : StopRequest, optional
        Already listening (default: a new one).

    Raises
    ------
    AbortedError
        If somebody would not wait. It says what is done and what is not.
    LinkError
        At the end, if the shunt's step after the drop could not be read.
    """
    show = Shield()
    stop = stop or StopRequest()
    with stop.listening(), _aborted_if_left(outcome.path, stop) as done:
        with show():
            _say_what_came(outcome, crew)
        assessment = mark_new(outcome.path, cfc=cfc)
        done.append("marked")
        true = truth(open_record(outcome.path).first_sample_index) if truth else None
        with show():
            crew.judged(assessment)
            if shown != Shown.AS_JSON:
                _print_result(assessment, true, every_figure=shown == Shown.EVERY_FIGURE)
        picture = draw_new(outcome.path, assessment)
        done.append("drawn")
        with show():
            if shown == Shown.AS_JSON:
                _print_json(assessment, picture, true)
    _say_problem(assessment, show, stop)
    _raise_shunt_problem(outcome)


def _raise_shunt_problem(outcome: DropOutcome) -> None:
    if outcome.problem:
        raise LinkError(
            f"the shunt's step after the drop could not be read ({outcome.problem}); the record "
            "is whole, and judged without it"
        )


@contextlib.contextmanager
def _aborted_if_left(path: Path, stop: StopRequest) -> Iterator[list[str]]:
    """Turn three signals into an error that says how far the record has come."""
    done: list[str] = []
    try:
        with stop.at_insistence():
            yield done
    except KeyboardInterrupt as problem:
        is_marked = "marked" in done
        state = "it is marked and not drawn" if is_marked else "IT IS NOT MARKED YET"
        raise AbortedError(
            f"left by {stop.why}: {path} is whole on disk, {state}; `tautlog mark {path}` "
            "judges it at any time"
        ) from problem


def _print_result(
    assessment: Assessment, true: Mapping[str, object] | None, *, every_figure: bool
) -> None:
    if every_figure:
        print_figures(assessment, true)
    click.echo(f"record  {assessment.path}\npicture {picture_path(assessment.path)}")
    if head := head_of(assessment.path.parent):
        click.echo(f"chain   {head}")
    print_verdict(assessment)
    click.echo(f"next: {next_command(assessment)}")


def _print_json(assessment: Assessment, picture: Path, true: Mapping[str, object] | None) -> None:
    files = {"record": str(assessment.path), "picture": str(picture)}
    truth = {"truth": true} if true else {}
    print_json({**files, **truth, "marks": plain(assessment)})


def _say_problem(assessment: Assessment, show: Shield, stop: StopRequest) -> None:
    """Say on standard error what went wrong after the drop."""
    problems, path = [], assessment.path
    if assessment.problem:
        problems.append(f"the marks are not kept with {path}: {assessment.problem}")
    elif show.failure:
        problems.append(
            f"{path} is whole and marked; not all of it could be shown ({show.failure})"
        )
    if stop.came:
        problems.append(f"{stop.why} came after the drop: {path} was marked and drawn nevertheless")
    for text in problems:
        with contextlib.suppress(OSError, ValueError):
            click.echo(f"tautlog: {text}", err=True)


def _say_what_came(outcome: DropOutcome, crew: ConsoleCrew) -> None:
    for note in outcome.notes:
        crew.say(f"LOOK: {note}")
    if outcome.early:
        crew.say("recording ended early: the release drive is low")
    lost = f"{outcome.missing_blocks} blocks missing, {outcome.damaged} damaged frames"
    crew.say(f"record: {outcome.path} ({lost})")
