"""``tautlog fastener``."""

from __future__ import annotations

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.model import quantities as q

KINDS = ("wood-screw", "lag-screw", "timber-screw", "bolt", "shackle")


@click.command(name="fastener")
@click.argument("kind", type=click.Choice(KINDS))
@click.option(
    "--diameter",
    "diameter_mm",
    type=Number(q.DIAMETER_MM),
    metavar="MM",
    help="Of screw or pin; M size.",
)
@click.option(
    "--thread", "thread_mm", type=Number(q.THREAD_MM), metavar="MM", help="Thread in the wood."
)
@click.option(
    "--wood", type=Number(q.WOOD), metavar="G", help="Specific gravity; spruce about 0.42."
)
@click.option(
    "--density", type=Number(q.DENSITY), metavar="KG/M3", help="Characteristic, for timber-screw."
)
@click.option("--end-grain", is_flag=True, help="Lag screw along the grain: three quarters.")
@click.option(
    "--count", type=click.IntRange(1, 1000), default=1, show_default=True, help="How many."
)
@options.json_option
def command(
    kind: str,
    diameter_mm: float | None,
    thread_mm: float | None,
    wood: float | None,
    density: float | None,
    end_grain: bool,
    count: int,
    as_json: bool,
) -> None:
    """Reckon what a fastener holds by the published formulas, for [[element]] of campaign.toml.

    No structural proof: local codes and licensed practice decide, and a proof pull of the
    real mount comes before any drop. Impact, wet wood, edges and prying are not in it.
    """
    from tautlog.cli.output import print_json
    from tautlog.model import fasteners

    d = _given("--diameter", diameter_mm)
    ultimate_n = None
    if kind == "bolt":
        strength, basis = fasteners.bolt_proof_n(round(d)), "proof load, ISO 898-1, class 8.8"
    elif kind == "shackle":
        strength, basis = fasteners.shackle_working_n(d / 1000), "working load, NAVEDTRA 14251"
    else:
        length = _given("--thread", thread_mm) / 1000
        if kind == "timber-screw":
            rho = _given("--density", density)
            strength = fasteners.timber_screw_characteristic_n(rho, d / 1000, length)
            basis = "characteristic withdrawal, EN 1995-1-1 8.7.2; a design value is lower"
        elif kind == "lag-screw":
            strength = fasteners.lag_screw_allowable_n(
                _given("--wood", wood), d / 1000, length, end_grain=end_grain
            )
            basis = "allowable withdrawal, NDS 12.2-1"
        else:
            if end_grain:
                raise click.UsageError("wood screws are not to be pulled from end grain")
            screw = (_given("--wood", wood), d / 1000, length)
            strength = fasteners.wood_screw_allowable_n(*screw)
            ultimate_n = fasteners.wood_screw_ultimate_n(*screw)
            basis = "allowable withdrawal from side grain, NDS 12.2-2"
    total = count * strength
    if as_json:
        told = {"kind": kind, "one_n": strength, "count": count, "all_n": total, "basis": basis}
        print_json(told if ultimate_n is None else {**told, "one_ultimate_n": ultimate_n})
        return
    click.echo(f"{count} x {strength:.0f} N = {total:.0f} N: {basis}")
    if ultimate_n is not None:
        click.echo(
            f"one is torn out at {ultimate_n:.0f} N on average (Wood Handbook, chapter 8): half of "
            "all hold less"
        )
    click.echo("no structural proof: prove the real mount by a pull; local codes come first")


def _given(name: str, value: float | None) -> float:
    if value is None:
        raise click.UsageError(f"{name} is needed")
    return value
