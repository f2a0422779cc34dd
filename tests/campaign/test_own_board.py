"""A campaign and the board that greets: both real, or both to practise with."""

import re

import pytest
from brought_up import BOARD, REHEARSED, bring_up
from command_line import said
from greeted import greeted
from kites import change, kite_in, table
from rehearsed import played

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.drop_setup import setup_from
from tautlog.campaign.own_board import require_own_board
from tautlog.campaign.practised import practises
from tautlog.cli import run
from tautlog.drop.granting import permitted
from tautlog.errors import RefusedError
from tautlog.model.origin import Meeting, stranger
from tautlog.rehearsal.process import BoardProcess


@pytest.mark.parametrize(
    ("practising", "board", "keeps", "refused"),
    [
        (True, BOARD, "", "the board is real"),
        (True, BOARD, "a calibration", "the board is real"),
        (True, REHEARSED, "", ""),
        (True, REHEARSED, "a calibration", ""),
        (False, BOARD, "", ""),
        (False, BOARD, "a calibration", ""),
        (False, REHEARSED, "", ""),
        (False, REHEARSED, "a calibration", "a calibration of it would count"),
    ],
)
def test_what_is_kept_is_of_the_campaigns_own_kind(practising, board, keeps, refused):
    why = stranger(Meeting(practising, board.board, board.serial, keeps))
    assert bool(why) == bool(refused)
    assert refused in why


def practice_in(tmp_path, monkeypatch):
    folder = kite_in(tmp_path, monkeypatch)
    change(folder, '# kind = "drops"', 'kind = "rehearsal"')
    return folder


def test_a_practice_campaign_drops_from_no_real_board_whoever_overrides(tmp_path, monkeypatch):
    campaign = read_campaign(practice_in(tmp_path, monkeypatch))
    given = {"by": "R. Lead", "reason": "we are in a hurry", "say": lambda text: None}
    permit = permitted(campaign, setup_from(campaign), **given)
    with pytest.raises(RefusedError, match="there to practise with, and the board is real"):
        permit.require_board(greeted(BOARD), by_hand=False)
    assert permit.require_board(greeted(REHEARSED), by_hand=False)


def test_without_a_campaign_any_board_may_be_read():
    for seen in (BOARD, REHEARSED):
        require_own_board(None, greeted(seen), "a calibration")


@pytest.fixture(scope="module")
def url():
    """A rehearsed board."""
    with BoardProcess(played(None), speed=8.0, serial="rehearsal-1") as board:
        yield board.url


CALIBRATED = ("calibrate", "--load", "0", "--load", "5")
CHECKED = ("check", "--by", "A", "--with", "B")
BROUGHT_UP = ("health", "--bring-up", "--list")


@pytest.mark.parametrize("command", [CALIBRATED, CHECKED, BROUGHT_UP], ids=lambda one: one[0])
def test_a_real_campaign_keeps_nothing_of_a_rehearsed_board(
    command, url, tmp_path, monkeypatch, capsys
):
    folder = kite_in(tmp_path, monkeypatch)
    before = sorted(folder.rglob("*"))
    status, _, err = said(capsys, *command, "--port", url, "--link-timeout", "3")
    assert status == 1
    assert "board is simulated" in err
    assert "tautlog init FOLDER --practice" in err
    assert sorted(folder.rglob("*")) == before


@pytest.mark.parametrize(
    "command",
    [
        *(CALIBRATED, CHECKED, BROUGHT_UP, ("health",), ("calibrate", "--hang")),
        *(("calibrate", "--shunt", "87150"), ("drop", "--yes")),
    ],
    ids=" ".join,
)
@pytest.mark.rows(3)
def test_a_practice_campaign_meets_no_real_board(command, url, tmp_path, monkeypatch, capsys):
    folder = practice_in(tmp_path, monkeypatch)
    # As if the board were real: every place that asks, asks this function.
    monkeypatch.setattr("tautlog.model.origin.board_is_rehearsed", lambda board, serial: False)
    status, _, err = said(capsys, *command, "--port", url, "--link-timeout", "3")
    assert status == 1
    assert "the board is real" in err
    assert not list(folder.glob("*.h5"))
    assert not (folder / "calibrations").exists()


def test_a_calibration_to_practise_with_is_none_for_real_drops(tmp_path, monkeypatch, capsys):
    folder = practice_in(tmp_path, monkeypatch)
    assert said(capsys, *table(folder))[0] == 0
    assert read_campaign(folder).calibration_doubts == ()
    change(folder, 'kind = "rehearsal"', 'kind = "drops"')
    assert "made to practise with" in read_campaign(folder).calibration_doubts[0]
    given = ("--accept", "R. Lead", "it will do")
    _, _, err = said(capsys, "drop", "--port", "socket://127.0.0.1:9", "--yes")
    assert "made to practise with" in err
    # A real one, newer, is in force and none to practise with.
    assert said(capsys, *table(folder), *given)[0] == 0
    assert read_campaign(folder).calibration_doubts == ()


def test_a_new_practice_campaign_states_what_it_is_and_is_read(tmp_path):
    assert run(["init", str(tmp_path / "practice"), "--practice"]) == 0
    campaign = read_campaign(tmp_path / "practice", to_drop=False)
    assert campaign.rehearsed
    assert re.match(r"socket://127\.0\.0\.1:\d+$", campaign.port)
    assert practises(campaign.path)
    assert run(["init", str(tmp_path / "real")]) == 0
    real = read_campaign(tmp_path / "real", to_drop=False)
    assert not real.rehearsed
    assert not practises(real.path)
    assert real.port == ""


@pytest.mark.parametrize("text", ["", "[campaign", "campaign = 1", '[campaign]\nkind = ["x"]'])
def test_what_cannot_be_read_practises_nothing(text, tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_text(text)
    assert not practises(path)
    assert not practises(tmp_path / "none.toml")


def test_a_brought_up_rehearsed_board_is_read_by_a_real_campaign(
    url, tmp_path, monkeypatch, capsys
):
    folder = kite_in(tmp_path, monkeypatch)
    bring_up(folder, REHEARSED)
    _, out, err = said(capsys, "health", "--port", url, "--link-timeout", "3")
    assert "virtual board" in out
    assert "board is simulated" not in err
