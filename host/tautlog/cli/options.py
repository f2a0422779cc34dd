"""Options that several commands share, and what they mean."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli.output import tell
from tautlog.errors import QuantityError, RecordError
from tautlog.model import quantities as q
from tautlog.model.origin import MARK
from tautlog.model.quantities import Quantity
from tautlog.model.signature import signed
from tautlog.model.surroundings import CONDITIONS
from tautlog.model.timestamp import day_problem

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.files.append import Appended
    from tautlog.model.trace import DropSetup

    NumberType = click.ParamType[float]
    TextType = click.ParamType[str]
else:  # only later versions of click make it a generic class
    NumberType = TextType = click.ParamType

Function = Callable[..., Any]
CFC = click.Choice(["60", "180", "600", "1000", "none"])


class Number(NumberType):
    """A number of a quantity, with or without a unit; any other text is wrong usage."""

    name = "number"

    def __init__(self, quantity: Quantity) -> None:
        self.quantity = quantity

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Refuse what is not a number with a unit of the quantity, and numbers out of range."""
        try:
            return self.quantity.typed(str(value))
        except QuantityError as problem:
            self.fail(str(problem), param, ctx)


class Day(TextType):
    """An ISO 8601 day that is not in the future."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Refuse any other text."""
        problem = day_problem(value)
        if problem:
            self.fail(f"{value}: {problem}", param, ctx)
        return str(value)


target_option = click.option(
    "--target",
    "target_n",
    type=Number(q.FORCE),
    metavar="N",
    help="Force that the test must reach.",
)
_INTENDED = (
    click.option(
        "--mass", "mass_kg", type=Number(q.MASS), metavar="KG", help="Mass of all that moves."
    ),
    click.option(
        "--height",
        "height_m",
        type=Number(q.HEIGHT),
        metavar="M",
        help="Free travel until the line is taut.",
    ),
    target_option,
    click.option(
        "--limit",
        "limit_n",
        type=Number(q.FORCE),
        metavar="N",
        help="Force above which the article is overloaded (default: 1.1 x target).",
    ),
    click.option("--article", metavar="NAME", help="Name of the part under test."),
    click.option("--line", metavar="NAME", help="Name of the line that springs taut."),
    click.option(
        "--mount", metavar="NAME", help="Name of the mount that holds the article to the rig."
    ),
)
_SURROUNDINGS = (
    click.option(
        "--temperature",
        "temperature_c",
        type=Number(q.TEMPERATURE),
        metavar="C",
        help="Temperature of the air beside line and article, in degrees Celsius.",
    ),
    click.option(
        "--humidity",
        "humidity_percent",
        type=Number(q.HUMIDITY),
        metavar="%",
        help="Relative humidity of the air.",
    ),
    click.option(
        "--condition",
        type=click.Choice([word for word in CONDITIONS if word]),
        help="Condition of line and article.",
    ),
    click.option(
        "--since-conditioning",
        "since_conditioning_h",
        type=Number(q.HOURS),
        metavar="H",
        help="Hours since line and article left the conditioning atmosphere, or the water.",
    ),
)
_REMARKS = (
    click.option("--operator", metavar="NAME", help="Name of the person who drops."),
    click.option("--note", metavar="TEXT", help="Note to keep in the record."),
)
INTENDED_NAMES = ["mass_kg", "height_m", "target_n", "limit_n", "article", "line", "mount"]
SURROUNDINGS_NAMES = ["temperature_c", "humidity_percent", "condition", "since_conditioning_h"]
SETUP_NAMES = [*INTENDED_NAMES, "operator", "note", *SURROUNDINGS_NAMES]


def intended_options(function: Function) -> Function:
    """Add the options that say what will be dropped, and on which mount."""
    for option in reversed(_INTENDED):
        function = option(function)
    return function


def setup_options(function: Function) -> Function:
    """Add the options that describe a drop."""
    for option in reversed(_INTENDED + _REMARKS + _SURROUNDINGS):
        function = option(function)
    return function


def correction_options(what: str) -> Callable[[Function], Function]:
    """Add the options with which an entry corrects an earlier entry."""

    def add(function: Function) -> Function:
        function = click.option(
            "--reason", default="", metavar="TEXT", help="Reason for the correction."
        )(function)
        return click.option(
            "--supersedes",
            metavar=what,
            help="Earlier entry to correct; it stays, marked as superseded. Needs --by, --reason.",
        )(function)

    return add


def number_of(supersedes: str | None) -> int | None:
    """The number of the superseded entry, as typed; None without one."""
    if supersedes is None:
        return None
    if not supersedes.isdecimal():
        raise click.BadParameter(
            f"{supersedes!r} is not the number of an entry", param_hint="--supersedes"
        )
    return int(supersedes)


def port_options(function: Function) -> Function:
    """Add the options that reach a board."""
    function = click.option(
        "--link-timeout",
        "timeout_scale",
        type=Number(q.PATIENCE_FACTOR),
        default=1.0,
        metavar="X",
        show_default=True,
        help="Multiply every wait for the board by this factor.",
    )(function)
    return click.option(
        "--port",
        metavar="URL",
        help="Serial port or URL such as socket://host:port (default: the campaign's).",
    )(function)


def sheet_options(what: str) -> Callable[[Function], Function]:
    """Add --paper and --replace, for a paper such as "report"."""
    paper = click.option(
        "--paper",
        type=click.Choice(("a4", "letter")),
        default="a4",
        show_default=True,
        help="Size of the pages of the PDF.",
    )
    replace = click.option(
        "--replace",
        is_flag=True,
        help=f"Take the name of an older {what}, which is kept as NAME-1, NAME-2 and so on.",
    )
    return lambda function: paper(replace(function))


