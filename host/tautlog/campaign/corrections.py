"""Corrections: wrong entries of a campaign, and the entries that supersede them.

Nothing is erased: a superseded calibration, proof or drop entered by hand is reported with its
correction, who made it and why.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from tautlog.calibrate.kept import standing_files
from tautlog.campaign.ledger import LedgerEntry, all_entries
from tautlog.campaign.proofs import Proof, read_proofs
from tautlog.files.json_lines import Standing

Entry = TypeVar("Entry", LedgerEntry, Proof)


def corrections_in(folder: Path) -> list[str]:
    """Every correction of a campaign, one line of words each.

    Raises
    ------
    CampaignError
        If ledger or proofs cannot be read.
    """
    found = [
        f"calibration {file.path.name} is superseded by {file.superseded_by} ({file.reason})"
        for file in standing_files(folder)
        if file.superseded_by
    ]
    found += _of_lines("proof", read_proofs(folder), _proof_words)
    found += _of_lines("ledger entry", all_entries(folder), _entry_words)
    return found


def _of_lines(what: str, lines: list[Standing[Entry]], words: Callable[[Entry], str]) -> list[str]:
    by_number = {line.number: line for line in lines}
    found = []
    for line in lines:
        if line.superseded_by is None:
            continue
        correction = by_number[line.superseded_by].entry
        why = "" if correction is None else f" ({correction.by}: {correction.reason})"
        was = "it cannot be read" if line.entry is None else words(line.entry)
        found.append(f"{what} {line.number}, {was}, is superseded by {line.superseded_by}{why}")
    return found


def _proof_words(proof: Proof) -> str:
    return f"{proof.pulled_n:.0f} N on {proof.mount}, {proof.utc[:10]}, by {proof.by}"


def _entry_words(entry: LedgerEntry) -> str:
    names = ", ".join(name for name in (entry.article, entry.line, entry.mount) if name)
    return f"{names or 'no such drop'}, {entry.utc[:10]}, by {entry.by}"
