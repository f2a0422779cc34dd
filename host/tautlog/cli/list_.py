"""``tautlog list``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.archive.listing import SORTS
from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_at, units_option
from tautlog.model import quantities as q
from tautlog.model.printable import printable
from tautlog.model.timestamp import form_problem, meant_day
from tautlog.model.verdict import TEST_VERDICTS, VERDICTS

if TYPE_CHECKING:
    from tautlog.archive.summary import RecordSummary
    from tautlog.model.display_units import Units


def day(text: str) -> str:
    """An ISO day, or a time of a day; refuse other text."""
    if form_problem(text[:10] if text[10:11] == "T" else text):
        raise click.BadParameter(f"{text!r} is not a day such as {meant_day(text)}")
    return text


@click.command(name="list")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--article", metavar="NAME", help="Only drops of this article.")
@click.option("--line", metavar="NAME", help="Only drops on this line.")
@click.option(
    "--verdict",
    type=click.Choice(VERDICTS),
    metavar="WORD",
    help="Only drops with this verdict, on any question; of the test, proposed or decided, now "
    "or before.",
)
@click.option(
    "--proposed",
    type=click.Choice(TEST_VERDICTS),
    metavar="WORD",
    help="Only tests with this proposed verdict.",
)
@click.option(
    "--decided",
    type=click.Choice(TEST_VERDICTS),
    metavar="WORD",
    help="Only tests with this last decision.",
)
@options.rehearsed_option
@click.option(
    "--since", type=day, metavar="DAY", help="Only drops from this day on, such as 2026-03-01."
)
@click.option("--until", type=day, metavar="DAY", help="Only drops up to this day.")
@click.option(
    "--peak-least",
    "peak_least_n",
    type=options.Number(q.SEARCHED),
    metavar="N",
    help="Only drops with at least this peak.",
)
@click.option(
    "--peak-most",
    "peak_most_n",
    type=options.Number(q.SEARCHED),
    metavar="N",
    help="Only drops with at most this peak.",
)
@click.option("--sort", type=click.Choice(SORTS), default="time", show_default=True, help="Order.")
@click.option("--reverse", is_flag=True, help="Reverse the order.")
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV for a spreadsheet.")
@units_option
@options.json_option
def command(
    folder: Path | None,
    sort: str,
    reverse: bool,
    as_csv: bool,
    as_json: bool,
    named: tuple[str, ...],
    **asked: Any,
) -> None:
    """List the records of a folder, oldest first.

    With --rehearsed, the rehearsals in the folder `rehearsals` are listed, too.
    """
    from tautlog.archive.catalogue import Query, chosen
    from tautlog.archive.listing import records_in, rehearsals_in, remarks, sort_key
    from tautlog.cli.output import print_columns, print_json

    where = folder or options.folder_here()
    query = Query(**asked)
    there = records_in(where, rehearsed=query.rehearsed)
    records = sorted(chosen(there, query), key=sort_key(sort), reverse=reverse)
    if as_json:
        print_json([_plain(record) for record in records])
        return
    if as_csv:
        _print_csv(records)
        return
    left_out = 0 if query.rehearsed else rehearsals_in(where, there)
    if not records:
        tell(f"none of {len(there)} records matches" if there else "no records here")
    else:
        units = units_at(where, named)
        print_columns([_head(units), *(_row(record, units) for record in records)])
    for record in records:
        for remark in remarks(record):
            tell(f"{printable(record.name)}: {printable(remark)}")
    if left_out:
        tell(f"rehearsals left out: {left_out} (--rehearsed shows them; they never count)")


def _head(units: Units) -> list[str]:
    """The columns; in SI by the names that JSON has, too."""
    figures = ("mass_kg", "height_m", "target_n", "peak_n")
    return [
        *("record", "article"),
        *(figures if units.are_si else map(units.heading, figures)),
        *("record", "load", "trace", "found", "proposed", "decided"),
    ]


def _row(record: RecordSummary, units: Units) -> list[str]:
    from tautlog.model.verdict_words import plain_number

    figures = [
        "-" if record.mass_kg is None else plain_number(record.mass_kg, "kg", units),
        "-" if record.height_m is None else plain_number(record.height_m, "m", units),
        *record.shown(units),
    ]
    verdicts = (
        *(
            record.record_verdict or record.status,
            record.load_verdict,
            record.trace_says,
            record.found,
        ),
        *(record.test_verdict, record.decided),
    )
    name = f"{record.mark}: {record.name}" if record.mark else record.name
    return [
        printable(name),
        printable(record.article) or "-",
        *figures,
        *(text or "-" for text in verdicts),
    ]


def _print_csv(records: list[RecordSummary]) -> None:
    """Print one line for each record; no cell may look like a formula to a spreadsheet."""
    import csv
    import sys

    from tautlog.archive.summary import RecordSummary as Summary
    from tautlog.cli.output import plain_cell

    writer = csv.writer(sys.stdout)
    writer.writerow(["record", *Summary._fields[1:]])
    writer.writerows([plain_cell(cell) for cell in record] for record in records)


def _plain(record: RecordSummary) -> dict[str, object]:
    fields = record._asdict()
    return {"record": fields.pop("file"), **fields}
