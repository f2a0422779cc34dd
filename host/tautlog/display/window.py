"""Window: records on a screen, to zoom, measure and filter.

It shows the views of `views`, drawn as in `pictures`. A long curve is thinned again at every
zoom, so that every sample is drawn where there is room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backend_bases import KeyEvent, MouseEvent
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.widgets import Button, RadioButtons, Widget

from tautlog.analysis.filters import CLASSES
from tautlog.archive.assess import assess
from tautlog.archive.verdict_lines import quick_look
from tautlog.display import screen
from tautlog.display.cursors import Cursor, difference, kept, moved, pointed_at, reading
from tautlog.display.pictures.ink import INK, few
from tautlog.display.pictures.panels import put_panel
from tautlog.display.views import PAGES, Curve, NamedDrop, View, view
from tautlog.errors import TautlogError
from tautlog.model.display_units import SI, Units
from tautlog.record import Record, excerpted

CLASS_NAMES = ("none", *map(str, CLASSES))
ZOOM = 1.25  # per step of the wheel
MOST_VERDICTS = 2  # records whose verdicts are shown on top
FAR_STEP = 25  # samples that a cursor moves with the shift key
HELP = (
    "left click: cursor A   right click: cursor B   arrows: move the last cursor (with shift: "
    f"{FAR_STEP} samples)   wheel: zoom x, with ctrl y   w: whole   c: no cursors   q: close"
)
_AREA = (0.205, 0.235, 0.775, 0.675)  # of the curves: left, bottom, width, height
_SIGNS = {"A": "^", "B": "v"}


class Window:
    """Records on a figure that responds to mouse and keys.

    Parameters
    ----------
    figure : Figure
        An empty figure, of a window; in a test without one.
    records : sequence of Record
        The records to show.
    page : str
        The first page, one of `views.PAGES`.
    cfc : int or None
        The first channel frequency class.
    units : Units
        Units of display.

    Attributes
    ----------
    view : View or None
        The view shown, or None if there is nothing to show.
    cursors : dict
        The cursors that are set, by "A" and "B".
    """

    def __init__(
        self,
        figure: Figure,
        records: Sequence[Record],
        *,
        page: str,
        cfc: int | None,
        units: Units = SI,
    ) -> None:
        self._units = units
        self._figure = figure
        self._records = [excerpted(record) for record in records]
        self._traces = [record.trace() for record in self._records]
        self._assessed: dict[int | None, list[NamedDrop]] = {}
        self._page, self._cfc = page, cfc
        self.view: View | None = None
        self.cursors: dict[str, Cursor] = {}
        self._last = "A"
        self._measured = 0  # number of the panel that the cursors are on
        self._axes: list[Axes] = []
        self._drawn: list[list[Line2D]] = []
        self._signs: list[Artist] = []
        self._head = figure.text(0.01, 0.985, "", fontsize=10)
        self._readings = figure.text(0.205, 0.145, "", fontsize=11, family="monospace")
        for text in (self._head, self._readings):
            text.set(va="top", color=INK, parse_math=False)
        figure.text(0.01, 0.012, HELP, fontsize=8.5, color=INK)
        self._widgets = self._controls()
        canvas = figure.canvas
        canvas.mpl_connect("button_press_event", self._on_click)
        canvas.mpl_connect("scroll_event", self._on_wheel)
        canvas.mpl_connect("key_press_event", self._on_key)
        self._show()

    # Commands

    def show_page(self, page: str) -> None:
        """Show another page and remove the cursors."""
        self._page = page
        self._measured, self.cursors = 0, {}
        self._show()

    def choose_class(self, name: str) -> None:
        """Filter, mark and judge in another class; keep the zoom and the cursors."""
        self._cfc = None if name == "none" else int(name)
        seen = [(axes.get_xlim(), axes.get_ylim()) for axes in self._axes]
        self._show()
        for axes, (x, y) in zip(self._axes, seen, strict=False):
            axes.set_xlim(x)
            axes.set_ylim(y)
        self._refresh()

    def show_whole(self) -> None:
        """Show the whole page again."""
        self._show()

    def drop_cursors(self) -> None:
        """Remove the cursors."""
        self.cursors = {}
        self._refresh()

    @property
    def readings(self) -> str:
        """The readings of the cursors, as shown in the window."""
        return str(self._readings.get_text())

    # Drawing

    def _controls(self) -> list[Widget]:
        """The controls on the left: page, class and two buttons."""
        page = self._choice("page", tuple(PAGES), self._page, 0.66, 0.22)
        page.on_clicked(lambda name: self.show_page(str(name)))
        cfc = self._choice("class (CFC)", CLASS_NAMES, str(self._cfc or "none"), 0.36, 0.24)
        cfc.on_clicked(lambda name: self.choose_class(str(name)))
        whole = Button(self._figure.add_axes((0.01, 0.28, 0.11, 0.045)), "whole")
        whole.on_clicked(lambda _: self.show_whole())
        bare = Button(self._figure.add_axes((0.01, 0.22, 0.11, 0.045)), "no cursors")
        bare.on_clicked(lambda _: self.drop_cursors())
        return [page, cfc, whole, bare]

    def _choice(
        self, title: str, names: tuple[str, ...], active: str, bottom: float, height: float
    ) -> RadioButtons:
        place = self._figure.add_axes((0.01, bottom, 0.11, height))
        place.set_title(title, fontsize=10, loc="left", color=INK)
        return RadioButtons(place, names, active=names.index(active), activecolor=INK)

    def _shown(self) -> list[NamedDrop]:
        """The records, marked in the chosen class; each class is marked only once."""
        if self._cfc not in self._assessed:
            found = []
            for record, trace in zip(self._records, self._traces, strict=True):
                drop = assess(record, trace=trace, cfc=self._cfc)
                found.append(NamedDrop(record.path.stem, replace(drop, units=self._units)))
            self._assessed[self._cfc] = found
        return self._assessed[self._cfc]

    def _show(self) -> None:
        for axes in self._axes:
            axes.remove()
        self._axes, self._drawn, self._signs = [], [], []
        before, self.view = self.view, None
        try:
            shown = self._shown()
            self._head.set_text(_verdicts(shown))
            view_now = view(self._page, shown)
        except TautlogError as problem:
            self.cursors = {}
            self._show_message(str(problem))
            return
        self.view = view_now
        left, bottom, width, height = _AREA
        each = height / len(self.view.panels)
        for number, panel in enumerate(self.view.panels):
            low = bottom + (len(self.view.panels) - 1 - number) * each
            axes = self._figure.add_axes((left, low, width, each - 0.085 * (number > 0)))
            self._axes.append(axes)
            self._drawn.append(put_panel(axes, panel))
            axes.callbacks.connect("xlim_changed", lambda _, number=number: self._thin(number))
        toolbar = self._figure.canvas.toolbar
        if toolbar:
            toolbar.update()  # its history refers to axes that are gone
        if before is not None:
            self.cursors = {
                name: kept(before.panels[self._measured], cursor, self.view.panels[self._measured])
                for name, cursor in self.cursors.items()
            }
        self._refresh()

    def _show_message(self, text: str) -> None:
        axes = self._figure.add_axes(_AREA)
        axes.set_axis_off()
        axes.text(
            0.5, 0.5, text, ha="center", va="center", wrap=True, fontsize=12, parse_math=False
        )
        self._axes = [axes]
        self._refresh()

    def _thin(self, number: int) -> None:
        """Draw the visible part of each curve, as finely as there is room for."""
        assert self.view is not None
        low, high = self._axes[number].get_xlim()
        for curve, line in zip(self.view.panels[number].curves, self._drawn[number], strict=True):
            if curve.is_monotonic:
                first, last = np.searchsorted(curve.x, (low, high))
                seen = slice(max(int(first) - 1, 0), int(last) + 1)
                line.set_data(*few(curve.x[seen], curve.y[seen]))

    def _refresh(self) -> None:
        for sign in self._signs:
            sign.remove()
        self._signs = []
        lines = []
        if self.view is not None:
            panel, axes = self.view.panels[self._measured], self._axes[self._measured]
            for name, cursor in sorted(self.cursors.items()):
                self._sign(axes, panel.curves[cursor.curve], cursor, name)
                lines.append(f"{name}      {reading(panel, cursor)}")
            if len(self.cursors) == 2:
                text = difference(panel, self.cursors["A"], self.cursors["B"])
                lines.append(f"B - A  {text}")
        self._readings.set_text("\n".join(lines))
        self._figure.canvas.draw_idle()

    def _sign(self, axes: Axes, curve: Curve, cursor: Cursor, name: str) -> None:
        x, y = curve.x[cursor.sample], curve.y[cursor.sample]
        self._signs.append(axes.axvline(x, color=INK, lw=0.8, ls=(0, (2, 2))))
        self._signs += axes.plot([x], [y], _SIGNS[name], ms=9, mfc="none", mec=INK, mew=1.6)
        self._signs.append(
            axes.annotate(
                name,
                (x, 1.0),
                xycoords=("data", "axes fraction"),
                ha="center",
                va="bottom",
                weight="bold",
                color=INK,
                annotation_clip=True,
            )
        )

    # Mouse and keys

    def _on_click(self, event: MouseEvent) -> None:
        toolbar = self._figure.canvas.toolbar
        if self.view is None or event.inaxes not in self._axes or (toolbar and toolbar.mode):
            return
        name = {1: "A", 3: "B"}.get(int(event.button or 0))
        if name is None or event.xdata is None or event.ydata is None:
            return
        number = self._axes.index(event.inaxes)
        if number != self._measured:
            self._measured, self.cursors = number, {}
        place = pointed_at(
            self.view.panels[number], event.xdata, event.ydata, _spans(self._axes[number])
        )
        if place is not None:
            self.cursors[name], self._last = place, name
        self._refresh()

    def _on_wheel(self, event: MouseEvent) -> None:
        axes = event.inaxes
        if axes not in self._axes or event.xdata is None or event.ydata is None:
            return
        factor = ZOOM ** (-event.step)
        if event.key == "control":
            axes.set_ylim(_zoomed(axes.get_ylim(), event.ydata, factor, axes.get_yscale()))
        else:
            axes.set_xlim(_zoomed(axes.get_xlim(), event.xdata, factor, axes.get_xscale()))
        self._figure.canvas.draw_idle()

    def _on_key(self, event: KeyEvent) -> None:
        key = event.key or ""
        if key == "q":
            screen.close(self._figure)
        elif key == "w":
            self.show_whole()
        elif key == "c":
            self.drop_cursors()
        elif key.removeprefix("shift+") in ("left", "right") and self.view is not None:
            by = (FAR_STEP if key.startswith("shift+") else 1) * (-1 if "left" in key else 1)
            if self._last in self.cursors:
                place = moved(self.view.panels[self._measured], self.cursors[self._last], by)
                self.cursors[self._last] = place
                self._refresh()


def _verdicts(shown: list[NamedDrop]) -> str:
    """Load and load path of each record, in the words of the quick look."""
    lines = []
    for named in shown[:MOST_VERDICTS]:
        load, path = (text.split(" ", 1)[1] for text in quick_look(named.drop)[2:4])
        lines.append(f"{named.name}: {load}; {path}")
    if len(shown) > MOST_VERDICTS:
        lines[-1] += f"; and {len(shown) - MOST_VERDICTS} more"
    return "\n".join(lines)


def _spans(axes: Axes) -> tuple[float, float]:
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    return abs(right - left) or 1.0, abs(high - low) or 1.0


def _zoomed(
    limits: tuple[float, float], at: float, factor: float, scale: str
) -> tuple[float, float]:
    """Limits scaled around a point."""
    if scale == "log":
        low, high = limits
        return at * (low / at) ** factor, at * (high / at) ** factor
    return at + (limits[0] - at) * factor, at + (limits[1] - at) * factor


def open_window(
    records: Sequence[Record], *, page: str, cfc: int | None, units: Units = SI
) -> None:
    """Show records in a window until it is closed.

    Raises
    ------
    ScreenError
        If no window can be opened.
    RecordError
        If a record cannot be read.
    """
    names = ", ".join(record.path.stem for record in records)
    figure = screen.new_window(f"tautlog: {names}", (13.0, 8.0))
    # Keep a name: the figure holds its callbacks only weakly.
    window = Window(figure, records, page=page, cfc=cfc, units=units)
    screen.wait()
    del window
