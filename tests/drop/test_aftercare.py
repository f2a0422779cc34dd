"""Signals between a drop and its marks lose nothing, and leave nothing unmarked without a word."""

import signal

import pytest
from fakes.crew import SilentCrew
from fakes.drops import DropBoard, plan_at, session_with

from tautlog.cli.conduct import Shown, show_outcome
from tautlog.cli.console import ConsoleCrew
from tautlog.display import quick_look
from tautlog.drop import conducting
from tautlog.drop.conducting import conduct
from tautlog.drop.outcome import DropOutcome
from tautlog.drop.run import run_drop
from tautlog.drop.stop import StopRequest
from tautlog.errors import AbortedError, LinkError
from tautlog.record import open_record

SIGNALS = ["SIGINT", "SIGTERM", "SIGHUP"]


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    path = tmp_path_factory.mktemp("drop") / "drop.h5"
    run_drop(session_with(DropBoard()), plan_at(path), SilentCrew())
    return path.read_bytes()


@pytest.fixture
def outcome(whole, tmp_path):
    path = tmp_path / "drop.h5"
    path.write_bytes(whole)
    return DropOutcome(path, False, 0, 0, 0, shunt_before_v=0.5)


def gives(monkeypatch, place, name, times, before=True):
    """Let signals come where the command does one thing."""
    module = quick_look if hasattr(quick_look, place) else conducting
    real = getattr(module, place)

    def at_work(*given, **options):
        result = None if before else real(*given, **options)
        for _ in range(times):
            signal.raise_signal(getattr(signal, name))
        return real(*given, **options) if before else result

    monkeypatch.setattr(module, place, at_work)


def show(outcome):
    show_outcome(outcome, ConsoleCrew(yes=True, quiet=True), cfc=None, shown=Shown.AS_JSON)


@pytest.mark.parametrize("name", SIGNALS)
@pytest.mark.parametrize("place", ["mark_new", "draw_new"])
def test_a_signal_while_it_is_marked_and_drawn(outcome, monkeypatch, capsys, place, name):
    gives(monkeypatch, place, name, 1)
    show(outcome)
    said = capsys.readouterr()
    assert '"record_verdict": "valid"' in said.out
    assert "was marked and drawn nevertheless" in said.err
    record = open_record(outcome.path)
    assert (record.status, len(record.marks)) == ("complete", 1)
    assert outcome.path.with_suffix(".png").exists()


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize(
    ("place", "before", "word", "marks"),
    [("mark_new", True, "NOT MARKED YET", 0), ("draw_new", True, "marked and not drawn", 1)],
)
def test_three_of_them_leave_and_say_what_is_done(
    outcome, monkeypatch, place, before, word, marks, name
):
    gives(monkeypatch, place, name, 3, before)
    with pytest.raises(AbortedError, match=rf"left by.*whole on disk.*{word}.*tautlog mark"):
        show(outcome)
    record = open_record(outcome.path)
    assert (record.status, record.verify_seal().state) == ("complete", "intact")
    assert len(record.marks) == marks


def test_a_terminal_that_closes_over_and_over(outcome, monkeypatch):
    gives(monkeypatch, "mark_new", "SIGHUP", 5)
    show(outcome)
    assert open_record(outcome.path).marks


def test_marks_that_cannot_be_kept_are_told(outcome, monkeypatch, capsys):
    monkeypatch.setattr(
        "tautlog.display.quick_look.keep_marks", lambda *_, **__: "the disk is full"
    )
    show(outcome)
    assert "the marks are not kept" in capsys.readouterr().err


class Port:
    def __init__(self, url):
        pass

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


@pytest.fixture
def conducted(outcome, monkeypatch):
    """Conduct a drop that is done already; what follows it is real but for the board."""
    monkeypatch.setattr(conducting, "SerialLink", Port)
    monkeypatch.setattr(conducting, "Session", lambda *_, **__: None)
    monkeypatch.setattr(conducting, "run_drop", lambda *_: outcome)
    monkeypatch.setattr(conducting, "read_shunt_step", lambda *_: 0.5)

    def conducted():
        with StopRequest().listening() as stop:
            return conduct("any", plan_at(outcome.path), ConsoleCrew(yes=True, quiet=True), stop)

    return conducted


@pytest.mark.parametrize("name", SIGNALS)
def test_a_signal_while_the_shunt_is_read(outcome, monkeypatch, capsys, conducted, name):
    """A person's own ends the reading; a closed terminal does not. Marked it is in any case."""
    gives(monkeypatch, "read_shunt_step", name, 1)
    after = conducted()
    closed = name == "SIGHUP"
    assert after.problem == (
        "" if closed else f"stopped by {'Ctrl-C' if name == 'SIGINT' else name}"
    )
    assert (open_record(outcome.path).shunt_off == 0.0) == closed
    if closed:
        show(after)
    else:
        with pytest.raises(LinkError, match=r"could not be read \(stopped by.*record is whole"):
            show(after)
    assert open_record(outcome.path).marks


@pytest.mark.parametrize("name", SIGNALS)
def test_a_signal_between_the_drop_and_the_shunt(outcome, monkeypatch, conducted, name):
    gives(monkeypatch, "run_drop", name, 1, before=False)
    assert conducted().path == outcome.path


@pytest.mark.parametrize("name", SIGNALS)
def test_a_signal_before_a_port_is_open_stops_at_once(monkeypatch, conducted, name):
    def opening(url):
        signal.raise_signal(getattr(signal, name))

    monkeypatch.setattr(conducting, "SerialLink", opening)
    with pytest.raises(AbortedError, match=r"stopped by.*not armed"):
        conducted()


@pytest.fixture(autouse=True)
def handlers_are_as_before():
    before = [signal.getsignal(getattr(signal, name)) for name in SIGNALS]
    yield
    for name, handler in zip(SIGNALS, before, strict=True):
        signal.signal(getattr(signal, name), handler)
