"""What goes to standard output in bulk: JSON, and plain columns."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from tautlog.archive.summary import RecordSummary

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def print_json(value: object) -> None:
    """One JSON document on standard output; of a list, one item a line."""
    if isinstance(value, list) and value:
        encode = json.JSONEncoder(allow_nan=False).encode
        items = ",\n".join(map(encode, value))
        click.echo(f"[\n{items}\n]")
        return
    click.echo(json.dumps(value, indent=1, allow_nan=False))


def print_columns(rows: list[list[str]]) -> None:
    """Rows of cells, the first of them the head; for thousands of rows quicker than a table."""
    from rich.cells import cell_len

    widths = [max(map(cell_len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for row in rows:
        cells = (
            cell + " " * (width - cell_len(cell)) for cell, width in zip(row, widths, strict=True)
        )
        lines.append("  ".join(cells).rstrip())
    click.echo("\n".join(lines))


def tell_doubts(records: Iterable[RecordSummary]) -> None:
    """Say on standard error which records are not what was written, and how."""
    for one in records:
        for text in one.doubts:
            click.echo(f"LOOK: {shown(one.name)}: {shown(text)}", err=True)


def shown(text: str) -> str:
    """Text in which nothing works upon the terminal."""
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in text)


def plain_cell(value: object) -> object:
    """A cell as it is, but no text that a spreadsheet would take for a formula."""
    if isinstance(value, str) and value.startswith(_FORMULA):
        return "'" + value
    return value
