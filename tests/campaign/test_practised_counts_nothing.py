"""What was practised counts for nothing once the campaign is a real one."""

import json

import pytest
from brought_up import REHEARSED, bring_up
from command_line import said
from kites import change, kite_in

from tautlog.campaign.bring_ups import real_proving_of
from tautlog.campaign.campaign import read_campaign
from tautlog.planning.plan import plan
from tautlog.planning.wanted import Wanted

PULL = ("proof", "--pulled", "3000", "--held", "70", "--set", "0.05", "--deflection", "1.5")


@pytest.fixture
def practised(tmp_path, monkeypatch, capsys):
    folder = tmp_path / "practice"
    assert said(capsys, "init", folder, "--practice")[0] == 0
    monkeypatch.chdir(folder)
    bring_up(folder, REHEARSED)
    assert said(capsys, *PULL, "--by", "A. Rigger")[0] == 0
    return folder


def test_it_counts_where_people_practise(practised):
    campaign = read_campaign(practised)
    assert campaign.mounts[0].proven_n == 3000.0
    assert real_proving_of(campaign).done


def test_a_practised_pull_and_bring_up_are_no_real_ones(practised):
    change(practised, 'kind = "rehearsal"', "")
    campaign = read_campaign(practised, to_drop=False)
    assert not campaign.rehearsed
    assert campaign.mounts[0].proven_n == 0.0
    assert not real_proving_of(campaign).done
    assert json.loads((practised / "proofs.jsonl").read_text())["rehearsed"] is True


def wiring_told(folder):
    """What `plan` says of the wiring, before any board has greeted."""
    found = plan(read_campaign(folder, to_drop=False), Wanted()).findings
    (told,) = [one for one in found if one.code.startswith("wiring")]
    return told.code


def test_a_plan_takes_no_practised_bring_up_for_a_real_one(practised):
    assert wiring_told(practised) == "wiring"
    change(practised, 'kind = "rehearsal"', "")
    assert wiring_told(practised) == "wiring-unproven"


def test_a_real_pull_counts(tmp_path, monkeypatch, capsys):
    kite = kite_in(tmp_path, monkeypatch)
    assert said(capsys, *PULL, "--by", "A. Rigger")[0] == 0
    assert read_campaign(kite).mounts[0].proven_n == 3000.0
