"""``tautlog procedure``."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option


@click.command(name="procedure")
@click.option(
    "--pdf", type=click.Path(path_type=Path), metavar="FILE.pdf", help="Name of the new file."
)
@options.sheet_options("sheet")
@units_option
@options.json_option
def command(
    pdf: Path | None, paper: str, replace: bool, named: tuple[str, ...], as_json: bool
) -> None:
    """Print the test procedure of the campaign: PDF pages with places for readings and names.

    It holds people with their roles, cautions, limits, materials, instruments, every step in its
    order, and the deviations so far, all as the campaign states them now. It permits nothing.
    """
    from tautlog.archive.catalogue import catalogued
    from tautlog.cli.output import print_json
    from tautlog.display.procedure.contents import procedure_of
    from tautlog.display.procedure.paper import write_procedure
    from tautlog.errors import CampaignError
    from tautlog.files.new_file import OR_REPLACE, refuse_taken

    campaign = options.here(to_drop=False)
    if campaign is None:
        raise CampaignError("there is no campaign here: make one with `tautlog init`")
    campaign = dataclasses.replace(campaign, units=units_of(campaign, named))
    path = pdf or campaign.folder / "procedure.pdf"
    if not replace:
        refuse_taken(path, OR_REPLACE)
    told = procedure_of(campaign, catalogued(campaign.folder))
    kept = write_procedure(path, told, paper=paper, replace=replace)
    if as_json:
        names = {"procedure": str(path), "number": told.number, "head": told.head}
        print_json({**names, "kept": str(kept) if kept else None})
        return
    tell(f"procedure {path}")
    if kept:
        tell(f"older     {kept}")
