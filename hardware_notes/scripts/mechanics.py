"""Drawings of the mechanics, by the names of their files."""

from __future__ import annotations

import mount_drawings
import rig_drawings
import zone_drawings
from paper import Paper


def papers() -> dict[str, Paper]:
    """Every drawing of the mechanics."""
    return {
        "rig.svg": rig_drawings.whole(),
        "sled.svg": rig_drawings.sled(),
        "latch.svg": rig_drawings.latch(),
        "catch.svg": zone_drawings.catch(),
        "cell.svg": mount_drawings.cell(),
        "wood.svg": mount_drawings.wood(),
        "steel.svg": mount_drawings.steel(),
        "tether.svg": zone_drawings.tether(),
        "zone.svg": zone_drawings.exclusion(),
    }


def drawings() -> dict[str, str]:
    """SVG text of each, by its file's name."""
    return {name: paper.svg() for name, paper in papers().items()}
