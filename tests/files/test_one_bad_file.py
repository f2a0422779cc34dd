"""One bad file of a campaign is named and left out; everything else goes on."""

import json
import shutil

import h5py
import numpy as np
import pytest
from command_line import said
from made_records import SETUP, made

from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.errors import CampaignError

LINE = """
[[line]]
name = "polyester 8 mm, 1.5 m"
stiffness_n_per_m = 20800.0
"""


@pytest.fixture(scope="module")
def drops(tmp_path_factory):
    """Two marked drops; the newest line is that of the second."""
    folder = tmp_path_factory.mktemp("drops")
    for number in (1, 2):
        mark_new(made(folder / f"{number}.h5", utc=f"2026-03-0{number}T10:00:00Z"))
    return folder


@pytest.fixture
def kite(drops, tmp_path, monkeypatch):
    assert run(["init", str(tmp_path / "kite")]) == 0
    folder = tmp_path / "kite"
    for one in drops.glob("*.h5"):
        shutil.copy(one, folder)
    monkeypatch.chdir(folder)
    return folder


@pytest.mark.parametrize(
    ("place", "name", "value"),
    [
        ("setup", "mass_kg", np.nan),
        ("setup", "height_m", np.inf),
        ("setup", "target_n", -np.inf),
        ("calibration", "newton_per_volt", np.nan),
        ("trace/counts", "sample_rate_hz", np.nan),
    ],
)
@pytest.mark.rows(1)
def test_a_nonsense_number_in_one_record_stops_no_report(kite, capsys, place, name, value):
    """A nan mass ended report and learn in an error of numpy, a nan factor mark."""
    with h5py.File(kite / "2.h5", "r+") as file:
        file[place].attrs[name] = value
    status, out, err = said(capsys, "report", "--out", "r.html")
    assert status == 1
    assert "without 1 of 2 files" in err
    assert "2.h5" in err
    assert "report r.html" in out
    assert "2.h5" in (kite / "r.html").read_text()
    status, out, err = said(capsys, "learn", "--line", SETUP.line)
    assert status == 1
    assert "next drop, 9 kg" in out
    assert "2.h5" in err
    status, _, err = said(capsys, "mark", "2.h5")
    assert status == 1
    assert "is damaged" in err
    assert len(err.splitlines()) == 1
    for command in ("list", "ledger"):
        status, out, _ = said(capsys, command)
        assert status == 0
        assert "2" in out


def test_what_was_changed_after_its_seal_is_not_learned_from(kite, capsys):
    with h5py.File(kite / "2.h5", "r+") as file:
        file["setup"].attrs["mass_kg"] = 12.0
    status, out, err = said(capsys, "learn", "--line", SETUP.line)
    assert status == 1
    assert "not learned from 2.h5: not what was sealed: the set-up" in out
    assert "from 1 of 2 records" in out
    assert "1 files" in err


@pytest.mark.parametrize(
    ("name", "value"),
    [("line_stiffness_n_per_m", 1e300), ("peak_force_n", "much"), ("damping_ratio", [1])],
)
@pytest.mark.rows(1)
def test_old_marks_that_make_no_sense_teach_nothing(kite, capsys, name, value):
    """Records of older programs carry marks without a seal."""
    import tautlog.record.seal as seals

    with h5py.File(kite / "2.h5", "r+") as file:
        run_ = file["marks/1"]
        result = {**json.loads(run_.attrs["result_json"]), name: value}
        run_.attrs["result_json"] = json.dumps(result)
        for one in ("entry", "previous_sha256", "seal_sha256"):
            del run_.attrs[one]
        del file.attrs["seal_version"]
        seals.put_seal(file)
    status, out, _ = said(capsys, "learn", "--line", SETUP.line)
    assert status == 0
    assert "not learned from 2.h5" in out
    assert said(capsys, "report", "--out", "r.html")[0] == 0


CUT = '{"format": "tautlog calibration", "calibration": {"newton_per_vo'


@pytest.mark.wide
def test_a_calibration_cut_short_stops_nothing_that_looks_back(kite, capsys):
    """`ledger` and others refused; a drop must."""
    folder = kite / "calibrations"
    folder.mkdir()
    (folder / "0001_2026-03-01.json").write_text(CUT)
    for arguments in (
        ("ledger",),
        ("list",),
        ("learn", "--line", SETUP.line),
        ("report", "--out", "r.html"),
        ("mark", "1.h5"),
        ("ledger", "--add", "--by", "A", "--line", "x"),
    ):
        status, _, err = said(capsys, *arguments)
        assert status == 0, (arguments, err)
        assert ("left out" in err and "0001_2026-03-01.json" in err) or arguments[0] in (
            "list",
            "mark",
        )
    with pytest.raises(CampaignError, match="0001_2026-03-01"):
        read_campaign(kite)
    for command in (["drop", "--yes"], ["health", "--port", "socket://127.0.0.1:9"]):
        status, _, err = said(capsys, *command)
        assert status == 1
        assert "0001_2026-03-01.json cannot be read as a calibration" in err
    assert read_campaign(kite, to_drop=False).calibration_doubts  # the gate refuses it as well


def test_an_older_calibration_stands_in_and_the_cut_one_can_be_corrected(kite, capsys):
    rows = [f"{200 * n},{0.5 + 0.2 * n},{run_}" for run_ in (1, 2, 3) for n in range(8)]
    (kite / "points.csv").write_text("load_n,volt,run\n" + "\n".join(rows) + "\n")
    made_so = ["calibrate", "--from-csv", "points.csv", "--accept", "A", "a test"]
    assert said(capsys, *made_so)[0] == 0
    first = read_campaign(kite).calibration
    (kite / "calibrations" / "0002_2026-03-01.json").write_text(CUT)
    assert read_campaign(kite, to_drop=False).calibration == first
    with pytest.raises(CampaignError, match="0002_2026-03-01"):
        read_campaign(kite)
    correct = [*made_so, "--supersedes", "2", "--by", "A", "--reason", "cut short"]
    assert said(capsys, *correct)[0] == 0
    assert not read_campaign(kite, to_drop=False).calibration_left_out
    assert read_campaign(kite).calibration.newton_per_volt == first.newton_per_volt


def test_what_learn_says_of_the_next_drop_is_what_plan_says(kite, capsys):
    """It was reckoned another way, and said 1892 N where plan said 1906 N."""
    asked = ["--line", SETUP.line, "--mass", "9", "--height", "1.4"]
    told = json.loads(said(capsys, "learn", *asked, "--json")[1])
    planned = json.loads(said(capsys, "plan", *asked, "--json")[1])
    for name in ("peak_force_n", "peak_low_n", "peak_high_n", "energy_j"):
        assert told["next"][name] == pytest.approx(planned[name], rel=1e-9), name
    assert told["next"]["n"] == len(told["lessons"]) - 1  # the first drop was of a new line
    out = said(capsys, "learn", *asked)[1]
    assert "as `tautlog plan` says; stiffness of the line from" in out
