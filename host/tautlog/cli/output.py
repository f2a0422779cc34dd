"""Bulk output: JSON, and plain columns."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from tautlog.model.printable import printable

if TYPE_CHECKING:
    from tautlog.archive.summary import RecordSummary

_AT_ONCE = 1000  # items of a list
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def tell(text: str, *, err: bool = False) -> None:
    """Print lines on standard output, or on standard error, so that none moves the terminal.

    What a board, a record, a file's name or a campaign says comes through here; tabs stay.
    """
    lines = ("\t".join(map(printable, line.split("\t"))) for line in text.split("\n"))
    click.echo("\n".join(lines), err=err)


def print_json(value: object) -> None:
    """Print one JSON document; a list goes one item to a line."""
    if isinstance(value, list) and value:
        encode = json.JSONEncoder(allow_nan=False).encode
        # Some at a time: fifty thousand records are as many bytes again.
        for start in range(0, len(value), _AT_ONCE):
            items = ",\n".join(map(encode, value[start : start + _AT_ONCE]))
            last = start + _AT_ONCE >= len(value)
            click.echo(("" if start else "[\n") + items + ("\n]" if last else ","))
        return
    click.echo(json.dumps(value, indent=1, allow_nan=False))


def print_columns(rows: list[list[str]]) -> None:
    """Print rows of cells, the first of them the head; faster than a table for many rows."""
    from rich.cells import cell_len

    widths = [max(map(cell_len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for row in rows:
        cells = (
            cell + " " * (width - cell_len(cell)) for cell, width in zip(row, widths, strict=True)
        )
        lines.append("  ".join(cells).rstrip())
    tell("\n".join(lines))


def tell_doubts(records: Iterable[RecordSummary]) -> None:
    """Say on standard error which records differ from what was written, and how."""
    for record in records:
        for text in record.doubts:
            tell(f"LOOK: {printable(record.name)}: {printable(text)}", err=True)


def plain_cell(value: object) -> object:
    """A cell; text that a spreadsheet would take for a formula gets a leading quote."""
    if isinstance(value, str) and value.startswith(_FORMULA):
        return "'" + value
    return value
