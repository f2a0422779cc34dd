"""The laptop's side of a drop, the same for a real board and a rehearsed one."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from tautlog.cli.console import ConsoleCrew, print_figures, print_verdict
from tautlog.cli.output import print_json
from tautlog.crew import Shield
from tautlog.drop import run_drop
from tautlog.errors import LinkError, TautlogError
from tautlog.health import read_shunt_step
from tautlog.link import SerialLink
from tautlog.outcome import DropOutcome, DropPlan
from tautlog.quicklook import draw_new, mark_new
from tautlog.record import add_shunt_check, open_record
from tautlog.recovery import recover
from tautlog.session import Session


def conduct(
    url: str, plan: DropPlan, crew: ConsoleCrew, *, timeout_scale: float = 1.0
) -> DropOutcome:
    """One drop with whatever answers at a port, and the shunt's step after it."""
    with SerialLink(url) as link:
        session = Session(link, timeout_scale=timeout_scale)
        outcome = run_drop(session, plan, crew)
        if outcome.shunt_before_v is None:
            return outcome
        try:
            after_v = read_shunt_step(session, plan.calibration)
            add_shunt_check(outcome.path, before_v=outcome.shunt_before_v, after_v=after_v)
        except TautlogError as problem:
            return replace(outcome, trouble=str(problem))
    return outcome


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
    truth: Callable[[int], dict[str, Any]] | None = None,
) -> None:
    """Mark the new record, say what was found, draw it.

    The record is marked and drawn also where nobody can be told of it any more.

    Parameters
    ----------
    truth : callable, optional
        True figures of a rehearsed drop, from the index of the record's first sample.

    Raises
    ------
    LinkError
        At the end, if the shunt's step after the drop could not be read.
    """
    show = Shield()
    with show():
        _say_what_came(outcome, crew)
    look = mark_new(outcome.path, cfc=cfc)
    marked = look.marked
    true = truth(open_record(outcome.path).first_sample_index) if truth else None
    with show():
        crew.judged(marked)
        if not as_json:
            # The verdict first: drawing takes longer than all else.
            print_verdict(marked)
            print_figures(marked, true)
    picture = draw_new(outcome.path, look)
    with show():
        if as_json:
            result = {"record": str(outcome.path), "picture": str(picture)}
            print_json(result | ({"truth": true} if truth else {}) | {"marks": marked})
        else:
            click.echo(f"record  {outcome.path}\npicture {picture}")
    if show.failure:
        with contextlib.suppress(OSError, ValueError):
            click.echo(
                f"tautlog: {outcome.path} is whole and marked; it could not all be shown "
                f"({show.failure})",
                err=True,
            )
    if outcome.trouble:
        raise LinkError(
            f"the shunt's step after the drop could not be read ({outcome.trouble}); the record "
            "is whole, and judged without it"
        )


def _say_what_came(outcome: DropOutcome, crew: ConsoleCrew) -> None:
    for note in outcome.notes:
        crew.say(f"LOOK: {note}")
    if outcome.early:
        crew.say("the release drive is low")
    lost = f"{outcome.missing_blocks} blocks missing, {outcome.damaged} damaged frames"
    crew.say(f"record: {outcome.path} ({lost})")
