"""Sources: the drops of a report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tautlog.archive.assess import AS_BEFORE, assess
from tautlog.archive.assessment import Assessment
from tautlog.model.display_units import SI, Units
from tautlog.model.origin import IMPORTED, MARK
from tautlog.model.predicted import Predicted
from tautlog.planning.expected import Expected, expectations_at, expected_from
from tautlog.record import Record


@dataclass(frozen=True)
class Source:
    """One record of a report with its assessment.

    `expected` is its prediction, to be drawn; `later` is what would be predicted now. `number` is
    its place in the report, from 1.
    """

    record: Record
    drop: Assessment
    expected: Expected | None = None
    later: Predicted | None = None
    number: int = 0

    @property
    def mark(self) -> str:
        """What must stand beside everything that is shown of it, or ""."""
        return MARK if self.record.rehearsed else IMPORTED.upper() if self.imported else ""

    @property
    def imported(self) -> bool:
        """Whether another instrument recorded it."""
        return self.record.origin == IMPORTED

    @property
    def counts(self) -> bool:
        """Whether it is a drop. A file that was changed is not believed to be a rehearsal."""
        return not self.record.rehearsed or self.drop.setup.not_sealed is not None

    @property
    def name(self) -> str:
        """Name of the drop, with its mark."""
        stem = self.record.path.stem
        return f"{self.mark}: {stem}" if self.mark else stem


def read_sources(
    records: Sequence[Record], cfc: int | None = AS_BEFORE, units: Units = SI
) -> list[Source]:
    """Assess records with the settings of their newest marks, in the order of their drops."""
    ordered = sorted(records, key=lambda record: (record.utc, record.path.name))
    folders = {record.path.parent for record in records}
    expectations_of = {folder: expectations_at(folder / "record") for folder in folders}
    found: list[Source] = []
    for record in ordered:
        expectations = expectations_of[record.path.parent]
        drop = replace(assess(record, cfc=cfc, expectations=expectations), units=units)
        later = expectations.of(record.setup) if expectations and drop.predicted else None
        found.append(
            Source(record, drop, expected_from(drop.predicted, units), later, number=len(found) + 1)
        )
    return found
