"""``tautlog desk``."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model.origin import MARK
from tautlog.model.printable import printable

if TYPE_CHECKING:
    from tautlog.desk.desk import Desk
    from tautlog.rehearsal.practice import Practice

PORT, WATCH_PORT = 8642, 8643


@click.command(name="desk")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--port-number",
    "number",
    type=click.IntRange(0, 65535),
    default=PORT,
    show_default=True,
    metavar="N",
    help="Port on this computer; 0 for any that is free.",
)
@click.option(
    "--watch",
    metavar="ADDRESS",
    help="Let others look, by a link of their own, at this address of this computer.",
)
@click.option(
    "--watch-port",
    "watch_number",
    type=click.IntRange(0, 65535),
    default=WATCH_PORT,
    show_default=True,
    metavar="N",
    help="Port for them.",
)
@click.option(
    "--practice",
    is_flag=True,
    help="Serve a rehearsed rig and board at the campaign's port, with a page for hands at it; for "
    "a campaign to practise with.",
)
@click.option(
    "--bench",
    type=click.IntRange(1, 65535),
    metavar="TCP_PORT",
    help="With --practice: a port through which a second person says what hands do at that rig, "
    "and throws in faults.",
)
@click.option("--open", "opening", is_flag=True, help="Open the desk in the browser.")
def command(
    folder: Path | None,
    number: int,
    watch: str | None,
    watch_number: int,
    practice: bool,
    bench: int | None,
    opening: bool,
) -> None:
    """Open the campaign in the browser, for the crew's whole day.

    Plan, calibration, checklist, drops, inspections, decisions, ledger and report, on this
    computer alone. Nobody else reaches it; with --watch others can look, and enter nothing. What
    they see travels unencrypted: watch on a network that you trust. Ctrl-C ends what the board is
    just doing for the desk, and the desk if it does nothing.
    """
    from tautlog.cli.console import CAUTION
    from tautlog.desk.desk import Desk
    from tautlog.desk.lock import only_desk
    from tautlog.desk.server import crew_entrance, serving, watchers_entrance

    if bench is not None and not practice:
        raise click.UsageError("--bench needs --practice")
    home = _home(folder)
    with contextlib.ExitStack() as held:
        held.enter_context(only_desk(home))
        rig = _practising(held, home, bench) if practice else None
        entrances = [crew_entrance(number)]
        if watch is not None:
            entrances.append(watchers_entrance(watch, watch_number))
        desk = Desk(home, practice=rig)
        held.enter_context(serving(desk, entrances))
        tell(CAUTION, err=True)
        tell(f"the desk of {home}; Ctrl-C ends it")
        tell(f"crew      {entrances[0].link}")
        for entrance in entrances[1:]:
            tell(f"watchers  {entrance.link}")
        if rig is not None:
            tell(f"{MARK}   the rehearsed board answers at {rig.url}; its rig has a page")
        if opening:
            click.launch(entrances[0].link)
        _until_ctrl_c(desk)
    tell("the desk is closed")


def _practising(held: contextlib.ExitStack, home: Path, bench: int | None) -> Practice:
    """The rehearsed rig of a campaign to practise with; it ends with the desk."""
    from tautlog.rehearsal.practice import practising

    return held.enter_context(practising(options.campaign_at(home, to_drop=False), bench))


def _home(folder: Path | None) -> Path:
    """The campaign's folder; refuse a folder that is none."""
    from tautlog.errors import CampaignError
    from tautlog.files.campaign_folder import find_campaign

    found = find_campaign(folder or ".")
    where = (folder or Path()).absolute()
    if found is None or (folder is not None and found.parent != where):
        raise CampaignError(
            f"there is no campaign.toml in {where}: make a campaign with `tautlog init`"
        )
    return found.parent.resolve()


def _until_ctrl_c(desk: Desk) -> None:
    """Carry out orders in the main thread, which alone gets Ctrl-C."""
    import threading

    with contextlib.suppress(KeyboardInterrupt):
        desk.orders.attend(threading.Event(), lambda text: tell(printable(text), err=True))
