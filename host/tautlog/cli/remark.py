"""``tautlog remark``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell

if TYPE_CHECKING:
    from tautlog.archive.batch import Remarked


@click.command(name="remark")
@click.argument("places", nargs=-1, type=click.Path(path_type=Path), metavar="[RECORD|FOLDER]...")
@options.cfc_option
@options.zero_option
@options.calibration_options
@click.option(
    "--jobs",
    type=click.IntRange(1),
    metavar="N",
    help="Number of processes (default: one for each core).",
)
@click.option(
    "--cluster", "address", metavar="ADDRESS", help="Use this dask.distributed scheduler."
)
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
    """Mark many records again, on all cores, and show what changed.

    Folders are searched with their subfolders. The raw data are never touched; each record
    gets one more run of marks.
    """
    import contextlib

    from tautlog.archive.batch import RemarkSettings, cluster, records_in, remark
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError

    paths = records_in(places or [options.folder_here()])
    settings = RemarkSettings(options.class_of(cfc), zero or "", calibration, by, reason)
    done = []
    with cluster(address) if address else contextlib.nullcontext() as executor:
        for remarked in remark(paths, settings, jobs=jobs, executor=executor):
            done.append(remarked)
            if not as_json and (remarked.problem or remarked.changes):
                tell(_line(remarked))
    if as_json:
        print_json([_plain(remarked) for remarked in done])
    else:
        changed = sum(bool(remarked.changes) for remarked in done)
        tell(f"{len(done)} records marked, {changed} with a changed verdict")
    failed = [remarked for remarked in done if remarked.problem]
    if failed:
        raise RecordError(
            f"{len(failed)} of {len(done)} records could not be marked, or their marks not kept; "
            f"the first: {failed[0].problem}",
            path=str(failed[0].path),
        )


def _plain(remarked: Remarked) -> dict[str, object]:
    before, after = (
        marks.headline() if marks else {} for marks in (remarked.before, remarked.after)
    )
    return {
        "path": str(remarked.path),
        "before": before,
        "after": after,
        "problem": remarked.problem,
    }


def _line(remarked: Remarked) -> str:
    changes = [f"{name} {before} -> {after}" for name, before, after in remarked.changes]
    return f"{remarked.path}: {remarked.problem or ', '.join(changes)}"
