"""``tautlog show``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options


@click.command(name="show")
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    required=True,
    help="Picture to make; .png, .svg or .pdf.",
)
@options.cfc_option
def command(record: Path, out: Path, cfc: str) -> None:
    """Draw a record to a file; an existing one is never overwritten."""
    from tautlog.quicklook import mark_record, picture_of
    from tautlog.record import open_record

    one = open_record(record)
    picture_of(one, mark_record(one, cfc=options.class_of(cfc)), out)
    click.echo(str(out))
