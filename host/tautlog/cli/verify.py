"""``tautlog verify``."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.model.origin import MARK


@click.command(name="verify")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@click.option("--anew", is_flag=True, help="Read every file again, whatever the catalogue says.")
@options.rehearsed_option
@options.json_option
def command(places: tuple[Path, ...], anew: bool, rehearsed: bool, as_json: bool) -> None:
    """Check that records are as they were sealed, and that none is missing.

    Folders are searched with their subfolders, and the chain of each campaign is followed. All
    bytes are read; a file whose bytes were checked before keeps that result. Exit status 1 if
    anything differs. A seal is no signature. Rehearsals in folders are left out, unless a
    rehearsal was changed.
    """
    from tautlog.archive.verify import OLDER, verify
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    found = verify(list(places) or [options.folder_here()], anew=anew, rehearsed=rehearsed)
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
                click.echo(f"{checked.path}: {checked.state}: {checked.text}")
        counts = Counter(checked.state for checked in found)
        totals = ", ".join(f"{number} {state}" for state, number in sorted(counts.items()))
        click.echo(totals or "no records here")
        older = sum(OLDER in checked.text for checked in found)
        if older:
            click.echo(f"{older} of them {OLDER}")
    differing = [checked for checked in found if checked.differs]
    if differing:
        raise RecordError(
            f"{len(differing)} of {len(found)} differ; the first: {differing[0].path} "
            f"{differing[0].text}",
            path=str(differing[0].path),
        )
