"""Live window: the trace as it arrives, with figures that can be read from two metres away.

A separate program, started by `live.LiveFeed`, which defines its messages. Large letters are a
tenth of the window's height: more than 10 mm on a laptop screen, readable at 2 m (common
practice: letter height 1/200 of the distance).
"""

from __future__ import annotations

import contextlib
import json
import math
import queue
import sys
import threading
from typing import IO, Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure
from matplotlib.text import Text

from tautlog.display import screen
from tautlog.display.pictures.ink import INK, LIMIT, TARGET, few, unit_axis
from tautlog.errors import ScreenError
from tautlog.model.display_units import SI, Units

FloatArray = npt.NDArray[np.float64]

FRAME_MS = 80
SEEN_ARMED_S = 5.0
BEFORE_RELEASE_S = 0.3
ZERO_PIECES = 3000  # pieces before the release whose median is the zero
LARGE, MIDDLE, SMALL = 0.10, 0.045, 0.03  # fractions of the window's height
WORD_WIDTH = 0.6  # fraction of the window's width for the large word next to the large figure
LETTER = 0.72  # mean width of a bold letter over its size; measured for DejaVu Sans
_TRACE = (0.10, 0.11, 0.87, 0.60)
_TRACE_BELOW_VERDICT = (0.10, 0.11, 0.87, 0.43)


class LiveScreen:
    """Shows a drop on a figure.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    """

    def __init__(self, figure: Figure) -> None:
        self._figure = figure
        self._time_s: list[float] = []
        self._low_n: list[float] = []
        self._high_n: list[float] = []
        self._drop: dict[str, Any] = {"target_n": None, "limit_n": None}
        self._release_s: float | None = None
        self._units = SI
        self._verdict: dict[str, Any] | None = None
        self._clipped = False
        self._sized: list[tuple[Text, float]] = []
        self.word = self._text(0.02, 0.97, LARGE)
        self.beside = self._text(0.02, 0.835, MIDDLE)
        self.highest = self._text(0.98, 0.97, LARGE, right=True)
        self.below = self._text(0.98, 0.835, MIDDLE, right=True)
        self.lines = self._text(0.02, 0.765, SMALL)
        self.lines.set_linespacing(1.45)
        for text in (self.word, self.highest):
            text.set_fontweight("bold")
        self._axes = figure.add_axes(_TRACE)
        (self._line,) = self._axes.plot([], [], color=INK, lw=1.8)
        figure.canvas.mpl_connect("resize_event", lambda _: self._resize())
        self.take({"kind": "state", "word": "WAITING", "text": "for the board"})
        self._resize()

    def take(self, message: dict[str, Any]) -> None:
        """Take one message; the next `draw` shows it."""
        kind = message["kind"]
        if kind == "drop":
            self._drop = message
            self._units = Units(force=message.get("force_unit", "N"))
            self._put_levels()
        elif kind == "state":
            self._show_state(message["word"], message["text"])
        elif kind == "trace":
            self._add(message)
        elif kind == "release":
            self._release_s = float(message["time_s"])
        elif kind == "verdict":
            self._verdict = message
            self._show_state(message["word"], message["text"])
            self.lines.set_text("\n".join(message["lines"]))
            self._axes.set_position(_TRACE_BELOW_VERDICT)

    def _show_state(self, word: str, text: str) -> None:
        self.word.set_text(word)
        self.word.set_color(LIMIT if "OVERLOAD" in word else INK)
        self.beside.set_text(text)
        self._resize()

    def draw(self) -> None:
        """Draw the messages taken so far."""
        time_s, low, high = (
            np.asarray(values, np.float64) for values in (self._time_s, self._low_n, self._high_n)
        )
        zero_n = self._zero_n((low + high) / 2)
        low, high = low - zero_n, high - zero_n
        start_s = self._release_s
        if start_s is None:
            start_s = float(time_s[-1]) if time_s.size else 0.0
        first_s, last_s = self._span_s()
        since_s = time_s - start_s
        seen = (since_s >= first_s) & (since_s <= last_s)
        self._line.set_data(*few(*_zigzag(since_s[seen], low[seen], high[seen])))
        self._axes.set_xlim(first_s, last_s)
        self._scale(low[seen], high[seen])
        self._show_figures(low, high)
        self._figure.canvas.draw_idle()

    def _add(self, message: dict[str, Any]) -> None:
        self._time_s += message["time_s"]
        for mine, new in ((self._low_n, message["low_n"]), (self._high_n, message["high_n"])):
            mine += [math.nan if force_n is None else force_n for force_n in new]
        self._clipped |= bool(message["clipped"])
        if self._release_s is None:
            # While armed, old pieces are out of view and only slow down the zero.
            for values in (self._time_s, self._low_n, self._high_n):
                del values[: -2 * ZERO_PIECES]

    def _zero_n(self, middle_n: FloatArray) -> float:
        """Median force before the release, while the line is slack; 0 if there is none."""
        count = middle_n.size
        if self._release_s is not None:
            count = int(np.searchsorted(self._time_s, self._release_s))
        known = middle_n[:count][np.isfinite(middle_n[:count])]
        return float(np.median(known[-ZERO_PIECES:])) if known.size else 0.0

    def _span_s(self) -> tuple[float, float]:
        """The visible span, in seconds since the release, or before now."""
        verdict = self._verdict
        if verdict is not None and verdict["from_s"] is not None:
            length_s = verdict["to_s"] - verdict["from_s"]
            return verdict["from_s"] - 0.5 * length_s, verdict["to_s"] + length_s
        if self._release_s is None:
            return -SEEN_ARMED_S, 0.0
        return -BEFORE_RELEASE_S, float(self._drop.get("record_s") or 7.0)

    def _scale(self, low: FloatArray, high: FloatArray) -> None:
        levels = [self._drop[f"{name}_n"] or 0.0 for name in ("target", "limit")]
        highest = float(np.nanmax(high)) if np.isfinite(high).any() else 0.0
        lowest = float(np.nanmin(low)) if np.isfinite(low).any() else 0.0
        top = 1.18 * max(*levels, highest, 10.0)
        self._axes.set_ylim(min(1.1 * lowest, -0.05 * top), top)

    def _show_figures(self, low: FloatArray, high: FloatArray) -> None:
        """Show the highest force so far, or the judged peak; and the present force."""
        released_s = self._release_s
        self._axes.set_xlabel("s before now" if released_s is None else "s since the release")
        if self._verdict is not None:
            self.highest.set_text(self._verdict["peak"])
            self.below.set_text(self._verdict["peak_text"])
            return
        known = np.flatnonzero(np.isfinite(high))
        if not known.size:
            return
        now_n = (low[known[-1]] + high[known[-1]]) / 2
        first = 0 if released_s is None else int(np.searchsorted(self._time_s, released_s))
        highest = float(np.nanmax(high[first:])) if np.isfinite(high[first:]).any() else now_n
        at_least = "at least " if self._clipped else ""
        self.highest.set_text(at_least + self._units.text(highest, "N"))
        self.below.set_text(f"highest, unfiltered; now {self._units.text(now_n, 'N')}")

    def _put_levels(self) -> None:
        for name, color, style in (("target", TARGET, "--"), ("limit", LIMIT, "-.")):
            level = self._drop[f"{name}_n"]
            if level is None:
                continue
            self._axes.axhline(level, color=color, lw=2.0, ls=style)
            text = self._axes.annotate(
                f"{name} {self._units.text(level, 'N')}",
                (0.01, level),
                xycoords=("axes fraction", "data"),
                va="bottom" if name == "limit" else "top",
                color=color,
            )
            self._sized.append((text, MIDDLE))
        self._resize()

    def _text(self, x: float, y: float, size: float, *, right: bool = False) -> Text:
        text = self._figure.text(x, y, "", va="top", color=INK, parse_math=False)
        text.set_horizontalalignment("right" if right else "left")
        self._sized.append((text, size))
        return text

    def _resize(self) -> None:
        """Make the letters as large as the window allows."""
        height_pt = 72.0 * self._figure.get_size_inches()[1]
        for text, size in self._sized:
            text.set_fontsize(size * height_pt)
        width_pt = 72.0 * self._figure.get_size_inches()[0]
        fits_pt = WORD_WIDTH * width_pt / (LETTER * max(len(self.word.get_text()), 1))
        self.word.set_fontsize(min(LARGE * height_pt, fits_pt))
        self._axes.tick_params(labelsize=SMALL * height_pt)
        self._axes.xaxis.label.set_fontsize(SMALL * height_pt)
        unit_axis(self._axes.yaxis, "force", self._units)
        self._axes.yaxis.label.set_fontsize(SMALL * height_pt)
        self._axes.grid(alpha=0.25)


