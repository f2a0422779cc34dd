"""``tautlog next``."""

from __future__ import annotations

from dataclasses import asdict

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import seen_by, units_of, units_option


@click.command(name="next")
@units_option
@options.json_option
def command(named: tuple[str, ...], as_json: bool) -> None:
    """Say which step of the campaign comes next, and what stands in its way.

    The steps are the measuring chain, the mounts, the ladder, the drops at the full load, and
    loading until it breaks, if [qualification] asks for that. It permits nothing: `plan` and
    `drop` ask the gate, and the people at the rig decide.
    """
    from tautlog.archive.catalogue import catalogued
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json
    from tautlog.errors import CampaignError
    from tautlog.model.printable import printable
    from tautlog.planning.sequence import course_of

    campaign = options.here(to_drop=False)
    campaign = seen_by(campaign, units_of(campaign, named, si=as_json))
    if campaign is None:
        raise CampaignError("there is no campaign here: make one with `tautlog init`")
    course = course_of(campaign, catalogued(campaign.folder))
    if as_json:
        print_json([{"state": course.state(one), **asdict(one)} for one in course.stages])
        return
    tell(CAUTION)
    for number, stage in enumerate(course.stages, start=1):
        tell(f"{number}  {course.state(stage):6s}  {stage.name}: {printable(stage.text)}")
    coming = course.next
    if coming is None:
        tell("nothing is left but the report: `tautlog report`")
        return
    tell(f"NEXT: {coming.name}")
    for text in coming.needs:
        tell(f"  first: {printable(text)}")
