"""`tautlog converter` without a board: what it shows, lists and refuses."""

import json
from dataclasses import replace

import pytest
from command_line import said

from tautlog.board import density
from tautlog.rehearsal.converters import some_converter
from tautlog.rehearsal.density_test import SimulatedTest, simulated_counts

SERIAL = "e66118604b3a2c2f"


@pytest.fixture
def board(monkeypatch):
    """A board whose counts are simulated."""
    wrong = {}

    def count_codes(port, plan, timeout_scale, say):
        test = SimulatedTest(ramps=plan.ramps, ramp_s=0.3, held_conversions=3000)
        counts = simulated_counts(some_converter("RP2040", 2), test, 2)
        say("  ramp 1 of 4, rising")
        machine = "Raspberry Pi Pico with RP2040"
        return replace(counts, serial=SERIAL, machine=machine, wiring=plan.wiring, **wrong)

    monkeypatch.setattr(density, "count_codes", count_codes)
    return wrong


@pytest.fixture
def campaign(tmp_path, monkeypatch, capsys):
    assert said(capsys, "init", tmp_path / "kite")[0] == 0
    monkeypatch.chdir(tmp_path / "kite")
    return tmp_path / "kite"


def test_a_rehearsal_shows_what_a_board_would(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    words = ("converter", "--rehearse", "RP2040", "--ramps", "4", "--ramp-s", "0.4")
    status, out, err = said(capsys, *words, "--picture", "converter.png")
    assert (status, err) == (0, "")
    assert "wide codes: 511 (" in out
    assert "regulator forced to PWM" in out
    assert "no campaign here: the table is not kept" in out
    assert (tmp_path / "converter.png").stat().st_size > 10_000
    assert not (tmp_path / "converters").exists()


def test_a_board_is_tested_kept_and_listed(capsys, campaign, board):
    words = ("converter", "--port", "somewhere", "--ramps", "4")
    status, out, err = said(capsys, *words)
    assert status == 0
    assert "ramp 1 of 4" in err
    assert "next: `tautlog calibrate`, which uses this table" in out
    assert len(list((campaign / "converters").glob("0001_*.json"))) == 1
    status, out, _ = said(capsys, *words, "--json")
    told = json.loads(out)
    assert told["serial"] == SERIAL
    assert told["expanded_u_steps"] < 1.0
    assert "0002_" in told["file"]
    _, out, _ = said(capsys, "converter", "--list")
    first, second = out.splitlines()
    assert first.endswith("replaced")
    assert second.endswith("in use for its board")
    _, out, _ = said(capsys, "converter", "--list", "--json")
    assert [one["serial"] for one in json.loads(out)] == [SERIAL, SERIAL]


def test_a_calibration_made_without_it_is_named(capsys, campaign, board):
    table = campaign / "weights.csv"
    table.write_text("mass_kg,volt\n0,0.45\n5,0.50\n10,0.55\n20,0.65\n10,0.55\n0,0.45\n")
    status, _, err = said(
        capsys, "calibrate", "--from-csv", table, "--accept", "R. Lead", "a made-up table"
    )
    assert status == 0, err
    _, out, _ = said(capsys, "converter", "--port", "somewhere", "--ramps", "4")
    assert "the calibration in use was made without this table" in out


def test_a_doubtful_test_is_shown_and_not_kept(capsys, campaign, board):
    board["held"] = ()
    status, out, err = said(capsys, "converter", "--port", "somewhere", "--ramps", "4")
    assert status == 1
    assert "LOOK: no constant level was counted" in out
    assert "the test is in doubt and not kept" in err
    assert not (campaign / "converters").exists()


def test_fewer_ramps_than_have_a_scatter_are_wrong_usage(capsys):
    assert said(capsys, "converter", "--port", "somewhere", "--ramps", "3")[0] == 2
