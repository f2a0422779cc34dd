"""Whole drops: the firmware's files in a process of their own, the laptop's side as it is."""

import io
import json
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import h5py
import numpy as np
import pytest
from fakes.crew import SilentCrew
from rehearsed import SPEED, drop, plan_for, played, until_held

from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.cli import run
from tautlog.drop.recovery import Known, recover
from tautlog.errors import AbortedError, LinkError, RefusedError
from tautlog.record import RecordWriter, open_record
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import SIXTEEN_BITS, default_scene, with_sixteen_bits


@pytest.fixture(params=["micropython", "cpython"])
def interpreter(request):
    if request.param == "cpython":
        return Path(sys.executable)
    return Path(request.getfixturevalue("micropython"))


def test_a_whole_drop_under_both_interpreters(interpreter, tmp_path):
    rig = played(None)
    plan = plan_for(rig, tmp_path / "drop.h5", record_s=7.0)
    with BoardProcess(rig, interpreter=interpreter, speed=SPEED) as board:
        outcome = drop(board, plan)
        assert board.printed() == ""
    assert outcome.missing_blocks == 0
    record = open_record(plan.path)
    marks = told_of(assess(record, cfc=180))
    truth = rig.truth(record.first_sample_index)
    assert record.status == "complete"
    assert record.verify_seal().state == "intact"
    name = "MicroPython" if "micropython" in interpreter.name else "CPython"
    assert name in record.instrument.board
    # The peak within its stated uncertainty; times within two samples of 16 us; the class 180
    # lengthens a pulse of 59 ms by 0.2 %.
    assert abs(marks["peak_force_n"] - truth["peak_force_n"]) < marks["peak_force_expanded_u_n"]
    assert marks["peak_force_n"] == pytest.approx(truth["peak_force_n"], rel=1e-3)
    assert marks["release_time_s"] == pytest.approx(truth["release_time_s"], abs=32e-6)
    assert marks["onset_time_s"] == pytest.approx(truth["onset_time_s"], abs=2e-4)
    assert marks["duration_s"] == pytest.approx(truth["duration_s"], rel=5e-3)
    assert marks["impulse_ns"] == pytest.approx(truth["impulse_ns"], rel=1e-3)
    # Two levels of the converter, each known to 0.25 steps of 0.8 mV; k = 2.
    assert marks["rest_force_n"] == pytest.approx(truth["rest_force_n"], abs=0.6)
    assert marks["bounces"] == truth["bounces"]
    assert marks["impulse_closure"] == pytest.approx(1.0, abs=5e-3)
    assert (marks["record_verdict"], marks["load_verdict"]) == ("valid", "on-target")
    assert marks["trace_says"] == "held"
    with h5py.File(plan.path) as file:  # as anybody reads it
        counts, about = file["trace/counts"], file["trace/counts"].attrs
        cal = file["calibration"].attrs
        volts = counts[:, 0] * cal["reference_v"] / (2.0 ** cal["converter_bits"])
        force = volts / about["reduction"] * cal["newton_per_volt"]
        assert force.max() - force[:1000].mean() == pytest.approx(1890.0, rel=0.01)
        assert counts.dtype == np.uint16


def test_a_whole_drop_with_16_bits(tmp_path):
    """Another converter by config alone: from the board's words to newtons, as anybody reads it."""
    scene = with_sixteen_bits(default_scene())
    rig = SimulatedRig(scene, sample_rate_hz=31250.0, seed=3)
    plan = plan_for(rig, tmp_path / "drop.h5")
    with BoardProcess(rig, speed=SPEED, changes=dict(SIXTEEN_BITS)) as board:
        drop(board, plan)
        assert board.printed() == ""
    record = open_record(plan.path)
    assert (record.instrument.converter_bits, record.calibration.converter_bits) == (16, 16)
    marks = told_of(assess(record, cfc=180))
    truth = rig.truth(record.first_sample_index)
    assert marks["peak_force_n"] == pytest.approx(truth["peak_force_n"], rel=1e-3)
    assert marks["release_time_s"] == pytest.approx(truth["release_time_s"], abs=64e-6)
    assert (marks["record_verdict"], marks["load_verdict"]) == ("valid", "on-target")
    with h5py.File(plan.path) as file:
        counts, cal = file["trace/counts"], file["calibration"].attrs
        assert counts.attrs["converter_bits"] == cal["converter_bits"] == 16
        full_scale = min(2**16 * counts.attrs["reduction"], 65536)
        force = counts[:, 0] / full_scale * cal["reference_v"] * cal["newton_per_volt"]
        assert force.max() - force[:1000].mean() == pytest.approx(1890.0, rel=0.01)


