"""``tautlog calibrate``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.looked import looked_option, require_looked
from tautlog.cli.options import Number
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_of, units_option
from tautlog.model import quantities as q
from tautlog.model.signature import signed

if TYPE_CHECKING:
    from tautlog.board.resting import Resting
    from tautlog.calibrate.calibrating import Calibrated, Point
    from tautlog.calibrate.series import Series
    from tautlog.campaign.campaign import Campaign
    from tautlog.model.calibration import Calibration
    from tautlog.model.display_units import Units

MOST_TRIES = 5  # of one weight, before everything is given up


@click.command(name="calibrate")
@options.port_options
@click.option(
    "--from-csv",
    "table",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take the points from a CSV file: columns load_n or mass_kg; volt or counts as the board "
    "reads them, or meter_v of another instrument; run.",
)
@click.option(
    "--load",
    "loads_kg",
    multiple=True,
    type=Number(q.WEIGHT),
    metavar="KG",
    help="Weight to hang; repeat for each weight, in order, from zero up and down again.",
)
@click.option(
    "--degree", type=click.IntRange(1, 2), help="1: straight, 2: curved (default: by F test)."
)
@click.option(
    "--gravity",
    type=Number(q.GRAVITY),
    default=9.80665,
    metavar="M/S2",
    show_default=True,
    help="Local gravity.",
)
@click.option("--hang", is_flag=True, help="Only check that the hanging sled reads its weight.")
@click.option(
    "--mass", "mass_kg", type=Number(q.MASS), metavar="KG", help="Mass of the sled, for --hang."
)
@click.option(
    "--shunt",
    "shunt_ohm",
    type=Number(q.SHUNT),
    metavar="OHM",
    help="Only check the step that this shunt resistor makes.",
)
@click.option(
    "--channel",
    default="",
    metavar="NAME",
    help="Force channel to calibrate, if the board has several (default: the first).",
)
@click.option("--note", default="", metavar="TEXT", help="Note serial numbers, weights and names.")
@click.option(
    "--date",
    "day",
    type=options.Day(),
    metavar="DAY",
    help="Day of the calibration (default: today).",
)
@click.option(
    "--accept",
    nargs=2,
    metavar="NAME REASON",
    help="Keep an implausible calibration; this person answers for it.",
)
@click.option("--by", default="", metavar="NAME", help="Who corrects it, for --supersedes.")
@options.correction_options("FILE")
@looked_option
@click.option("--list", "listing", is_flag=True, help="List the calibrations on record.")
@click.option(
    "--picture", type=click.Path(path_type=Path), metavar="FILE", help="Draw the residuals."
)
@units_option
@options.json_option
def command(
    port: str | None,
    timeout_scale: float,
    table: Path | None,
    loads_kg: tuple[float, ...],
    degree: int | None,
    gravity: float,
    hang: bool,
    mass_kg: float | None,
    shunt_ohm: float | None,
    channel: str,
    note: str,
    day: str | None,
    accept: tuple[str, str] | None,
    by: str,
    supersedes: str | None,
    reason: str,
    looked_by: str | None,
    listing: bool,
    picture: Path | None,
    named: tuple[str, ...],
    as_json: bool,
) -> None:
    """Calibrate the chain with known weights, live or from a table.

    Live: the program asks for each weight and reads it once it is steady. In a campaign the
    calibration is kept as a new file, and every later record uses it; earlier calibrations are
    kept, too. A calibration that contradicts data sheet and gain is refused, unless a named
    person accepts it. Nobody stands under a hanging weight.
    """
    from tautlog.campaign.calibrations import as_json as plain
    from tautlog.campaign.new_calibration import new_calibration
    from tautlog.cli.output import print_json
    from tautlog.model.calibration import Calibration

    if supersedes and not (signed(by) and signed(reason)):
        raise click.UsageError("--supersedes needs --by NAME and --reason TEXT")
    if listing:
        _list(options.folder_here(), as_json=as_json)
        return
    if table is not None and loads_kg:
        raise click.UsageError("--from-csv has its own loads: leave out --load")
    campaign = options.here(to_drop=False)
    campaign = campaign.for_channel(channel) if campaign else None
    base = campaign.calibration if campaign else Calibration()
    units, at = units_of(campaign, named), (port, timeout_scale)
    _require_looked(campaign, looked_by, table, shunt_ohm)
    if hang:
        _hang(campaign, at, mass_kg, channel, units)
        return
    if shunt_ohm is not None:
        _shunt(port, campaign, base, shunt_ohm, timeout_scale)
        return
    if table is not None:
        base, points = _from_table(table, campaign, base, gravity)
    else:
        series = _live(campaign, at, (loads_kg, gravity), channel, units)
        base, points = series.base, series.points
    made = new_calibration(campaign, points, base, degree=degree, day=day, note=note, units=units)
    if picture is not None:
        _draw(made, picture, units)  # before it is kept: what fails leaves nothing behind
    where = _kept(campaign, made, accept, supersedes, (by, reason))
    if as_json:
        print_json({**plain(made), "file": str(where) if where else None})
        return
    _show(made, units)
    tell(f"kept as {where}" if where else "no campaign here: the calibration is not kept")


def _require_looked(
    campaign: Campaign | None, looked_by: str | None, table: Path | None, shunt_ohm: float | None
) -> None:
    """The guard, where weights or the sled are hung under the latch."""
    if table is None and shunt_ohm is None:
        require_looked(campaign, looked_by)


def _kept(
    campaign: Campaign | None,
    made: Calibrated,
    accept: tuple[str, str] | None,
    supersedes: str | None,
    word: tuple[str, str],
) -> Path | None:
    """Keep a calibration in the campaign; return its file, or None without a campaign."""
    from tautlog.campaign.calibrations import Word, add_calibration

    accepted = Word(*accept) if accept else None
    corrected = Word(*word) if supersedes else None
    if campaign is None:
        _doubtful_without_campaign(made)
        return None
    return add_calibration(
        campaign, made, accepted=accepted, supersedes=supersedes or "", word=corrected
    )


def _doubtful_without_campaign(made: Calibrated) -> None:
    """Say why a calibration that is not kept is implausible."""
    from tautlog.calibrate.plausibility import point_doubts

    for doubt in point_doubts(made.points, made.calibration):
        tell(f"LOOK: {doubt}", err=True)


def _list(folder: Path, *, as_json: bool) -> None:
    """List the calibrations on record, oldest first; the last of a channel is in use."""
    from dataclasses import asdict

    from tautlog.calibrate.kept import standing_files
    from tautlog.cli.output import print_json

    found = standing_files(folder)
    if as_json:
        print_json([{**asdict(file), "path": file.path.name} for file in found])
        return
    if not found:
        tell("no calibrations here")
    for file in found:
        gone = f"; SUPERSEDED by {file.superseded_by} ({file.reason})" if file.superseded_by else ""
        of = f" of {file.channel}" if file.channel else ""
        tell(f"{file.path.name}{of}{gone}")


def _from_table(
    table: Path, campaign: Campaign | None, base: Calibration, gravity: float
) -> tuple[Calibration, list[Point]]:
    from tautlog.calibrate.points_table import read_points
    from tautlog.campaign.converter_known import converter_for

    points = read_points(table, volt_per_count=base.volt_per_count(1), gravity_m_s2=gravity)
    return replace(base, converter=converter_for(campaign, base)), points


def _live(
    campaign: Campaign | None,
    at: tuple[str | None, float],
    weights: tuple[tuple[float, ...], float],
    channel: str,
    units: Units,
) -> Series:
    """Ask for each weight, and read it once it is steady.

    `at` is the port and by what waits are scaled; `weights` are the weights, in kg, and gravity.
    What may not be taken is said, and asked for again.
    """
    (port, timeout_scale), (loads_kg, gravity) = at, weights
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session
    from tautlog.campaign.at_the_board import at_rest, new_series
    from tautlog.cli.console import CAUTION
    from tautlog.errors import CalibrationError

    if len(set(loads_kg)) < 2:
        raise CalibrationError(
            "give the weights with --load, such as --load 0 --load 5 --load 10 --load 5 --load 0, "
            "or a table with --from-csv"
        )
    tell(CAUTION, err=True)
    with SerialLink(options.port_of(port, campaign)) as link:
        resting = at_rest(Session(link, timeout_scale=timeout_scale), campaign, channel)
        series = new_series(campaign, resting)
        for load in loads_kg:
            series = _one(resting, series, load, gravity, units)
    return series


def _one(resting: Resting, series: Series, load_kg: float, gravity: float, units: Units) -> Series:
    """Ask for one weight, again if its reading may not be taken, and take it.

    Raises
    ------
    CalibrationError
        If it may not be taken however often it is asked for.
    """
    from tautlog.calibrate.series import known_load_n
    from tautlog.errors import CalibrationError

    weight = units.text(load_kg, "kg", "g")
    for left in reversed(range(MOST_TRIES)):
        _enter(f"hang {weight}, stand clear")
        try:
            series = series.take(resting.settled(), known_load_n(load_kg, None, gravity))
        except CalibrationError as problem:
            if not left:
                raise
            tell(f"  NOT TAKEN: {problem}", err=True)
        else:
            break
    tell(f"  {weight} reads {series.taken[-1].volt:.5f} V", err=True)
    return series


def _enter(what: str) -> None:
    click.prompt(f"{what}, press Enter", default="", show_default=False, err=True)


def _hang(
    campaign: Campaign | None,
    at: tuple[str | None, float],
    mass_kg: float | None,
    channel: str,
    units: Units,
) -> None:
    """Check the reading of the hanging sled against the reading of a slack line."""
    port, timeout_scale = at
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session
    from tautlog.calibrate.hanging import MASS_MISSING, hanging
    from tautlog.campaign.at_the_board import at_rest
    from tautlog.cli.console import CAUTION
    from tautlog.errors import CalibrationError

    mass = mass_kg or (campaign.setup.mass_kg if campaign else None)
    if not mass:
        raise CalibrationError(MASS_MISSING)
    tell(CAUTION, err=True)
    with SerialLink(options.port_of(port, campaign)) as link:
        resting = at_rest(Session(link, timeout_scale=timeout_scale), campaign, channel)
        _enter("line slack")
        slack = resting.settled()
        slack.require()
        _enter("sled hangs")
        found = hanging(slack, resting.settled(), resting.calibration, mass)
    tell(found.said(units))
    found.require()


def _shunt(
    port: str | None,
    campaign: Campaign | None,
    base: Calibration,
    shunt_ohm: float,
    timeout_scale: float,
) -> None:
    """Compare the step that the shunt resistor makes with the expected step.

    This checks wiring and gain. It does not load the gauge, so it is no calibration.
    """
    from tautlog.board.link import SerialLink
    from tautlog.board.resting import read_shunt_step
    from tautlog.board.session import Session
    from tautlog.board.shunt import shunt_check, shunt_step_mv_per_v
    from tautlog.campaign.own_board import require_own_board
    from tautlog.errors import CalibrationError

    with SerialLink(options.port_of(port, campaign)) as link:
        session = Session(link, timeout_scale=timeout_scale)
        require_own_board(campaign, session.greet())
        step_v = read_shunt_step(session, base)
    cell = campaign.cell if campaign else None
    gain = campaign.amplifier.gain if campaign else None
    if cell is None or not (cell.bridge_ohm and cell.excitation_v and gain):
        tell(
            f"shunt step {step_v:.4f} V, not judged: state bridge_ohm, excitation_v and gain in "
            "campaign.toml"
        )
        return
    expected_v = 1e-3 * shunt_step_mv_per_v(cell.bridge_ohm, shunt_ohm) * cell.excitation_v * gain
    state, text = shunt_check(step_v, expected_v)
    tell(f"{text}: {state}")
    if state != "good":
        raise CalibrationError(f"the shunt check is {state}: check gain, excitation and wiring")


def _draw(made: Calibrated, path: Path, units: Units) -> None:
    import numpy as np

    from tautlog.display.pictures.image import save
    from tautlog.display.pictures.residuals import draw_residuals

    loads = np.array([point.load_n for point in made.points])
    share = 100.0 * made.fit.residuals / loads.max()
    title = (
        f"residuals of {loads.size} points, degree {made.degree}: "
        f"{made.calibration.newton_per_volt:.6g} N/V, "
        f"U = {100 * made.budget.expanded_u / loads.max():.2g} % at {units.text(loads.max(), 'N')}"
    )
    save(draw_residuals(loads, share, title), path)


def _show(made: Calibrated, units: Units) -> None:
    from rich.console import Console
    from rich.table import Table

    from tautlog.campaign.new_calibration import residual_rows, residuals_head, told
    from tautlog.cli.console import plain_text

    for line in told(made, units):
        tell(line)
    table = Table(box=None, pad_edge=False)
    for name in residuals_head(units):
        table.add_column(name, justify="right")
    for row in residual_rows(made, units):
        table.add_row(*map(plain_text, row))
    Console(highlight=False, width=100).print(table)
    calibration = made.calibration
    tell(f"converter: {calibration.steps.basis}")
    if calibration.accepted:
        tell(f"ACCEPTED although implausible, by {calibration.accepted}")
    for warning in made.said:
        tell(f"LOOK: {warning}")
