"""Stated: all that a campaign.toml states, a field for each section.

`SECTIONS` lists what the file may contain: files are checked against it, and new files are
written from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

from tautlog.campaign.condemned import Retired
from tautlog.campaign.dimensions import Dimension
from tautlog.campaign.display import Display
from tautlog.campaign.flight import StatedFlight
from tautlog.campaign.laboratory import Laboratory
from tautlog.campaign.people import Person
from tautlog.campaign.qualification import Qualification
from tautlog.campaign.requirement import Requirement
from tautlog.campaign.retirement import Retirement
from tautlog.campaign.sections import (
    About,
    Amplifier,
    Article,
    Cell,
    Connection,
    DecisionRule,
    ForceChannel,
    RigLimits,
    StatedLine,
)
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Accelerometer, ExcitationMonitor
from tautlog.model.key import Key, keys_of
from tautlog.model.leg_facts import LegFacts, as_text
from tautlog.model.legs import SUM
from tautlog.model.load_path import Element, Mount
from tautlog.model.signature import signed
from tautlog.model.surroundings import Atmosphere
from tautlog.model.trace import DropSetup
from tautlog.model.wiring import Fitted


@dataclass(frozen=True)
class Section:
    """One section of the file.

    Attributes
    ----------
    name, about : str
        The name in its brackets; the comment above it.
    kind : type
        The dataclass whose keys the section may contain.
    many : bool
        The section may occur several times.
    as_comment : bool
        A new file shows the section as a comment.
    """

    name: str
    kind: type
    about: str
    many: bool
    as_comment: bool

    @property
    def head(self) -> str:
        """The section's head, as written in the file."""
        return f"[[{self.name}]]" if self.many else f"[{self.name}]"

    @cached_property
    def keys(self) -> Mapping[str, Key]:
        """The keys that it may contain, by name, old names too."""
        own = keys_of(self.kind)
        return {**own, **{key.former: key for key in own.values() if key.former}}

    def made(self, content: Any) -> Any:
        """The object, or the objects, that checked content states."""
        if self.many:
            return tuple(map(self._object, content))
        return self._object(content)

    def _object(self, values: Mapping[str, Any]) -> Any:
        keyed = [(self.keys[name], value) for name, value in values.items()]
        return self.kind(**{key.name: key.kind(key.typed(value)) for key, value in keyed})


def _section(
    about: str, *, many: type | None = None, as_comment: bool = False
) -> dict[str, object]:
    """Metadata of a field that holds a section, or several of one kind; see `Section`."""
    return {"about": about, "many": many, "as_comment": as_comment}


