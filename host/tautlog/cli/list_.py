"""``tautlog list``."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.model import quantities as q
from tautlog.model.verdict import TEST_VERDICTS, VERDICTS

if TYPE_CHECKING:
    from tautlog.archive.summary import RecordSummary


def day(text: str) -> str:
    """An ISO day, or a time of one; refuse what is none."""
    try:
        datetime.date.fromisoformat(text[:10])
    except ValueError as problem:
        raise click.BadParameter(f"{text!r} is no day such as 2026-03-01") from problem
    return text


SORTS = ("time", "name", "article", "peak", "verdict")


@click.command(name="list")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--article", metavar="NAME", help="Of this article only.")
@click.option("--line", metavar="NAME", help="On this line only.")
@click.option(
    "--verdict",
    type=click.Choice(VERDICTS),
    metavar="WORD",
    help="With this verdict, of any of the questions; of the test proposed or decided, now or "
    "before.",
)
@click.option(
    "--proposed", type=click.Choice(TEST_VERDICTS), metavar="WORD", help="Test proposed so."
)
@click.option(
    "--decided", type=click.Choice(TEST_VERDICTS), metavar="WORD", help="Test decided so, last."
)
@options.rehearsed_option
@click.option("--since", type=day, metavar="DAY", help="From this day on, such as 2026-03-01.")
@click.option("--until", type=day, metavar="DAY", help="To this day.")
@click.option(
    "--peak-least",
    "peak_least_n",
    type=options.Number(q.SEARCHED),
    metavar="N",
    help="Peak at least.",
)
@click.option(
    "--peak-most", "peak_most_n", type=options.Number(q.SEARCHED), metavar="N", help="Peak at most."
)
@click.option("--sort", type=click.Choice(SORTS), default="time", show_default=True)
@click.option("--reverse", is_flag=True, help="The other way round.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a table for a spreadsheet.")
@options.json_option
def command(
    folder: Path | None, sort: str, reverse: bool, as_csv: bool, as_json: bool, **asked: Any
) -> None:
    """List the records of a folder, oldest first."""
    from tautlog.archive.catalogue import Query, catalogued, chosen
    from tautlog.cli.output import print_columns, print_json, shown

    where = folder or options.folder_here()
    there, query = catalogued(where), Query(**asked)
    records = sorted(chosen(there, query), key=_key(sort), reverse=reverse)
    if as_json:
        print_json([_plain(one) for one in records])
        return
    if as_csv:
        _print_csv(records)
        return
    left_out = 0 if query.rehearsed else sum(one.rehearsed for one in there)
    if not records:
        click.echo(f"none of {len(there)} records is such" if there else "no records here")
    else:
        print_columns([_HEAD, *map(_row, records)])
    for one in records:
        for remark in _remarks(one):
            click.echo(f"{shown(one.name)}: {shown(remark)}")
    if left_out:
        click.echo(f"rehearsals, which count for nothing: {left_out} (--rehearsed shows them)")


_HEAD = [
    *("record", "article", "mass_kg", "height_m", "target_n", "peak_n"),
    *("record", "load", "trace", "found", "proposed", "decided"),
]


def _row(one: RecordSummary) -> list[str]:
    from tautlog.cli.output import shown
    from tautlog.model.verdict_words import force_text, plain_number

    figures = [
        "-" if one.mass_kg is None else plain_number(one.mass_kg),
        "-" if one.height_m is None else plain_number(one.height_m),
        force_text(one.target_n),
        force_text(one.peak_force_n, one.peak_force_expanded_u_n),
    ]
    verdicts = (
        *(one.record_verdict or one.status, one.load_verdict, one.trace_says, one.found),
        *(one.test_verdict, one.decided),
    )
    name = f"{one.mark}: {one.name}" if one.mark else one.name
    return [shown(name), shown(one.article) or "-", *figures, *(text or "-" for text in verdicts)]


def _remarks(one: RecordSummary) -> list[str]:
    """What a reader must know of a record beside its line."""
    found = [one.problem] if one.problem else []
    if one.status not in ("", "complete") and one.record_verdict:
        found.append(f"the recording is {one.status}")
    if one.decided:
        found.append(f"proposed {one.test_verdict or '-'}, {one.decided_by} decided {one.decided}")
    if one.overruled:
        found.append(f"earlier it was {one.overruled}")
    if one.calibration:
        found.append(f"marked with {one.calibration}")
    return found + one.doubts


def _key(sort: str) -> Callable[[RecordSummary], tuple[bool | float | str, ...]]:
    """How records are ordered; broken ones come last, whatever the order."""

    def key(one: RecordSummary) -> tuple[bool | float | str, ...]:
        broken = bool(one.problem)
        if sort == "name":
            return broken, one.name
        if sort == "article":
            return broken, one.article, one.utc, one.name
        if sort == "peak":
            return broken, abs(one.peak_force_n or 0.0), one.name
        if sort == "verdict":
            return broken, one.test_verdict, one.decided, one.utc, one.name
        return broken, one.utc, one.name

    return key


def _print_csv(records: list[RecordSummary]) -> None:
    """One line a record; a text that a spreadsheet would work out is made plain."""
    import csv
    import sys

    from tautlog.archive.summary import RecordSummary as Summary
    from tautlog.cli.output import plain_cell

    writer = csv.writer(sys.stdout)
    writer.writerow(["record", *Summary._fields[1:]])
    writer.writerows([plain_cell(cell) for cell in one] for one in records)


def _plain(one: RecordSummary) -> dict[str, object]:
    fields = one._asdict()
    return {"record": fields.pop("file"), **fields}
