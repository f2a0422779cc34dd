"""``tautlog verify``."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.model.origin import MARK


@click.command(name="verify")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@click.option("--anew", is_flag=True, help="Look into every file, whatever the catalogue says.")
@options.rehearsed_option
@options.json_option
def command(places: tuple[Path, ...], anew: bool, rehearsed: bool, as_json: bool) -> None:
    """Tell whether records are what was sealed, and whether one is missing.

    Folders are searched with all that is in them; the chain of each campaign in them is
    followed. All bytes are read; files with the bytes of one that was looked into before are
    what it was. Exit status 1 when anything differs. A seal is no signature. Rehearsals in
    folders are left out, unless one was changed.
    """
    from tautlog.archive.verify import OLDER, verify
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    found = verify(list(places) or [options.folder_here()], anew=anew, rehearsed=rehearsed)
    if as_json:
        print_json(
            [{"record": str(one.path), "state": one.state, "text": one.text} for one in found]
        )
    else:
        for one in found:
            if one.state != "intact" or MARK in one.text:
                click.echo(f"{one.path}: {one.state}: {one.text}")
        counts = Counter(one.state for one in found)
        told = ", ".join(f"{number} {state}" for state, number in sorted(counts.items()))
        click.echo(told or "no records here")
        older = sum(OLDER in one.text for one in found)
        if older:
            click.echo(f"{older} of them {OLDER}")
    differing = [one for one in found if one.differs]
    if differing:
        raise RecordError(
            f"{len(differing)} of {len(found)} differ, the first: {differing[0].path} "
            f"{differing[0].text}",
            path=str(differing[0].path),
        )