def test_release_by_hand(tmp_path):
    rig = played(None, by_hand=True)
    with BoardProcess(rig, speed=SPEED) as board:
        outcome = drop(board, plan_for(rig, tmp_path / "drop.h5", by_hand=True))
    names = [event.name for event in outcome.events]
    assert "release-opened" in names
    assert "release-driven" not in names
    assert told_of(assess(open_record(outcome.path), cfc=180))["load_verdict"] == "on-target"


def test_the_cable_is_pulled_and_nothing_is_lost(tmp_path):
    rig = played("cable-pulled")
    plan = plan_for(rig, tmp_path / "drop.h5")
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(LinkError, match="tautlog recover"):
            drop(board, plan)
        assert open_record(plan.path).status == "recording"
        outcome = until_held(board, plan)
    record = open_record(plan.path)
    assert record.status == "recovered"
    assert outcome.missing_blocks == 0
    marks = told_of(assess(record, cfc=180))
    assert marks["missing_samples"] == 0
    assert marks["peak_force_n"] == pytest.approx(1890.0, rel=2e-3)
    after_s = marks["samples"] / marks["sample_rate_hz"] - marks["release_time_s"]
    assert after_s >= 1.0  # the guarded window
    assert marks["release_time_s"] >= 0.05


def test_recovery_into_a_new_record(tmp_path):
    rig = played("cable-pulled")
    plan = plan_for(rig, tmp_path / "drop.h5")
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(LinkError):
            drop(board, plan)
        other = plan.at(tmp_path / "other.h5")
        for _ in range(40):
            with SerialLink(board.url) as link:
                try:
                    recover(Session(link), other.path, Known(other.setup, other.calibration))
                    break
                except RefusedError:
                    other.path.unlink(missing_ok=True)
            threading.Event().wait(0.6)
    marks = told_of(assess(open_record(other.path), cfc=180))
    assert marks["load_verdict"] == "on-target"


@pytest.mark.parametrize(
    ("fault", "word"), [("key-off", "arm key"), ("not-latched", "release switch")]
)
def test_refusals_leave_no_record(tmp_path, fault, word):
    rig = played(fault)
    plan = plan_for(rig, tmp_path / "drop.h5")
    with BoardProcess(rig, speed=SPEED) as board, pytest.raises(RefusedError, match=word):
        drop(board, plan)
    assert not list(tmp_path.iterdir())


def test_a_latch_that_sticks(tmp_path):
    rig = played("latch-stuck")
    plan = plan_for(rig, tmp_path / "drop.h5")
    low = r"did not open.*state safe.*drive is low"
    with BoardProcess(rig, speed=SPEED) as board, pytest.raises(AbortedError, match=low):
        drop(board, plan)
    assert open_record(plan.path).status == "aborted"


def interrupt():
    signal.raise_signal(signal.SIGINT)


@pytest.mark.parametrize("moment", ["met", "agree"])
def test_ctrl_c_before_arming(tmp_path, moment):
    rig = played(None)
    plan = plan_for(rig, tmp_path / "drop.h5")
    crew = SilentCrew(**{moment: interrupt})
    with BoardProcess(rig, speed=SPEED) as board, pytest.raises(AbortedError, match="not armed"):
        drop(board, plan, crew)
    assert rig.release_at is None
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("moment", ["armed", "count"])
def test_ctrl_c_while_armed(tmp_path, moment):
    rig = played(None)
    plan = plan_for(rig, tmp_path / "drop.h5")
    crew = SilentCrew(**{moment: interrupt})
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(AbortedError, match=r"state safe, the release drive is low"):
            drop(board, plan, crew)
        with SerialLink(board.url) as link:
            assert Session(link).greet().state == "safe"
    assert rig.release_at is None
    assert open_record(plan.path).status == "aborted"


def test_ctrl_c_after_the_release_keeps_the_drop(tmp_path):
    rig = played(None)
    plan = plan_for(rig, tmp_path / "drop.h5")
    with BoardProcess(rig, speed=SPEED) as board:
        outcome = drop(board, plan, SilentCrew(released=interrupt))
    assert outcome.early
    marks = told_of(assess(open_record(plan.path), cfc=180))
    assert marks["peak_force_n"] == pytest.approx(1890.0, rel=2e-3)


