"""``tautlog proof``."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.looked import looked_option, require_looked
from tautlog.cli.options import Number
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model import quantities as q
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.campaign.proofs import Proof


@click.command(name="proof")
@click.option(
    "--mount", metavar="NAME", help="Name of the mount; needed if the campaign has several."
)
@click.option(
    "--pulled", "pulled_n", type=Number(q.PULL), metavar="N", help="Largest force of the pull."
)
@click.option("--held", "held_s", type=Number(q.HELD), metavar="S", help="How long it was held.")
@click.option(
    "--deflection",
    "deflection_mm",
    type=Number(q.DEFLECTION_MM),
    metavar="MM",
    help="Deflection under the force, by the gauge.",
)
@click.option(
    "--set", "set_mm", type=Number(q.SET_MM), metavar="MM", help="Permanent set: what stayed."
)
@click.option("--by", default="", metavar="NAME", help="Who pulled, or who corrects the entry.")
@click.option("--note", default="", metavar="TEXT", help="How it was pulled, with which gauge.")
@options.correction_options("N")
@looked_option
@click.option("--list", "listing", is_flag=True, help="List the proofs on record.")
@units_option
@options.json_option
def command(
    mount: str | None,
    pulled_n: float | None,
    held_s: float | None,
    deflection_mm: float | None,
    set_mm: float | None,
    by: str,
    note: str,
    supersedes: str | None,
    reason: str,
    looked_by: str | None,
    listing: bool,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Enter a static pull of the mount, whether it held or failed.

    Pull 1.25 to 1.5 times the highest planned peak and hold it for a minute, with a gauge at
    the mount, the article not in the path and everybody out of line. The newest proof counts:
    drops above what it proves are refused. A failed proof forbids all drops until a newer proof
    states what failed (time held, deflection, set) and is good in it. A new name in
    campaign.toml does not change that: nobody knows whether it is another mount.
    """
    from tautlog.campaign.proof_words import mount_to_prove, which_mount
    from tautlog.campaign.proofs import Proof, add_proof

    campaign = _campaign()
    campaign = replace(campaign, units=units_of(campaign, named, si=as_json))
    if listing:
        _list(campaign, as_json)
        return
    if pulled_n is None or held_s is None:
        raise click.UsageError("a proof needs --pulled and --held")
    by = options.signature_of(by, "a proof")
    unnamed = which_mount(campaign, mount)
    if unnamed:
        raise click.UsageError(f"{unnamed} with --mount")
    used = mount_to_prove(campaign, mount)
    if supersedes is None:  # a correction is made at the table
        require_looked(campaign, looked_by)
    made = Proof(
        stamp(),
        by,
        used.name,
        pulled_n,
        held_s,
        deflection_m=None if deflection_mm is None else deflection_mm / 1000.0,
        set_m=None if set_mm is None else set_mm / 1000.0,
        note=note,
        most_deflection_m=used.most_deflection_m,
        supersedes=options.number_of(supersedes),
        reason=signed(reason),
    )
    added = add_proof(campaign.folder, made, rehearsed=campaign.rehearsed)
    options.tell_doubt(added)
    _show(campaign, made, added.number, as_json)


def _campaign() -> Campaign:
    from tautlog.errors import CampaignError

    campaign = options.here(to_drop=False)
    if campaign is None or not campaign.mounts:
        raise CampaignError("no campaign.toml here states a [[mount]]: name the mount in it first")
    return campaign


def _show(campaign: Campaign, made: Proof, number: int, as_json: bool) -> None:
    from dataclasses import asdict

    from tautlog.campaign.proof_words import told
    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json

    means = told(campaign, made, number)
    if as_json:
        judged = {
            "stiffness_n_per_m": made.stiffness_n_per_m,
            "doubts": list(made.doubts),
            "number": number,
            "mount_failed": means.mount_failed or None,
        }
        print_json({**asdict(made), **judged})
        return
    tell(CAUTION)
    for line in means.lines:
        tell(line)


def _list(campaign: Campaign, as_json: bool) -> None:
    from dataclasses import asdict

    from tautlog.campaign.proof_words import line_of
    from tautlog.campaign.proofs import read_proofs
    from tautlog.cli.output import print_json

    found = read_proofs(campaign.folder)
    if as_json:
        print_json([asdict(standing) for standing in found])
        return
    if not found:
        tell("no proofs here")
    for standing in found:
        tell(line_of(standing, campaign.units))
