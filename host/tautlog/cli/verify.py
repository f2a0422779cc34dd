"""``tautlog verify``."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model.origin import MARK

if TYPE_CHECKING:
    from tautlog.archive.checked import Checked


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
@click.option(
    "--key",
    type=click.Path(path_type=Path),
    metavar="FILE.pub",
    help="A public key that you have from its owner: every campaign must hold a signature of it.",
)
@options.rehearsed_option
@options.json_option
def command(
    places: tuple[Path, ...],
    anew: bool,
    head: str,
    key: Path | None,
    rehearsed: bool,
    as_json: bool,
) -> None:
    """Check that what a campaign keeps is as it was kept, and that nothing is missing.

    Folders are searched with their subfolders, and the chain of each campaign is followed. All
    bytes are read; a file whose bytes were checked before keeps that result. Exit status 1 if
    anything differs. Rehearsals in folders are left out, unless a rehearsal was changed.

    A seal is no signature. Whoever cuts off the end of the chain with what it stands for, or makes
    all of it anew, is found out only by a head that was kept elsewhere, or by `tautlog sign`: each
    drop and each report prints a head, and so does this command.
    """
    from tautlog.archive.verify import verify
    from tautlog.cli.output import print_json
    from tautlog.errors import RecordError
    from tautlog.files.ssh_signature import read_public

    where = list(places) or [options.folder_here()]
    public = read_public(key) if key else b""
    found = verify(where, anew=anew, rehearsed=rehearsed, head=head, key=public)
    if as_json:
        print_json([_as_json(checked) for checked in found])
    else:
        _tell_found(found)
        _tell_heads(where)
    differing = [checked for checked in found if checked.differs]
    if differing:
        raise RecordError(
            f"{len(differing)} of {len(found)} differ; the first: {differing[0].path} "
            f"{differing[0].text}",
            path=str(differing[0].path),
        )


def _as_json(checked: Checked) -> dict[str, object]:
    told: dict[str, object] = {"record": str(checked.path), "state": checked.state}
    told["text"] = checked.text
    if checked.links_not_signed is not None:
        told["links_not_signed"] = checked.links_not_signed
    return told


def _tell_found(found: list[Checked]) -> None:
    """Print what is not as it was, and how many files are in which state."""
    from tautlog.archive.verify import OLDER

    for checked in found:
        if checked.state != "intact" or MARK in checked.text:
            tell(f"{checked.path}: {checked.state}: {checked.text}")
    counts = Counter(checked.state for checked in found)
    totals = ", ".join(f"{number} {state}" for state, number in sorted(counts.items()))
    tell(totals or "no records here")
    older = sum(OLDER in checked.text for checked in found)
    if older:
        tell(f"{older} of them {OLDER}")


def _tell_heads(where: list[Path]) -> None:
    """Print the head of each chain, and who signed it when."""
    from tautlog.archive.signed_heads import signature_words
    from tautlog.archive.verify import heads_of
    from tautlog.files.ssh_signature import has_library

    for folder, newest in heads_of(where).items():
        tell(f"head of the chain in {folder}: {newest}")
        for words in signature_words(folder) if has_library() else ():
            tell(f"  {words}")
