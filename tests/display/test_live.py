"""The live window: what it shows, and that nothing waits for it."""

import json
import subprocess
import sys
import time
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from fakes.live import Noting
from hypothesis import given
from hypothesis import strategies as st
from made_records import made
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from screens import pixels, until

from tautlog.archive.assess import assess
from tautlog.archive.verdict_lines import quick_look
from tautlog.cli import run
from tautlog.cli.live_crew import LiveCrew
from tautlog.display.live import LEAVE_S, MOST_PIECES, LiveFeed, Thinner
from tautlog.display.live_window import LiveScreen
from tautlog.errors import ScreenError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent, Instrument
from tautlog.record import open_record

BOARD = Instrument("0", "b", "s", 62500.0, 8, ("force",), 1024, 64)
CALIBRATION = Calibration()


def block(number, counts):
    return Block(number, 0, 0, 0, np.asarray(counts, np.uint16).reshape(-1, 1))


# Thinning


@given(
    counts=st.lists(st.integers(0, 32760), min_size=1, max_size=300),
    slope=st.sampled_from([1000.0, -1000.0]),
)
def test_no_extreme_is_lost_and_every_piece_has_its_time(counts, slope):
    board = Instrument("0", "b", "s", 50_000.0, 8, ("force",), 300, 64)
    calibration = Calibration(newton_per_volt=slope)
    thinner = Thinner(board, calibration)
    thinner.take(block(7, counts))
    force = calibration.force_n(np.asarray(counts, np.uint16), 8)
    told = thinner.drain()
    assert max(told["high_n"]) == pytest.approx(force.max())
    assert min(told["low_n"]) == pytest.approx(force.min())
    assert all(low <= high for low, high in zip(told["low_n"], told["high_n"], strict=True))
    assert told["time_s"][0] == pytest.approx(7 * 300 / 50_000.0)
    assert np.all(np.diff(told["time_s"]) > 0)
    assert told["time_s"][-1] < (7 * 300 + len(counts)) / 50_000.0
    assert len(thinner) == 0


def test_missing_blocks_and_limits_are_told():
    thinner = Thinner(BOARD, CALIBRATION)
    thinner.take(block(1, np.full(1024, 8000)))
    assert not thinner.drain()["clipped"]
    thinner.take(block(3, np.full(1024, 8000)))
    assert thinner.drain()["low_n"].count(None) == 1
    thinner.take(block(4, np.full(1024, 32760)))
    told = thinner.drain()
    assert told["clipped"]
    assert None not in told["low_n"]


def test_only_so_much_is_kept():
    thinner = Thinner(BOARD, CALIBRATION)
    for number in range(4000):
        thinner.take(block(number, np.full(1024, 8000)))
    told = thinner.drain()
    assert len(told["time_s"]) == len(told["low_n"]) == MOST_PIECES
    assert told["time_s"][-1] > 65.0


# The way to the window

READY = "import sys, time; print('ready', flush=True); "
HANGS = (sys.executable, "-c", READY + "time.sleep(600)")
DIES = (sys.executable, "-c", READY + "sys.exit(3)")


def test_a_window_that_hangs_holds_nothing_up():
    """Three minutes of samples into a pipe that nobody reads."""
    feed = LiveFeed.open(HANGS)
    feed.meet(BOARD, CALIBRATION)
    counts = block(0, np.full(1024, 8000))
    longest_s = 0.0
    try:
        for number in range(11_000):
            start_s = time.perf_counter()
            feed.block(Block(number, 0, 0, 0, counts.counts))
            longest_s = max(longest_s, time.perf_counter() - start_s)
        feed.send("state", word="RELEASED", text="")
        assert feed._thread.is_alive()  # it waits, nobody else
        assert feed._waiting.qsize() < 50
        start_s = time.perf_counter()
        feed.close()
        assert time.perf_counter() - start_s < LEAVE_S + 5.0
        assert longest_s < 5.0  # it would be three minutes; a busy machine may take its time
    finally:
        feed.close(with_window=True)


def test_a_window_that_dies_is_noted_and_no_error():
    feed = LiveFeed.open(DIES)
    feed.meet(BOARD, CALIBRATION)
    feed._process.wait()

    def give_more():
        feed.send("state", word="ARMED", text="x" * 10_000)
        feed.block(block(1, np.full(1024, 8000)))
        return feed.gone

    until(give_more)
    feed.close(with_window=True)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("print('no window can be opened (no screen)')", "no screen"),
        ("pass", "it gave no reason"),
        ("raise SystemExit(2)", "it gave no reason"),
    ],
)
def test_a_window_that_cannot_open_says_why(code, words):
    with pytest.raises(ScreenError, match=words):
        LiveFeed.open((sys.executable, "-c", code))


