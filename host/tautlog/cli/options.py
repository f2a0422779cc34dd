"""Options that several commands share, and what they mean."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.errors import RecordError

if TYPE_CHECKING:
    from tautlog.campaign import Campaign
    from tautlog.trace import DropSetup

Function = Callable[..., Any]
CFC = click.Choice(["60", "180", "600", "1000", "none"])
_SETUP = (
    click.option("--mass", "mass_kg", type=float, metavar="KG", help="All that moves."),
    click.option("--height", "height_m", type=float, metavar="M", help="Free travel until taut."),
    click.option("--target", "target_n", type=float, metavar="N", help="Force to be reached."),
    click.option(
        "--limit",
        "limit_n",
        type=float,
        metavar="N",
        help="Overload above it; 1.1 x target without.",
    ),
    click.option("--article", metavar="NAME", help="Part under test."),
    click.option("--line", metavar="NAME", help="Line that springs taut."),
    click.option("--operator", metavar="NAME", help="Who drops."),
    click.option("--note", metavar="TEXT", help="Remark kept in the record."),
)
SETUP_NAMES = ["mass_kg", "height_m", "target_n", "limit_n", "article", "line", "operator", "note"]


def setup_options(function: Function) -> Function:
    """Add the options that describe a drop."""
    for option in reversed(_SETUP):
        function = option(function)
    return function


def port_options(function: Function) -> Function:
    """Add the options that reach a board."""
    function = click.option(
        "--link-timeout",
        "timeout_scale",
        type=click.FloatRange(min=0.1),
        default=1.0,
        metavar="S",
        show_default=True,
        help="Multiplies every wait for the board.",
    )(function)
    return click.option(
        "--port", metavar="URL", help="Serial port, or a URL such as socket://host:port."
    )(function)


def cfc_option(function: Function) -> Function:
    """Add the channel frequency class."""
    return click.option(
        "--cfc",
        type=CFC,
        help="Channel frequency class (SAE J211, ISO 6487); without it that of the record's "
        "newest marks, 180 for a new one.",
    )(function)


def zero_option(function: Function) -> Function:
    """Add --zero."""
    return click.option(
        "--zero",
        type=click.Choice(["slack", "none"]),
        help="Take the zero from the slack line, or none at all; without it as the record's "
        "newest marks did, slack for a new one.",
    )(function)


def rehearsed_option(function: Function) -> Function:
    """Add --rehearsed."""
    return click.option(
        "--rehearsed", is_flag=True, help="Show rehearsals too, marked as such; they never count."
    )(function)


def calibration_options(function: Function) -> Function:
    """Add what takes another calibration for marks: which, on whose word, and why."""
    for option in (
        click.option("--reason", default="", metavar="TEXT", help="Why it is taken."),
        click.option("--by", default="", metavar="NAME", help="Who takes it."),
        click.option(
            "--calibration",
            metavar="FILE|newest|own",
            help="Mark with another calibration: a file of `calibrations`, the newest of the "
            "record's campaign, or the record's own again. The old marks stay.",
        ),
    ):
        function = option(function)
    return function


def json_option(function: Function) -> Function:
    """Add --json."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")(function)


def live_option(function: Function) -> Function:
    """Add --live."""
    return click.option(
        "--live", is_flag=True, help="Show the drop in a window as it happens, in large figures."
    )(function)


def out_option(function: Function) -> Function:
    """Add --out."""
    return click.option(
        "--out",
        type=click.Path(path_type=Path),
        metavar="PATH",
        help="Folder for the record, or its name if it ends in .h5.",
    )(function)


def class_of(cfc: str | None) -> int | None:
    """The class as a number, None for "none"; where none was given, as before."""
    if cfc is None:
        from tautlog.quicklook import AS_BEFORE

        return AS_BEFORE
    return None if cfc == "none" else int(cfc)


def here() -> Campaign | None:
    """The campaign of the present folder, if there is one."""
    from tautlog.campaign import read_campaign
    from tautlog.folder import find_campaign

    found = find_campaign()
    return None if found is None else read_campaign(found)


def folder_here() -> Path:
    """The folder of the campaign that we are in, or the present one; it reads nothing."""
    from tautlog.folder import find_campaign

    found = find_campaign()
    return Path() if found is None else found.parent


def port_of(port: str | None, campaign: Campaign | None) -> str:
    """The port that was given, or the campaign's."""
    found = port or (campaign.port if campaign else "")
    if not found:
        raise click.UsageError("no port: give --port, or set it in campaign.toml")
    return found


def setup_of(campaign: Campaign | None, options: dict[str, Any]) -> DropSetup:
    """The set-up of a drop from campaign and options."""
    from tautlog.campaign import setup_from

    return setup_from(campaign, **{name: options.get(name) for name in SETUP_NAMES})


def record_path(out: Path | None, campaign: Campaign | None, article: str) -> Path:
    """Where a new record goes; its folder is made if need be.

    Raises
    ------
    RecordError
        If the folder cannot be made.
    """
    from tautlog.campaign import next_record_path

    if out is not None and out.suffix == ".h5":
        return out
    folder = out or (campaign.folder if campaign else Path())
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise RecordError(
            f"the folder {folder} cannot be made ({problem.strerror}): choose another with --out",
            path=str(folder),
        ) from problem
    return next_record_path(folder, article)
