"""Requirement: the load that the part must be proven for, and what the inspection must find."""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model import quantities as q
from tautlog.model.key import stated
from tautlog.model.legs import SUM


@dataclass(frozen=True)
class Requirement:
    """The load that the part must be proven for."""

    kind: str = field(
        default="limit",
        metadata=stated(
            "What the part must stand. limit: no detrimental permanent deformation; ultimate: no "
            "rupture.",
            choices=("limit", "ultimate"),
        ),
    )
    target_n: float | None = field(
        default=None,
        metadata=stated(
            "Force that the test must reach. Or state the flight load and both factors instead.",
            1800.0,
            q.FORCE,
        ),
    )
    flight_load_n: float | None = field(
        default=None,
        metadata=stated(
            "Largest load in flight. Multiplied by both factors, it is the target.",
            1200.0,
            q.FORCE,
            optional=True,
        ),
    )
    design_factor: float = field(
        default=1.0,
        metadata=stated("Design factor on the flight load.", 1.25, q.FACTOR, optional=True),
    )
    test_factor: float = field(
        default=1.0,
        metadata=stated("Test factor on the design load.", 1.2, q.FACTOR, optional=True),
    )
    limit_n: float | None = field(
        default=None,
        metadata=stated(
            "Force above which the part is overloaded (default: 1.1 x target).",
            1980.0,
            q.FORCE,
            optional=True,
        ),
    )
    shortest_duration_s: float | None = field(
        default=None,
        metadata=stated(
            "Shortest duration allowed for the pulse, above 10 % of its peak.",
            0.02,
            q.PULSE,
            optional=True,
        ),
    )
    longest_duration_s: float | None = field(
        default=None, metadata=stated("Longest duration allowed.", 0.2, q.PULSE, optional=True)
    )
    judged_on: str = field(
        default=SUM,
        metadata=stated(
            "What is held against target and limit, if there are several legs: sum, or the channel "
            "of one leg.",
            optional=True,
        ),
    )
    criterion: str = field(
        default="",
        metadata=stated(
            "What the inspection must find if the part held.",
            "no visible crack; eye distance within 0.5 mm of before",
        ),
    )
    criterion_dimensions: str = field(
        default="",
        metadata=stated(
            "Names of [[dimension]] that show whether the criterion is met, with commas between. "
            "An article is called whole only with all of its own measured.",
            "bridle-1 length",
            optional=True,
        ),
    )
    source: str = field(
        default="", metadata=stated("Source of the load.", "load sheet 4, revision B")
    )

    @property
    def derived_target_n(self) -> float | None:
        """Flight load x design factor x test factor, or None without a load."""
        if self.flight_load_n is None:
            return None
        return self.flight_load_n * self.design_factor * self.test_factor

    @property
    def dimensions(self) -> tuple[str, ...]:
        """Names of the dimensions that the criterion is judged by."""
        names = (name.strip() for name in self.criterion_dimensions.split(","))
        return tuple(name for name in names if name)
