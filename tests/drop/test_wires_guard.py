"""The board that greets is asked by the same guard, whoever holds the permit."""

import json

import pytest
from brought_up import BOARD, REHEARSED
from greeted import greeted
from kites import kite_in

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.drop_setup import setup_from
from tautlog.drop.granting import checked_for, permitted, rehearsal
from tautlog.errors import RefusedError
from tautlog.model.calibration import Calibration


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    return read_campaign(kite_in(tmp_path, monkeypatch))


def permit(campaign, **given):
    return permitted(campaign, setup_from(campaign), say=lambda text: None, **given)


def test_the_board_that_was_brought_up_passes(campaign):
    one = permit(campaign)
    for seen in (BOARD, REHEARSED):
        assert one.require_board(greeted(seen), by_hand=False) == one.setup
        assert one.require_board(greeted(seen), by_hand=True) == one.setup


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"serial": "E2"}, "this board, E2, was never brought up"),
        ({"wiring": ""}, "does not tell its pins"),
        ({"wiring": BOARD.wiring.replace('"lamp":14', '"lamp":6')}, "lamp was GP14, is GP6"),
        ({"serial": "rehearsal-1"}, ""),
        ({"serial": "rehearsal-7"}, "never brought up"),
    ],
)
def test_any_other_is_refused_when_it_greets_unless_a_named_person_overrides(
    campaign, changes, says
):
    board = greeted(BOARD, **changes)
    if not says:
        assert permit(campaign).require_board(board, by_hand=False)
        return
    with pytest.raises(RefusedError, match=says) as caught:
        permit(campaign).require_board(board, by_hand=False)
    assert "--override-by" in str(caught.value)
    assert len(caught.value.reasons) == 1
    one = permit(campaign, by="R. Lead", reason="measured by meter")
    assert one.setup.override == ""  # nothing was refused before the board was there
    said = json.loads(one.require_board(board, by_hand=False).override)
    assert (said["by"], said["reason"]) == ("R. Lead", "measured by meter")
    assert says in said["refused"]


def test_what_was_overridden_before_and_now_both_go_into_the_record(campaign):
    (campaign.folder / "proofs.jsonl").unlink()
    one = permit(read_campaign(campaign.folder), by="R. Lead", reason="measured by meter")
    said = json.loads(one.require_board(greeted(BOARD, serial="E2"), by_hand=False).override)
    assert "no proof pull" in said["refused"]
    assert "never brought up" in said["refused"]


def test_a_list_of_two_persons_asks_of_the_very_board(campaign):
    setup = setup_from(campaign)
    (holds,) = checked_for(campaign, setup, instrument=greeted(BOARD))
    assert holds.holds
    (other,) = checked_for(campaign, setup, instrument=greeted(BOARD, serial="E2"))
    assert (other.code, other.holds) == ("wiring-unproven", False)


def test_a_rehearsal_of_its_own_needs_none(campaign):
    one = rehearsal(setup_from(campaign), Calibration())
    assert one.require_board(greeted(REHEARSED), by_hand=False) == one.setup
    with pytest.raises(RefusedError, match="permit is for a rehearsal"):
        one.require_board(greeted(BOARD), by_hand=False)


def test_a_rehearsed_bring_up_proves_no_real_board(tmp_path, monkeypatch):
    folder = kite_in(tmp_path, monkeypatch, REHEARSED)
    one = permit(read_campaign(folder))
    assert one.require_board(greeted(REHEARSED), by_hand=False) == one.setup
    with pytest.raises(RefusedError, match=r"only rehearsal-1 \(rehearsed\)"):
        one.require_board(greeted(BOARD), by_hand=False)
