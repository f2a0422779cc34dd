"""``tautlog export``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.output import tell

FORMATS = ("csv", "uff")


@click.command(name="export")
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "kind",
    type=click.Choice(FORMATS),
    default="csv",
    show_default=True,
    help="File format.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="New file (default: next to the record).",
)
@options.cfc_option
@options.json_option
def command(record: Path, kind: str, out: Path | None, cfc: str, as_json: bool) -> None:
    """Write a record's force over time to a new file.

    The force is the curve from which the record's figures are taken: zero removed, filtered in
    the class, and cut at a loss of load. The raw force is written, too. csv: columns with units,
    and comments that say what was done. uff: universal file format, dataset 58, which test
    laboratories exchange; first the curve, then the raw force.
    """
    from tautlog.cli.output import print_json
    from tautlog.io.export import export_csv, export_uff
    from tautlog.record import open_record

    opened = open_record(record)
    path = out or record.with_suffix(f".{kind}")
    write = export_uff if kind == "uff" else export_csv
    write(opened, path, cfc=options.class_of(cfc))
    if as_json:
        print_json({"record": str(record), "file": str(path), "format": kind})
        return
    tell(f"{path}")
