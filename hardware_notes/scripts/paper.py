"""Paper: a drawing as SVG, by a convention of ours, that knows when a label lies on something.

Thick lines are parts, thin ones dimensions, broken ones hidden, dots and dashes axes. Hatching
tells the material. Everything that is drawn is also kept as boxes and strokes, so that a test can
ask whether it can be read. Widths of text are those of the font that the SVG names first, as
shipped with matplotlib: the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from xml.sax.saxutils import escape

import matplotlib
from fontTools.ttLib import TTFont

Point = tuple[float, float]
WIDTH = 900
FONT = "DejaVu Sans, Verdana, sans-serif"
ACCENT = "#a3160f"
STYLES = {
    "edge": 'stroke="#000" stroke-width="1.8"',
    "thin": 'stroke="#000" stroke-width="0.8"',
    "hidden": 'stroke="#000" stroke-width="1.2" stroke-dasharray="6 4"',
    "axis": 'stroke="#000" stroke-width="0.9" stroke-dasharray="14 4 2 4"',
    "rope": 'stroke="#000" stroke-width="3.2" stroke-linecap="round"',
    "zone": f'stroke="{ACCENT}" stroke-width="3" stroke-dasharray="16 7"',
    "force": f'stroke="{ACCENT}" stroke-width="2"',
    "none": 'stroke="none"',
}
FILLS = {
    "none": "none",
    "white": "#fff",
    "steel": "#d4d4d4",
    "dark": "#8c8c8c",
    "wood": "url(#wood)",
    "ground": "url(#ground)",
    "mesh": "url(#mesh)",
    "soft": "url(#soft)",
}
PATTERNS = (
    '<pattern id="wood" width="14" height="14" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(35)"><rect width="14" height="14" fill="#fff"/>'
    '<path d="M0 7H14" stroke="#777" stroke-width="0.9"/></pattern>'
    '<pattern id="ground" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(-45)"><rect width="6" height="6" fill="#fff"/>'
    '<path d="M0 3H6" stroke="#000" stroke-width="0.9"/></pattern>'
    '<pattern id="mesh" width="10" height="10" patternUnits="userSpaceOnUse">'
    '<rect width="10" height="10" fill="#fff"/>'
    '<path d="M0 5L5 0L10 5L5 10Z" fill="none" stroke="#555" stroke-width="0.9"/></pattern>'
    '<pattern id="soft" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<rect width="8" height="8" fill="#fff"/>'
    '<circle cx="4" cy="4" r="1.1" fill="#555"/></pattern>'
)


@cache
def _advances(bold: bool) -> tuple[dict[int, int], float]:
    """Width of each character in units of the font, and units of its size."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    with TTFont(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name, lazy=True) as font:
        widths = font["hmtx"].metrics
        found = {letter: widths[glyph][0] for letter, glyph in font.getBestCmap().items()}
        return found, float(font["head"].unitsPerEm)


