"""The laptop's side of a drop, the same for a real board and a rehearsed one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tautlog.cli.console import ConsoleCrew
from tautlog.drop import DropOutcome, DropPlan, recover, run_drop
from tautlog.link import SerialLink
from tautlog.quicklook import look
from tautlog.session import Session


def conduct(url: str, plan: DropPlan, crew: ConsoleCrew) -> DropOutcome:
    """One drop with whatever answers at a port."""
    with SerialLink(url) as link:
        return run_drop(Session(link, timeout_scale=plan.timeout_scale), plan, crew)


def fetch(url: str, path: Path, *, timeout_scale: float) -> DropOutcome:
    """Fetch a held event into the unfinished record of its drop."""
    with SerialLink(url) as link:
        return recover(Session(link, timeout_scale=timeout_scale), path)


def show_outcome(
    outcome: DropOutcome, crew: ConsoleCrew, cfc: int | None
) -> tuple[dict[str, Any], Path]:
    """Mark and draw the new record; marks and picture's path."""
    if outcome.early:
        crew.say("the recording was ended early by Ctrl-C; the release drive is low")
    lost = f"{outcome.missing_blocks} blocks missing, {outcome.damaged} damaged frames"
    crew.say(f"record: {outcome.path} ({lost})")
    return look(outcome.path, cfc=cfc)
