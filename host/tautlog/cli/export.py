"""``tautlog export``."""

from __future__ import annotations

from pathlib import Path

import click

from tautlog.cli import options

FORMATS = ("csv", "uff")


@click.command(name="export")
@click.argument("record", type=click.Path(path_type=Path))
@click.option("--to", "kind", type=click.Choice(FORMATS), default="csv", show_default=True)
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="Beside it without.")
@click.option(
    "--cfc",
    type=click.Choice(["60", "180", "600", "1000"]),
    help="Add a column filtered with this class (CSV).",
)
@options.json_option
def command(record: Path, kind: str, out: Path | None, cfc: str | None, as_json: bool) -> None:
    """Write a record's force over time to a new file.

    csv: columns with their units, comments that say what it is. uff: universal file format,
    dataset 58, as test laboratories exchange it.
    """
    from tautlog.cli.output import print_json
    from tautlog.export import export_csv, export_uff
    from tautlog.record import open_record

    opened = open_record(record)
    path = out or record.with_suffix(f".{kind}")
    if kind == "uff":
        if cfc:
            raise click.UsageError("--cfc goes with csv: a filtered trace is no raw data")
        export_uff(opened, path)
    else:
        export_csv(opened, path, cfc=int(cfc) if cfc else None)
    if as_json:
        print_json({"record": str(record), "file": str(path), "format": kind})
        return
    click.echo(f"{path}")
