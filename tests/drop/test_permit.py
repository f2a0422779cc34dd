"""Permits: no way into a drop but by the guard, and what it let through is what is dropped."""

import copy
import dataclasses
import json
import pickle

import pytest
from brought_up import bring_up
from fakes.arming import ArmingLink
from fakes.crew import SilentCrew

from tautlog.board.session import Session
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.drop_setup import setup_from
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.drop.granting import permitted, rehearsal
from tautlog.drop.outcome import DropPlan
from tautlog.drop.permit import Permit
from tautlog.drop.run import run_drop
from tautlog.errors import LinkTimeoutError, RefusedError
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup

SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0)
CALIBRATION = Calibration(zero_v=0.45)


def not_checked():
    return permitted(None, SETUP, calibration=CALIBRATION, say=lambda text: None)


def heard(permit, folder, error=RefusedError):
    """What a script that calls `run_drop` itself is told, and what the board was asked."""
    link = ArmingLink(None)
    with pytest.raises(error) as caught:
        run_drop(Session(link, clock=link.clock), DropPlan(folder / "d.h5", permit), SilentCrew())
    assert not list(folder.iterdir())
    return str(caught.value), link.asked


@pytest.mark.parametrize(
    "way",
    [
        lambda permit: SETUP,
        lambda permit: None,
        lambda permit: Permit(SETUP, CALIBRATION, "kite", "checked"),
        lambda permit: dataclasses.replace(permit, setup=dataclasses.replace(SETUP, mass_kg=30.0)),
        lambda permit: dataclasses.replace(permit),
        lambda permit: pickle.loads(pickle.dumps(permit)),
    ],
)
def test_what_nobody_granted_reaches_no_board(tmp_path, way):
    told, asked = heard(way(not_checked()), tmp_path)
    assert "`tautlog.drop.granting.permitted`" in told
    assert asked == []


@pytest.mark.wide
def test_a_permit_cannot_be_changed_and_is_good_for_one_drop(tmp_path):
    permit = not_checked()
    with pytest.raises(dataclasses.FrozenInstanceError):
        permit.setup = SETUP
    _, asked = heard(permit, tmp_path, LinkTimeoutError)
    assert "arm" in [one["do"] for one in asked]
    for again in (permit, copy.copy(permit)):
        told, asked = heard(again, tmp_path)
        assert "used for a drop already" in told
        assert asked == []


def test_a_permit_grows_old(tmp_path, monkeypatch):
    permit = not_checked()
    later = permit._granted_s + 601.0
    monkeypatch.setattr("tautlog.drop.permit.time.monotonic", lambda: later)
    told, asked = heard(permit, tmp_path)
    assert "older than 10 minutes" in told
    assert asked == []


def test_a_permit_of_a_rehearsal_arms_no_real_board(tmp_path, monkeypatch):
    permit = rehearsal(SETUP, CALIBRATION)
    monkeypatch.setattr("tautlog.drop.permit.board_is_rehearsed", lambda board, serial: False)
    told, asked = heard(permit, tmp_path)
    assert "the board is real" in told
    assert [one["do"] for one in asked] == ["hello"]


def test_without_a_campaign_the_permit_says_so_whatever_the_setup_claims():
    claimed = dataclasses.replace(SETUP, override='{"by": "nobody"}', checklist="{}")
    told = []
    permit = permitted(None, claimed, say=told.append)
    assert (permit.kind, permit.checked, permit.campaign) == ("not checked", False, "")
    assert "NOT CHECKED" in json.loads(permit.setup.override)["refused"]
    assert permit.setup.checklist == ""
    assert "NOT CHECKED" in told[0]


def test_a_permit_of_a_campaign_holds_its_calibration(tmp_path):
    path = write_new_campaign(tmp_path / "kite")
    text = path.read_text().replace("proven_n = 0.0", "proven_n = 3000.0")
    text = text.replace('proven_on = ""', 'proven_on = "2026-03-01"')
    path.write_text(text.replace('\ndate = ""', '\ndate = "2026-03-01"'))
    bring_up(path.parent)
    campaign = read_campaign(path)
    permit = permitted(
        campaign, setup_from(campaign), calibration=CALIBRATION, say=lambda text: None
    )
    assert (permit.checked, permit.campaign) == (True, "kite recovery bridle")
    assert permit.calibration == campaign.calibration
