"""What was copied by hand from another campaign lets no drop of this one through."""

import json
import shutil
from dataclasses import asdict, replace

import pytest
from brought_up import bring_up
from command_line import said
from kites import DATED, PULLED, change, kite_in, refusal, table

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.checklist import add_checklist, answered_list, fresh_checklist
from tautlog.campaign.drop_setup import setup_from
from tautlog.campaign.ledger import LedgerEntry, add_entry
from tautlog.campaign.zone import confirm_at_rest, note_armed, stay_out
from tautlog.cli import run
from tautlog.drop.granting import checked_for, permitted
from tautlog.errors import RefusedError
from tautlog.files.campaign_folder import CHAIN_FILE
from tautlog.model.load_path import PathCheck
from tautlog.planning.intended import intended_for

PROOFS = "proofs.jsonl"


@pytest.fixture
def other(tmp_path, monkeypatch):
    """A campaign in which everything was done."""
    return kite_in(tmp_path / "other", monkeypatch)


@pytest.fixture
def bare(tmp_path, other, monkeypatch):
    """A new campaign with the wires tried, in which nobody has pulled the mount."""
    folder = tmp_path / "bare"
    assert run(["init", str(folder)]) == 0
    monkeypatch.chdir(folder)
    change(folder, '\ndate = ""', DATED)
    bring_up(folder)
    return folder


def permit(folder, **given):
    campaign = read_campaign(folder)
    return permitted(campaign, setup_from(campaign), say=lambda text: None, **given)


def pull(*more):
    assert run(["proof", "--pulled", "3000", *PULLED, *more]) == 0


def test_nothing_of_this_is_said_of_a_campaign_that_kept_it_itself(other, capsys):
    assert not intended_for(read_campaign(other), setup_from(read_campaign(other))).not_kept
    assert refusal(capsys) == ""


def test_a_copied_pull_lets_no_drop_through(other, bare, capsys):
    shutil.copy(other / PROOFS, bare / PROOFS)
    assert "proofs.jsonl: line 1 is not in the chain" in refusal(capsys)
    with pytest.raises(RefusedError, match="enter it again: --supersedes 1"):
        permit(bare)
    (found,) = checked_for(read_campaign(bare), setup_from(read_campaign(bare)))
    assert (found.code, found.holds) == ("not-kept-here", False)
    _, out, _ = said(capsys, "plan")
    assert "line 1 is not in the chain" in " ".join(out.split())


def test_a_named_person_states_it_again(other, bare, capsys):
    shutil.copy(other / PROOFS, bare / PROOFS)
    pull("--supersedes", "1", "--reason", "the same beam, pulled on the same day")
    assert permit(bare)
    assert refusal(capsys) == ""


def test_a_named_person_overrides_it(other, bare):
    shutil.copy(other / PROOFS, bare / PROOFS)
    one = permit(bare, by="R. Lead", reason="saw the pull")
    assert "not in the chain" in json.loads(one.setup.override)["refused"]


def test_a_copied_correction_lifts_no_failure_of_this_campaign(bare, capsys):
    pull("--set", "0.9")
    good = json.loads((bare / PROOFS).read_text())
    good |= {"set_m": 0.0, "supersedes": 1, "by": "A", "reason": "misread"}
    with (bare / PROOFS).open("a") as file:
        file.write(json.dumps(good) + "\n")
    assert "line 2 is not in the chain" in refusal(capsys)


def test_an_edited_and_a_removed_pull_refuse(bare, capsys):
    pull()
    text = (bare / PROOFS).read_text()
    (bare / PROOFS).write_text(text.replace("3000", "9000"))
    assert "line 1 is not as it was kept" in refusal(capsys)
    (bare / PROOFS).write_text("")
    assert "line 1 is not as it was kept" in refusal(capsys)
    (bare / PROOFS).unlink()
    assert "had 1 lines and is gone" in refusal(capsys)
    (bare / PROOFS).write_text(text)
    assert refusal(capsys) == ""


def test_another_programs_line_ends_change_nothing(bare, capsys):
    pull()
    for name in (PROOFS, CHAIN_FILE):
        (bare / name).write_bytes((bare / name).read_bytes().replace(b"\n", b"\r\n"))
    assert refusal(capsys) == ""


def test_a_copied_bring_up_proves_no_wires(tmp_path, other, monkeypatch, capsys):
    folder = tmp_path / "new"
    assert run(["init", str(folder)]) == 0
    monkeypatch.chdir(folder)
    change(folder, '\ndate = ""', DATED)
    pull()
    shutil.copy(other / "bring_up.jsonl", folder / "bring_up.jsonl")
    assert "bring_up.jsonl: line 1 is not in the chain" in refusal(capsys)


def test_a_copied_correction_takes_no_drop_out_of_the_ledger(bare, capsys):
    pull()
    entry = LedgerEntry("2026-03-01T10:00:00Z", "A", mount="beam-1", peak_at_most_n=900.0)
    add_entry(bare, entry)
    gone = replace(entry, mount="", peak_at_most_n=None, supersedes=1, reason="there was none")
    with (bare / "ledger.jsonl").open("a") as file:
        file.write(json.dumps(asdict(gone)) + "\n")
    assert "ledger.jsonl: line 2 is not in the chain" in refusal(capsys)


@pytest.mark.parametrize("changed", [False, True])
def test_a_copied_or_edited_calibration_measures_no_drop(other, bare, monkeypatch, capsys, changed):
    pull()
    monkeypatch.chdir(bare if changed else other)
    assert run(table(other if not changed else bare)) == 0
    monkeypatch.chdir(bare)
    if changed:
        (path,) = (bare / "calibrations").glob("*.json")
        path.write_text(path.read_text() + " ")
        assert "changed since it was kept" in refusal(capsys)
    else:
        shutil.copytree(other / "calibrations", bare / "calibrations")
        told = refusal(capsys)
        assert "calibrations/" in told
        assert "not in the chain" in told
        assert "--supersedes" in told


def test_a_folder_whose_chain_is_gone_is_not_known_to_be_this_campaigns(other, capsys):
    (other / CHAIN_FILE).unlink()
    assert "has no chain" in refusal(capsys)
    # An entry begins a chain anew; what was only found there is no more this campaign's.
    add_entry(other, LedgerEntry("2026-03-01T10:00:00Z", "A", article="a", peak_at_most_n=900.0))
    assert "proofs.jsonl: line 1 was there before the chain began" in refusal(capsys)


def test_a_copied_checklist_is_not_fresh(other, bare):
    made = answered_list("A. One", "B. Two", [PathCheck("x", True, "x")], {})
    made = replace(made, answered=((made.answered[0][0], True),))
    path = add_checklist(other, made)
    assert fresh_checklist(other) is not None
    (bare / "checklists").mkdir()
    shutil.copy(path, bare / "checklists")
    assert fresh_checklist(bare) is None


def test_a_copied_look_lets_nobody_in(other, bare):
    note_armed(bare, "drop.h5")
    note_armed(other, "drop.h5")
    confirm_at_rest(other, "A. Rigger")
    shutil.copy(other / "zone.jsonl", bare / "zone.jsonl")
    assert stay_out(bare) is not None
    (bare / "zone.jsonl").unlink()
    assert stay_out(bare) is not None
    confirm_at_rest(bare, "B. Hand")
    assert stay_out(bare) is None
