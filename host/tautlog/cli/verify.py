"""``tautlog verify``."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model.origin import MARK


@click.command(name="verify")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@click.option("--anew", is_flag=True, help="Read every file again, whatever the catalogue says.")
@click.option(
    "--head",
    default="",
    metavar="HASH",
    help="A head of the chain that you kept elsewhere, or its first 16 digits: the chain must "
    "still hold it.",
)
@options.rehearsed_option
@options.json_option
def command(
    places: tuple[Path, ...], anew: bool, head: str, rehearsed: bool, as_json: bool
) -> None:
    """Check that what a campaign keeps is as it was kept, and that nothing is missing.

    Folders are searched with their subfolders, and the chain of each campaign is followed. All
    bytes are read; a file whose bytes were checked before keeps that result. Exit status 1 if
    anything differs. Rehearsals in folders are left out, unless a rehearsal was changed.

    A seal is no signature. Whoever cuts off the end of the chain with what it stands for, or makes
    all of it anew, is found out only by a head that was kept elsewhere: each drop and each report
    prints one, and so does this command.
    """
    from tautlog.archive.verify import OLDER, heads_of, verify
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    where = list(places) or [options.folder_here()]
    found = verify(where, anew=anew, rehearsed=rehearsed, head=head)
    if as_json:
        print_json(
            [
                {"record": str(checked.path), "state": checked.state, "text": checked.text}
                for checked in found
            ]
        )
    else:
        for checked in found:
            if checked.state != "intact" or MARK in checked.text:
                tell(f"{checked.path}: {checked.state}: {checked.text}")
        counts = Counter(checked.state for checked in found)
        totals = ", ".join(f"{number} {state}" for state, number in sorted(counts.items()))
        tell(totals or "no records here")
        older = sum(OLDER in checked.text for checked in found)
        if older:
            tell(f"{older} of them {OLDER}")
        for folder, newest in heads_of(where).items():
            tell(f"head of the chain in {folder}: {newest}")
    differing = [checked for checked in found if checked.differs]
    if differing:
        raise RecordError(
            f"{len(differing)} of {len(found)} differ; the first: {differing[0].path} "
            f"{differing[0].text}",
            path=str(differing[0].path),
        )
