"""Entry seals: marks, inspections, decisions, photos and shunt checks, each sealed when entered.

The record's own seal is made once, and no entry breaks it. Each entry is sealed for itself,
with the seal of the entry before it, whatever that is of, and the first with that of the
record: an entry that was edited, taken away or moved shows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

import h5py

from tautlog.record import layout
from tautlog.record.entries import Entries, read_entries
from tautlog.record.parts import Told, Value, attributes, text_of
from tautlog.record.seal import version_of
from tautlog.record.seal_version import ENTRIES_SEALED

SEAL, PREVIOUS, ORDER = "seal_sha256", "previous_sha256", "entry"


@dataclass(frozen=True)
class EditedEntry:
    """An entry that is not what was entered; nobody believes it.

    Attributes
    ----------
    where : str
        One of `entries.PLACES`.
    number : int
        Its number there; 0 where none is left.
    newest : bool
        None of its kind came after it.
    text : str
        What is wrong with it, in words.
    """

    where: str
    number: int
    newest: bool
    text: str


def put_entry_seal(file: h5py.File, entry: h5py.Group) -> None:
    """Seal an entry whose attributes are all written, after those that are there."""
    before = [one for one in read_entries(file).values() if SEAL in one]
    last = max(before, key=_order, default=None)
    previous = text_of(file, SEAL) if last is None else str(last[SEAL])
    layout.put(entry, {ORDER: 1 if last is None else _order(last) + 1, PREVIOUS: previous})
    layout.put(entry, {SEAL: _seal_of(str(entry.name), attributes(entry))})


def edited_entries(entries: Entries, told: Told) -> tuple[EditedEntry, ...]:
    """Entries of a record that are not what was entered.

    Those of records of older programs carry no seal, and are taken as they are.

    Parameters
    ----------
    entries : mapping
        All of the record.
    told : mapping
        Its sealed attributes.
    """
    found = []
    for (where, number), values in entries.items():
        text = ""
        if SEAL not in values:
            text = "carries no seal: it was not entered by tautlog"
            text = text if version_of(told) >= ENTRIES_SEALED or PREVIOUS in values else ""
        elif values[SEAL] != _seal_of(f"/{where}/{number}", values):
            text = "was edited after it was written"
        if text:
            newest = number == max(one for place, one in entries if place == where)
            found.append(EditedEntry(where, number, newest, f"{where} {number} {text}"))
    return (*found, *_lost(entries, str(told["/"].get(SEAL, ""))))


def believed(entries: Entries, edited: tuple[EditedEntry, ...]) -> Entries:
    """Entries without those that are not what was entered."""
    without = {(one.where, one.number) for one in edited}
    return {place: values for place, values in entries.items() if place not in without}


def _lost(entries: Entries, seal: str) -> list[EditedEntry]:
    """Where an entry is gone that another one was sealed after."""
    sealed = {place: one for place, one in entries.items() if SEAL in one}
    by_order = {_order(one): one for one in sealed.values()}
    found = []
    for (where, number), one in sealed.items():
        order = _order(one)
        before = by_order.get(order - 1, {}).get(SEAL)
        # What was entered before the record was finished followed no seal.
        allowed = {seal, ""} if order == 1 else {before}
        if one.get(PREVIOUS, "") not in allowed:
            text = f"what stood before {where} {number} was edited or taken away"
            found.append(EditedEntry("entries", 0, False, text))
    return found


def _order(values: Mapping[str, Value]) -> int:
    order = values.get(ORDER, 0)
    return order if isinstance(order, int) else 0


def _seal_of(place: str, values: Mapping[str, Value]) -> str:
    """SHA-256 over one line for each attribute, as in the record's own seal."""
    lines = [
        json.dumps([place, name, values[name]]) + "\n" for name in sorted(values) if name != SEAL
    ]
    return hashlib.sha256("".join(lines).encode("ascii")).hexdigest()
