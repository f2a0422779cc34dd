"""Contents: what stands in a printed procedure, gathered from what the campaign already states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.deviations import read_log
from tautlog.campaign.people import ROLES, having
from tautlog.campaign.procedure_steps import STEPS
from tautlog.display.procedure.steps import at_step, needs_of
from tautlog.display.procedure.tables import BLANK, Table, stated_table
from tautlog.display.report.instruments import NOT_STATED, instrument_items
from tautlog.display.report.overview import requirement_rows
from tautlog.files.chain import head_of
from tautlog.model.cautions import CAUTION
from tautlog.model.origin import MARK
from tautlog.planning.sequence import Course, course_of
from tautlog.record.layout import SOFTWARE

LOCAL = (
    "This sheet permits nothing: the program's gate, and the named people at the rig, do. Local "
    "codes, the site's responsible person and licensed practice come before every line of it; "
    "where they ask for more, they hold. Write each departure down by name and time, and enter it "
    "with `tautlog deviation`."
)


@dataclass(frozen=True)
class Block:
    """One part of the sheet.

    Attributes
    ----------
    heading : str
        With the name of the step, if it is one.
    texts : tuple of str
        What is to be known or done.
    tables : tuple of Table
        What is stated, and where to fill in.
    signed : bool
        It ends with places for a name and a time.
    """

    heading: str
    texts: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    signed: bool = False


@dataclass(frozen=True)
class Procedure:
    """A procedure ready to be laid out.

    Attributes
    ----------
    title, number, mark, written, software : str
        Of the sheet; its mark if the campaign is there to practise with.
    head : str
        Head of the campaign's chain, or "".
    cautions : tuple of str
        What stands before everything else.
    blocks : tuple of Block
        In their order.
    """

    title: str
    number: str
    mark: str
    written: str
    software: str
    head: str
    cautions: tuple[str, ...]
    blocks: tuple[Block, ...]


def procedure_of(campaign: Campaign, records: Sequence[RecordSummary]) -> Procedure:
    """The procedure of a campaign as it stands.

    Parameters
    ----------
    campaign, records : Campaign, sequence of RecordSummary
        The campaign and all its records, by time of the drop.

    Raises
    ------
    CampaignError
        If the log of deviations cannot be read.
    """
    written = datetime.now(UTC)
    head = head_of(campaign.folder)
    course = course_of(campaign, records)
    before = (_identity(campaign), _people(campaign), _required(campaign), _materials(campaign))
    steps = (
        Block(
            f"Step {number}: {what} ({name})",
            *at_step(name, campaign, records),
            signed=True,
        )
        for number, (name, what) in enumerate(STEPS.items(), start=1)
    )
    return Procedure(
        title=f"Test procedure: {campaign.name}",
        number=f"P-{written:%Y%m%d-%H%M%S}-{head[:8] or 'no-chain'}",
        mark=f"{MARK}: nothing in this campaign counts" if campaign.rehearsed else "",
        written=f"{written:%Y-%m-%d %H:%M} UTC",
        software=SOFTWARE,
        head=head,
        cautions=(CAUTION, LOCAL),
        blocks=(*before, _instruments(campaign), _stands(course), *steps, _deviations(campaign)),
    )


def _identity(campaign: Campaign) -> Block:
    lab = campaign.laboratory
    rows = (
        ("campaign", campaign.name),
        ("laboratory", lab.name or NOT_STATED),
        ("place", lab.place or NOT_STATED),
        ("customer", lab.customer or NOT_STATED),
        ("method", lab.method or NOT_STATED),
        ("environment", lab.environment or NOT_STATED),
        ("articles received", lab.received or NOT_STATED),
        ("note", campaign.note or "-"),
    )
    return Block("Campaign", tables=(Table((), rows, (1.6, 7.0)),))


def _people(campaign: Campaign) -> Block:
    """Every role, who has it by campaign.toml, and a place for the signature."""
    rows = tuple(
        (role, does, ", ".join(having(campaign.people, role)) or NOT_STATED, BLANK)
        for role, does in ROLES.items()
    )
    decides = campaign.decision.decides or NOT_STATED
    texts = (
        f"Who decides on a test: {decides}. The checklist is {campaign.decision.checklist}; "
        "operator and second person are never the same.",
    )
    table = Table(("role", "what it does", "named", "signature, date"), rows, (1.3, 3, 2.2, 2.6))
    return Block("People and roles", texts, (table,))


def _required(campaign: Campaign) -> Block:
    rows = requirement_rows(campaign)
    limits = stated_table("limit of the rig", campaign.rig)
    rule = stated_table("decision rule", campaign.decision)
    texts = tuple(filter(None, (campaign.units.explained,)))
    return Block("Requirement and limits", texts, (Table((), rows, (1.6, 7.0)), limits, rule))


def _materials(campaign: Campaign) -> Block:
    """Articles, lines, mounts and the elements between them."""
    articles = tuple((one.name, one.version or "-", one.note or "-") for one in campaign.articles)
    gone = {(one.kind, one.name): one.why for one in campaign.retired}
    lines = tuple(
        (
            one.name,
            campaign.units.text(one.stiffness_n_per_m, "N/m"),
            gone.get(("line", one.name), "") and f"RETIRED: {gone['line', one.name]}",
        )
        for one in campaign.lines
    )
    elements = tuple(
        (
            one.name,
            one.part,
            f"{campaign.units.text(one.strength_n, 'N')} {one.basis}",
            campaign.units.text(one.allowed_n, "N"),
        )
        for one in campaign.elements
    )
    none = ("campaign.toml names none", "", "", "")
    return Block(
        "Materials",
        tables=(
            Table(("article", "version", "note"), articles or (none[:3],), (2, 1, 5)),
            Table(("line", "stiffness", "note"), lines or (none[:3],), (2, 1, 5)),
            Table(
                ("element of the load path", "part", "strength", "allows"),
                elements or (none,),
                (3, 1.2, 2, 1.4),
            ),
        ),
    )


def _instruments(campaign: Campaign) -> Block:
    rows = tuple((item.what, "; ".join(item.facts)) for item in instrument_items([], campaign))
    return Block("Instruments", tables=(Table((), rows, (1.8, 7.0)),))


def _stands(course: Course) -> Block:
    """Where the campaign stands, and what comes next."""
    rows = tuple(
        (str(number), course.state(stage), stage.name, stage.text)
        for number, stage in enumerate(course.stages, start=1)
    )
    table = Table(("", "state", "stage", "how far"), rows, (0.3, 0.8, 3, 4.5))
    return Block("Where the campaign stands, when this was printed", needs_of(course), (table,))


def _deviations(campaign: Campaign) -> Block:
    """Deviations so far, and room for more."""
    told = tuple(one.words for one in read_log(campaign.folder)) or ("None so far.",)
    blank = (BLANK,) * 5
    head = ("time", "name", "what was done otherwise", "affects", "agreed by")
    return Block("Deviations", told, (Table(head, (blank,) * 5, (1.1, 1.3, 4, 1.3, 1.3)),))