def cfc_option(function: Function) -> Function:
    """Add the channel frequency class."""
    return click.option(
        "--cfc",
        type=CFC,
        help="Channel frequency class, SAE J211, ISO 6487 (default: that of the record's newest "
        "marks; 180 for a new record).",
    )(function)


def zero_option(function: Function) -> Function:
    """Add --zero."""
    return click.option(
        "--zero",
        type=click.Choice(["slack", "none"]),
        help="Take the zero from the slack line, or remove no zero (default: as the record's "
        "newest marks; slack for a new record).",
    )(function)


def rehearsed_option(function: Function) -> Function:
    """Add --rehearsed."""
    return click.option(
        "--rehearsed",
        is_flag=True,
        callback=_rehearsed_too,
        help="Include rehearsals, marked as such; they never count. In a campaign to practise "
        "with they are always included.",
    )(function)


def _rehearsed_too(context: click.Context, param: click.Parameter, given: bool) -> bool:
    """A campaign to practise with has nothing but rehearsals."""
    from tautlog.campaign.practised import practises
    from tautlog.files.campaign_folder import find_campaign

    places = [context.params.get("folder"), *(context.params.get("places") or ())]
    asked = [place for place in places if place is not None]
    found = find_campaign(asked[0] if asked and asked[0].is_dir() else ".")
    return given or (found is not None and practises(found))


def calibration_options(function: Function) -> Function:
    """Add the options that choose another calibration for marks: which, who and why."""
    for option in (
        click.option(
            "--reason", default="", metavar="TEXT", help="Reason for the other calibration."
        ),
        click.option("--by", default="", metavar="NAME", help="Who chooses the other calibration."),
        click.option(
            "--calibration",
            metavar="FILE|newest|own",
            help="Mark with another calibration: a file in `calibrations`, the newest of the "
            "record's campaign, or the record's own again. The old marks stay.",
        ),
    ):
        function = option(function)
    return function


def json_option(function: Function) -> Function:
    """Add --json."""
    return click.option("--json", "as_json", is_flag=True, help="Print JSON.")(function)


def shown_options(function: Function) -> Function:
    """Add --all and --json: how much of a new record is shown."""
    function = click.option(
        "--all",
        "every_figure",
        is_flag=True,
        help="Print all figures before the verdict, as `tautlog mark` does.",
    )(function)
    return json_option(function)


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
        help="Folder for the new record, or its file name if it ends in .h5.",
    )(function)


def class_of(cfc: str | None) -> int | None:
    """The class as a number, None for "none"; `AS_BEFORE` without the option."""
    if cfc is None:
        from tautlog.archive.assess import AS_BEFORE

        return AS_BEFORE
    return None if cfc == "none" else int(cfc)


def signature_of(by: str, what: str) -> str:
    """The name given with --by, which signs `what`, such as "a proof"."""
    name = signed(by)
    if not name:
        raise click.BadParameter(f"{what} needs the name of who signs it", param_hint="--by")
    return name


def tell_doubt(added: Appended) -> None:
    """Show what is doubtful in the file that the entry was added to."""
    if added.doubt:
        tell(f"LOOK: {added.doubt}", err=True)


def tell_role(record: Path, role: str, by: str) -> None:
    """Show that somebody signs in a role that the record's campaign gives to others."""
    from tautlog.campaign.campaign import read_campaign
    from tautlog.campaign.people import Act, not_theirs
    from tautlog.errors import CampaignError
    from tautlog.files.campaign_folder import find_campaign

    found = find_campaign(record.absolute().parent)
    if found is None:
        return
    try:
        people = read_campaign(found, to_drop=False).people
    except CampaignError as problem:
        tell(f"LOOK: the roles are not known: {problem}", err=True)
        return
    for text in not_theirs(people, [Act(role, by)]):
        tell(f"LOOK: {text}; the report says so", err=True)


def here(*, to_drop: bool = True) -> Campaign | None:
    """The campaign of the current folder, or None; see `campaign.read_campaign`."""
    from tautlog.files.campaign_folder import find_campaign

    found = find_campaign()
    return None if found is None else campaign_at(found, to_drop=to_drop)


def campaign_at(path: Path, *, to_drop: bool = True) -> Campaign:
    """The campaign of a folder or file; standard error says what is left out of it."""
    from tautlog.campaign.campaign import read_campaign

    campaign = read_campaign(path, to_drop=to_drop)
    if campaign.rehearsed:
        tell(f"{MARK}: {campaign.name} is there to practise with; nothing counts", err=True)
    if campaign.calibration_left_out:
        tell(f"LOOK: left out: {campaign.calibration_left_out}", err=True)
    return campaign


def folder_here() -> Path:
    """The folder of the current campaign, or the current folder; no file is read."""
    from tautlog.files.campaign_folder import find_campaign

    found = find_campaign()
    return Path() if found is None else found.parent


def port_of(port: str | None, campaign: Campaign | None) -> str:
    """The port given with --port, or the campaign's."""
    found = port or (campaign.port if campaign else "")
    if not found:
        raise click.UsageError(
            "no port is given: use --port, or set port in [board] of campaign.toml"
        )
    return found


def setup_of(campaign: Campaign | None, options: dict[str, Any]) -> DropSetup:
    """The set-up of a drop from campaign and options."""
    from tautlog.campaign.drop_setup import DropRequest, setup_from

    return setup_from(campaign, DropRequest(**{name: options.get(name) for name in SETUP_NAMES}))


def record_path(out: Path | None, campaign: Campaign | None, article: str) -> Path:
    """The path of a new record; its folder is made if needed.

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
