"""The laptop's side of a drop, the same for a real board and a rehearsed one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli.console import ConsoleCrew, print_figures, print_verdict
from tautlog.cli.output import print_json
from tautlog.drop import DropOutcome, DropPlan, recover, run_drop
from tautlog.health import read_shunt_step
from tautlog.link import SerialLink
from tautlog.quicklook import draw_new, mark_new
from tautlog.record import open_record
from tautlog.session import Session

if TYPE_CHECKING:
    from tautlog.campaign import Campaign


def conduct(
    url: str, plan: DropPlan, crew: ConsoleCrew, *, timeout_scale: float = 1.0
) -> DropOutcome:
    """One drop with whatever answers at a port."""
    with SerialLink(url) as link:
        return run_drop(Session(link, timeout_scale=timeout_scale), plan, crew)


def shunt_step(url: str, plan: DropPlan, crew: ConsoleCrew, timeout_scale: float) -> float:
    """Step of the shunt resistor, in volts, by a board that is safe."""
    with SerialLink(url) as link:
        session = Session(link, timeout_scale=timeout_scale)
        session.greet()
        step_v = read_shunt_step(session, plan.calibration)
    crew.say(f"shunt step {step_v:.4f} V")
    return step_v


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
    campaign: Campaign | None = None,
) -> None:
    """Mark the new record, say what was found, draw it.

    Parameters
    ----------
    truth : callable, optional
        True figures of a rehearsed drop, from the index of the record's first sample.
    campaign : Campaign, optional
        Whose line tells what was to be expected.
    """
    if outcome.early:
        crew.say("the recording was ended early by Ctrl-C; the release drive is low")
    lost = f"{outcome.missing_blocks} blocks missing, {outcome.damaged} damaged frames"
    crew.say(f"record: {outcome.path} ({lost})")
    look = mark_new(outcome.path, cfc=cfc)
    marked = look.marked
    crew.judged(marked)
    true = truth(open_record(outcome.path).first_sample_index) if truth else None
    if not as_json:
        # The verdict first: drawing takes longer than all else.
        print_verdict(marked)
        print_figures(marked, true)
    picture = draw_new(outcome.path, look, campaign)
    if as_json:
        result = {"record": str(outcome.path), "picture": str(picture)}
        print_json(result | ({"truth": true} if truth else {}) | {"marks": marked})
        return
    click.echo(f"record  {outcome.path}\npicture {picture}")
