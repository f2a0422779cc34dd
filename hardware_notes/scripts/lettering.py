"""Labels of a drawing: how wide they are, what they cover, and what runs through them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

Point = tuple[float, float]
PX = 36  # of a unit
LINE = 1.25  # of the font's size, from line to line


@dataclass(frozen=True)
class Box:
    """A rectangle, y upwards."""

    left: float
    bottom: float
    right: float
    top: float

    def meets(self, other: Box, spare: float = 0.0) -> bool:
        """Whether the two overlap when each is made smaller by `spare`."""
        return (
            self.left + spare < other.right - spare
            and other.left + spare < self.right - spare
            and self.bottom + spare < other.top - spare
            and other.bottom + spare < self.top - spare
        )


@dataclass(frozen=True)
class Text:
    """A label with its place; `box` is what it covers."""

    lines: tuple[str, ...]
    at: Point  # baseline of the first line, at the side that `align` says
    align: str
    size: float
    bold: bool
    box: Box


@cache
def width_of(text: str, size: float, bold: bool) -> float:
    """Width of a text in units, in DejaVu Sans, which is wider than what viewers take."""
    weight = "bold" if bold else "normal"
    path = TextPath(
        (0, 0), text, size=size, prop=FontProperties(family="DejaVu Sans", weight=weight)
    )
    return float(path.get_extents().width) / PX if text.strip() else 0.0


def shown(value: str) -> str:
    """A value of the netlist as a drawing writes it."""
    value = re.sub(r"(?<=\d) (?:k|M)?ohm\b", lambda m: m[0].replace("ohm", "Ω"), value)
    return re.sub(r"(?<=\d) uF\b", " µF", value)


def crosses(first: Point, second: Point, box: Box) -> bool:
    """Whether a straight piece passes through a box (Liang and Barsky's clipping)."""
    enter, leave = 0.0, 1.0
    for start, step, low, high in (
        (first[0], second[0] - first[0], box.left, box.right),
        (first[1], second[1] - first[1], box.bottom, box.top),
    ):
        if step == 0:
            if not low < start < high:
                return False
            continue
        ends = sorted(((low - start) / step, (high - start) / step))
        enter, leave = max(enter, ends[0]), min(leave, ends[1])
    return enter < leave
