"""What is asked of a campaign before a drop may be armed: mount proof and checklist."""

from __future__ import annotations

import json
from dataclasses import replace

import click

from tautlog.campaign import Campaign
from tautlog.checklist import fresh_checklist
from tautlog.cli.console import ConsoleCrew
from tautlog.errors import RefusedError
from tautlog.moment import stamp
from tautlog.trace import DropSetup


def permitted(
    campaign: Campaign | None,
    setup: DropSetup,
    override_by: str | None,
    override_reason: str | None,
    crew: ConsoleCrew,
) -> DropSetup:
    """Return the set-up with its checklist and override, if the campaign allows the drop.

    The board's own interlocks come on top; this can only withhold.

    Raises
    ------
    RefusedError
        If the mount is not proven for the drop, or a required list lacks.
    """
    if bool(override_by) != bool(override_reason):
        raise click.UsageError("an override needs --override-by and --override-reason")
    if campaign is None:
        return setup
    made = fresh_checklist(campaign.folder)
    if made is not None:
        setup = replace(setup, checklist=made.text())
    elif campaign.decision.checklist == "required":
        raise RefusedError("no fresh checklist: go through `tautlog check` with two persons")
    else:
        crew.say("no fresh checklist (`tautlog check`): none goes into the record")
    refusal = _mount_refusal(campaign, setup, crew)
    if not refusal:
        return setup
    if not override_by:
        raise RefusedError(
            f"{refusal}. A named person may drop all the same: --override-by, --override-reason"
        )
    told = {
        "by": override_by,
        "reason": override_reason,
        "refused": refusal,
        "utc": stamp(),
    }
    crew.say(f"OVERRIDE by {override_by}: {refusal}")
    return replace(setup, override=json.dumps(told))


def _mount_refusal(campaign: Campaign, setup: DropSetup, crew: ConsoleCrew) -> str:
    """Why the mount forbids the drop, or ""."""
    from tautlog.cli.planning import drops_since_proof
    from tautlog.loadpath import check_mount

    mount = campaign.mounts[0] if campaign.mounts else None
    if mount is None or mount.proven_n <= 0.0:
        crew.say("no proof pull of the mount is on record: prove it before you drop on it")
        return ""
    peak_n = _highest_peak(campaign, setup)
    if peak_n is None:
        return ""
    check = check_mount(
        mount, peak_n, drops_since_proof(campaign), proof_factor=campaign.decision.proof_factor
    )
    return "" if check.holds else check.text


def _highest_peak(campaign: Campaign, setup: DropSetup) -> float | None:
    """The predicted peak's upper end, else the limit, or None."""
    from tautlog.cli.planning import line_of
    from tautlog.errors import PlanError
    from tautlog.plan import Drop, predict_drop

    line = line_of(campaign, {"line": None})
    if line is not None and setup.mass_kg and setup.height_m:
        try:
            drop = Drop(setup.mass_kg, setup.height_m, line, campaign.rig.friction_n)
            return predict_drop(drop).peak_high_n
        except PlanError:
            return setup.upper_n
    return setup.upper_n