def _zigzag(
    time_s: FloatArray, low_n: FloatArray, high_n: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """A line through both ends of every piece, in the direction in which the force moves."""
    if time_s.size < 2:
        return np.repeat(time_s, 2), np.stack([low_n, high_n], axis=1).ravel()
    middle = low_n + high_n
    falling = np.append(middle[1:] < middle[:-1], middle[-1] < middle[-2])
    first, second = np.where(falling, high_n, low_n), np.where(falling, low_n, high_n)
    step = np.diff(time_s, append=time_s[-1])
    times = np.stack([time_s + 0.25 * step, time_s + 0.75 * step], axis=1)
    return times.ravel(), np.stack([first, second], axis=1).ravel()


def main() -> int:
    """Show the messages from standard input until the window is closed."""
    try:
        figure = screen.new_window("tautlog: live", (13.3, 7.5), tools=False)
    except ScreenError as problem:
        sys.stdout.write(f"{problem}\n")
        return 1
    live = LiveScreen(figure)
    lines: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_read, args=(sys.stdin.buffer, lines), daemon=True).start()

    def step() -> None:
        came = False
        with contextlib.suppress(queue.Empty):
            while True:
                live.take(json.loads(lines.get_nowait()))
                came = True
        if came:
            live.draw()

    timer = figure.canvas.new_timer(interval=FRAME_MS)
    timer.add_callback(step)
    timer.start()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    screen.wait()
    return 0


def _read(pipe: IO[bytes], lines: queue.SimpleQueue[bytes]) -> None:
    for line in pipe:
        lines.put(line)


if __name__ == "__main__":
    sys.exit(main())
