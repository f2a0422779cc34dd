"""Flight: what campaign.toml states of the load in flight, beside which drops are laid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from tautlog.model import quantities as q
from tautlog.model.flight import FlightLoad, Opening, Snatch
from tautlog.model.key import stated

SNATCH, OPENING = "snatch", "opening"
NEEDED = {
    SNATCH: ("body_kg", "canopy_kg", "speed_m_s", "stiffness_n_per_m"),
    OPENING: ("drag_area_m2", "speed_m_s", "opening_factor", "body_kg", "filling_s"),
}


@dataclass(frozen=True)
class StatedFlight:
    """The load in flight, by a published model; see `model.flight`."""

    kind: str = field(
        default="",
        metadata=stated(
            "snatch: a line between two bodies comes taut; opening: a canopy fills. What the other "
            "needs is not read.",
            SNATCH,
            choices=("", SNATCH, OPENING),
        ),
    )
    body_kg: float | None = field(
        default=None, metadata=stated("Mass below the canopy.", 25.0, q.CANOPY)
    )
    canopy_kg: float | None = field(
        default=None, metadata=stated("Mass of the canopy, for a snatch.", 1.2, q.CANOPY)
    )
    speed_m_s: float | None = field(
        default=None,
        metadata=stated(
            "Relative speed as the line comes taut; for an opening, speed at line stretch.",
            12.0,
            q.SPEED,
        ),
    )
    stiffness_n_per_m: float | None = field(
        default=None,
        metadata=stated("Stiffness of the line in flight, for a snatch.", 30000.0, q.STIFFNESS),
    )
    drag_area_m2: float | None = field(
        default=None,
        metadata=stated("Cd S of the full canopy, for an opening.", 2.0, q.DRAG_AREA),
    )
    opening_factor: float | None = field(
        default=None,
        metadata=stated("Cx of the canopy's type, for an opening.", 1.7, q.OPENING_FACTOR),
    )
    filling_s: float | None = field(
        default=None,
        metadata=stated("Time from line stretch until it is full, for an opening.", 0.4, q.FILLING),
    )
    expanded_u_fraction: float | None = field(
        default=None,
        metadata=stated(
            "Expanded uncertainty (k = 2) of the load and times in flight, as a fraction. Without "
            "it no drop is called harder or softer than flight.",
            0.2,
            q.SHARE,
        ),
    )
    source: str = field(
        default="", metadata=stated("Where these figures come from.", "flight log 7, camera")
    )

    @property
    def load(self) -> FlightLoad | None:
        """The load; None if no kind is stated."""
        if not self.kind:
            return None
        values = {name: getattr(self, name) for name in NEEDED[self.kind]}
        return Snatch(**values) if self.kind == SNATCH else Opening(**values)

    def contradictions(self) -> Iterator[str]:
        """What the stated kind lacks."""
        if not self.kind:
            every = {name for names in NEEDED.values() for name in names}
            if any(getattr(self, name) is not None for name in every):
                yield f'[flight] kind is missing: expected "{SNATCH}" or "{OPENING}"'
            return
        needed = NEEDED[self.kind]
        for name in needed:
            if getattr(self, name) is None:
                yield f'[flight] {name} is missing: kind = "{self.kind}" needs {", ".join(needed)}'
