"""Entry seals: marks, inspections, decisions, photos and shunt checks, each sealed when entered.

The record's own seal is made once, and no entry breaks it. Each entry has its own seal, which
covers the seal of the entry before it, of whatever kind; the first covers that of the record.
So an entry that was edited, removed or moved is detected.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

import h5py

from tautlog.model.seal_version import ENTRIES_SEALED
from tautlog.record import layout
from tautlog.record.entries import Entries, read_entries
from tautlog.record.parts import PlaceAttributes, Value, attributes, text_of
from tautlog.record.seal import version_of

SEAL, PREVIOUS, ORDER = "seal_sha256", "previous_sha256", "entry"


@dataclass(frozen=True)
class EditedEntry:
    """An entry that was changed after it was entered; it is not believed.

    Attributes
    ----------
    where : str
        One of `entries.PLACES`.
    number : int
        Its number there; 0 if the entry is gone.
    newest : bool
        It is the newest entry of its kind.
    text : str
        What is wrong, in words.
    """

    where: str
    number: int
    newest: bool
    text: str


def put_entry_seal(file: h5py.File, entry: h5py.Group) -> None:
    """Seal a complete entry, after the entries already there."""
    before = [values for values in read_entries(file).values() if SEAL in values]
    last = max(before, key=_order, default=None)
    previous = text_of(file, SEAL) if last is None else str(last[SEAL])
    layout.put(entry, {ORDER: 1 if last is None else _order(last) + 1, PREVIOUS: previous})
    layout.put(entry, {SEAL: _seal_of(str(entry.name), attributes(entry))})


def edited_entries(entries: Entries, sealed: PlaceAttributes) -> tuple[EditedEntry, ...]:
    """Entries of a record that were changed after they were entered.

    Entries of older programs have no seal and are taken as they are.

    Parameters
    ----------
    entries : mapping
        All entries of the record.
    sealed : mapping
        The attributes that the record's seal covers.
    """
    found = []
    for (where, number), values in entries.items():
        text = ""
        if SEAL not in values:
            text = "has no seal: tautlog did not enter it"
            text = text if version_of(sealed) >= ENTRIES_SEALED or PREVIOUS in values else ""
        elif values[SEAL] != _seal_of(f"/{where}/{number}", values):
            text = "was edited after it was written"
        if text:
            newest = number == max(other for place, other in entries if place == where)
            found.append(EditedEntry(where, number, newest, f"{where} {number} {text}"))
    return (*found, *_lost(entries, str(sealed["/"].get(SEAL, ""))))


def seals_in(entries: Entries) -> tuple[tuple[str, int, str], ...]:
    """Place, order and seal of every sealed entry, in the order of entry."""
    found = (
        (f"{where}/{number}", _order(values), str(values[SEAL]))
        for (where, number), values in entries.items()
        if SEAL in values
    )
    return tuple(sorted(found, key=lambda entry: entry[1]))


def believed(entries: Entries, edited: tuple[EditedEntry, ...]) -> Entries:
    """The entries without those that were changed."""
    changed = {(entry.where, entry.number) for entry in edited}
    return {place: values for place, values in entries.items() if place not in changed}


def _lost(entries: Entries, seal: str) -> list[EditedEntry]:
    """Entries before which another entry is missing or changed."""
    sealed = {place: values for place, values in entries.items() if SEAL in values}
    by_order = {_order(values): values for values in sealed.values()}
    found = []
    for (where, number), values in sealed.items():
        order = _order(values)
        before = by_order.get(order - 1, {}).get(SEAL)
        # An entry made before the record was finished follows no seal.
        allowed = {seal, ""} if order == 1 else {before}
        if values.get(PREVIOUS, "") not in allowed:
            text = f"the entry before {where} {number} was edited or removed"
            found.append(EditedEntry("entries", 0, False, text))
    return found


def _order(values: Mapping[str, Value]) -> int:
    order = values.get(ORDER, 0)
    return int(order) if isinstance(order, int) else 0  # HDF5 has a True of its own


def _seal_of(place: str, values: Mapping[str, Value]) -> str:
    """SHA-256 over one line for each attribute, as in the record's own seal."""
    lines = [
        json.dumps([place, name, values[name]]) + "\n" for name in sorted(values) if name != SEAL
    ]
    return hashlib.sha256("".join(lines).encode("ascii")).hexdigest()
