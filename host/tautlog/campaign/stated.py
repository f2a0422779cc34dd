"""Stated: all that a campaign.toml states, a field for each section.

`SECTIONS` is the list of what may stand in the file: it is held against it, and a new one is
written from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

from tautlog.campaign.condemned import Retired
from tautlog.campaign.sections import (
    About,
    Amplifier,
    Article,
    Cell,
    Connection,
    DecisionRule,
    Requirement,
    Rig,
    StatedLine,
)
from tautlog.model.calibration import Calibration
from tautlog.model.key import Key, keys_of
from tautlog.model.load_path import Element, Mount
from tautlog.model.signature import signed
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class Section:
    """One section of the file.

    Attributes
    ----------
    name, about : str
        Between its brackets; the comment above it.
    kind : type
        The dataclass whose keys may stand in it.
    many : bool
        It may stand there several times.
    as_comment : bool
        A new file shows it as a comment.
    """

    name: str
    kind: type
    about: str
    many: bool
    as_comment: bool

    @property
    def head(self) -> str:
        """How it is written."""
        return f"[[{self.name}]]" if self.many else f"[{self.name}]"

    @cached_property
    def keys(self) -> Mapping[str, Key]:
        """What may stand in it, by name, former names too."""
        own = keys_of(self.kind)
        return {**own, **{one.former: one for one in own.values() if one.former}}

    def made(self, told: Any) -> Any:
        """What it states, one or several objects of its kind, where it was found to be right."""
        if self.many:
            return tuple(map(self._one, told))
        return self._one(told)

    def _one(self, values: Mapping[str, Any]) -> Any:
        keyed = [(self.keys[name], value) for name, value in values.items()]
        return self.kind(**{key.name: key.kind(value) for key, value in keyed})


def _section(
    about: str, *, many: type | None = None, as_comment: bool = False
) -> dict[str, object]:
    """Metadata of a field that is a section, or several of one kind; see `Section`."""
    return {"about": about, "many": many, "as_comment": as_comment}


@dataclass(frozen=True)
class Stated:
    """What campaign.toml states; see its sections.

    `calibration` is that of the file, which files of later calibrations go over;
    `newton_per_volt` its slope, or None where it states none.
    """

    campaign: About = field(default_factory=About, metadata=_section("What this folder is about"))
    requirement: Requirement = field(
        default_factory=Requirement, metadata=_section("The load that the part must be proven for")
    )
    drop: DropSetup = field(
        default_factory=DropSetup,
        metadata=_section("What holds for a drop unless its command line says otherwise"),
    )
    calibration: Calibration = field(
        default_factory=Calibration,
        metadata=_section("The measuring chain: cell, amplifier and converter as one"),
    )
    board: Connection = field(
        default_factory=Connection, metadata=_section("How the laptop reaches the board")
    )
    rig: Rig = field(
        default_factory=Rig, metadata=_section("Limits of the rig; a plan is held against them")
    )
    cell: Cell = field(
        default_factory=Cell, metadata=_section("The load cell, from its data sheet")
    )
    amplifier: Amplifier = field(
        default_factory=Amplifier, metadata=_section("Amplifier and anti-alias filter")
    )
    decision: DecisionRule = field(
        default_factory=DecisionRule,
        metadata=_section("How verdicts are reached, agreed before the first drop"),
    )
    line: tuple[StatedLine, ...] = field(
        default=(),
        metadata=_section("What springs taut; one section for each line", many=StatedLine),
    )
    article: tuple[Article, ...] = field(
        default=(), metadata=_section("The parts under test; one section for each", many=Article)
    )
    mount: tuple[Mount, ...] = field(
        default=(),
        metadata=_section("What holds the article to the rig; one section for each", many=Mount),
    )
    # No example of a strength may be taken for the user's own.
    element: tuple[Element, ...] = field(
        default=(),
        metadata=_section(
            "The load path, from sled to ground; one section for each element",
            many=Element,
            as_comment=True,
        ),
    )
    newton_per_volt: float | None = None

    @property
    def retired(self) -> tuple[Retired, ...]:
        """Lines and articles that must not be dropped any more."""
        told = [("line", one.name, one.retired) for one in self.line]
        told += [("article", one.name, one.retired) for one in self.article]
        return tuple(
            Retired(kind, name, signed(why) or "nobody wrote why")
            for kind, name, why in told
            if why is not None
        )

    @property
    def setup(self) -> DropSetup:
        """What holds for every drop."""
        said = self.requirement
        return replace(
            self.drop,
            target_n=said.target_n or said.derived_target_n,
            limit_n=said.limit_n,
            shortest_s=said.shortest_duration_s,
            longest_s=said.longest_duration_s,
            end_state=self.rig.end_state,
        )


def _sections() -> Iterator[Section]:
    nothing = Stated()
    for one in fields(Stated):
        if one.metadata:
            many, told = one.metadata["many"], one.metadata
            kind = many or type(getattr(nothing, one.name))
            yield Section(one.name, kind, told["about"], many is not None, told["as_comment"])


SECTIONS = {one.name: one for one in _sections()}


def stated_in(content: Mapping[str, Any]) -> Stated:
    """What a file's content states, in which `mistakes_in` found none."""
    said = {name: SECTIONS[name].made(one) for name, one in content.items()}
    slope = content.get("calibration", {}).get("newton_per_volt")
    return Stated(**said, newton_per_volt=None if slope is None else float(slope))
