"""Entries: what is added to a record after its seal: marks, inspections, decisions, photos."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, TypeVar

import h5py

from tautlog.record import parts

PHOTO_TEXTS = ("software", "utc", "name", "sha256", "note")
TextEntry = TypeVar("TextEntry", "Inspection", "Decision")
Numbers = frozenset[tuple[str, int]]  # entries by place and number, such as ("marks", 1)


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


def _numbered(file: h5py.File, where: str, without: Numbers) -> list[tuple[int, h5py.Group]]:
    """Groups named 1, 2, ... in one group, in the order of their numbers; some left out."""
    names = sorted(parts.group(file, where), key=int)
    return [
        (int(name), parts.group(file, f"{where}/{name}"))
        for name in names
        if (where, int(name)) not in without
    ]


def read_marks(file: h5py.File, without: Numbers = frozenset()) -> tuple[MarksRun, ...]:
    """Marking runs, oldest first."""
    found = []
    for number, run in _numbered(file, "marks", without):
        told = parts.attributes(run)
        settings, result = (
            parts.object_in(str(told.get(f"{name}_json", ""))) for name in ("settings", "result")
        )
        software, utc = str(told.get("software", "")), str(told.get("utc", ""))
        found.append(MarksRun(number, software, utc, settings, result))
    return tuple(found)


def read_texts(
    file: h5py.File, where: str, kind: type[TextEntry], without: Numbers = frozenset()
) -> tuple[TextEntry, ...]:
    """Entries that hold nothing but texts; none where there is no such group."""
    if where not in file:
        return ()
    names = [field.name for field in fields(kind) if field.name != "number"]
    return tuple(
        kind(number, **{name: parts.text_of(one, name) for name in names})
        for number, one in _numbered(file, where, without)
    )


def read_shunt_off(file: h5py.File, without: Numbers = frozenset()) -> float | None:
    """Step of the shunt resistor after the drop over that before it, less one."""
    there = _numbered(file, "shunt_checks", without) if "shunt_checks" in file else []
    if not there:
        return None
    _, last = there[-1]
    before, after = (
        parts.number_in(parts.text_of(last, name), name) for name in ("before_v", "after_v")
    )
    return after / before - 1.0 if before else None


def read_photos(file: h5py.File, without: Numbers = frozenset()) -> tuple[Photo, ...]:
    """Photos, oldest first."""
    if "photos" not in file:
        return ()
    return tuple(
        Photo(
            number,
            **{name: parts.text_of(one, name) for name in PHOTO_TEXTS},
            size=int(parts.number_in(parts.text_of(one, "size") or "0", "size")),
            offset_s=(
                parts.number_in(parts.text_of(one, "offset_s"), "offset_s")
                if "offset_s" in one.attrs
                else None
            ),
        )
        for number, one in _numbered(file, "photos", without)
    )
