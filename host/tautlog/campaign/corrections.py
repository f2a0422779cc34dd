"""Corrections: what of a campaign was entered wrongly, and what stands in its place.

Nothing is erased: a superseded calibration, proof or drop entered by hand is told beside the
one that counts, with who corrected it and why.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from tautlog.calibrate.kept import standing_files
from tautlog.campaign.ledger import LedgerEntry, all_entries
from tautlog.campaign.proofs import Proof, read_proofs
from tautlog.files.json_lines import Standing

Told = TypeVar("Told", LedgerEntry, Proof)


def corrections_in(folder: Path) -> list[str]:
    """One line each, in words; see the module.

    Raises
    ------
    CampaignError
        If ledger or proofs cannot be read.
    """
    found = [
        f"calibration {one.path.name} is superseded by {one.superseded_by} ({one.told})"
        for one in standing_files(folder)
        if one.superseded_by
    ]
    found += _of_lines("proof", read_proofs(folder), _proof_words)
    found += _of_lines("ledger entry", all_entries(folder), _entry_words)
    return found


def _of_lines(what: str, told: list[Standing[Told]], words: Callable[[Told], str]) -> list[str]:
    by_number = {one.number: one for one in told}
    found = []
    for one in told:
        if one.superseded_by is None:
            continue
        correction = by_number[one.superseded_by].entry
        why = "" if correction is None else f" ({correction.by}: {correction.reason})"
        was = "it cannot be read" if one.entry is None else words(one.entry)
        found.append(f"{what} {one.number}, {was}, is superseded by {one.superseded_by}{why}")
    return found


def _proof_words(one: Proof) -> str:
    return f"{one.pulled_n:.0f} N on {one.mount}, {one.utc[:10]}, by {one.by}"


def _entry_words(one: LedgerEntry) -> str:
    names = ", ".join(name for name in (one.article, one.line, one.mount) if name)
    return f"{names or 'no such drop'}, {one.utc[:10]}, by {one.by}"
