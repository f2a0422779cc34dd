"""Display: in which units a campaign's numbers are shown, as campaign.toml states it."""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model.display_units import CHOICES, Units
from tautlog.model.key import stated


@dataclass(frozen=True)
class Display:
    """Units in which people read the campaign; files, JSON and CSV stay SI."""

    force: str = field(
        default="N",
        metadata=stated("Forces; with the length, stiffness.", "lbf", choices=CHOICES["force"]),
    )
    length: str = field(
        default="m",
        metadata=stated(
            "Heights and lengths; ft shows stretch in in, m shows it in mm.",
            "ft",
            choices=CHOICES["length"],
        ),
    )
    energy: str = field(
        default="J", metadata=stated("Energies.", "ft lbf", choices=CHOICES["energy"])
    )
    mass: str = field(default="kg", metadata=stated("Masses.", "lb", choices=CHOICES["mass"]))

    @property
    def units(self) -> Units:
        """The units."""
        return Units(self.force, self.length, self.energy, self.mass)
