"""What the limits are held against: the highest of prediction, target and what was measured."""

import dataclasses
import io
import json
import re

import pytest
from command_line import said
from intended_drops import GOOD
from kites import STIFF, kite_in, refusal
from made_records import SETUP, VIRTUAL, made

from tautlog.archive.summary import RecordSummary
from tautlog.cli import run
from tautlog.model.line import Line
from tautlog.model.load_path import Element, Mount
from tautlog.model.origin import REHEARSED
from tautlog.planning.electronics_advice import Electrics
from tautlog.planning.gate import findings, refusals
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop
from tautlog.planning.reckoned import Load, earlier_loads, highest


@pytest.fixture
def kite(tmp_path, monkeypatch):
    return kite_in(tmp_path, monkeypatch)


SOFT = Line("l", 1050.0, 4.0, 0.12)  # 21 kN/m, typed 20 times too low


def reckoned(**changes):
    found = findings(dataclasses.replace(GOOD, **changes))
    return next(one.text for one in found if one.code == "reckoned")


def test_the_highest_decides_and_is_named():
    predicted = predict_drop(PlannedDrop(9.0, 1.2, GOOD.line, 3.5))
    high_n = predicted.peak_high_n
    assert highest(None, None, ()) is None
    assert highest(predicted, 100.0, ()).force_n == high_n
    assert highest(predicted, 9000.0, (Load(50.0, "x"),)).basis == "the stated target"
    assert highest(None, 100.0, (Load(101.0, "measured"),)).basis == "measured"
    assert f"{high_n:.0f} N, the upper end of the prediction" in reckoned()
    assert "1800 N, the stated target" in reckoned(line=SOFT)
    assert "2500 N, measured in a" in reckoned(earlier=(Load(2500.0, "measured in a"),))


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"mount": Mount("m", 1000.0)}, "mount-too-low"),
        ({"electrics": Electrics(rated_n=1000.0)}, "cell-load"),
        ({"elements": (Element("bow", 1000.0, part="line"),)}, "element-line"),
        ({"calibration": dataclasses.replace(GOOD.calibration, rail_high_v=1.5)}, "amplifier-ra"),
    ],
)
def test_a_stiffness_typed_too_low_opens_nothing(changes, code):
    """A test aimed at 1800 N on what is good for 1000 N, whatever the prediction."""
    assert predict_drop(PlannedDrop(9.0, 1.2, SOFT, 3.5)).peak_high_n < 800.0
    soft = dataclasses.replace(GOOD, line=SOFT, **changes)
    (one,) = [one for one in refusals(soft) if one.code.startswith(code)]
    assert "1800 N" in one.text
    assert one.text.endswith("(the stated target)")
    seen = dataclasses.replace(soft, target_n=None, earlier=(Load(1700.0, "measured in a"),))
    (one,) = [one for one in refusals(seen) if one.code.startswith(code)]
    assert "1700 N" in one.text
    assert one.text.endswith("(measured in a)")
    free = dataclasses.replace(soft, target_n=None)
    assert not [one for one in refusals(free) if one.code.startswith(code)]


BEFORE = RecordSummary(
    "a.h5",
    line="l",
    mass_kg=9.0,
    height_m=1.2,
    peak_force_n=1890.0,
    peak_force_expanded_u_n=50.0,
    record_verdict="valid",
)


@pytest.mark.parametrize(
    ("changes", "counts"),
    [
        ({}, True),
        ({"line": "L"}, True),
        ({"mass_kg": 9.05}, True),  # within what a scale tells
        ({"height_m": 1.205}, True),
        ({"height_m": 0.6}, True),  # a higher drop pulls no less
        ({"peak_force_n": -1890.0}, True),
        ({"record_verdict": "suspect"}, True),
        ({"record_verdict": "invalid"}, False),
        ({"peak_force_n": None}, False),
        ({"mass_kg": 9.2}, False),
        ({"height_m": 1.25}, False),
        ({"line": "other"}, False),
        ({"mass_kg": None}, False),
        ({"origin": REHEARSED}, False),
        ({"origin": REHEARSED, "differs": "attributes"}, True),
    ],
)
def test_which_drops_tell_what_to_expect(changes, counts):
    found = earlier_loads([BEFORE._replace(**changes)], line="l", mass_kg=9.0, height_m=1.2)
    assert [one.force_n for one in found] == ([1940.0] if counts else [])
    assert all("measured in a with" in one.basis for one in found)


def test_of_a_drop_that_names_no_line_nothing_is_known():
    for given in ({"line": ""}, {"mass_kg": None}, {"height_m": None}):
        wanted = {"line": "l", "mass_kg": 9.0, "height_m": 1.2} | given
        assert earlier_loads([BEFORE], **wanted) == ()


# By the commands


def refused_by(capsys, monkeypatch, given):
    """What `plan`, `check` and `drop` refuse of the same drop."""
    _, out, _ = said(capsys, "plan", *given, "--json")
    plan = [one["text"] for one in json.loads(out)["checks"] if one["refuses"]]
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n" * 10))
    _, _, err = said(capsys, "check", "--by", "A", "--with", "B", *given)
    check = [line[9:] for line in err.splitlines() if line.startswith("  REFUSE")]
    return plan, check, refusal(capsys, *given)


@pytest.mark.parametrize(
    ("old", "new", "given"),
    [
        ("stiffness_n_per_m = 21000.0", "stiffness_n_per_m = 1050.0", ("--target", "2500")),
        (r'\ndate = ".*"', r'\ndate = "2001-03-01"', ()),
        (r'\ndate = ".*"', r'\ndate = ""', ()),
        ("expanded_u_fraction = 0.04", "expanded_u_fraction = 0.0", ()),
        ("newton_per_square_volt = 0.0", "newton_per_square_volt = 900.0", ()),
        ("newton_per_volt = 1000.0", "newton_per_volt = 100.0", ()),
        ('# (retired = "A. Rigger, .*: eye)', r"\1", ()),
        ('# (retired = "A. Rigger, .*: sheath)', r"\1", ()),
        ("catch_energy_j = 300.0", "catch_energy_j = 200.0", ()),
        ("rated_n = 5000.0", "rated_n = 1700.0", ()),
        ("$", "", ("--mass", "20")),
        (r"\Z", STIFF, ("--line", "stiff")),
    ],
)
def test_plan_check_and_drop_refuse_the_same(kite, capsys, monkeypatch, old, new, given):
    path = kite / "campaign.toml"
    text, count = re.subn(old, new, path.read_text(), count=1)
    assert count == 1
    path.write_text(text)
    plan, check, drop = refused_by(capsys, monkeypatch, given)
    assert plan
    assert sorted(plan) == sorted(check)
    assert all(one in drop for one in plan)


def test_measured_drops_of_the_campaign_count_against_a_stiffness_typed_too_low(kite, capsys):
    """A peak of 1.9 kN was measured; a mount good for 1.2 kN is refused at any stiffness."""
    run(["proof", "--pulled", "1500", "--held", "70", "--by", "A"])
    for name, board in (("real", None), ("rehearsed", VIRTUAL)):
        for one in kite.glob("*.h5"):
            one.unlink()
        made(kite / f"{name}.h5", setup=SETUP, **({"board": board} if board else {}))
        assert run(["mark", str(kite / f"{name}.h5")]) == 0
        given = ("--stiffness", "1050", "--target", "1100")
        _, out, _ = said(capsys, "plan", *given, "--json")
        refused = [one["text"] for one in json.loads(out)["checks"] if one["refuses"]]
        if board:
            assert refused == []
        else:
            assert any("measured in real with 9 kg from 1.2 m" in one for one in refused)
