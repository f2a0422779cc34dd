"""The window: what cursors read, what zoom and class change, and all of it on a real screen."""

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.backend_bases import KeyEvent, MouseEvent
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from screens import pixels, press, wait_for_window
from traces import arrest, half_sine, plain, recorded

from tautlog.cli import run, show
from tautlog.display.cursors import Cursor, difference, kept, moved, pointed_at, reading
from tautlog.display.pictures.ink import few
from tautlog.display.views import PAGES, Curve, Panel
from tautlog.display.window import CLASS_NAMES, Window
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup

SETUP = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)
TIME, FORCE = ("time", "s"), ("force", "N")


def a_record(name, trace, setup=SETUP):
    """As much of a record as a window looks at."""
    return SimpleNamespace(
        path=SimpleNamespace(stem=name, parent=Path("nowhere"), __str__=lambda _: name),
        trace=lambda: trace,
        setup=setup,
        inspected_setup=setup,
        decisions=(),
        marks=(),
        origin="measured",
        rehearsed=False,
        recalibration=None,
        calibration=Calibration(),
        calibration_used=Calibration(),
        utc="2026-03-01T10:00:00+00:00",
        instrument=None,
        excerpt=None,
        size=trace.force_n.size,
        verify_seal=lambda: SimpleNamespace(differs=()),
        edited=(),
    )


ARREST = recorded(arrest(10.0, 1.0, 5000.0, 0.1, total_s=3.0)[1], noise_n=0.5)
PULSE = plain(half_sine(900.0, 0.06, start_s=0.5))


def window(*traces, page="drop", cfc=180, setup=SETUP):
    figure = Figure(figsize=(13.0, 8.0))
    FigureCanvasAgg(figure)
    records = [a_record(f"r{number}", trace, setup) for number, trace in enumerate(traces)]
    made = Window(figure, records, page=page, cfc=cfc)
    figure.canvas.draw()
    return made


def at(shown, x, y, panel=0):
    """Pixels of a point of the curves."""
    return shown._axes[panel].transData.transform((x, y))


def click(shown, x, y, button=1, panel=0):
    canvas = shown._figure.canvas
    MouseEvent("button_press_event", canvas, *at(shown, x, y, panel), button=button)._process()
    MouseEvent("button_release_event", canvas, *at(shown, x, y, panel), button=button)._process()


def wheel(shown, x, y, step, key=None):
    canvas = shown._figure.canvas
    MouseEvent("scroll_event", canvas, *at(shown, x, y), step=step, key=key)._process()


def key(shown, name):
    KeyEvent("key_press_event", shown._figure.canvas, name)._process()


def choose(shown, widget, label):
    """Click a label of page or class."""
    radio = shown._widgets[widget]
    text = next(one for one in radio.labels if one.get_text() == label)
    x, y = radio.ax.transAxes.transform(text.get_position())
    canvas = shown._figure.canvas
    MouseEvent("button_press_event", canvas, x + 2, y, button=1)._process()
    MouseEvent("button_release_event", canvas, x + 2, y, button=1)._process()


# Cursors, closed forms


def test_a_cursor_sits_on_the_nearest_sample():
    x = np.linspace(0.0, 1.0, 101)
    panel = Panel((Curve("a", x, x), Curve("b", x, x + 10.0)), TIME, FORCE)
    assert pointed_at(panel, 0.3049, 1.0, (1.0, 12.0)) == Cursor(0, 30)
    assert pointed_at(panel, 0.3051, 9.0, (1.0, 12.0)) == Cursor(1, 31)
    assert pointed_at(panel, -5.0, 0.0, (1.0, 12.0)) == Cursor(0, 0)
    assert pointed_at(panel, 5.0, 0.0, (1.0, 12.0)) == Cursor(0, 100)


def test_a_curve_that_turns_back_is_pointed_at_by_distance():
    angle = np.linspace(0.0, 2 * np.pi, 361)
    panel = Panel((Curve("loop", np.cos(angle), np.sin(angle)),), ("stretch", "m"), FORCE)
    assert pointed_at(panel, 0.0, 0.9, (2.0, 2.0)).sample == 90
    assert pointed_at(panel, 0.0, -0.9, (2.0, 2.0)).sample == 270


