"""Words typed into the terminal of a served rehearsal."""

import os
import sys

import pytest

from tautlog.cli.bench_console import BenchConsole, answer
from tautlog.rehearsal.bench import HELP, Bench
from tautlog.rehearsal.scene import default_scene

pty = pytest.importorskip("pty")


@pytest.fixture
def bench():
    return Bench(default_scene())


@pytest.fixture
def keyboard(monkeypatch):
    """The other end of a terminal that is standard input."""
    ours, theirs = pty.openpty()
    with os.fdopen(theirs) as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        yield lambda text: os.write(ours, text.encode())
        os.close(ours)


def test_typed_lines_are_done_and_answered(bench, keyboard, capsys):
    console = BenchConsole(bench)
    keyboard("lower\nhang 5\n\n")
    for _ in range(3):
        console.obey(wait_s=5.0)
    assert bench.stand.weights_kg == {"force": 5.0}
    out = capsys.readouterr().out
    assert "`help` lists the words" in out
    assert "weights on the cell: 5 kg" in out
    console.obey(wait_s=0.0)
    assert capsys.readouterr().out == ""


def test_without_a_terminal_nobody_listens(bench, capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", None)
    BenchConsole(bench).obey(wait_s=0.0)
    assert capsys.readouterr().out == ""


def test_help_names_each_word_in_a_line_of_its_own(bench):
    lines = answer(bench, "help").splitlines()
    assert len(lines) == len(HELP)
    assert all(word in line for line, (word, _) in zip(lines, HELP, strict=True))


def test_what_cannot_be_done_says_so_and_what_was_seen_is_told(bench):
    assert answer(bench, "hang 5").startswith("  NOT DONE: the sled is raised")
    assert answer(bench, "sing").startswith("  NOT DONE: 'sing' is nothing to do")
    assert answer(bench, "see") == "  seen: nothing lit"
    assert "key: off" in answer(bench, "key off")