def test_every_message_comes_in_order_and_whole(tmp_path):
    out = tmp_path / "told.jsonl"
    code = f"open({str(out)!r}, 'wb').write(sys.stdin.buffer.read())"
    feed = LiveFeed.open((sys.executable, "-c", READY + code))
    feed.meet(BOARD, CALIBRATION)
    for number in range(100):
        feed.block(block(number, np.full(1024, 4000 + number)))
    feed.send("release", time_s=1.0)
    feed.close()
    feed._process.wait()
    told = [json.loads(line) for line in out.read_text().splitlines()]
    times = [time_s for one in told if one["kind"] == "trace" for time_s in one["time_s"]]
    assert len(times) == 100 * 16
    assert times == sorted(times)
    assert told[-1] == {"kind": "release", "time_s": 1.0}


# What is shown


def screen():
    figure = Figure(figsize=(13.3, 7.5))
    FigureCanvasAgg(figure)
    return LiveScreen(figure)


def trace(force_n, start_s=0.0, step_s=1e-3, clipped=False):
    times = [start_s + step_s * number for number in range(len(force_n))]
    low = [None if one is None else one - 1.0 for one in force_n]
    high = [None if one is None else one + 1.0 for one in force_n]
    return {"kind": "trace", "time_s": times, "low_n": low, "high_n": high, "clipped": clipped}


DROP = {"kind": "drop", "target_n": 1000.0, "limit_n": 1100.0, "record_s": 5.0}


def test_the_highest_force_is_told_from_the_slack_line_on():
    """450 N of zero before the release are not force; the pulse is 900 N above them."""
    shown = screen()
    shown.take(DROP)
    shown.take(trace([450.0] * 2000))
    shown.draw()
    assert shown.below.get_text() == "highest, unfiltered; now 0 N"
    shown.take({"kind": "release", "time_s": 2.0})
    shown.take(trace([450.0] * 500 + [1350.0] * 60 + [None] * 3 + [530.0] * 100, 2.0))
    shown.draw()
    assert shown.highest.get_text() == "901 N"
    assert shown.below.get_text() == "highest, unfiltered; now 80 N"
    texts = " ".join(one.get_text() for one in shown._axes.texts)
    assert texts == "target 1000 N limit 1100 N"
    assert shown._axes.get_ylim()[1] > 1100.0
    shown.take(trace([3000.0], 3.0, clipped=True))
    shown.draw()
    assert shown.highest.get_text().startswith("at least ")


def test_forces_are_shown_in_the_unit_of_the_drop_with_round_ticks():
    shown = screen()
    shown.take({**DROP, "force_unit": "lbf"})
    shown.take({"kind": "release", "time_s": 0.0})
    shown.take(trace([0.0] * 50 + [900.0] * 60))
    shown.draw()
    shown._figure.canvas.draw()
    assert shown.highest.get_text() == "202.6 lbf"  # 901 N / 4.448222 N, NIST SP 811 B.8
    texts = " ".join(one.get_text() for one in shown._axes.texts)
    assert texts == "target 224.8 lbf limit 247.3 lbf"
    assert shown._axes.get_ylabel() == "force, lbf"
    ticks = [one.get_text() for one in shown._axes.get_yticklabels()]
    assert {"0", "50", "100"} <= set(ticks)


def test_without_target_and_without_samples():
    shown = screen()
    shown.take({**DROP, "target_n": None, "limit_n": None})
    shown.draw()
    shown.take({"kind": "release", "time_s": 0.5})
    shown.take(trace([None, None]))
    shown.draw()
    assert shown.highest.get_text() == ""
    shown._figure.canvas.draw()


def test_the_verdict_takes_the_place_of_what_was_seen_so_far():
    shown = screen()
    shown.take(DROP)
    shown.take({"kind": "release", "time_s": 0.0})
    shown.take(trace([0.0] * 1000))
    verdict = {"word": "POSSIBLE OVERLOAD", "text": "record valid", "peak": "1090 N"}
    verdict |= {"peak_text": "+/- 30 N", "lines": ["1", "2"], "from_s": 0.5, "to_s": 0.56}
    shown.take({"kind": "verdict", **verdict})
    shown.draw()
    assert shown.word.get_text() == "POSSIBLE OVERLOAD"
    assert shown.highest.get_text() == "1090 N"
    assert shown._axes.get_xlim() == pytest.approx((0.47, 0.62))