@cache
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a text in pixels, without kerning."""
    advances, units = _advances(bold)
    return size / units * sum(advances[ord(letter)] for letter in text)


@dataclass(frozen=True)
class Box:
    """What a text covers.

    Attributes
    ----------
    text : str
        The text itself.
    left, top, right, bottom : float
        In pixels of the drawing.
    """

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether two boxes share an area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def crossed_by(self, start: Point, end: Point) -> bool:
        """Whether a stroke passes through the box (clipping after Liang and Barsky)."""
        enters, leaves = 0.0, 1.0
        for here, way, low, high in (
            (start[0], end[0] - start[0], self.left, self.right),
            (start[1], end[1] - start[1], self.top, self.bottom),
        ):
            if way == 0.0:
                if not low < here < high:
                    return False
                continue
            first, last = sorted(((low - here) / way, (high - here) / way))
            enters, leaves = max(enters, first), min(leaves, last)
        return enters < leaves


def number(value: float) -> str:
    """A coordinate as the SVG has it."""
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")


class Paper:
    """One drawing, 900 pixels wide.

    Parameters
    ----------
    title : str
        What it shows; stands on top, and is what a reader without eyes is told.
    height : float
        In pixels.
    """

    def __init__(self, title: str, height: float) -> None:
        self.title, self.height = title, height
        self._parts: list[str] = []
        self._texts: list[str] = []
        self.boxes: list[Box] = []
        self.strokes: list[tuple[Point, Point]] = []
        self.text(16, 26, title, size=17, bold=True)

    # Shapes

    def line(self, *points: Point, kind: str = "edge", arrow: bool = False) -> None:
        """Draw a line through points; with an arrow at its end."""
        self.strokes += list(pairwise(points))
        path = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
        head = ' marker-end="url(#arrow)"' if arrow else ""
        self._parts.append(f'<path d="{path}" fill="none" {STYLES[kind]}{head}/>')

    def shape(self, points: Sequence[Point], fill: str = "none", kind: str = "edge") -> None:
        """Draw a closed shape."""
        if kind != "none":
            self.strokes += list(zip(points, [*points[1:], points[0]], strict=True))
        path = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "Z"
        self._parts.append(f'<path d="{path}" fill="{FILLS[fill]}" {STYLES[kind]}/>')

    def rect(
        self, x: float, y: float, w: float, h: float, fill: str = "none", kind: str = "edge"
    ) -> None:
        """Draw a rectangle from its upper left corner."""
        self.shape([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], fill, kind)

    def circle(self, x: float, y: float, r: float, fill: str = "none", kind: str = "edge") -> None:
        """Draw a circle."""
        around = [
            (x + r * math.cos(a * math.pi / 12), y + r * math.sin(a * math.pi / 12))
            for a in range(24)
        ]
        self.strokes += list(zip(around, [*around[1:], around[0]], strict=True))
        self._parts.append(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(r)}" '
            f'fill="{FILLS[fill]}" {STYLES[kind]}/>'
        )

    def arc(
        self, x: float, y: float, r: float, first: float, last: float, kind: str = "thin"
    ) -> None:
        """Draw an arc between two angles in degrees, 0 to the right, 90 up."""
        steps = max(2, round(abs(last - first) / 6))
        angles = [math.radians(first + (last - first) * i / steps) for i in range(steps + 1)]
        self.line(*((x + r * math.cos(a), y - r * math.sin(a)) for a in angles), kind=kind)

    def spring(self, y: float, first: float, last: float, w: float = 16, turns: int = 8) -> None:
        """Draw a spring that lies level."""
        step = (last - first) / (turns + 1)
        coils = [(first + step * (i + 1), y + (w / 2 if i % 2 else -w / 2)) for i in range(turns)]
        self.line((first, y), (first + step / 2, y), *coils, (last - step / 2, y), (last, y))

    # Texts

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 13,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """Write a text; y is its base line."""
        width = text_width(text, size, bold)
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
        self.boxes.append(Box(text, left, y - 0.80 * size, left + width, y + 0.24 * size))
        weight = ' font-weight="bold"' if bold else ""
        self._texts.append(
            f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}" '
            f'text-anchor="{anchor}"{weight}>{escape(text)}</text>'
        )

    def tag(self, name: str, x: float, y: float, *targets: Point) -> None:
        """Put a numbered circle, with leaders to what it names."""
        r = 11.0
        for tx, ty in targets:
            far = math.hypot(tx - x, ty - y)
            start = (x + r * (tx - x) / far, y + r * (ty - y) / far)
            self.line(start, (tx, ty), kind="thin")
            self._parts.append(f'<circle cx="{number(tx)}" cy="{number(ty)}" r="2.4"/>')
        self._parts.append(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(r)}" fill="#fff" '
            f"{STYLES['thin']}/>"
        )
        self.text(x, y + 4.6, name, size=13, anchor="middle", bold=True)

    def legend(self, x: float, y: float, width: float, items: Sequence[str]) -> float:
        """List what the tags name, from 1; return where the list ends."""
        for index, item in enumerate(items, 1):
            self.text(x + 16, y, str(index), anchor="end", bold=True)
            for line in wrapped(item, width - 24):
                self.text(x + 24, y, line)
                y += 17
            y += 5
        return y

    def note(self, x: float, y: float, width: float, text: str, size: float = 13) -> float:
        """Write a paragraph; return where it ends."""
        for line in wrapped(text, width, size):
            self.text(x, y, line, size=size)
            y += size + 4
        return y

    # Dimensions

    def across(
        self, x1: float, x2: float, y: float, text: str, *, part: float | None = None
    ) -> None:
        """Dimension a width; `part` is the height at which the extension lines begin."""
        if part is not None:
            away = 6 if y > part else -6
            for x in (x1, x2):
                self.line((x, part + away), (x, y + away), kind="thin")
        width = text_width(text, 13) + 8
        if x2 - x1 > width + 20:
            self._arrows((x1, y), (x2, y))
            self.text((x1 + x2) / 2, y - 5, text, anchor="middle")
        else:
            for x, way in ((x1, -1), (x2, 1)):
                self._arrow((x + way * 22, y), (x, y))
            self.text(x2 + 28, y + 5, text)

    def upright(
        self,
        x: float,
        y1: float,
        y2: float,
        text: str,
        *,
        part: float | None = None,
        left: bool = False,
    ) -> None:
        """Dimension a height; `part` is where the extension lines begin."""
        if part is not None:
            away = 6 if x > part else -6
            for y in (y1, y2):
                self.line((part + away, y), (x + away, y), kind="thin")
        if y2 - y1 > 30:
            self._arrows((x, y1), (x, y2))
        else:
            for y, way in ((y1, -1), (y2, 1)):
                self._arrow((x, y + way * 20), (x, y))
        self.text(
            x + (-7 if left else 7), (y1 + y2) / 2 + 5, text, anchor="end" if left else "start"
        )

    def _arrows(self, start: Point, end: Point) -> None:
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        self._arrow(middle, start)
        self._arrow(middle, end)

    def _arrow(self, start: Point, end: Point) -> None:
        self.line(start, end, kind="thin", arrow=True)

    def force(self, start: Point, end: Point) -> None:
        """Draw the arrow of a force."""
        self.strokes.append((start, end))
        self._parts.append(
            f'<path d="M{number(start[0])} {number(start[1])}L{number(end[0])} {number(end[1])}" '
            f'fill="none" {STYLES["force"]} marker-end="url(#force)"/>'
        )

    # What comes out

    def faults(self) -> Iterator[str]:
        """Tell what cannot be read: texts on texts, on strokes, or beyond the paper."""
        for index, box in enumerate(self.boxes):
            if box.left < 4 or box.right > WIDTH - 4 or box.top < 2 or box.bottom > self.height - 2:
                yield f"{self.title}: {box.text!r} runs off the paper"
            for other in self.boxes[index + 1 :]:
                if box.meets(other):
                    yield f"{self.title}: {box.text!r} lies on {other.text!r}"
            for start, end in self.strokes:
                if box.crossed_by(start, end):
                    yield f"{self.title}: a stroke {start} to {end} crosses {box.text!r}"
                    break

    def svg(self) -> str:
        """The drawing."""
        arrow = (
            '<marker id="{}" viewBox="0 0 10 8" refX="10" refY="4" markerWidth="{}" '
            'markerHeight="{}" markerUnits="userSpaceOnUse" orient="auto">'
            '<path d="M0 0L10 4L0 8Z" fill="{}"/></marker>'
        )
        halo = '<g stroke="#fff" stroke-width="3" paint-order="stroke" stroke-linejoin="round">'
        body = "\n".join([*self._parts, halo, *self._texts, "</g>"])
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {number(self.height)}" '
            f'width="{WIDTH}" height="{number(self.height)}" font-family="{FONT}" role="img">\n'
            f"<title>{escape(self.title)}</title>\n<defs>{PATTERNS}"
            f"{arrow.format('arrow', 9, 7, '#000')}{arrow.format('force', 14, 11, ACCENT)}</defs>\n"
            f'<rect width="{WIDTH}" height="{number(self.height)}" fill="#fff"/>\n{body}\n</svg>\n'
        )


def wrapped(text: str, width: float, size: float = 13) -> list[str]:
    """A text in lines that are no wider than that."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(longer, size) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
