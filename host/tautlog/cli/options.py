"""Options that several commands share, and what they mean."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.errors import RecordError
from tautlog.model import quantities as q
from tautlog.model.quantities import Quantity
from tautlog.model.signature import signed
from tautlog.model.timestamp import day_problem

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.files.append import Appended
    from tautlog.model.trace import DropSetup

    NumberType = click.ParamType[float]
    TextType = click.ParamType[str]
else:  # a generic class of late versions of click only
    NumberType = TextType = click.ParamType

Function = Callable[..., Any]
CFC = click.Choice(["60", "180", "600", "1000", "none"])


class Number(NumberType):
    """A number that makes sense, by its quantity; others are wrong usage."""

    name = "number"

    def __init__(self, quantity: Quantity) -> None:
        self.quantity = quantity

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Refuse what is no number, and what makes no sense."""
        try:
            number = float(value)
        except ValueError:
            self.fail(f"{value!r} is no number", param, ctx)
        problem = self.quantity.problem(number)
        if problem:
            self.fail(f"{value}: {problem}", param, ctx)
        return number


class Day(TextType):
    """A day of ISO 8601 that is not to come."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Refuse what is no such day."""
        problem = day_problem(value)
        if problem:
            self.fail(f"{value}: {problem}", param, ctx)
        return str(value)


target_option = click.option(
    "--target", "target_n", type=Number(q.FORCE), metavar="N", help="Force to be reached."
)
_INTENDED = (
    click.option("--mass", "mass_kg", type=Number(q.MASS), metavar="KG", help="All that moves."),
    click.option(
        "--height",
        "height_m",
        type=Number(q.HEIGHT),
        metavar="M",
        help="Free travel until taut.",
    ),
    target_option,
    click.option(
        "--limit",
        "limit_n",
        type=Number(q.FORCE),
        metavar="N",
        help="Overload above it; 1.1 x target without.",
    ),
    click.option("--article", metavar="NAME", help="Part under test."),
    click.option("--line", metavar="NAME", help="Line that springs taut."),
    click.option("--mount", metavar="NAME", help="What holds the article to the rig."),
)
_REMARKS = (
    click.option("--operator", metavar="NAME", help="Who drops."),
    click.option("--note", metavar="TEXT", help="Remark kept in the record."),
)
INTENDED_NAMES = ["mass_kg", "height_m", "target_n", "limit_n", "article", "line", "mount"]
SETUP_NAMES = [*INTENDED_NAMES, "operator", "note"]


def intended_options(function: Function) -> Function:
    """Add the options that say what will be dropped, and on what."""
    for option in reversed(_INTENDED):
        function = option(function)
    return function


def setup_options(function: Function) -> Function:
    """Add the options that describe a drop."""
    for option in reversed(_INTENDED + _REMARKS):
        function = option(function)
    return function


def correction_options(what: str) -> Callable[[Function], Function]:
    """Add the options by which an entry corrects an earlier one."""

    def add(function: Function) -> Function:
        function = click.option(
            "--reason", default="", metavar="TEXT", help="Why it is corrected."
        )(function)
        return click.option(
            "--supersedes",
            metavar=what,
            help="Corrects that earlier one, which stays, marked as such; needs --by, --reason.",
        )(function)

    return add


def number_of(supersedes: str | None) -> int | None:
    """The number of an entry as typed, or None where none is superseded."""
    if supersedes is None:
        return None
    if not supersedes.isdecimal():
        raise click.BadParameter(
            f"{supersedes!r} is no number of an entry", param_hint="--supersedes"
        )
    return int(supersedes)


def port_options(function: Function) -> Function:
    """Add the options that reach a board."""
    function = click.option(
        "--link-timeout",
        "timeout_scale",
        type=Number(q.PATIENCE_FACTOR),
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
        from tautlog.archive.assess import AS_BEFORE

        return AS_BEFORE
    return None if cfc == "none" else int(cfc)


def signature_of(by: str, what: str) -> str:
    """The name that was typed with --by; `what` is signed with it, such as "a proof"."""
    name = signed(by)
    if not name:
        raise click.BadParameter(f"{what} is signed with a name", param_hint="--by")
    return name


def tell_doubt(added: Appended) -> None:
    """Say what a file that was added to holds and somebody should look at."""
    if added.doubt:
        click.echo(f"LOOK: {added.doubt}", err=True)


def here(*, to_drop: bool = True) -> Campaign | None:
    """The campaign of the present folder, if there is one; see `campaign.read_campaign`."""
    from tautlog.files.campaign_folder import find_campaign

    found = find_campaign()
    return None if found is None else campaign_at(found, to_drop=to_drop)


def campaign_at(path: Path, *, to_drop: bool = True) -> Campaign:
    """The campaign of a folder or file; what is left out of it is named on standard error."""
    from tautlog.campaign.campaign import read_campaign

    campaign = read_campaign(path, to_drop=to_drop)
    if campaign.calibration_left_out:
        click.echo(f"LOOK: left out: {campaign.calibration_left_out}", err=True)
    return campaign


def folder_here() -> Path:
    """The folder of the campaign that we are in, or the present one; it reads nothing."""
    from tautlog.files.campaign_folder import find_campaign

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
    from tautlog.campaign.drop_setup import Asked, setup_from

    return setup_from(campaign, Asked(**{name: options.get(name) for name in SETUP_NAMES}))


def record_path(out: Path | None, campaign: Campaign | None, article: str) -> Path:
    """Where a new record goes; its folder is made if need be.

    Raises
    ------
    RecordError
        If the folder cannot be made.
    """
    from tautlog.files.record_path import next_record_path

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