def test_a_disk_that_refuses_makes_the_board_safe(tmp_path, monkeypatch):
    """A recorder that is not storing gives no release."""
    rig = played(None)
    plan = plan_for(rig, tmp_path / "drop.h5", countdown_s=4.0)
    real, calls = RecordWriter.commit, []

    def commit(self):
        calls.append(1)
        if len(calls) > 3:
            raise OSError(28, "No space left on device")
        return real(self)

    monkeypatch.setattr(RecordWriter, "commit", commit)
    with BoardProcess(rig, speed=SPEED) as board:
        with pytest.raises(OSError, match="No space left"):
            drop(board, plan)
        monkeypatch.undo()
        with SerialLink(board.url) as link:
            assert Session(link).greet().state == "safe"
    assert rig.release_at is None
    assert open_record(plan.path).status == "aborted"


EXPECTED = {
    "article-parts": {"trace_says": "let-go", "load_verdict": "under"},
    "amplifier-clips": {"load_verdict": "at-least", "clipped": True},
    "gain-ten-times": {"record_verdict": "invalid"},
    "cell-reversed": {"record_verdict": "invalid"},
    "never-taut": {"load_verdict": "no-load", "test_verdict": "no-test"},
    "stop-touched": {"record_verdict": "invalid"},
    "glitch": {"load_verdict": "on-target", "record_verdict": "valid"},
    "long-bounce": {"load_verdict": "on-target", "trace_says": "held"},
    "late-latch": {"load_verdict": "on-target", "trace_says": "held"},
    "mains-hum": {"trace_says": "held"},
    "line-slips": {"load_verdict": "under", "trace_says": "slipped"},
    "steps-unknown": {"load_verdict": "on-target", "record_verdict": "valid"},
    "source-weak": {"record_verdict": "invalid", "load_verdict": "under"},
    "switch-stuck": {"load_verdict": "on-target", "trace_says": "held", "release_time_s": None},
}
QUICK = ("article-parts", "cell-reversed", "switch-stuck")


@pytest.mark.parametrize(
    "fault",
    [one if one in QUICK else pytest.param(one, marks=pytest.mark.long) for one in EXPECTED],
)
@pytest.mark.rows(1)
def test_faults_are_seen_by_the_verdicts(tmp_path, fault):
    rig = played(fault)
    plan = plan_for(rig, tmp_path / "drop.h5", record_s=7.0)
    with BoardProcess(rig, speed=SPEED) as board:
        drop(board, plan)
    marks = told_of(assess(open_record(plan.path), cfc=180))
    assert {name: marks[name] for name in EXPECTED[fault]} == EXPECTED[fault]


def test_every_fault_is_tried_somewhere():
    elsewhere = {"cable-pulled", "latch-stuck", "key-off", "not-latched"}
    elsewhere |= {
        *("leg-longer", "leg-lets-go", "leg-uncalibrated"),  # test_side_channels
        *("excitation-sags", "accelerometer-gain"),
    }
    elsewhere |= {"gate-open", "pin-in", "gate-opens", "gate-opens-late"}  # test_contacts
    elsewhere |= {"other-chip", "noisy"}  # the latter in test_stand
    elsewhere |= {
        "mount-lets-go",
        "sled-jams",
        "sled-hesitates",
        "cell-cable-rips",
    }  # test_thirty_stories
    elsewhere |= {"parked-low", "parked-high", "bridge-open", "shunt-dead"}  # test_readiness
    assert set(EXPECTED) | elsewhere == set(FAULTS)


# The commands


def test_rehearse_prints_what_it_promises(tmp_path, capfd):
    start_s = time.perf_counter()
    assert run(["rehearse", "--json", "--out", str(tmp_path), "--seed", "5"]) == 0
    assert time.perf_counter() - start_s < 20.0  # generous: it takes a quarter of that
    result = json.loads(capfd.readouterr().out)
    assert set(result) == {"record", "picture", "truth", "marks"}
    assert open_record(result["record"]).status == "complete"
    assert Path(result["picture"]).stat().st_size > 20_000
    assert result["truth"]["peak_force_n"] == pytest.approx(1890.0, rel=1e-6)
    assert result["marks"]["peak_force_n"] == pytest.approx(1890.0, rel=2e-3)
    assert set(result["truth"]) <= set(result["marks"])