def test_faint_curves_and_missing_samples_take_no_cursor_from_others():
    x = np.arange(5.0)
    hole = np.array([1.0, 1.0, np.nan, 1.0, 1.0])
    panel = Panel((Curve("raw", x, x * 0, faint=True), Curve("f", x, hole)), TIME, FORCE)
    assert pointed_at(panel, 1.0, 0.0, (4.0, 1.0)) == Cursor(1, 1)
    assert "missing" in reading(panel, pointed_at(panel, 2.0, 0.0, (4.0, 1.0)))
    assert moved(panel, Cursor(1, 3), 9) == Cursor(1, 4)
    bare = Panel((Curve("raw", x, x * 0),), TIME, FORCE)
    assert kept(panel, Cursor(1, 3), bare) == Cursor(0, 3)
    assert kept(bare, Cursor(0, 3), panel) == Cursor(1, 3)


def test_what_lies_between_two_cursors_is_the_impulse_and_the_energy():
    """2 F T / pi under a half-sine; k x**2 / 2 under a spring."""
    panel = Panel((Curve("f", PULSE.time_s, PULSE.force_n),), TIME, FORCE)
    rate = PULSE.sample_rate_hz
    told = difference(panel, Cursor(0, int(0.5 * rate)), Cursor(0, int(0.56 * rate)))
    assert told.startswith("60.000 ms")
    impulse_ns = float(told.split("impulse ")[1].split()[0])
    assert impulse_ns == pytest.approx(2 * 900 * 0.06 / np.pi, rel=1e-4)
    assert "highest 900.0 N" in told
    way = np.linspace(0.0, 0.1, 1001)
    spring = Panel((Curve("k", way, 5000.0 * way),), ("stretch", "m"), FORCE)
    assert "energy 25 J" in difference(spring, Cursor(0, 0), Cursor(0, 1000))
    two = Panel((Curve("a", way, way), Curve("b", way, way)), TIME, FORCE)
    assert "between" not in difference(two, Cursor(0, 0), Cursor(1, 5))


def test_a_thinned_curve_keeps_its_peak():
    rng = np.random.default_rng(3)
    y = rng.normal(size=1_234_567)
    x, drawn = few(np.arange(y.size) / 5e5, y)
    assert x.size == drawn.size < 10_000
    assert (drawn.min(), drawn.max()) == (y.min(), y.max())
    assert np.all(np.diff(x) >= 0)


# The window, with events as a toolkit sends them


def test_cursors_read_force_and_time():
    shown = window(ARREST)
    peak = int(np.argmax(ARREST.force_n))
    time_s = peak / ARREST.sample_rate_hz
    click(shown, time_s, 500.0)
    assert float(shown.readings.split()[1]) == pytest.approx(1e3 * time_s, abs=0.5)
    assert float(shown.readings.split()[3]) == pytest.approx(ARREST.force_n[peak] - 40.0, rel=0.01)
    assert "CFC 180" in shown.readings
    click(shown, time_s + 0.5, 0.0, button=3)
    lines = shown.readings.splitlines()
    assert [line.split("  ")[0] for line in lines] == ["A", "B", "B - A"]
    assert "impulse" in lines[2]
    before = shown.cursors["B"].sample
    key(shown, "right")
    key(shown, "shift+right")
    key(shown, "left")
    assert shown.cursors["B"].sample == before + 25
    key(shown, "c")
    assert (shown.readings, shown.cursors) == ("", {})


def test_the_wheel_zooms_around_the_pointer_and_w_shows_all_again():
    shown = window(ARREST)
    left, right = shown._axes[0].get_xlim()
    wheel(shown, 1.0, 100.0, 3)
    zoomed = shown._axes[0].get_xlim()
    assert zoomed[1] - zoomed[0] == pytest.approx((right - left) / 1.25**3)
    assert (1.0 - zoomed[0]) / (zoomed[1] - zoomed[0]) == pytest.approx(
        (1.0 - left) / (right - left)
    )
    low, high = shown._axes[0].get_ylim()
    wheel(shown, 1.0, 100.0, 1, key="control")
    assert np.ptp(shown._axes[0].get_ylim()) == pytest.approx((high - low) / 1.25)
    key(shown, "w")
    assert shown._axes[0].get_xlim() == pytest.approx((left, right))


def test_every_sample_is_drawn_once_there_is_room():
    shown = window(ARREST, cfc=None)
    assert shown._drawn[0][0].get_xdata().size < ARREST.force_n.size
    shown._axes[0].set_xlim(1.0, 1.01)
    drawn = shown._drawn[0][0].get_xdata()
    inside = drawn[(drawn >= 1.0) & (drawn <= 1.01)]
    assert inside.size == pytest.approx(0.01 * ARREST.sample_rate_hz, abs=2)


