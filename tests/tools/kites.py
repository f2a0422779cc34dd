"""Kites: a campaign in a folder of its own, changed by one thing at a time."""

from __future__ import annotations

from brought_up import bring_up
from command_line import said

from tautlog.cli import run
from tautlog.model.timestamp import today

TABLE = "load_n,volt\n0,0.45\n98,0.548\n196,0.646\n294,0.744\n196,0.646\n98,0.548\n0,0.45\n"
NO_BOARD = ["--port", "socket://127.0.0.1:9", "--yes"]
PULLED = ["--held", "70", "--deflection", "1.5", "--set", "0.05", "--by", "A"]
STIFF = '\n[[line]]\nname = "stiff"\nstiffness_n_per_m = 400000.0\n'
DATED = f'\ndate = "{today()}"'


def kite_in(tmp_path, monkeypatch, *boards):
    """The example's campaign, calibrated today, its mount proven to 2400 N, its wires tried."""
    assert run(["init", str(tmp_path / "kite")]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    change(tmp_path / "kite", '\ndate = ""', DATED)
    assert run(["proof", "--pulled", "3000", *PULLED]) == 0
    bring_up(tmp_path / "kite", *boards)
    return tmp_path / "kite"


def change(kite, old, new):
    path = kite / "campaign.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def add(kite, text):
    path = kite / "campaign.toml"
    path.write_text(path.read_text() + text)


def refusal(capsys, *given):
    status, _, err = said(capsys, "drop", *NO_BOARD, *given)
    assert status == 1
    last = err.strip().splitlines()[-1]
    return "" if "socket://127.0.0.1:9" in last else last


def table(kite, load=1.0, volt=1.0):
    lines = [line.split(",") for line in TABLE.split()[1:]]
    text = "".join(f"{float(n) * load},{float(v) * volt}\n" for n, v in lines)
    (kite / "points.csv").write_text("load_n,volt\n" + text)
    return ["calibrate", "--from-csv", "points.csv"]
