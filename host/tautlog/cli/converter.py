"""``tautlog converter``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.options import Number
from tautlog.cli.output import tell
from tautlog.model import quantities as q

if TYPE_CHECKING:
    from tautlog.board.density import DensityPlan
    from tautlog.calibrate.code_density import CodeDensity
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.code_counts import CodeCounts

MOST_RAMPS = 200
MOST_SHOWN = 12  # wide codes that are listed


@click.command(name="converter")
@options.port_options
@click.option(
    "--ramps",
    type=click.IntRange(4, MOST_RAMPS),
    default=8,
    show_default=True,
    help="Number of ramps, rising and falling in turn.",
)
@click.option(
    "--ramp-s",
    type=Number(q.RAMP),
    default=8.0,
    metavar="S",
    show_default=True,
    help="Length of one ramp.",
)
@click.option(
    "--settle-s",
    type=Number(q.SETTLING),
    default=0.3,
    metavar="S",
    show_default=True,
    help="Wait before counting: 12 times R x C and more.",
)
@click.option(
    "--ramp-pin",
    type=click.IntRange(0, 22),
    default=9,
    metavar="GP",
    show_default=True,
    help="Spare pin that gives the ramp.",
)
@click.option(
    "--channel-pin",
    type=click.IntRange(26, 28),
    default=28,
    metavar="GP",
    show_default=True,
    help="Free converter channel that reads it.",
)
@click.option(
    "--resistor",
    "resistor_ohm",
    type=Number(q.RAMP_OHM),
    default=10_000.0,
    metavar="OHM",
    show_default=True,
    help="Resistor between pin and channel.",
)
@click.option(
    "--rehearse",
    "chip",
    type=click.Choice(["RP2040", "RP2350"]),
    help="Show what the command shows, with a simulated converter; nothing is kept.",
)
@click.option(
    "--seed", type=click.IntRange(0, 1 << 30), default=1, metavar="N", help="Seed for --rehearse."
)
@click.option("--list", "listing", is_flag=True, help="List the tests on record.")
@click.option(
    "--picture", type=click.Path(path_type=Path), metavar="FILE", help="Draw INL and DNL."
)
@options.json_option
def command(
    port: str | None,
    timeout_scale: float,
    ramps: int,
    ramp_s: float,
    settle_s: float,
    ramp_pin: int,
    channel_pin: int,
    resistor_ohm: float,
    chip: str | None,
    seed: int,
    listing: bool,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Find where the codes of the board's own converter begin, by code density.

    Connect the spare pin through a resistor to the free channel, and a capacitor from there to
    ground (hardware_notes/converter.md). The firmware is stopped meanwhile, all outputs are low,
    nothing can be released; a board that is armed, records or holds an event is refused. In a
    campaign the table is kept as a new file for this very board.
    """
    from tautlog.board.density import DensityPlan
    from tautlog.calibrate.code_density import evaluate
    from tautlog.cli.output import print_json
    from tautlog.model.code_counts import Wiring
    from tautlog.model.timestamp import today

    if listing:
        _list(options.folder_here(), as_json=as_json)
        return
    plan = DensityPlan(
        Wiring(ramp_pin, channel_pin, resistor_ohm), ramps=ramps, ramp_s=ramp_s, settle_s=settle_s
    )
    campaign = None if chip else options.here(to_drop=False)
    if chip:
        counts = _simulated(plan, chip, seed)
    else:
        counts = _counted(options.port_of(port, campaign), plan, timeout_scale, quiet=as_json)
    found = evaluate(counts, today())
    if picture is not None:
        _draw(found, picture)
    where = _kept(campaign, found)
    if as_json:
        print_json(_plain(found) | {"file": str(where) if where else None})
    else:
        _show(found)
        _show_next(campaign, where)
    if campaign is not None and where is None:
        from tautlog.campaign.converters import refuse_doubtful

        refuse_doubtful(found)


def _counted(port: str, plan: DensityPlan, timeout_scale: float, *, quiet: bool) -> CodeCounts:
    from tautlog.board.density import count_codes

    def say(text: str) -> None:
        if not quiet or text.startswith("LOOK"):
            tell(text, err=True)

    return count_codes(port, plan, timeout_scale=timeout_scale, say=say)


def _simulated(plan: DensityPlan, chip: str, seed: int) -> CodeCounts:
    from tautlog.rehearsal.converters import some_converter
    from tautlog.rehearsal.density_test import SimulatedTest, simulated_counts

    test = SimulatedTest(ramps=plan.ramps, ramp_s=plan.ramp_s)
    counts: CodeCounts = simulated_counts(some_converter(chip, seed), test, seed, chip)
    return replace(counts, wiring=plan.wiring)


