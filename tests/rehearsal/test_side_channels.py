"""Legs, accelerometer and supply: records of the simulated rig, and one whole rehearsal."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from command_line import said
from kites import add, change, kite_in
from rehearsed import SPEED, drop, plan_for
from side_records import recorded

from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json
from tautlog.model.channels import Channel, columns_of
from tautlog.record import legs_of, open_record
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene
from tautlog.rehearsal.side_channels import (
    board_changes,
    with_acceleration,
    with_excitation,
    with_legs,
)


@pytest.fixture(scope="module")
def bridle(tmp_path_factory):
    """Two legs of 60 and 40 %, the second 6 mm longer, and an accelerometer."""
    scene = with_acceleration(with_legs(default_scene(), 0.6, 0.006))
    path, rig = recorded(tmp_path_factory.mktemp("bridle") / "bridle.h5", scene)
    return path, rig.truth(0)


def marked(tmp_path, fault):
    path, _ = recorded(tmp_path / f"{fault}.h5", FAULTS[fault].change(default_scene()))
    return as_json(assess(open_record(path)))


def test_a_drop_on_two_legs(bridle):
    path, truth = bridle
    record = open_record(path)
    assert record.format_version == 2
    assert record.verify_seal().state == "intact"
    told = as_json(assess(record))
    assert told["peak_force_n"] == pytest.approx(truth["peak_force_n"], rel=2e-3)
    assert told["impulse_closure"] == pytest.approx(1.0, abs=0.01)
    assert told["record_verdict"] == "valid"
    assert told["load_verdict"] == "on-target"
    legs = told["legs"]
    assert [leg["name"] for leg in legs["legs"]] == ["force left", "force right"]
    assert sum(leg["share"] for leg in legs["legs"]) == pytest.approx(1.0)
    # 6 mm at 4.75 m/s.
    assert legs["onset_difference_s"] == pytest.approx(0.006 / 4.754, abs=2e-4)
    assert legs["slack_difference_m"] == pytest.approx(0.006, abs=1e-3)
    assert legs["first_taut"] == "force left"
    assert told["witness"]["ratio"] == pytest.approx(1.0, abs=0.01)
    assert told["witness"]["says"] == "agrees"
    assert told["excitation"] is None
    assert json.loads(json.dumps(told, allow_nan=False)) == told


def test_a_record_keeps_the_scale_of_each_channel(bridle):
    record = open_record(bridle[0])
    scene = with_acceleration(with_legs(default_scene(), 0.6, 0.006))
    assert record.channels == scene.channels[1:]
    assert set(legs_of(record)) == {"force left", "force right"}
    both = record.trace().force_n
    apart = sum(leg.force_n for leg in legs_of(record).values())
    np.testing.assert_allclose(both, apart)


def test_the_seal_covers_the_scale_of_each_channel(bridle, tmp_path):
    import h5py

    for number, spoil in enumerate(
        [
            lambda file: file["channels/1"].attrs.__setitem__("newton_per_volt", 1234.0),
            lambda file: file["channels/2"].attrs.__setitem__("volt_per_m_s2", 0.5),
            lambda file: file.__delitem__("channels/2"),
            lambda file: file["channels"].attrs.__setitem__("note", "x"),
        ]
    ):
        path = tmp_path / f"{number}.h5"
        path.write_bytes(bridle[0].read_bytes())
        with h5py.File(path, "r+") as file:
            spoil(file)
        assert open_record(path).verify_seal().state == "broken"


@pytest.mark.parametrize(
    ("fault", "record", "code"),
    [
        ("leg-longer", "valid", "closure-good"),
        ("leg-uncalibrated", "invalid", "leg-uncalibrated"),
        ("excitation-sags", "suspect", "excitation-sag"),
        ("accelerometer-gain", "suspect", "witness-disagrees"),
    ],
)
@pytest.mark.rows(2)
def test_a_fault_of_a_channel_is_judged(tmp_path, fault, record, code):
    told = marked(tmp_path, fault)
    assert told["record_verdict"] == record
    assert told["reasons"][0]["code"] == code
    if fault == "leg-uncalibrated":
        assert told["legs"]["sum_peak_force_n"] is None
        assert told["peak_force_n"] is None
        assert told["legs"]["legs"][0]["peak_force_n"] == pytest.approx(945.0, rel=5e-3)


def test_a_supply_that_sags_is_corrected_where_that_is_stated(tmp_path):
    """4 % at the target take 4.2 % off the peak; with the stated correction nothing is lost."""
    scene = FAULTS["excitation-sags"].change(default_scene())
    path, _ = recorded(tmp_path / "plain.h5", scene)
    assert assess(open_record(path)).marks.peak_force_n == pytest.approx(1890 * 0.958, rel=2e-3)
    (side,) = scene.side
    stated = replace(side, believed=replace(side.believed, ratiometric="yes"))
    path, _ = recorded(tmp_path / "corrected.h5", replace(scene, side=(stated,)))
    told = assess(open_record(path))
    assert told.beside.excitation.corrected
    assert [one.code for one in told.beside.excitation.findings] == ["excitation-corrected"]
    assert told.verdict.record_verdict == "valid"
    assert told.marks.peak_force_n == pytest.approx(1890.0, rel=2e-3)


def test_a_leg_that_lets_go_is_named(tmp_path):
    told = marked(tmp_path, "leg-lets-go")
    assert told["legs"]["let_go_first"] == "force left"
    assert told["legs"]["legs"][0]["break_force_n"] == pytest.approx(0.35 * 1800.0, rel=0.01)
    assert told["legs"]["legs"][1]["break_time_s"] is None
    assert told["trace_says"] == "let-go"
    assert told["load_verdict"] == "under"


@pytest.mark.wide
def test_the_test_may_be_judged_on_one_leg(tmp_path):
    scene = with_legs(default_scene(), 0.6)
    setup = replace(scene.setup, target_n=1080.0, limit_n=1250.0, judged_on="force left")
    path, _ = recorded(tmp_path / "one.h5", replace(scene, setup=setup))
    told = assess(open_record(path))
    assert told.verdict.load_verdict == "on-target"
    assert told.loaded.peak_force_n == pytest.approx(1134.0, rel=5e-3)
    assert told.marks.peak_force_n == pytest.approx(1890.0, rel=5e-3)
    nobody = replace(setup, judged_on="force middle")
    path, _ = recorded(tmp_path / "none.h5", replace(scene, setup=nobody))
    told = as_json(assess(open_record(path)))
    assert (told["record_verdict"], told["load_verdict"]) == ("invalid", "at-least")


def test_a_record_of_several_channels_from_before_is_read(tmp_path):
    """Without /channels nothing is known of the second: a voltage, or a leg without scale."""
    import h5py

    path, _ = recorded(tmp_path / "a.h5", with_excitation(default_scene()))
    with h5py.File(path, "r+") as file:
        del file["channels"]
        file.attrs["format_version"] = 1
    record = open_record(path)
    assert record.channels == ()
    assert record.channel(1) == Channel("excitation")
    assert as_json(assess(record))["excitation"]["before_v"] is None


@pytest.mark.wide
def test_every_channel_is_exported(bridle, tmp_path, capsys):
    out = tmp_path / "out.csv"
    assert said(capsys, "export", bridle[0], "--out", out)[0] == 0
    lines = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert list(rows[0])[4:] == ["force_left_n", "force_right_n", "acceleration_m_s2"]
    row = rows[20_000]
    apart = float(row["force_left_n"]) + float(row["force_right_n"])
    assert float(row["raw_n"]) == pytest.approx(apart, rel=1e-6)
    assert float(rows[-1]["acceleration_m_s2"]) == pytest.approx(9.8, abs=5.0)
    uff = tmp_path / "out.uff"
    assert said(capsys, "export", bridle[0], "--to", "uff", "--out", uff)[0] == 0
    assert uff.read_text().count("acceleration_m_s2 of ") == 1


def test_legs_are_shown_beside_their_sum(bridle, tmp_path, capsys):
    from tautlog.display.views import NamedDrop, view

    drop_ = assess(open_record(bridle[0]))
    for page in ("drop", "contact"):
        names = [curve.name for curve in view(page, [NamedDrop("a", drop_)]).panels[0].curves]
        assert names[-2:] == ["force left", "force right"]
    picture = tmp_path / "a.png"
    assert said(capsys, "show", bridle[0], "--out", picture)[0] == 0
    assert picture.stat().st_size > 10_000


def test_a_whole_rehearsal_with_three_channels(tmp_path):
    """The real firmware, with the channels of its config.py, over the wire into a record."""
    scene = with_excitation(with_legs(default_scene(), 0.55, 0.004))
    rig = SimulatedRig(scene, seed=3)
    plan = plan_for(rig, tmp_path / "drop.h5")
    with BoardProcess(rig, speed=SPEED, changes=board_changes(scene)) as board:
        drop(board, plan)
    record = open_record(plan.path)
    assert record.instrument.channels == ("force left", "force right", "excitation")
    assert columns_of(record.instrument.channels, "force") == (0, 1)
    codes = {finding["code"] for finding in record.arming["findings"]}
    assert not {code for code in codes if code.startswith(("leg", "excitation", "channel"))}
    told = as_json(assess(record))
    assert told["peak_force_n"] == pytest.approx(1890.0, rel=3e-3)
    assert told["legs"]["legs"][0]["share"] == pytest.approx(0.56, abs=0.02)
    assert told["excitation"]["before_v"] == pytest.approx(5.0, abs=0.01)


def test_a_leg_may_be_calibrated_afterwards(tmp_path, monkeypatch, capsys):
    """The counts were kept: with the leg's own weights the sum is known."""
    kite = kite_in(tmp_path, monkeypatch)
    change(kite, "[cell]", '[cell]\nchannel = "force left"')
    add(kite, '\n[[force_channel]]\nname = "force right"\nzero_v = 0.45\n')
    scene = FAULTS["leg-uncalibrated"].change(default_scene())
    path, _ = recorded(kite / "a.h5", scene)
    slope = scene.side[0].chain.newton_per_volt
    points = "".join(f"{load},{0.45 + load / slope!r}\n" for load in (0, 98, 196, 294, 98, 0))
    (kite / "points.csv").write_text("load_n,volt\n" + points)
    given = ["calibrate", "--from-csv", "points.csv", "--channel", "force right"]
    assert said(capsys, *given)[0] == 0
    word = ["--by", "R. Lead", "--reason", "calibrated later"]
    status, out, _ = said(capsys, "mark", path, "--calibration", "1", *word, "--json")
    assert status == 0
    told = json.loads(out)
    assert told["peak_force_n"] == pytest.approx(1890.0, rel=5e-3)
    assert told["calibration"]["newton_per_volt"] == scene.calibration.newton_per_volt
    again = open_record(path)
    assert again.recalibration.channel == "force right"
    assert as_json(assess(again))["peak_force_n"] == told["peak_force_n"]
