"""``tautlog proof``."""

from __future__ import annotations

import click

from tautlog.cli import options

ABOVE = click.FloatRange(min=0, min_open=True)


@click.command(name="proof")
@click.option("--mount", metavar="NAME", help="Which; the campaign's first without.")
@click.option("--pulled", "pulled_n", type=ABOVE, required=True, metavar="N", help="Largest force.")
@click.option("--held", "held_s", type=ABOVE, required=True, metavar="S", help="For how long.")
@click.option("--deflection", "deflection_mm", type=ABOVE, metavar="MM", help="Under the force.")
@click.option("--set", "set_mm", type=click.FloatRange(min=0), metavar="MM", help="What stayed.")
@click.option("--by", required=True, metavar="NAME", help="Who pulled.")
@click.option("--note", default="", metavar="TEXT", help="How, with what gauge.")
@options.json_option
def command(
    mount: str | None,
    pulled_n: float,
    held_s: float,
    deflection_mm: float | None,
    set_mm: float | None,
    by: str,
    note: str,
    as_json: bool,
) -> None:
    """Enter a static pull that the mount has stood.

    1.25 to 1.5 times the highest planned peak, held for a minute, with a gauge at the mount,
    the article not in the path, everybody out of line. Drops above what it proves are refused.
    """
    from dataclasses import asdict

    from tautlog.cli.console import CAUTION
    from tautlog.cli.output import print_json
    from tautlog.errors import CampaignError
    from tautlog.proofs import add_proof

    campaign = options.here()
    if campaign is None or not campaign.mounts:
        raise CampaignError("no [[mount]] in a campaign.toml here: name the mount there first")
    if not by.strip():
        raise click.BadParameter("a proof is signed with a name", param_hint="--by")
    names = [one.name for one in campaign.mounts]
    name = mount or names[0]
    if name not in names:
        raise CampaignError(
            f"mount {name!r} is not in campaign.toml; there are: {', '.join(names)}"
        )
    made = add_proof(
        campaign.folder,
        by=by.strip(),
        mount=name,
        pulled_n=pulled_n,
        held_s=held_s,
        deflection_m=None if deflection_mm is None else deflection_mm / 1000.0,
        set_m=None if set_mm is None else set_mm / 1000.0,
        note=note,
    )
    if as_json:
        told = {"stiffness_n_per_m": made.stiffness_n_per_m, "doubts": list(made.doubts)}
        print_json({**asdict(made), **told})
        return
    click.echo(CAUTION)
    stiffness = made.stiffness_n_per_m
    rigid = "" if stiffness is None else f", {stiffness:.3g} N/m"
    if made.doubts:
        click.echo(f"{name}: kept, and it proves nothing: {'; '.join(made.doubts)}")
    else:
        factor = campaign.decision.proof_factor
        click.echo(
            f"{name}: proven to {pulled_n:.0f} N{rigid}, good for peaks up to "
            f"{pulled_n / factor:.0f} N (factor {factor:g})"
        )
