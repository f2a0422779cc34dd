"""Sources: the drops that a report is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.archive.assess import AS_BEFORE, assess
from tautlog.archive.assessment import Assessment
from tautlog.model.origin import MARK
from tautlog.model.predicted import Predicted
from tautlog.planning.expected import Expected, expectations_at, expected_from
from tautlog.record import Record


@dataclass(frozen=True)
class Source:
    """One record of a report with what it came to.

    `expected` is what was predicted of it, to be drawn; `later` what would be predicted now.
    """

    record: Record
    drop: Assessment
    expected: Expected | None = None
    later: Predicted | None = None

    @property
    def name(self) -> str:
        """Of the drop, and what it must not be taken for."""
        stem = self.record.path.stem
        return f"{MARK}: {stem}" if self.record.rehearsed else stem


def read_sources(records: Sequence[Record], cfc: int | None = AS_BEFORE) -> list[Source]:
    """Mark records as they were marked last, in the order of their drops."""
    ordered = sorted(records, key=lambda one: (one.utc, one.path.name))
    homes = {one: expectations_at(one / "record") for one in {one.path.parent for one in records}}
    found = []
    for one in ordered:
        expectations = homes[one.path.parent]
        drop = assess(one, cfc=cfc, expectations=expectations)
        later = expectations.of(one.setup) if expectations and drop.predicted else None
        found.append(Source(one, drop, expected_from(drop.predicted), later))
    return found
