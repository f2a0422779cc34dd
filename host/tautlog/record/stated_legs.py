"""Stated legs: what a record keeps of its legs' angles and limits."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tautlog.errors import JsonError, RecordError
from tautlog.model.leg_facts import LegFacts, leaning, read_leg_facts


def stated_leaning(path: Path, text: str, names: Sequence[str]) -> tuple[LegFacts, ...]:
    """The legs of these names with their angles, in that order; none unless all are stated.

    Raises
    ------
    RecordError
        If the record is damaged.
    """
    try:
        return leaning(read_leg_facts(text), names)
    except JsonError as problem:
        raise RecordError(f"{path} is damaged: {problem}", path=str(path)) from problem
