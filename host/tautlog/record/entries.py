"""Entries: what is added to a record after its seal: marks, inspections, decisions, photos."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeAlias, TypeVar

import h5py

from tautlog.record import parts
from tautlog.record.parts import Value

PLACES = ("marks", "inspections", "decisions", "photos", "shunt_checks")
PHOTO_TEXTS = ("software", "utc", "name", "sha256", "note")
TextEntry = TypeVar("TextEntry", "Inspection", "Decision")
# Attributes of entries by place and number, such as ("marks", 1).
Entries: TypeAlias = dict[tuple[str, int], Mapping[str, Value]]


@dataclass(frozen=True)
class AddedEntry:
    """What was added to a record after its seal; it is never rewritten.

    Attributes
    ----------
    number : int
        1, 2, ...; where only one can hold, the newest does.
    software, utc : str
        Which program entered it, and when.
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
    """What somebody found when the article was looked at after the drop.

    Attributes
    ----------
    by, finding, note : str
        Who looked; one of `inspection.ARTICLE_FINDINGS`; in plain words.
    where, moved : str
        Where it gave; what touched or moved first.
    """

    by: str
    finding: str
    note: str
    where: str
    moved: str


@dataclass(frozen=True)
class Decision(AddedEntry):
    """What a named person decided about a test.

    Attributes
    ----------
    by, verdict, reason : str
        Who decided; one of the test verdicts; why.
    proposed : str
        What the tool had proposed then.
    """

    by: str
    verdict: str
    proposed: str
    reason: str


@dataclass(frozen=True)
class Photo(AddedEntry):
    """A photo or film that belongs to a drop; the file itself lies elsewhere.

    Attributes
    ----------
    name, sha256, note : str
        Of the file; its hash; what it shows.
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
    for where in PLACES:
        # Every record has a place for marks from the beginning.
        names = parts.group(file, where) if where in file or where == "marks" else ()
        for name in sorted(names, key=int):
            if name != str(int(name)):
                raise ValueError(f"/{where}/{name[:40]} is no number of an entry")
            entries[where, int(name)] = parts.attributes(parts.group(file, f"{where}/{name}"))
    return entries


def marks_in(entries: Entries) -> tuple[MarksRun, ...]:
    """Marking runs, oldest first."""
    return tuple(
        MarksRun(
            number,
            software=_text(told, "software"),
            utc=_text(told, "utc"),
            settings=parts.object_in(_text(told, "settings_json")),
            result=parts.object_in(_text(told, "result_json")),
        )
        for number, told in _of_kind(entries, "marks")
    )


def texts_in(entries: Entries, where: str, kind: type[TextEntry]) -> tuple[TextEntry, ...]:
    """Entries that hold nothing but texts, oldest first."""
    names = [field.name for field in fields(kind) if field.name != "number"]
    return tuple(
        kind(number, **{name: _text(told, name) for name in names})
        for number, told in _of_kind(entries, where)
    )


def photos_in(entries: Entries) -> tuple[Photo, ...]:
    """Photos, oldest first."""
    return tuple(
        Photo(
            number,
            **{name: _text(told, name) for name in PHOTO_TEXTS},
            size=int(parts.number_in({"size": "0", **told}, "size")),
            offset_s=parts.number_in(told, "offset_s") if "offset_s" in told else None,
        )
        for number, told in _of_kind(entries, "photos")
    )


def shunt_off_in(entries: Entries) -> float | None:
    """Step of the shunt resistor after the drop over that before it, less one."""
    checks = _of_kind(entries, "shunt_checks")
    if not checks:
        return None
    before, after = (parts.number_in(checks[-1][1], name) for name in ("before_v", "after_v"))
    return after / before - 1.0 if before else None


def _of_kind(entries: Entries, where: str) -> list[tuple[int, Mapping[str, Value]]]:
    return [(number, told) for (place, number), told in entries.items() if place == where]


def _text(told: Mapping[str, Value], name: str) -> str:
    return str(told.get(name, ""))
