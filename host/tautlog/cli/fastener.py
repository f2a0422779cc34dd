"""``tautlog fastener``."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_at, units_option
from tautlog.model import quantities as q
from tautlog.model.display_units import decimals
from tautlog.model.fastening import NEEDED

if TYPE_CHECKING:
    from tautlog.model.display_units import Units
    from tautlog.model.fastening import Fastening

    RowsType = click.ParamType[tuple[tuple[int, float], ...]]
else:  # only later versions of click make it a generic class
    RowsType = click.ParamType

# Options by the name of what they state.
STATED_BY = {
    "diameter_mm": "--diameter",
    "thread_mm": "--thread",
    "wood": "--wood",
    "density_kg_m3": "--density",
    "plate_mm": "--plate",
    "tensile_mpa": "--tensile",
    "grain_deg": "--grain",
    "end_mm": "--end",
    "edge_mm": "--edge",
    "spacing_mm": "--spacing",
    "washer_mm": "--washer",
    "pull_deg": "--pull",
    "arm_mm": "--arm",
    "rows": "--rows",
}


class Rows(RowsType):
    """Rows of a bracket, such as 2x150,2x30."""

    name = "rows"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[int, float], ...]:
        """Refuse what is no list of a number and a distance."""
        found = []
        for row in str(value).split(","):
            match = re.fullmatch(r"\s*(\d{1,3})x(\d{1,4}(?:\.\d{1,3})?)\s*", row, re.ASCII)
            if not match:
                self.fail(
                    f"{row!r}: expected a number of screws x mm, as in 2x150,2x30", param, ctx
                )
            found.append((int(match[1]), float(match[2])))
        return tuple(found)


@click.command(name="fastener")
@click.argument("kind", type=click.Choice(NEEDED))
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
    help="Length of thread in the wood, or in a tapped hole; of a bolt in the wood.",
)
@click.option(
    "--wood",
    type=Number(q.WOOD),
    metavar="G",
    help="Specific gravity of the wood, about 0.42 for spruce.",
)
@click.option(
    "--density",
    "density_kg_m3",
    type=Number(q.DENSITY),
    metavar="KG/M3",
    help="Characteristic density of the wood, for timber-screw.",
)
@click.option(
    "--plate",
    "plate_mm",
    type=Number(q.PLATE_MM),
    metavar="MM",
    help="Steel plate under the heads: then the strength across the axis is told, too.",
)
@click.option(
    "--tensile",
    "tensile_mpa",
    type=Number(q.TENSILE_MPA),
    metavar="MPA",
    help="Tensile strength of that plate, or of what is tapped (default: 360, S235 steel).",
)
@click.option(
    "--grain",
    "grain_deg",
    type=Number(q.ANGLE_DEG),
    metavar="DEG",
    help="Angle of the load to the grain (default: 0, along it).",
)
@click.option(
    "--pull",
    "pull_deg",
    type=Number(q.ANGLE_DEG),
    metavar="DEG",
    help="Angle of the pull to the face of the wood, 90 straight out, for lag-screw with --plate.",
)
@click.option(
    "--spacing",
    "spacing_mm",
    type=Number(q.SPACING_MM),
    metavar="MM",
    help="Distance in a row along the grain and the load: not all in a row count in full.",
)
@click.option(
    "--arm",
    "arm_mm",
    type=Number(q.SPACING_MM),
    metavar="MM",
    help="How far from the face a bracket is loaded along it, for lag-screw with --plate.",
)
@click.option(
    "--rows",
    type=Rows(),
    metavar="NxMM,...",
    help="Rows of screws of that bracket, each with its distance from the edge about which it "
    "tilts, such as 2x150,2x30.",
)
@click.option(
    "--end",
    "end_mm",
    type=Number(q.SPACING_MM),
    metavar="MM",
    help="From the hole to the end towards which the bolt pushes the plate, for steel-plate.",
)
@click.option(
    "--edge",
    "edge_mm",
    type=Number(q.SPACING_MM),
    metavar="MM",
    help="From the hole to the edge beside that direction, for steel-plate.",
)
@click.option(
    "--washer",
    "washer_mm",
    type=Number(q.DIAMETER_MM),
    metavar="MM",
    help="Diameter of the washer of a through-bolt that is pulled.",
)
@click.option(
    "--end-grain",
    is_flag=True,
    help="The lag screw is in end grain: three quarters of the strength.",
)
@click.option(
    "--count",
    type=click.IntRange(1, 100),
    help="Number of fasteners (default: those of --rows, or 1).",
)
@units_option
@options.json_option
def command(
    named: tuple[str, ...], as_json: bool, diameter_mm: float | None, **stated: object
) -> None:
    """Calculate what a fastener holds by published formulas, for [[element]] in campaign.toml.

    This is no structural proof: local codes and licensed practice decide, and a proof pull of
    the real mount comes before any drop. The formulas leave out impact and wet wood; distances
    to ends and edges of wood are told, not checked.
    """
    from tautlog.model.fastening import Fastening

    kind = str(stated["kind"])
    if diameter_mm is None:
        raise click.UsageError("--diameter is missing")
    _as_its_kind(kind, stated)
    if stated["count"] is None:
        stated["count"] = sum(number for number, _ in stated["rows"] or [(1, 0)])  # type: ignore[attr-defined]
    one = Fastening(diameter_mm=diameter_mm, **stated)  # type: ignore[arg-type]
    if as_json:
        _print_json(one)
    else:
        _print(one, units_at(Path.cwd(), named))


def _as_its_kind(kind: str, stated: dict[str, object]) -> None:
    """Refuse what is missing, and what says nothing for this kind, by the option's name."""
    from tautlog.model.fastening import misfit

    wrong = misfit(kind, stated)
    if wrong:
        name, missing = wrong
        raise click.UsageError(
            f"{STATED_BY[name]} {'is missing' if missing else f'says nothing of a {kind}'}"
        )
    if stated["end_grain"] and kind != "lag-screw":
        raise click.UsageError(
            f"do not pull a {kind} from end grain: no strength is published for it"
        )


