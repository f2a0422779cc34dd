"""What a terminal shows of a new record, real or rehearsed."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from enum import Enum

from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import as_json as plain
from tautlog.archive.verdict_lines import next_command
from tautlog.cli.console import ConsoleCrew, print_figures, print_verdict
from tautlog.cli.output import print_json, tell
from tautlog.display.quick_look import finish_new, picture_path
from tautlog.drop.crew import Shield
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.stop import StopRequest
from tautlog.errors import LinkError
from tautlog.files.chain import head_of
from tautlog.model.display_units import SI, Units
from tautlog.record import open_record


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


def show_outcome(
    outcome: DropOutcome,
    crew: ConsoleCrew,
    *,
    cfc: int | None,
    shown: Shown,
    truth: Callable[[int], Mapping[str, object]] | None = None,
    stop: StopRequest | None = None,
    units: Units = SI,
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
    stop, units : StopRequest, Units, optional
        Already listening (default: a new one); units in which it is shown and drawn.

    Raises
    ------
    AbortedError, LinkError
        See `finish_new`; at the end, if the shunt's step after the drop could not be read.
    """
    show = Shield()
    stop = stop or StopRequest()

    def judged(assessment: Assessment) -> None:
        with show():
            crew.judged(assessment)
            if shown != Shown.AS_JSON:
                _print_result(assessment, _true(outcome, truth), shown)

    with stop.listening():
        with show():
            _say_what_came(outcome, crew)
        assessment = finish_new(outcome.path, stop, judged, cfc=cfc, units=units)
        with show():
            if shown == Shown.AS_JSON:
                _print_json(assessment, _true(outcome, truth))
    _say_problem(assessment, show, stop)
    _raise_shunt_problem(outcome)


def _true(
    outcome: DropOutcome, truth: Callable[[int], Mapping[str, object]] | None
) -> Mapping[str, object] | None:
    """The true figures, where they are known."""
    return truth(open_record(outcome.path).first_sample_index) if truth else None


def _raise_shunt_problem(outcome: DropOutcome) -> None:
    if outcome.problem:
        raise LinkError(
            f"the shunt's step after the drop could not be read ({outcome.problem}); the record "
            "is whole, and judged without it"
        )


def _print_result(assessment: Assessment, true: Mapping[str, object] | None, shown: Shown) -> None:
    if shown == Shown.EVERY_FIGURE:
        print_figures(assessment, true)
    tell(f"record  {assessment.path}\npicture {picture_path(assessment.path)}")
    if head := head_of(assessment.path.parent):
        tell(f"chain   {head}")
    print_verdict(assessment)
    tell(f"next: {next_command(assessment)}")


def _print_json(assessment: Assessment, true: Mapping[str, object] | None) -> None:
    path = assessment.path
    files = {"record": str(path), "picture": str(picture_path(path))}
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
            tell(f"tautlog: {text}", err=True)


def _say_what_came(outcome: DropOutcome, crew: ConsoleCrew) -> None:
    for note in outcome.notes:
        crew.say(f"LOOK: {note}")
    if outcome.early:
        crew.say("recording ended early: the release drive is low")
    lost = f"{outcome.missing_blocks} blocks missing, {outcome.damaged} damaged frames"
    crew.say(f"record: {outcome.path} ({lost})")