@pytest.mark.parametrize(
    "word", ["3", "RECORDING", "no load reached the part", "AT LEAST this load"]
)
def test_large_words_leave_room_for_the_figure(word):
    shown = screen()
    shown.take({"kind": "state", "word": word, "text": "$\\frac{$ <b>"})
    shown.highest.set_text("at least 12345 N")
    renderer = shown._figure.canvas.get_renderer()
    width = shown._figure.bbox.width
    assert shown.word.get_window_extent(renderer).x1 < 0.72 * width
    # 10 mm on a window 150 mm high is a fifteenth; long words may have half of it.
    share = 15 if len(word) < 15 else 30
    assert shown.word.get_window_extent(renderer).height > shown._figure.bbox.height / share


# The crew

HEALTH = SimpleNamespace(
    level_v=0.45,
    noise_n=0.5,
    rail_distance_n=400.0,
    latched=True,
    key_on=True,
    article_whole=True,
    mount_whole=True,
    lost=0,
    excitation_v=None,
    free_bytes=None,
    mains_hz=None,
)


def test_the_crew_tells_the_window_what_it_tells_the_terminal(drawn_drop):
    record = open_record(drawn_drop)
    one = assess(record)
    feed = Noting()
    crew = LiveCrew(feed, record.calibration, 7.0, yes=True, quiet=True)
    crew.met(record.instrument, HEALTH)
    assert crew.agree(record.setup)
    crew.armed(by_hand=False)
    for left_s in (2.0, 1.9, 1.0, 0.1):
        crew.count(left_s)
    crew.released(BoardEvent(1, "release-opened", 62_500, 0, 0))
    crew.received(0.1, 7.0)
    crew.received(0.2, 7.0)
    crew.judged(one)
    words = [what["word"] for kind, what in feed.told if kind == "state"]
    assert words == [
        *("NOT ARMED", "NOT ARMED", "ARMED", "ARMED  2", "ARMED  1", "RELEASED", "RECORDING")
    ]
    told = dict(feed.told)
    assert told["release"]["time_s"] == 62_500 / record.instrument.sample_rate_hz
    assert told["drop"]["target_n"] == record.setup.target_n
    assert told["verdict"]["lines"] == quick_look(one)
    assert told["verdict"]["from_s"] == pytest.approx(
        one.marks.onset_time_s - one.marks.release_time_s
    )
    feed.gone = True
    crew.received(0.3, 7.0)
    crew.failed()
    assert feed.told[-1][1]["word"] == "NO RESULT"


@pytest.mark.parametrize("unknown", [{"onset_time_s": None}, {"peak_force_n": None, "cfc": None}])
def test_what_is_not_known_is_not_told(drawn_drop, unknown):
    feed = Noting()
    record = open_record(drawn_drop)
    crew = LiveCrew(feed, record.calibration, 7.0, yes=True, quiet=True)
    one = assess(record)
    crew.judged(replace(one, marks=replace(one.marks, **unknown)))
    (kind, what) = feed.told[-1]
    assert kind == "verdict"
    assert json.dumps(what)
    shown = screen()
    shown.take({"kind": kind, **what})
    shown.draw()


@pytest.fixture(scope="module")
def drawn_drop(tmp_path_factory):
    """The record of a drop, released and at rest again."""
    return made(tmp_path_factory.mktemp("drop") / "one.h5")


# On a screen


@pytest.mark.wide
def test_a_drop_on_a_screen_is_whole_and_its_verdict_stands_there(display, tmp_path):
    command = [sys.executable, "-m", "tautlog", "rehearse", "--live", "--json", "--speed", "4"]
    done = subprocess.run(
        [*command, "--out", str(tmp_path)],
        env=display.environment,
        capture_output=True,
        text=True,
        timeout=100,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["marks"]["missing_samples"] == 0
    where = display.find("tautlog: live")
    assert where is not None  # it stays when the command has ended
    large = (where.x, where.y, where.x + where.width, where.y + where.height // 8)
    assert pixels(display.settled(large)) > 3000


def test_without_a_screen_no_board_is_asked(monkeypatch, capsys):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setenv("MPLBACKEND", "agg")
    assert run(["drop", "--live", "--port", "socket://127.0.0.1:9", "--yes"]) == 1
    said = capsys.readouterr().err
    assert "no window can be opened" in said
    assert len(said.strip().splitlines()) == 1
