"""``tautlog proof``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.model import quantities as q
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.campaign.proofs import Proof
    from tautlog.model.load_path import Mount


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
@click.option("--list", "listing", is_flag=True, help="List the proofs on record.")
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
    listing: bool,
    as_json: bool,
) -> None:
    """Enter a static pull of the mount, whether it held or failed.

    Pull 1.25 to 1.5 times the highest planned peak and hold it for a minute, with a gauge at
    the mount, the article not in the path and everybody out of line. The newest proof counts:
    drops above what it proves are refused. A failed proof forbids all drops until a newer proof
    states what failed (time held, deflection, set) and is good in it. A new name in
    campaign.toml does not change that: nobody knows whether it is another mount.
    """
    from tautlog.campaign.proofs import Proof, add_proof

    campaign = _campaign()
    if listing:
        _list(campaign, as_json)
        return
    if pulled_n is None or held_s is None:
        raise click.UsageError("a proof needs --pulled and --held")
    by = options.signature_of(by, "a proof")
    used = _mount(campaign, mount)
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
    added = add_proof(campaign.folder, made)
    options.tell_doubt(added)
    _show(campaign, made, added.number, as_json)


def _campaign() -> Campaign:
    from tautlog.errors import CampaignError

    campaign = options.here(to_drop=False)
    if campaign is None or not campaign.mounts:
        raise CampaignError("no campaign.toml here states a [[mount]]: name the mount in it first")
    return campaign


def _mount(campaign: Campaign, name: str | None) -> Mount:
    from tautlog.campaign.drop_setup import mount_name

    used = mount_name(campaign, name)
    if not used:
        names = ", ".join(mount.name for mount in campaign.mounts)
        raise click.UsageError(
            f"the campaign has several mounts: name the mount with --mount ({names})"
        )
    return next(mount for mount in campaign.mounts if mount.name == used)


def _show(campaign: Campaign, made: Proof, number: int, as_json: bool) -> None:
    from dataclasses import asdict

    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json

    failed = _failed(campaign, made.mount)
    stiffness = made.stiffness_n_per_m
    if as_json:
        judged = {
            "stiffness_n_per_m": stiffness,
            "doubts": list(made.doubts),
            "number": number,
            "mount_failed": failed or None,
        }
        print_json({**asdict(made), **judged})
        return
    click.echo(CAUTION)
    rigid = "" if stiffness is None else f", {stiffness:.3g} N/m"
    if made.doubts:
        click.echo(
            f"{made.mount}: kept as {number}. It FAILED: {'; '.join(made.doubts)}. No drop on this "
            "mount until a newer proof is good"
        )
    elif failed:
        click.echo(f"{made.mount}: kept as {number}, but NO DROP on this mount: {failed}")
    else:
        factor = campaign.decision.proof_factor
        click.echo(
            f"{made.mount}: kept as {number}, proven to {made.pulled_n:.0f} N{rigid}, good for "
            f"peaks up to {made.pulled_n / factor:.0f} N (factor {factor:g})"
        )
        if made.unknown:
            click.echo(f"LOOK: {made.unknown}")
    if made.supersedes is not None:
        click.echo(f"it supersedes {made.supersedes}: {made.reason}")


def _failed(campaign: Campaign, mount: str) -> str:
    """Why nothing may be dropped on a mount by all its proofs, or ""."""
    from tautlog.campaign.campaign import read_campaign

    mounts = {known.name: known for known in read_campaign(campaign.path).mounts}
    return mounts[mount].failed or mounts[mount].failed_elsewhere


def _list(campaign: Campaign, as_json: bool) -> None:
    from dataclasses import asdict

    from tautlog.campaign.proofs import read_proofs
    from tautlog.cli.output import print_json

    found = read_proofs(campaign.folder)
    if as_json:
        print_json([asdict(standing) for standing in found])
        return
    if not found:
        click.echo("no proofs here")
    for standing in found:
        proof = standing.entry
        text = (
            "cannot be read"
            if proof is None
            else (
                f"{proof.mount}: {proof.pulled_n:.0f} N for {proof.held_s:g} s, by {proof.by}"
                + (f", FAILED: {'; '.join(proof.doubts)}" if proof.doubts else "")
                + (f" (supersedes {proof.supersedes}: {proof.reason})" if proof.supersedes else "")
            )
        )
        gone = f"; SUPERSEDED by {standing.superseded_by}" if standing.superseded_by else ""
        click.echo(f"{standing.number}  {standing.utc}  {text}{gone}")