@pytest.mark.wide
def test_rehearsals_repeat(tmp_path):
    """The same seed: the same counts, whatever the computer did meanwhile."""
    traces = []
    for name in ("one.h5", "two.h5"):
        rig = played(None, seed=11)
        plan = plan_for(rig, tmp_path / name, record_s=1.0)
        with BoardProcess(rig, speed=SPEED) as board:
            drop(board, plan)
        record = open_record(plan.path)
        start = record.release_index
        traces.append(record.trace().force_n[start : start + 50_000])
    assert np.corrcoef(traces[0], traces[1])[0, 1] > 0.999


@pytest.mark.wide
def test_the_interpreter_is_named_on_the_screen(tmp_path):
    done = subprocess.run(
        [
            *(sys.executable, "-m", "tautlog", "rehearse"),
            *("--yes", "--speed", "20", "--out", str(tmp_path)),
        ],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert "virtual board under" in done.stderr
    assert "ON TARGET" in done.stdout


@pytest.mark.parametrize(("shunt_ohm", "status"), [("87150", 0), ("174650", 1)])
@pytest.mark.rows(1)
def test_shunt_check_on_a_rehearsed_board(tmp_path, monkeypatch, capsys, shunt_ohm, status):
    """350 ohm, 5 V, gain 99.8: R / (4 Rs + 2 R) of 87 150 ohm gives the rig's half a volt."""
    assert run(["init", str(tmp_path / "kite")]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    path = tmp_path / "kite" / "campaign.toml"
    path.write_text(path.read_text().replace("gain = 500.0", "gain = 99.8"))
    with BoardProcess(played(None), speed=SPEED) as board:
        assert run(["calibrate", "--shunt", shunt_ohm, "--port", board.url]) == status
    assert "shunt step 0.5" in capsys.readouterr().out


def test_weights_are_hung_one_after_the_other(tmp_path, monkeypatch, capsys):
    """A rehearsed rig reads nothing but its zero: the calibration says that it does not change."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 9))
    loads = [one for load in ("0", "5", "10", "0") for one in ("--load", load)]
    with BoardProcess(played(None), speed=SPEED) as board:
        assert run(["calibrate", *loads, "--port", board.url]) == 1
    err = capsys.readouterr().err
    assert "10 kg reads 0.4" in err
    assert err.strip().splitlines()[-1].startswith("tautlog: the reading does not follow")


@pytest.mark.wide
def test_a_drop_with_the_shunt_before_and_after(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    rig = played(None)
    given = ["--mass", "9", "--height", "1.2", "--target", "1800", "--out", "d.h5", "--shunt"]
    with BoardProcess(rig, speed=SPEED) as board:
        port = ["--port", board.url, "--link-timeout", "3"]
        assert run(["drop", *port, *given, "--yes", "--countdown", "0", "--json"]) == 0
    assert abs(open_record("d.h5").shunt_off) < 0.005
    codes = {one["code"] for one in json.loads(capsys.readouterr().out)["marks"]["reasons"]}
    assert "shunt-good" in codes


@pytest.mark.wide
def test_the_verdict_is_shown_also_when_the_shunt_cannot_be_read_afterwards(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)

    def step(*_):
        raise LinkError("the cable is out")

    monkeypatch.setattr("tautlog.drop.conducting.read_shunt_step", step)
    given = ["--mass", "9", "--height", "1.2", "--target", "1800", "--out", "d.h5", "--shunt"]
    with BoardProcess(played(None), speed=SPEED) as board:
        assert run(["drop", "--port", board.url, *given, "--yes", "--countdown", "0"]) == 1
    said = capsys.readouterr()
    assert "3 REHEARSAL: peak 19" in said.out
    assert "the cable is out); the record is whole" in said.err.strip().splitlines()[-1]
    assert open_record("d.h5").shunt_off is None


def test_health_tells_what_force_the_shunt_looks_like(tmp_path, monkeypatch, capsys):
    """R / (4 Rs + 2 R) = 1.002004 mV/V of 2 mV/V at 5000 N: 2505 N."""
    assert run(["init", str(tmp_path / "kite")]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    path = tmp_path / "kite" / "campaign.toml"
    path.write_text(path.read_text().replace("# shunt_ohm = 87150.0", "shunt_ohm = 87150.0"))
    with BoardProcess(played(None), speed=SPEED) as board:
        run(["health", "--port", board.url])
    assert "V, like 2505 N by the data sheet" in capsys.readouterr().out