@pytest.mark.parametrize("label", CLASS_NAMES)
@pytest.mark.rows(2)
def test_the_class_is_switched_and_zoom_and_cursors_stay(label):
    shown = window(ARREST, cfc=600)
    shown._axes[0].set_xlim(0.9, 1.2)
    click(shown, 1.0, 0.0)
    where = shown.cursors["A"].sample
    choose(shown, 1, label)
    assert shown._axes[0].get_xlim() == pytest.approx((0.9, 1.2))
    assert shown.cursors["A"].sample == where
    assert ("unfiltered" if label == "none" else f"CFC {label}") in shown.readings


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.rows(1)
def test_every_page_of_one_and_of_several(page):
    for traces in ((ARREST,), (ARREST, ARREST, ARREST)):
        shown = window(*traces)
        choose(shown, 0, page)
        shown._figure.canvas.draw()
        assert shown.view is not None
        assert len(shown.view.panels) == (2 if page == "spectrum" else 1)
        x, y = np.mean(shown._axes[-1].get_xlim()), np.mean(shown._axes[-1].get_ylim())
        click(shown, x, y, panel=len(shown._axes) - 1)
        assert shown.readings.startswith("A")


def test_where_there_is_nothing_to_show_the_window_says_so():
    shown = window(PULSE, page="stretch", setup=DropSetup())
    texts = " ".join(one.get_text() for one in shown._figure.findobj(lambda o: hasattr(o, "_text")))
    assert "nothing to draw, this page needs" in texts
    assert shown.view is None
    canvas = shown._figure.canvas
    MouseEvent("button_press_event", canvas, 700, 400, button=1)._process()
    key(shown, "right")
    choose(shown, 0, "drop")
    assert shown.view is not None


@pytest.mark.parametrize("force", [np.zeros(0), np.full(500, np.nan), np.ones(1)])
@pytest.mark.rows(1)
def test_a_record_of_nothing_can_be_looked_at(force):
    shown = window(plain(force))
    for page in PAGES:
        choose(shown, 0, page)
        canvas = shown._figure.canvas
        MouseEvent("button_press_event", canvas, 700, 400, button=1)._process()
        key(shown, "right")
        wheel(shown, 0.0, 0.0, 1)
        canvas.draw()


def test_the_command_knows_every_page():
    """It names them without the library that draws them."""
    assert (*PAGES, "flight") == show.PAGES  # that one is drawn to a file only


def test_names_are_text_whatever_is_in_them():
    figure = Figure(figsize=(13.0, 8.0))
    FigureCanvasAgg(figure)
    Window(figure, [a_record(r"$\frac{$_x", ARREST)], page="contact", cfc=180)
    figure.canvas.draw()


# A real one, on a virtual screen


@pytest.fixture
def record(tmp_path, capsys):
    table = tmp_path / "a.csv"
    lines = [
        f"{time_s:.6f},{force:.2f}"
        for time_s, force in zip(ARREST.time_s[::5], ARREST.force_n[::5], strict=True)
    ]
    table.write_text("t,f\n" + "\n".join(lines))
    given = ["--force-column", "f", "--time-column", "t", "--mass", "10", "--height", "1"]
    assert run(["import", str(table), *given, "--out", str(tmp_path / "a.h5")]) == 0
    capsys.readouterr()
    return tmp_path / "a.h5"


def test_on_a_screen_it_opens_measures_and_closes(record, display):
    command = [sys.executable, "-m", "tautlog", "show", str(record), "--window"]
    environment = {**display.environment}
    with subprocess.Popen(command, env=environment, stderr=subprocess.PIPE) as process:
        where = wait_for_window(display, "tautlog: a", process)
        readings = (where.x + 270, where.y + 690, where.x + 900, where.y + 760)
        before = display.settled(readings)
        press(display, where.x + 640, where.y + 300, 1)
        press(display, where.x + 760, where.y + 300, 3)
        after = display.changed(readings, before)
        assert pixels(after) > pixels(before) + 300  # two cursors and what is between
        display.key("q")
        assert process.wait(30) == 0
        assert process.stderr.read() == b""


@pytest.mark.parametrize("backend", ["", "agg"])
def test_without_a_screen_it_says_what_is_missing(record, backend):
    import os

    environment = {**os.environ, "MPLBACKEND": backend}
    environment.pop("DISPLAY", None)
    environment.pop("WAYLAND_DISPLAY", None)
    command = [sys.executable, "-m", "tautlog", "show", str(record), "--window"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
    assert done.returncode == 1
    assert "no window can be opened" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize("given", [[], ["--window", "--out", "x.png"]])
def test_either_a_file_or_a_window(record, given, capsys):
    assert run(["show", str(record), *given]) == 2
    assert "either --out FILE or --window" in capsys.readouterr().err
