"""Additions: what is entered after the seal: marks, findings, decisions, photos; all else stays."""

from __future__ import annotations

import os
from collections.abc import Mapping

from tautlog.record import layout
from tautlog.record.entry_seals import put_entry_seal
from tautlog.record.problems import DAMAGE, error, reason
from tautlog.record.reader import open_record
from tautlog.record.record_file import RecordFile, add_to_chain


def add_marks(
    path: str | os.PathLike[str], settings: Mapping[str, object], result: Mapping[str, object]
) -> int:
    """Append a marking run to a record; nothing else in it changes.

    Parameters
    ----------
    path : path
        The record.
    settings, result : mapping
        JSON objects. JSON has no NaN: use None for what cannot be determined.

    Returns
    -------
    int
        Number of the run.

    Raises
    ------
    ValueError
        If either cannot be written as JSON.
    RecordError
        If the record cannot be read or written.
    """
    texts = {
        "settings_json": layout.json_text(settings, "settings"),
        "result_json": layout.json_text(result, "result"),
    }
    return _add_entry(path, "marks", texts)


def add_inspection(
    path: str | os.PathLike[str],
    *,
    by: str,
    finding: str,
    note: str = "",
    where: str = "",
    moved: str = "",
    dimensions: str = "",
) -> int:
    """Append the result of an inspection of the article; nothing else in a record changes.

    Parameters
    ----------
    path : path
        The record.
    by, finding, note : str
        Who inspected; one of `inspection.ARTICLE_FINDINGS`; a remark.
    where, moved : str
        Where it gave way; what touched or moved first.
    dimensions : str
        What was measured, as `model.dimensions.as_text` gives it; "" for nothing.

    Returns
    -------
    int
        Number of the inspection.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"by": by, "finding": finding, "note": note, "where": where, "moved": moved}
    if dimensions:
        texts["dimensions"] = dimensions
    return _add_entry(path, "inspections", texts)


def add_decision(
    path: str | os.PathLike[str], *, by: str, verdict: str, proposed: str, reason: str
) -> int:
    """Append the decision of a named person, together with the proposal.

    Parameters
    ----------
    path : path
        The record.
    by, verdict, reason : str
        Who decided; one of the test verdicts; why.
    proposed : str
        The verdict that the tool proposed.

    Returns
    -------
    int
        Number of the decision.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"by": by, "verdict": verdict, "proposed": proposed, "reason": reason}
    return _add_entry(path, "decisions", texts)


def add_photo(
    path: str | os.PathLike[str],
    *,
    name: str,
    sha256: str,
    size: int,
    offset_s: float | None = None,
    note: str = "",
) -> int:
    """Append name and hash of a photo or film; the file itself is not touched.

    Parameters
    ----------
    path : path
        The record.
    name, sha256, note : str
        Name and hash of the file; what it shows.
    size : int
        Bytes.
    offset_s : float or None
        Time in a film at which the board's flash is seen.

    Returns
    -------
    int
        Number of the photo.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"name": name, "sha256": sha256, "size": str(size), "note": note}
    if offset_s is not None:
        texts["offset_s"] = repr(float(offset_s))
    return _add_entry(path, "photos", texts)


def add_shunt_check(path: str | os.PathLike[str], *, before_v: float, after_v: float) -> int:
    """Append the steps of the shunt resistor before and after a drop.

    Parameters
    ----------
    path : path
        The record.
    before_v, after_v : float
        Volts at the converter.

    Returns
    -------
    int
        Number of the check.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    texts = {"before_v": repr(float(before_v)), "after_v": repr(float(after_v))}
    return _add_entry(path, "shunt_checks", texts)


def add_given_up(path: str | os.PathLike[str], *, by: str, reason: str, lacks: str) -> int:
    """Append that a named person does without what the board never sent.

    Parameters
    ----------
    path : path
        The record.
    by, reason, lacks : str
        Who decided; why; what the record lacks.

    Returns
    -------
    int
        Number of the entry.

    Raises
    ------
    RecordError
        If the record cannot be read or written.
    """
    return _add_entry(path, "given_up", {"by": by, "reason": reason, "lacks": lacks})


def _add_entry(path: str | os.PathLike[str], where: str, texts: Mapping[str, str]) -> int:
    """Append a numbered group with attributes, the program and the time."""
    record = open_record(path)
    opened = RecordFile.reopen(record.path, record.record_id)
    try:
        place = opened.file.require_group(where)
        number = max((int(name) for name in place), default=0) + 1
        entry = place.create_group(str(number))
        layout.put(entry, {"software": layout.SOFTWARE, "utc": layout.now(), **texts})
        put_entry_seal(opened.file, entry)
        link = opened.link(entry)
        opened.commit_closed()
    except DAMAGE as problem:
        raise error(record.path, f"cannot be written: {reason(problem)}") from problem
    finally:
        opened.close()
    add_to_chain(record.path, link)
    return number
