"""The bring-up on the command line, on a rehearsed board."""

import io
import json

import pytest
from benches import (
    SPEED,
    campaign_at,
    rig,
)
from command_line import said

from tautlog.campaign.bring_ups import read_bring_up
from tautlog.model.proven_wiring import NOT_AS_EXPECTED
from tautlog.rehearsal.bench_port import BenchPort
from tautlog.rehearsal.process import BoardProcess


@pytest.fixture
def served(tmp_path, monkeypatch):
    """A campaign, a served board and the port of its bench."""
    campaign_at(tmp_path / "kite")
    monkeypatch.chdir(tmp_path / "kite")
    one = rig()
    with BoardProcess(one, speed=SPEED, serial="rehearsal-1") as board, BenchPort(one.bench) as at:
        yield tmp_path / "kite", one.bench, ["--port", board.url, "--link-timeout", "3"], at.port


@pytest.mark.wide
def test_a_bring_up_is_kept_goes_on_where_it_stopped_and_opens_the_drop(served, capsys):
    kite, _, port, at = served
    given = ["health", "--bring-up", "--by", "A. Rigger", "--bench", at, *port]
    status, out, err = said(capsys, *given, "--step", "switch", "--json")
    told = json.loads(out)
    assert status == 1
    assert [step["step"] for step in told["steps"]] == ["coil-out", "switch"]
    assert "missing: rest, key" in told["unproven"]
    assert "not proven yet" in err
    status, out, _ = said(capsys, "health", "--bring-up", "--list", *port)
    assert status == 0
    assert "switch                  as expected" in out
    status, out, err = said(capsys, *given)
    assert (status, "bring-up whole" in out) == (0, True), err
    steps = [line.entry.step for line in read_bring_up(kite)]
    assert steps.count("switch") == 1
    assert steps.count("coil-out") == 2  # in every session
    status, out, _ = said(capsys, *given)
    assert (status, "nothing was" in out, "does it again" in out) == (0, False, True)


def test_a_person_at_a_terminal_is_led_and_nothing_is_taken_for_done(served, capsys, monkeypatch):
    kite, _, port, _ = served
    given = ["health", "--bring-up", "--by", "A. Rigger", "--step", "switch", *port]
    typed = ["coil is out", "", "", "s", "s no second person"]  # opened in words only
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join([*typed, "", ""])))
    status, out, err = said(capsys, *given)
    assert status == 1
    assert "Open the release switch's wire (GP10) at the box." in err
    assert "give a reason" in err
    assert "expected  switch open" in out
    assert "NOT AS EXPECTED: switch: expected open, read closed" in out
    assert "it may be release switch shorted to ground" in out
    last = read_bring_up(kite)[-1].entry
    assert (last.step, last.result) == ("switch", NOT_AS_EXPECTED)
    assert "no second person" in last.why
    monkeypatch.setattr("sys.stdin", io.StringIO("not sure\n"))
    status, _, err = said(capsys, *given)
    assert (status, "the board was not armed" in err) == (1, True)


def test_wrong_calls(served, tmp_path, monkeypatch, capsys):
    _, _, port, _ = served
    given = ["health", "--bring-up", *port]
    assert "needs the name" in said(capsys, *given)[2]
    assert (
        "no step 'swich' here; did you mean 'switch'"
        in said(capsys, *given, "--by", "A", "--step", "swich")[2]
    )
    assert said(capsys, "health", "--by", "A", *port)[0] == 2
    assert said(capsys, "rehearse", "--bench", "7001")[0] == 2
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)
    status, _, err = said(capsys, *given, "--by", "A")
    assert (status, "tautlog init" in err) == (1, True)
