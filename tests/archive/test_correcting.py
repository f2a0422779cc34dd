"""Corrections as people type them: good ones count, others say how to mend them."""

import json

import pytest
from command_line import said
from made_records import made

from tautlog.campaign.ledger import LedgerEntry
from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.errors import CampaignError
from tautlog.files.json_lines import read_standing


@pytest.fixture
def kite(tmp_path, monkeypatch):
    assert run(["init", str(tmp_path / "kite")]) == 0
    folder = tmp_path / "kite"
    monkeypatch.chdir(folder)
    rows = [f"{200 * n},{0.5 + 0.196 * n},{run_}" for run_ in (1, 2, 3) for n in range(8)]
    (folder / "points.csv").write_text("load_n,volt,run\n" + "\n".join(rows) + "\n")
    return folder


CALIBRATE = ("calibrate", "--from-csv", "points.csv", "--accept", "A", "a test")


@pytest.mark.parametrize(
    "given", [("--article", "a"), ("--by", "A"), ("--peak-at-most", "900"), ("--reason", "x")]
)
def test_what_would_enter_nothing_is_refused(kite, capsys, given):
    """Without --add the table came, as if the drop had been entered."""
    status, _, err = said(capsys, "ledger", *given)
    assert status == 2
    assert "nothing was entered: --add enters a drop" in err
    assert not (kite / "ledger.jsonl").exists()


@pytest.mark.parametrize("given", [(), ("--by", "A"), ("--reason", "x"), ("--by", " ")])
def test_a_correction_of_a_calibration_says_what_it_needs(kite, capsys, given):
    assert said(capsys, *CALIBRATE)[0] == 0
    status, _, err = said(capsys, *CALIBRATE, "--supersedes", "1", *given)
    assert status == 2
    assert "--supersedes needs --by NAME and --reason TEXT" in err
    assert len(list((kite / "calibrations").iterdir())) == 1


@pytest.mark.parametrize("which", ["0001", "1", "newest"])
def test_a_calibration_is_taken_by_name_or_number(kite, capsys, which):
    assert said(capsys, *CALIBRATE)[0] == 0
    (name,) = (one.name for one in (kite / "calibrations").iterdir())
    which = name.removesuffix(".json") if which == "0001" else which
    mark_new(made(kite / "drop.h5"))
    asked = ("mark", "drop.h5", "--calibration", which, "--by", "A", "--reason", "x", "--json")
    told = json.loads(said(capsys, *asked)[1])["calibration"]
    assert told["file"] == name
    assert said(capsys, "verify")[0] == 0


def test_of_a_rehearsal_the_campaign_is_that_above_it(kite, capsys):
    assert said(capsys, *CALIBRATE)[0] == 0
    (kite / "rehearsals").mkdir()
    path = made(kite / "rehearsals" / "played.h5", board="virtual board under CPython 3.11.2")
    mark_new(path)
    asked = ("mark", path, "--calibration", "newest", "--by", "A", "--reason", "x")
    status, out, _ = said(capsys, *asked)
    assert status == 0
    assert "REHEARSAL" in out


def test_a_calibration_that_is_none_names_those_that_are(kite, capsys):
    assert said(capsys, *CALIBRATE)[0] == 0
    mark_new(made(kite / "drop.h5"))
    asked = ("mark", "drop.h5", "--calibration", "7", "--by", "A", "--reason", "x")
    status, _, err = said(capsys, *asked)
    assert status == 1
    assert "there is no calibration '7'; " in err
    assert "has: 0001_" in err


@pytest.mark.parametrize("wrong", ["true", "1.0", "2", "0", '"1"', "[1]"])
def test_what_supersedes_no_line_before_it_is_refused(tmp_path, wrong):
    path = tmp_path / "ledger.jsonl"
    entry = '{"utc": "2026-03-01T00:00:00Z", "by": "A", "article": "a"'
    path.write_text(f'{entry}}}\n{entry}, "supersedes": {wrong}, "reason": "x"}}\n')
    with pytest.raises(CampaignError, match="expected the number of an earlier line"):
        read_standing(path, LedgerEntry, "entry")
