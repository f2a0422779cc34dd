"""What works where a system has no fcntl, termios and SIGHUP, as Windows has none.

Blocked in a process of its own. pyserial and mpremote are loaded before: there they bring a
branch for Windows, here they ask for what is blocked.
"""

import subprocess
import sys

import pytest
import serial

from tautlog.board.link import SerialLink
from tautlog.cli import run
from tautlog.errors import LinkError

BLOCKED = """
import importlib, os, pkgutil, signal, sys
import mpremote.transport_serial

MISSING = ("fcntl", "grp", "pty", "pwd", "resource", "termios", "tty")
class Missing:
    def find_spec(self, name, path=None, target=None):
        if name in MISSING:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Missing())
for name in MISSING:
    sys.modules.pop(name, None)
del signal.SIGHUP
"""
MODULES = """
import tautlog
for found in pkgutil.walk_packages(tautlog.__path__, "tautlog."):
    # The virtual board's and the firmware's files run in processes of their own.
    if not found.name.startswith(("tautlog.rehearsal.virtual", "tautlog.firmware", "tautlog.__")):
        importlib.import_module(found.name)
        print(found.name)
"""
COMMANDS = """
from tautlog.cli import run
for given in (
    ["--help"],
    ["plan", "--mass", "10", "--height", "0.5", "--stiffness", "30000"],
    ["import", "pull.csv", "--time-column", "t", "--force-column", "force", "--out", "pull.h5"],
    ["mark", "pull.h5", "--json"],
    ["ledger", "--add", "--line", "cord", "--by", "A"],
):
    assert run(given) in (0, None), given
    print("done", given[0])
"""
STOPS = """
from tautlog.drop.stop import StopRequest
with StopRequest().listening() as stop:
    signal.raise_signal(signal.SIGINT)
assert stop.asked and stop.came == ["SIGINT"]
"""


def done(program, tmp_path):
    return subprocess.run(
        [sys.executable, "-c", BLOCKED + program],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        timeout=100,
    )


@pytest.mark.wide
def test_every_module_is_imported(tmp_path):
    seen = done(MODULES, tmp_path)
    assert seen.returncode == 0, seen.stderr
    assert {"tautlog.record.journal", "tautlog.board.link", "tautlog.drop.run"} <= set(
        seen.stdout.split()
    )


@pytest.mark.wide
def test_commands_without_a_board(tmp_path):
    rows = [f"{i / 10_000},{max(0.0, 900.0 - abs(i - 1000) * 3.0)}" for i in range(3000)]
    (tmp_path / "pull.csv").write_text("t,force\n" + "\n".join(rows) + "\n")
    seen = done(COMMANDS, tmp_path)
    assert seen.returncode == 0, seen.stderr
    assert sum(line.startswith("done ") for line in seen.stdout.splitlines()) == 5


def test_signals(tmp_path):
    seen = done(STOPS, tmp_path)
    assert seen.returncode == 0, seen.stderr


@pytest.mark.wide
def test_a_drop_says_where_nothing_is_locked(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("tautlog.drop.run.LOCKS", False)
    assert run(["rehearse", "--yes", "--speed", "20", "--out", str(tmp_path / "one.h5")]) == 0
    assert "this system does not lock files" in capsys.readouterr().err
    monkeypatch.undo()
    assert run(["rehearse", "--yes", "--speed", "20", "--out", str(tmp_path / "two.h5")]) == 0
    assert "does not lock files" not in capsys.readouterr().err


def test_a_port_in_use_on_windows(monkeypatch):
    """Text of pyserial 3.5 for a port that another program has open."""
    text = "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"
    monkeypatch.setattr("serial.serial_for_url", failing(serial.SerialException(text)))
    with pytest.raises(LinkError, match="COM3 is in use by another program"):
        SerialLink("COM3")


def failing(problem):
    def fail(*_given, **_named):
        raise problem

    return fail