@dataclass(frozen=True)
class Stated:
    """What campaign.toml states; see its sections.

    `calibration` is the calibration stated in the file, which later calibrations override;
    `newton_per_volt` is its slope, or None if not stated.
    """

    campaign: About = field(default_factory=About, metadata=_section("The campaign"))
    requirement: Requirement = field(
        default_factory=Requirement, metadata=_section("The load for which the part must be proven")
    )
    # A comment, because a flight that nobody flew must not judge a drop.
    flight: StatedFlight = field(
        default_factory=StatedFlight,
        metadata=_section("The load in flight, beside which each drop is laid", as_comment=True),
    )
    laboratory: Laboratory = field(
        default_factory=Laboratory,
        metadata=_section("Who tests, where and for whom; a report shows it"),
    )
    # A comment: SI is shown unless somebody asks for other units.
    display: Display = field(
        default_factory=Display,
        metadata=_section(
            "Units in which numbers are shown; files, JSON and CSV stay SI", as_comment=True
        ),
    )
    # A comment, because an invented name must sign nothing.
    person: tuple[Person, ...] = field(
        default=(),
        metadata=_section(
            "Who has which role; a report names who took another's",
            many=Person,
            as_comment=True,
        ),
    )
    drop: DropSetup = field(
        default_factory=DropSetup,
        metadata=_section("What holds for every drop; options on the command line override it"),
    )
    calibration: Calibration = field(
        default_factory=Calibration,
        metadata=_section("The measuring chain: cell, amplifier and converter as one"),
    )
    board: Connection = field(
        default_factory=Connection, metadata=_section("How the laptop reaches the board")
    )
    rig: RigLimits = field(
        default_factory=RigLimits,
        metadata=_section("Limits of the rig; plans and drops are checked against them"),
    )
    cell: Cell = field(
        default_factory=Cell, metadata=_section("The load cell, from its data sheet")
    )
    amplifier: Amplifier = field(
        default_factory=Amplifier, metadata=_section("Amplifier and anti-alias filter")
    )
    # Comments, because most rigs have one channel.
    force_channel: tuple[ForceChannel, ...] = field(
        default=(),
        metadata=_section(
            "Force channels beyond the first, the other legs; one section for each",
            many=ForceChannel,
            as_comment=True,
        ),
    )
    leg: tuple[LegFacts, ...] = field(
        default=(),
        metadata=_section(
            "Angles and limits of each leg, the first one too; one section for each. With the "
            "angles of all legs the sum is that along the vertical, else the plain sum",
            many=LegFacts,
            as_comment=True,
        ),
    )
    accelerometer: Accelerometer = field(
        default_factory=Accelerometer,
        metadata=_section(
            "The accelerometer on the sled, on the board's channel `acceleration`", as_comment=True
        ),
    )
    excitation: ExcitationMonitor = field(
        default_factory=ExcitationMonitor,
        metadata=_section(
            "The supply of the bridges, on the board's channel `excitation`", as_comment=True
        ),
    )
    fitted: Fitted = field(
        default_factory=Fitted,
        metadata=_section("Parts that this rig has; each is tried by `tautlog health --bring-up`"),
    )
    decision: DecisionRule = field(
        default_factory=DecisionRule,
        metadata=_section("How verdicts are reached, agreed before the first drop"),
    )
    # Comments, because a number that nobody agreed on is worse than none.
    qualification: Qualification = field(
        default_factory=Qualification,
        metadata=_section(
            "The statement about the part, agreed before the first drop (`tautlog qualify`)",
            as_comment=True,
        ),
    )
    atmosphere: Atmosphere = field(
        default_factory=Atmosphere,
        metadata=_section(
            "The surroundings agreed for line and article; others count for no statement",
            as_comment=True,
        ),
    )
    retirement: Retirement = field(
        default_factory=Retirement,
        metadata=_section("When lines, slings and articles retire", as_comment=True),
    )
    line: tuple[StatedLine, ...] = field(
        default=(),
        metadata=_section("The lines that spring taut; one section for each line", many=StatedLine),
    )
    article: tuple[Article, ...] = field(
        default=(),
        metadata=_section("The parts under test; one section for each part", many=Article),
    )
    # A comment, because a limit that nobody set must not judge an article.
    dimension: tuple[Dimension, ...] = field(
        default=(),
        metadata=_section(
            "Dimensions of the articles, measured before and after; one section for each",
            many=Dimension,
            as_comment=True,
        ),
    )
    mount: tuple[Mount, ...] = field(
        default=(),
        metadata=_section(
            "The mounts, which hold the article to the rig; one section for each", many=Mount
        ),
    )
    # A comment, because nobody may take an example of a strength for his own.
    element: tuple[Element, ...] = field(
        default=(),
        metadata=_section(
            "The load path from sled to ground; one section for each element",
            many=Element,
            as_comment=True,
        ),
    )
    newton_per_volt: float | None = None

    @property
    def rehearsed(self) -> bool:
        """It is there to practise with."""
        return self.campaign.kind == "rehearsal"

    @property
    def retired(self) -> tuple[Retired, ...]:
        """Lines and articles that must no longer be dropped."""
        things = [("line", line.name, line.retired) for line in self.line]
        things += [("article", article.name, article.retired) for article in self.article]
        return tuple(
            Retired(kind, name, signed(why) or "no reason is stated")
            for kind, name, why in things
            if why is not None
        )

    @property
    def setup(self) -> DropSetup:
        """What holds for every drop."""
        required = self.requirement
        return replace(
            self.drop,
            target_n=required.target_n or required.derived_target_n,
            limit_n=required.limit_n,
            shortest_s=required.shortest_duration_s,
            longest_s=required.longest_duration_s,
            end_state=self.rig.end_state,
            judged_on=None if required.judged_on == SUM else required.judged_on,
            leg_facts=as_text(self.leg),
        )


def _sections() -> Iterator[Section]:
    empty = Stated()
    for part in fields(Stated):
        about = part.metadata
        if about:
            many = about["many"]
            kind = many or type(getattr(empty, part.name))
            yield Section(part.name, kind, about["about"], many is not None, about["as_comment"])


SECTIONS = {section.name: section for section in _sections()}


def stated_in(content: Mapping[str, Any]) -> Stated:
    """What a file's content states; `mistakes_in` must have found nothing in it."""
    sections = {name: SECTIONS[name].made(values) for name, values in content.items()}
    stated = "newton_per_volt" in content.get("calibration", {})
    slope = sections["calibration"].newton_per_volt if stated else None
    return Stated(**sections, newton_per_volt=slope)
