"""Judging again: what people enter after a drop, and the judgement that follows from it.

Terminal and desk enter inspections, decisions and photos here, so that both keep and show the
same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tautlog.archive.assess import AS_BEFORE, assess
from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import as_kept, keep_marks
from tautlog.archive.photos import digest_of
from tautlog.errors import RecordError
from tautlog.model import quantities as q
from tautlog.model.dimensions import Measured, against_figures, as_text
from tautlog.model.inspection import ARTICLE_FINDINGS
from tautlog.model.signature import signed
from tautlog.model.verdict import TEST_VERDICTS
from tautlog.record import (
    Photo,
    add_decision,
    add_inspection,
    add_photo,
    open_record,
)

DECIDABLE = tuple(verdict for verdict in TEST_VERDICTS if verdict != "pending")
SAY_MORE = (
    "also say where it failed (--where) and what touched or moved first (--moved), while it can "
    "be seen: enter the inspection again, both are kept"
)


def enter_inspection(
    path: Path,
    *,
    by: str,
    finding: str,
    note: str = "",
    where: str = "",
    moved: str = "",
    measured: Sequence[Measured] = (),
    cfc: int | None = AS_BEFORE,
) -> Assessment:
    """Enter what an inspection of the article found; judge the drop again, and keep that.

    Returns
    -------
    Assessment
        Its `problem` says why the new marks could not be kept, or is "".

    Raises
    ------
    RecordError
        If nobody signs it, the finding is unknown or does not stand beside what was measured, or
        the record cannot be read or written.
    """
    name = _signed(path, by, "an inspection")
    _require_word(path, "finding", finding, ARTICLE_FINDINGS)
    problem = against_figures(finding, measured)
    if problem:
        raise RecordError(problem, path=str(path))
    kept = as_text(measured)
    add_inspection(
        path, by=name, finding=finding, note=note, where=where, moved=moved, dimensions=kept
    )
    record = open_record(path)
    assessment = assess(record, cfc=cfc)
    return replace(assessment, problem=keep_marks(record, assessment))


def says_too_little(finding: str, where: str, moved: str) -> str:
    """What an inspection that found damage leaves out, or ""."""
    if finding in ("intact", "not-inspected") or (where and moved):
        return ""
    return SAY_MORE


def enter_decision(
    path: Path, *, by: str, verdict: str, reason: str, cfc: int | None = AS_BEFORE
) -> Assessment:
    """Enter a named person's decision beside the proposal; the judgement as it now stands.

    Raises
    ------
    RecordError
        If name or reason is missing, the verdict is unknown, or the record cannot be read or
        written.
    """
    name, why = _signed(path, by, "a decision"), signed(reason)
    if not why:
        raise RecordError("a decision needs a reason: give it in plain words", path=str(path))
    _require_word(path, "verdict", verdict, DECIDABLE)
    record = open_record(path)
    assessment = assess(record, cfc=cfc)
    proposed = assessment.verdict.test_verdict
    add_decision(path, by=name, verdict=verdict, proposed=proposed, reason=why)
    if not as_kept(record, assessment):
        # Every list must show the proposal that this person saw.
        keep_marks(record, assessment)
    return assess(open_record(path), cfc=cfc)


def enter_photos(
    path: Path, files: Sequence[Path], *, offset_s: float | None = None, note: str = ""
) -> tuple[Photo, ...]:
    """Keep names and hashes of photos and films with a record; return those entered now.

    Raises
    ------
    RecordError
        If a file cannot be read (then none is entered), or the record cannot be written.
    QuantityError
        If the time in the film is out of range.
    """
    if offset_s is not None:
        q.FILM.require("offset", offset_s)
    hashed = [(file, *digest_of(file)) for file in files]
    for file, sha256, size in hashed:
        add_photo(path, name=file.name, sha256=sha256, size=size, offset_s=offset_s, note=note)
    return open_record(path).photos[-len(files) :]


def _signed(path: Path, by: str, what: str) -> str:
    name = signed(by)
    if not name:
        raise RecordError(f"{what} needs the name of who signs it", path=str(path))
    return name


def _require_word(path: Path, what: str, word: str, allowed: Sequence[str]) -> None:
    if word not in allowed:
        raise RecordError(
            f"{what} {word!r}: allowed are {', '.join(allowed)}",
            path=str(path),
        )