def _kept(campaign: Campaign | None, found: CodeDensity) -> Path | None:
    """Keep a result that is not in doubt; return its file, or None without a campaign."""
    from tautlog.campaign.converters import add_converter
    from tautlog.errors import RefusedError
    from tautlog.model.origin import Meeting, stranger
    from tautlog.model.timestamp import today

    if campaign is None or found.doubts:
        return None
    why = stranger(Meeting(campaign.rehearsed, found.counts.machine, found.counts.serial))
    if why:
        raise RefusedError(why)
    return add_converter(campaign.folder, found, today())


def _plain(found: CodeDensity) -> dict[str, object]:
    """The result as --json prints it."""
    from dataclasses import asdict

    from tautlog.campaign.converters import as_file
    from tautlog.model.timestamp import today

    table = found.linearity
    return asdict(as_file(found, today())) | {
        "expanded_u_steps": 2.0 * table.u_steps,
        "noise_saving_steps": found.noise_saving,
        "wide_codes": list(found.wide_codes),
        "doubts": list(found.doubts),
    }


def _list(folder: Path, *, as_json: bool) -> None:
    """List the tests on record, oldest first; the last of a board is in use."""
    from dataclasses import asdict

    from tautlog.campaign.converters import kept_converters
    from tautlog.cli.output import print_json

    kept = kept_converters(folder)
    if as_json:
        print_json([{"file": path.name, **asdict(one)} for path, one in kept])
        return
    if not kept:
        tell("no tests of a converter here")
    newest = {one.serial.casefold(): path for path, one in kept}
    for path, one in kept:
        use = "in use for its board" if newest[one.serial.casefold()] == path else "replaced"
        tell(
            f"{path.name}  {one.chip}  board {one.serial}  U = {2 * one.table.u_steps:.2g} steps  "
            f"{use}"
        )


def _draw(found: CodeDensity, path: Path) -> None:
    from tautlog.display.pictures.converter import draw_converter
    from tautlog.display.pictures.image import save
    from tautlog.model.origin import board_is_rehearsed

    counts, table = found.counts, found.linearity
    title = f"{counts.machine}: {table.source}; noise {table.noise_steps:.2f} steps rms"
    rehearsed = board_is_rehearsed(counts.machine, counts.serial)
    save(draw_converter(found, title, rehearsed=rehearsed), path)


def _show(found: CodeDensity) -> None:
    counts, table = found.counts, found.linearity
    wiring = counts.wiring
    fewest, median = found.counts_per_code
    tell(f"{counts.machine}, board {counts.serial}")
    tell(
        f"{len(counts.ramps)} ramps of {counts.ramp_s:g} s from GP{wiring.ramp_pin} to "
        f"GP{wiring.channel_pin}; codes {found.codes[0]} to {found.codes[-1]}, each counted "
        f"{median:.0f} times (median), {fewest:.0f} at least"
    )
    for name, values in (("INL", found.inl), ("DNL", found.dnl)):
        low, high = int(values.argmin()), int(values.argmax())
        tell(
            f"{name} {values[low]:+.2f} steps at code {found.codes[low]} to {values[high]:+.2f} "
            f"at code {found.codes[high]}"
        )
    tell(f"wide codes: {_wide(found)}")
    tell(f"noise {_noise(found)}")
    tell(
        f"U = {2 * table.u_steps:.2g} steps for a level (k = 2); standard uncertainties: scatter "
        f"of ramps {found.level_u:.3f}, rising against falling {found.hysteresis:.3f}, bends of "
        f"the ramp {found.source_u:.3f}, table {found.table_u:.3f}"
    )
    for text in (*found.doubts, *found.remarks):
        tell(f"LOOK: {text}")


def _wide(found: CodeDensity) -> str:
    """Codes at least twice too wide, with their widths in steps."""
    first, wide = int(found.codes[0]), found.wide_codes
    shown = [f"{code} ({1.0 + found.dnl[code - first]:.1f} steps)" for code in wide[:MOST_SHOWN]]
    more = [f"{len(wide) - MOST_SHOWN} more"] if len(wide) > MOST_SHOWN else []
    return ", ".join(shown + more) or "none"


def _noise(found: CodeDensity) -> str:
    if found.noise_saving is None:
        return "not measured"
    text = f"of one conversion {found.noise_saving:.2f} steps rms"
    if found.noise_forced is None:
        return f"{text}; the mode of this board's regulator cannot be chosen"
    return f"{text}, {found.noise_forced:.2f} with the regulator forced to PWM"


def _show_next(campaign: Campaign | None, where: Path | None) -> None:
    """Say where it is kept, and what follows."""
    if campaign is None:
        tell("no campaign here: the table is not kept")
    elif where is not None:
        from tautlog.calibrate.kept import newest_file

        tell(f"kept as {where}")
        again = newest_file(campaign.folder) is not None
        tell(
            "next: `tautlog calibrate` again: the calibration in use was made without this table"
            if again
            else "next: `tautlog calibrate`, which uses this table"
        )
