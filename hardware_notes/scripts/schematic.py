"""A schematic: schemdraw's symbols at stated places, with wires, labels and what they connect.

The netlist is the truth. A `Schematic` draws parts of it, takes their values from it, and knows
which pins its wires join (`joined`), so that a test can hold the drawing to the netlist. Lengths
are schemdraw's units, y upwards; texts are measured with the widest of the usual fonts, so that
labels which are free of each other here are so in any viewer.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from itertools import pairwise
from math import ceil, floor

import schemdraw
import schemdraw.elements as elm
from lettering import LINE, PX, Box, Point, Text, crosses, shown, width_of
from netlist import BOARD, Netlist, NetlistError
from schemdraw.elements.twoterm import gap
from schemdraw.segments import Segment, SegmentCircle

schemdraw.svgconfig.text = "text"  # else the texts depend on whether ziamath is installed

WIDTH_PX = 900  # at which everything must be legible
FONT = "Arial, Helvetica, 'DejaVu Sans', sans-serif"
ACCENT = "#0b5394"  # cables and boxes; never the only mark
MARGIN = 0.35
NEAR = 1e-3
NUMBER = re.compile(r"-?\d+\.\d+(?:e-?\d+)?|-0(?![\d.])")


class Made(elm.Element2Term):
    """A contact that is made: the blade lies on both."""

    def __init__(self, **given: object) -> None:
        super().__init__(**given)
        dot = 0.12
        whole = [(0, 0), gap, (2 * dot, 0), (1 - 2 * dot, 0), gap, (1, 0)]
        self.segments.append(Segment(whole))
        for place in (dot, 1 - dot):
            self.segments.append(SegmentCircle((place, 0), dot, fill="bg", zorder=3))


@dataclass
class Schematic:
    """One drawing.

    Parameters
    ----------
    netlist : Netlist
        What is drawn of.
    title : str
        Stands above the drawing, and in the file for those who cannot see it.
    size : float
        Of the font, in px before the drawing is made `WIDTH_PX` wide.
    """

    netlist: Netlist
    title: str
    size: float = 10.5
    pins: dict[str, list[Point]] = field(default_factory=dict)
    flags: list[tuple[Point, str]] = field(default_factory=list)
    wires: list[tuple[Point, ...]] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    extras: list[str] = field(default_factory=list)
    corners: list[Point] = field(default_factory=list)
    parts: set[str] = field(default_factory=set)
    lines: list[tuple[Point, Point]] = field(default_factory=list)  # that join nothing
    bodies: list[tuple[str, Box]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._drawing = schemdraw.Drawing(show=False, canvas="svg")
        self._drawing.config(lw=1.5)

    # Parts

    def symbol(
        self, name: str, element: elm.Element, pins: dict[str, str], at: Point, anchor: str
    ) -> dict[str, Point]:
        """Place a symbol by one of its anchors; `pins` gives the anchor of each pin.

        Returns
        -------
        dict of str to tuple
            Where each pin is.
        """
        placed = self._drawing.add(element.at(at).anchor(anchor).hold())
        self._body(name, placed)
        places = {
            pin: (round(placed.absanchors[one].x, 4), round(placed.absanchors[one].y, 4))
            for pin, one in pins.items()
        }
        for pin, place in places.items():
            self.pin(name, pin, place)
        return places

    def two(
        self,
        name: str,
        kind: Callable[[], elm.Element2Term],
        ends: tuple[Point, Point],
        label: str = "",
        pins: tuple[str, str] = ("1", "2"),
    ) -> None:
        """Place a part with two pins between two points, and label it on a side.

        Parameters
        ----------
        label : str
            ``above``, ``below``, ``left``, ``right``, or empty for none.
        pins : tuple of str
            The pins at the first and at the second point.
        """
        first, second = ends
        self._body(name, self._drawing.add(kind().at(first).to(second).hold()))
        self.pin(name, pins[0], first)
        self.pin(name, pins[1], second)
        if label:
            self.label(name, ((first[0] + second[0]) / 2, (first[1] + second[1]) / 2), label)

    def _body(self, name: str, placed: elm.Element) -> None:
        box = placed.get_bbox(transform=True)
        self.bodies.append((name, Box(box.xmin, box.ymin, box.xmax, box.ymax)))
        self.corners.extend(((box.xmin, box.ymin), (box.xmax, box.ymax)))

    def pin(self, name: str, pin: str, at: Point) -> None:
        """Say that a pin of a part is at a point."""
        part = self.netlist.parts.get(name)
        if part is None or pin not in part.pins:
            raise NetlistError(f"{self.title}: {name}.{pin} is drawn, but not in the netlist")
        self.pins.setdefault(f"{name}.{pin}", []).append(at)
        self.parts.add(name)
        self.corners.append(at)

    def label(self, name: str, at: Point, side: str, away: float = 0.42, extra: str = "") -> None:
        """Name and value of a part, beside a point."""
        part = self.netlist.parts[name]
        value = shown(self.netlist.value(name))
        lines = [name, *([value] if value else []), *([extra] if extra else [])]
        if side in ("above", "below"):
            lines = [f"{name}  {value}".strip()] + ([extra] if extra else [])
        if part.optional:
            lines[0] += "*"
        self.beside(at, lines, side, away)

    def beside(self, at: Point, lines: Sequence[str], side: str, away: float = 0.42) -> None:
        """Write lines above, below, left or right of a point."""
        x, y = at
        rise = self.size / PX
        height = rise * (1 + LINE * (len(lines) - 1))
        middle = y + height / 2 - rise * 0.82
        where = {
            "above": ((x, y + away + height - rise * 0.9), "middle"),
            "below": ((x, y - away - rise * 0.75), "middle"),
            "left": ((x - away, middle), "end"),
            "right": ((x + away, middle), "start"),
        }
        self.text(*where[side], lines)

    # Wires and flags

    def wire(self, *points: Point) -> None:
        """Join points by straight pieces."""
        self.wires.append(points)
        self.corners.extend(points)

    def ground(self, at: Point, net: str = "GND") -> None:
        """The ground's sign below a point: three bars; the analogue ground's is a triangle."""
        below = (at[0], at[1] - 0.3)
        self.wire(at, below)
        at = below
        kind = elm.GroundSignal if net == "AGND" else elm.Ground
        self._drawing.add(kind(lead=False).at(at).hold())
        self.flags.append((at, net))
        self.corners.append((at[0], at[1] - 0.5))

    def supply(self, net: str, at: Point, name: str = "") -> None:
        """A supply's bar above a point, with its name."""
        self.flags.append((at, net))
        x, y = at
        self.path([(x - 0.25, y), (x + 0.25, y)], width=2)
        self.text((x, y + 0.14), "middle", [name or net])

    def tag(self, net: str, at: Point, side: str, lines: Sequence[str] = ()) -> None:
        """A net that goes on in another drawing or place: its name at a wire's end."""
        self.flags.append((at, net))
        self.corners.append(at)
        turn = -1 if side == "left" else 1
        x, y = at
        self.path([(x + 0.16 * turn, y + 0.16), (x, y), (x + 0.16 * turn, y - 0.16)])
        self.beside(at, list(lines) or [net], side, 0.26)

    def here(self, net: str, at: Point) -> None:
        """Say that a point is of a net, where the drawing shows it without a sign."""
        self.flags.append((at, net))

    def block(self, low: Point, high: Point, lines: Sequence[str]) -> None:
        """A box with words in its middle."""
        self.rectangle(low, high, fill="white")
        x, y = (low[0] + high[0]) / 2, (low[1] + high[1]) / 2
        rise = self.size / PX
        self.text((x, y + (LINE * (len(lines) - 1) / 2 - 0.3) * rise), "middle", lines)

    def board_pin(self, pin: str, at: Point, side: str, what: str = "") -> None:
        """A pin of the microcontroller's board: a box with its name and its place."""
        self.pin(BOARD, pin, at)
        place = self.netlist.board_pins[pin]
        x, y = at
        wide = max(1.15, width_of(pin, self.size, True) + 0.3)
        left, right = (x, x + wide) if side == "right" else (x - wide, x)
        self.rectangle((left, y - 0.27), (right, y + 0.27), fill="#eeeeee")
        self.text(((left + right) / 2, y - 0.1), "middle", [pin], bold=True)
        number = f"place {place.number}" if place.number else "on the board"
        self.beside(
            (right if side == "right" else left, y), [what or place.signal, number], side, 0.15
        )

    def terminal(self, name: str, pin: str, at: Point, turn: Point = (0.16, 0.14)) -> None:
        """A contact of a connector or a box's edge: a small circle with its number."""
        self.pin(name, pin, at)
        x, y = at
        self.extras.append(
            f'<circle cx="{x * PX}" cy="{-y * PX}" r="3.6" fill="white" stroke="black" '
            f'stroke-width="1.4"/>'
        )
        self.text((x + turn[0], y + turn[1]), "start" if turn[0] > 0 else "end", [pin])

    # Ink

    def text(
        self,
        at: Point,
        align: str,
        lines: Sequence[str],
        *,
        bold: bool = False,
        size: float = 0.0,
    ) -> None:
        """Write lines; `at` is the baseline's place in the first one, `align` as SVG has it."""
        size = size or self.size
        wide = max(width_of(line, size, bold) for line in lines)
        left = at[0] - {"start": 0.0, "middle": wide / 2, "end": wide}[align]
        top = at[1] + 0.78 * size / PX
        bottom = at[1] - (0.22 + LINE * (len(lines) - 1)) * size / PX
        box = Box(left, bottom, left + wide, top)
        self.texts.append(Text(tuple(lines), at, align, size, bold, box))

    def path(
        self, points: Sequence[Point], *, width: float = 1.5, dash: str = "", ink: str = "black"
    ) -> None:
        """A line that joins nothing."""
        along = " L ".join(f"{x * PX},{-y * PX}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.extras.append(
            f'<path d="M {along}" fill="none" stroke="{ink}" stroke-width="{width}"{dashes}/>'
        )
        self.corners.extend(points)
        self.lines.extend(pairwise(points))

    def rectangle(
        self, low: Point, high: Point, *, fill: str = "none", dash: str = "", ink: str = "black"
    ) -> None:
        """A rectangle from its lower left to its upper right corner."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.extras.append(
            f'<rect x="{low[0] * PX}" y="{-high[1] * PX}" width="{(high[0] - low[0]) * PX}" '
            f'height="{(high[1] - low[1]) * PX}" fill="{fill}" stroke="{ink}" '
            f'stroke-width="1.3"{dashes}/>'
        )
        self.corners.extend((low, high))
        around = [low, (high[0], low[1]), high, (low[0], high[1]), low]
        self.lines.extend(pairwise(around))

    def enclosure(self, low: Point, high: Point, name: str) -> None:
        """What is inside one box: a dashed frame with its name at the top left."""
        self.rectangle(low, high, dash="7 4", ink=ACCENT)
        self.text((low[0] + 0.15, high[1] + 0.12), "start", [name], bold=True)

    # What it says

    def segments(self) -> Iterator[tuple[Point, Point]]:
        """Straight pieces of all wires."""
        for points in self.wires:
            yield from pairwise(points)

    def places(self) -> set[Point]:
        """Ends and corners of wires, pins and flags."""
        every = {point for points in self.wires for point in points}
        every |= {place for places in self.pins.values() for place in places}
        return every | {place for place, _ in self.flags}

    def joined(self) -> list[tuple[set[str], set[str]]]:
        """What is connected: pins, and the nets that flags name, group by group."""
        group = {place: place for place in self.places()}

        def root(place: Point) -> Point:
            while group[place] != place:
                place = group[place]
            return place

        for one in group:
            for other in group:
                if one < other and _near(one, other):
                    group[root(one)] = root(other)
        for first, second in self.segments():
            for place in group:
                if _lies_on(place, first, second):
                    group[root(place)] = root(first)
        found: dict[Point, tuple[set[str], set[str]]] = {}
        for pin, places in self.pins.items():
            for place in places:
                found.setdefault(root(place), (set(), set()))[0].add(pin)
        for place, net in self.flags:
            found.setdefault(root(place), (set(), set()))[1].add(net)
        return list(found.values())

    def junctions(self) -> Iterator[Point]:
        """Where three or more pieces meet: a dot."""
        ends = [place for places in self.pins.values() for place in places]
        for place in sorted(self.places()):
            meets = sum(_near(place, end) for end in ends)
            for first, second in self.segments():
                if _lies_on(place, first, second):
                    meets += 1 if _near(place, first) or _near(place, second) else 2
            if meets >= 3:
                yield place

    def clashes(self) -> Iterator[str]:
        """Tell each label that lies over another one, over a line or over a part."""
        for place, text in enumerate(self.texts):
            for other in self.texts[:place]:
                if text.box.meets(other.box):
                    yield f"{text.lines} over {other.lines}"
            for first, second in (*self.segments(), *self.lines):
                if crosses(first, second, text.box):
                    yield f"{text.lines} over the line from {first} to {second}"
            for name, body in self.bodies:
                if text.box.meets(body, 0.02):
                    yield f"{text.lines} over {name}"

    def svg(self) -> str:
        """The drawing; the same bytes on every machine."""
        body = self._drawing.get_imagedata("svg").decode()
        body = re.sub(r"^.*?<svg[^>]*>|</svg>\s*$", "", body, flags=re.DOTALL)
        body = body.replace("stroke-dasharray:-;", "").replace(
            "stroke-width:2;", "stroke-width:1.5;"
        )
        for points in self.wires:
            along = " L ".join(f"{x * PX},{-y * PX}" for x, y in points)
            body += f'<path d="M {along}" fill="none" stroke="black" stroke-width="1.5"/>\n'
        for x, y in self.junctions():
            body += f'<circle cx="{x * PX}" cy="{-y * PX}" r="3.2"/>\n'
        body += "\n".join(self.extras) + "\n" + "".join(map(_ink, self.texts))
        frame = self.frame()
        wide, high = frame.right - frame.left, frame.top - frame.bottom
        view = f"{frame.left * PX} {-frame.top * PX} {wide * PX} {high * PX}"
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_PX}" '
            f'height="{WIDTH_PX * high / wide}" viewBox="{view}" font-family="{FONT}" '
            f'role="img">\n<title>{escape(self.title)}</title>\n'
            f'<rect x="{frame.left * PX}" y="{-frame.top * PX}" width="{wide * PX}" '
            f'height="{high * PX}" fill="white"/>\n'
        )
        body = body.replace("><", ">\n<")
        return re.sub("<[^>]*>", _rounded, head + body + "</svg>\n")

    def frame(self) -> Box:
        """Everything that is drawn, and a margin."""
        boxes = [text.box for text in self.texts]
        xs = [x for x, _ in self.corners] + [b.left for b in boxes] + [b.right for b in boxes]
        ys = [y for _, y in self.corners] + [b.bottom for b in boxes] + [b.top for b in boxes]
        # Whole quarters: a font's last digit must not change the file.
        low, high = (lambda v: floor(4 * (v - MARGIN)) / 4), (lambda v: ceil(4 * (v + MARGIN)) / 4)
        return Box(low(min(xs)), low(min(ys)), high(max(xs)), high(max(ys)))


def _near(one: Point, other: Point) -> bool:
    return abs(one[0] - other[0]) < NEAR and abs(one[1] - other[1]) < NEAR


def _lies_on(place: Point, first: Point, second: Point) -> bool:
    """Whether a place lies on the straight piece between two points, its ends included."""
    (x, y), (ax, ay), (bx, by) = place, first, second
    off = (bx - ax) * (y - ay) - (by - ay) * (x - ax)
    inside = min(ax, bx) - NEAR <= x <= max(ax, bx) + NEAR
    return inside and min(ay, by) - NEAR <= y <= max(ay, by) + NEAR and abs(off) < NEAR


def _ink(text: Text) -> str:
    x, y = text.at
    weight = ' font-weight="bold"' if text.bold else ""
    return "".join(
        f'<text x="{x * PX}" y="{-y * PX + LINE * text.size * row}" text-anchor="{text.align}" '
        f'font-size="{text.size}"{weight}>{escape(line)}</text>\n'
        for row, line in enumerate(text.lines)
    )


def _rounded(tag: re.Match[str]) -> str:
    """A tag whose numbers have two decimals at most, and no minus before a zero."""
    return NUMBER.sub(lambda number: f"{round(float(number[0]), 2) + 0.0:.7g}", tag[0])
