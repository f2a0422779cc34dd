"""``tautlog photo``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model import quantities as q


@click.command(name="photo")
@click.argument("record", type=click.Path(path_type=Path))
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--offset",
    "offset_s",
    type=options.Number(q.FILM),
    metavar="S",
    help="Time of the flash in a film.",
)
@click.option("--note", default="", metavar="TEXT", help="What the files show.")
@options.json_option
def command(
    record: Path, files: tuple[Path, ...], offset_s: float | None, note: str, as_json: bool
) -> None:
    """Keep the names and hashes of photos and films with a record.

    Nothing is copied. Reports show photos that lie in the record's folder.
    """
    from dataclasses import asdict

    from tautlog.archive.judging_again import enter_photos
    from tautlog.cli.output import print_json
    from tautlog.record import open_record

    entered = enter_photos(record, files, offset_s=offset_s, note=note)
    if as_json:
        print_json([asdict(photo) for photo in open_record(record).photos])
        return
    for photo in entered:
        tell(f"{photo.name}: {photo.sha256[:16]}..., {photo.size} bytes")
