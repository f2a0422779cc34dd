"""``tautlog remark``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options

if TYPE_CHECKING:
    from tautlog.archive.batch import Remarked


@click.command(name="remark")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@options.cfc_option
@options.zero_option
@options.calibration_options
@click.option("--jobs", type=click.IntRange(1), metavar="N", help="Processes; one a core without.")
@click.option("--cluster", "address", metavar="ADDRESS", help="A dask.distributed scheduler.")
@options.json_option
def command(
    places: tuple[Path, ...],
    cfc: str | None,
    zero: str | None,
    calibration: str | None,
    by: str,
    reason: str,
    jobs: int | None,
    address: str | None,
    as_json: bool,
) -> None:
    """Mark many records again, on all cores, and tell what changed.

    Folders are searched with all that is in them. The raw data are never touched; each
    record gets one more run of marks.
    """
    import contextlib

    from tautlog.archive.batch import RemarkSettings, cluster, records_in, remark
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    paths = records_in(places or [options.folder_here()])
    settings = RemarkSettings(options.class_of(cfc), zero or "", calibration, by, reason)
    done = []
    with cluster(address) if address else contextlib.nullcontext() as executor:
        for one in remark(paths, settings, jobs=jobs, executor=executor):
            done.append(one)
            if not as_json and (one.problem or one.changes):
                click.echo(_line(one))
    if as_json:
        print_json([_plain(one) for one in done])
    else:
        changed = sum(bool(one.changes) for one in done)
        click.echo(f"{len(done)} records marked, {changed} with another verdict than before")
    failed = [one for one in done if one.problem]
    if failed:
        raise RecordError(
            f"{len(failed)} of {len(done)} records could not be marked or their marks not kept, "
            f"the first: {failed[0].problem}",
            path=str(failed[0].path),
        )


def _plain(one: Remarked) -> dict[str, object]:
    before, after = (marks.headline() if marks else {} for marks in (one.before, one.after))
    return {"path": str(one.path), "before": before, "after": after, "problem": one.problem}


def _line(one: Remarked) -> str:
    changes = [f"{name} {before} -> {after}" for name, before, after in one.changes]
    return f"{one.path}: {one.problem or ', '.join(changes)}"
