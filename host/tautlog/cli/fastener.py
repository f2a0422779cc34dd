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
    help="Diameter of screw or pin; M size of a bolt.",
)
@click.option(
    "--thread",
    "thread_mm",
    type=Number(q.THREAD_MM),
    metavar="MM",
    help="Length of thread in the wood.",
)
@click.option(
    "--wood",
    type=Number(q.WOOD),
    metavar="G",
    help="Specific gravity of the wood, about 0.42 for spruce.",
)
@click.option(
    "--density",
    type=Number(q.DENSITY),
    metavar="KG/M3",
    help="Characteristic density of the wood, for timber-screw.",
)
@click.option(
    "--end-grain",
    is_flag=True,
    help="The lag screw is in end grain: three quarters of the strength.",
)
@click.option(
    "--count",
    type=click.IntRange(1, 1000),
    default=1,
    show_default=True,
    help="Number of fasteners.",
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
    """Calculate what a fastener holds by published formulas, for [[element]] in campaign.toml.

    This is no structural proof: local codes and licensed practice decide, and a proof pull of
    the real mount comes before any drop. The formulas leave out impact, wet wood, edges and
    prying.
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
                raise click.UsageError(
                    "do not pull wood screws from end grain: no strength is published for it"
                )
            screw = (_given("--wood", wood), d / 1000, length)
            strength = fasteners.wood_screw_allowable_n(*screw)
            ultimate_n = fasteners.wood_screw_ultimate_n(*screw)
            basis = "allowable withdrawal from side grain, NDS 12.2-2"
    total = count * strength
    if as_json:
        result = {"kind": kind, "one_n": strength, "count": count, "all_n": total, "basis": basis}
        print_json(result if ultimate_n is None else {**result, "one_ultimate_n": ultimate_n})
        return
    click.echo(f"{count} x {strength:.0f} N = {total:.0f} N: {basis}")
    if ultimate_n is not None:
        click.echo(
            f"a screw pulls out at {ultimate_n:.0f} N on average (Wood Handbook, chapter 8): half "
            "of them hold less"
        )
    click.echo(
        "this is no structural proof: prove the real mount by a pull; local codes come first"
    )


def _given(name: str, value: float | None) -> float:
    if value is None:
        raise click.UsageError(f"{name} is missing")
    return value
