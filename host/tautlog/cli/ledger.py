"""``tautlog ledger``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model import quantities as q
from tautlog.model.printable import printable
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.display_units import Units


@click.command(name="ledger")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--add", is_flag=True, help="Enter a drop that was not recorded.")
@click.option("--article", default="", metavar="NAME", help="Article of that drop.")
@click.option("--line", default="", metavar="NAME", help="Line of that drop.")
@click.option("--mount", default="", metavar="NAME", help="Mount of that drop.")
@click.option(
    "--peak-at-most",
    "peak_n",
    type=options.Number(q.FORCE),
    metavar="N",
    help="Upper bound of its peak, if known.",
)
@click.option("--by", default="", metavar="NAME", help="Who enters it.")
@click.option("--note", default="", metavar="TEXT", help="What happened.")
@options.rehearsed_option
@options.correction_options("N")
@click.option("--entries", is_flag=True, help="List the drops that were entered by hand.")
@units_option
@options.json_option
def command(
    folder: Path | None,
    add: bool,
    article: str,
    line: str,
    mount: str,
    peak_n: float | None,
    by: str,
    note: str,
    rehearsed: bool,
    supersedes: str | None,
    reason: str,
    entries: bool,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Count the drops of every article, line and mount.

    Every drop ages what it pulls: an invalid or aborted drop, too, and a drop whose file cannot
    be read or that nobody recorded. Rehearsals never count.
    """
    from tautlog.campaign.drop_setup import mount_name
    from tautlog.campaign.known_names import unknown_names
    from tautlog.campaign.ledger import LedgerEntry, add_entry

    campaign = options.here(to_drop=False)
    where = folder or options.folder_here()
    correction = options.number_of(supersedes)
    texts = (article, line, mount, by, note, reason)
    if add or correction is not None:
        by = options.signature_of(by, "an entry")
        for text in unknown_names(campaign, article=article, line=line):
            tell(f"LOOK: {printable(text)}", err=True)
        entry = LedgerEntry(
            stamp(),
            by,
            article=article,
            line=line,
            mount=mount_name(campaign, mount) if mount else "",
            peak_at_most_n=peak_n,
            note=note,
            supersedes=correction,
            reason=signed(reason),
        )
        options.tell_doubt(add_entry(where, entry))
    elif any(texts) or peak_n is not None:
        raise click.UsageError(
            "nothing was entered: --add enters a drop, --supersedes N corrects an entry"
        )
    if entries:
        _show_entries(where, as_json)
    else:
        units = None if as_json else units_of(campaign, named)
        _show_exposures(campaign, where, rehearsed, units)


def _show_exposures(
    campaign: Campaign | None, where: Path, rehearsed: bool, units: Units | None
) -> None:
    """Count the drops, and show them; as JSON without units."""
    from rich.console import Console
    from rich.table import Table

    from tautlog.archive.catalogue import catalogued
    from tautlog.campaign.ledger import exposures, head, read_entries, rehearsals, row
    from tautlog.cli.console import plain_text
    from tautlog.cli.output import print_json, tell_doubts

    mounts = [(mount.name, mount.proven_on) for mount in campaign.mounts] if campaign else []
    records = catalogued(where)
    tell_doubts(records)
    found = exposures(records, read_entries(where), mounts)
    found += rehearsals(records) if rehearsed else []
    if units is None:
        print_json([asdict(exposure) for exposure in found])
        return
    if not found:
        tell("no drops here")
        return
    table = Table(box=None, pad_edge=False)
    for name in head(units):
        table.add_column(name, justify="left" if name in ("what", "name", "last") else "right")
    for exposure in found:
        table.add_row(*map(plain_text, row(exposure, units)))
    Console(highlight=False, width=130).print(table)


def _show_entries(where: Path, as_json: bool) -> None:
    from tautlog.campaign.ledger import all_entries
    from tautlog.cli.output import print_json

    found = all_entries(where)
    if as_json:
        print_json([asdict(standing) for standing in found])
        return
    if not found:
        tell("no drops were entered by hand here")
    for standing in found:
        entry = standing.entry
        names = (
            "cannot be read"
            if entry is None
            else ", ".join(text for text in (entry.article, entry.line, entry.mount) if text)
            or (f"the rest of {entry.given_up} given up: {entry.note}" if entry.given_up else "")
            or "no such drop"
        )
        by = "" if entry is None else f", by {entry.by}"
        why = (
            f" (supersedes {entry.supersedes}: {entry.reason})"
            if entry and entry.supersedes
            else ""
        )
        gone = f"; SUPERSEDED by {standing.superseded_by}" if standing.superseded_by else ""
        tell(printable(f"{standing.number}  {standing.utc}  {names}{by}{why}{gone}"))