def _print_json(one: Fastening) -> None:
    from tautlog.cli.output import print_json

    first, *others = one.answers()
    result = {
        "kind": one.kind,
        "one_n": first.one_n,
        "count": one.count,
        "all_n": first.all_n,
        "basis": first.basis,
        "others": [vars(other) for other in others],
    }
    distances = one.distances()
    if distances is not None:
        result["distances_mm"] = {
            name.removesuffix("_m"): round(1000 * value, 1)
            for name, value in vars(distances).items()
        }
    if one.kind == "wood-screw":
        result["one_ultimate_n"] = others[0].one_n
    print_json(result)


def _print(one: Fastening, units: Units) -> None:
    for answer in one.answers():
        one_n, all_n = (units.text(force_n, "N") for force_n in (answer.one_n, answer.all_n))
        tell(
            f"{one.count} x {one_n} = {all_n}: {answer.basis}"
            if abs(answer.all_n - one.count * answer.one_n) < 0.5
            else f"{all_n}, of {one_n} for one: {answer.basis}"
        )
    distances = one.distances()
    if distances is not None:
        far = {name: _at_least(1000 * value, units) for name, value in vars(distances).items()}
        tell(
            f"least distances, {units.of('mm').name}, EN 1995-1-1: {far['along_m']} along and "
            f"{far['across_m']} across the grain; end {far['loaded_end_m']} if loaded, else "
            f"{far['free_end_m']}; edge {far['loaded_edge_m']} if loaded, else "
            f"{far['free_edge_m']}"
        )
    tell(
        "the steel of the fastener itself is reckoned for `bolt` alone, and may break first; this "
        "is no structural proof: prove the real mount by a pull; local codes come first"
    )


def _at_least(distance_mm: float, units: Units) -> str:
    """A least distance in the unit of display, rounded up."""
    unit = units.of("mm")
    digits = decimals(unit, 0)
    return f"{math.ceil(distance_mm / unit.size * 10**digits - 1e-6) / 10**digits:.{digits}f}"
