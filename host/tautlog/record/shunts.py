"""Shunts: the shunt resistor's steps in records."""

from __future__ import annotations

from pathlib import Path

from tautlog.errors import RecordError
from tautlog.record import parts
from tautlog.record.entries import read_entries
from tautlog.record.entry_seals import edited_entries
from tautlog.record.problems import reading

_NEWEST = 50  # records searched


def last_shunt_step(folder: Path, newton_per_volt: float) -> tuple[Path, float] | None:
    """The newest step before a drop in a folder, taken with the same calibration factor.

    Returns
    -------
    tuple of (Path, float) or None
        The record, and the volts.
    """
    found = []
    for path in sorted(folder.glob("*.h5"), reverse=True)[:_NEWEST]:
        try:
            with reading(path, patient=False) as file:
                if float(file["calibration"].attrs["newton_per_volt"]) != newton_per_volt:
                    continue
                entries = read_entries(file)
                checks = [number for where, number in entries if where == "shunt_checks"]
                edited = edited_entries(entries, parts.sealed_attributes(file))
                if not checks or any(
                    entry.where == "shunt_checks" and entry.newest for entry in edited
                ):
                    continue
                step_v = parts.number_in(entries["shunt_checks", checks[-1]], "before_v")
                found.append((parts.text_of(file, "utc"), path, step_v))
        except (RecordError, ValueError, KeyError):
            continue  # skip a broken record
    if not found:
        return None
    _, path, step_v = max(found, key=lambda step: step[0])
    return path, step_v
