"""Entries: additions to a record after its seal: marks, inspections, decisions, photos."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeAlias, TypeVar

import h5py

from tautlog.record import parts
from tautlog.record.parts import Value

PLACES = ("marks", "inspections", "decisions", "photos", "shunt_checks", "given_up")
MOST_ENTRIES = 1 << 10  # of a kind; own choice, far beyond what anybody enters for a drop
PHOTO_TEXTS = ("software", "utc", "name", "sha256", "note")
TextEntry = TypeVar("TextEntry", "Inspection", "Decision", "GivenUp")
# Attributes of entries by place and number, such as ("marks", 1).
Entries: TypeAlias = dict[tuple[str, int], Mapping[str, Value]]


@dataclass(frozen=True)
class AddedEntry:
    """An addition to a record after its seal; it is never rewritten.

    Attributes
    ----------
    number : int
        1, 2, ...; if only one can hold, the newest does.
    software, utc : str
        The program that entered it, and when.
    """

    number: int
    software: str
    utc: str


@dataclass(frozen=True)
class MarksRun(AddedEntry):
    """One marking run that a record keeps; `settings` and `result` as from JSON."""

    settings: dict[str, Any]
    result: dict[str, Any]


@dataclass(frozen=True)
class Inspection(AddedEntry):
    """The result of an inspection of the article after the drop.

    Attributes
    ----------
    by, finding, note : str
        Who inspected; one of `inspection.ARTICLE_FINDINGS`; a remark.
    where, moved : str
        Where it gave way; what touched or moved first.
    dimensions : str
        What was measured, for `model.dimensions`; "" for nothing, as in older records.
    """

    by: str
    finding: str
    note: str
    where: str
    moved: str
    dimensions: str = ""


@dataclass(frozen=True)
class Decision(AddedEntry):
    """The decision of a named person about a test.

    Attributes
    ----------
    by, verdict, reason : str
        Who decided; one of the test verdicts; why.
    proposed : str
        The verdict that the tool proposed then.
    """

    by: str
    verdict: str
    proposed: str
    reason: str


@dataclass(frozen=True)
class GivenUp(AddedEntry):
    """The decision of a named person to do without what the board never sent.

    Attributes
    ----------
    by, reason : str
        Who decided, and why.
    lacks : str
        What the record lacks, in words.
    """

    by: str
    reason: str
    lacks: str


@dataclass(frozen=True)
class Photo(AddedEntry):
    """A photo or film that belongs to a drop; the file itself lies elsewhere.

    Attributes
    ----------
    name, sha256, note : str
        Name and hash of the file; what it shows.
    size : int
        Bytes.
    offset_s : float or None
        Time in a film at which the board's flash is seen.
    """

    name: str
    sha256: str
    note: str
    size: int
    offset_s: float | None


def read_entries(file: h5py.File) -> Entries:
    """Attributes of all entries of a record, of each kind in the order of their numbers."""
    entries: Entries = {}
    length = 0
    for where in PLACES:
        # Every record has a group for marks from the beginning.
        names = parts.group(file, where) if parts.has(file, where) or where == "marks" else ()
        if len(names) > MOST_ENTRIES:
            raise ValueError(f"/{where} has {len(names)} entries, allowed are {MOST_ENTRIES}")
        for name in sorted(names, key=int):
            if name != str(int(name)):
                raise ValueError(f"/{where}/{name[:40]} is not the number of an entry")
            values = parts.attributes(parts.group(file, f"{where}/{name}"))
            length += sum(len(value) for value in values.values() if isinstance(value, str))
            if length > parts.MOST_TEXT:
                raise ValueError(f"the entries have more than {parts.MOST_TEXT} characters")
            entries[where, int(name)] = values
    return entries


def marks_in(entries: Entries) -> tuple[MarksRun, ...]:
    """Marking runs, oldest first."""
    return tuple(
        MarksRun(
            number,
            software=_text(values, "software"),
            utc=_text(values, "utc"),
            settings=parts.object_in(_text(values, "settings_json")),
            result=parts.object_in(_text(values, "result_json")),
        )
        for number, values in _of_kind(entries, "marks")
    )


def texts_in(entries: Entries, where: str, kind: type[TextEntry]) -> tuple[TextEntry, ...]:
    """Entries whose values are all texts, oldest first."""
    names = [field.name for field in fields(kind) if field.name != "number"]
    return tuple(
        kind(number, **{name: _text(values, name) for name in names})
        for number, values in _of_kind(entries, where)
    )


def photos_in(entries: Entries) -> tuple[Photo, ...]:
    """Photos, oldest first."""
    return tuple(
        Photo(
            number,
            **{name: _text(values, name) for name in PHOTO_TEXTS},
            size=int(parts.number_in({"size": "0", **values}, "size")),
            offset_s=parts.number_in(values, "offset_s") if "offset_s" in values else None,
        )
        for number, values in _of_kind(entries, "photos")
    )


def shunt_off_in(entries: Entries) -> float | None:
    """Ratio of the shunt resistor's steps after and before the drop, minus 1."""
    checks = _of_kind(entries, "shunt_checks")
    if not checks:
        return None
    before, after = (parts.number_in(checks[-1][1], name) for name in ("before_v", "after_v"))
    return after / before - 1.0 if before else None


def _of_kind(entries: Entries, where: str) -> list[tuple[int, Mapping[str, Value]]]:
    return [(number, values) for (place, number), values in entries.items() if place == where]


def _text(values: Mapping[str, Value], name: str) -> str:
    return str(values.get(name, ""))
