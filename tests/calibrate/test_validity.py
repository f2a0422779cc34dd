"""Whether a calibration counts today: one that tells no age or no uncertainty does not."""

import dataclasses
import json
import math
from datetime import UTC, datetime

import pytest
from command_line import said
from intended_drops import GOOD
from kites import DATED, change, kite_in, refusal, table

from tautlog.calibrate.kept import newest_file
from tautlog.calibrate.plausibility import uncertainty_doubts
from tautlog.calibrate.validity import validity
from tautlog.campaign.calibrations import add_calibration
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.errors import CalibrationError
from tautlog.files.numbered import write_numbered
from tautlog.model.calibration import Calibration
from tautlog.model.timestamp import today
from tautlog.planning.gate import refusals
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene

GOOD_ONE = Calibration(date="2026-03-01")


@pytest.fixture
def kite(tmp_path, monkeypatch):
    return kite_in(tmp_path, monkeypatch)


@pytest.mark.parametrize(
    ("changes", "code", "final"),
    [
        ({"date": ""}, "calibration-date", True),
        ({"date": "01.03.2026"}, "calibration-date", True),
        ({"date": "None"}, "calibration-date", True),
        ({"date": "2999-03-01"}, "calibration-date", True),
        ({"date": "1900-03-01"}, "calibration-date", True),
        ({"date": "2025-03-01"}, "calibration-expired", False),
        ({"good_for_days": 30}, "calibration-expired", False),
        ({"expanded_u_fraction": 0.0}, "calibration-uncertainty", True),
        ({"expanded_u_fraction": -0.04}, "calibration-uncertainty", True),
        ({"expanded_u_fraction": math.nan}, "calibration-uncertainty", True),
        ({"expanded_u_fraction": 1.5}, "calibration-uncertainty", True),
        ({"expanded_u_n": -1.0}, "calibration-uncertainty", True),
        ({"expanded_u_n": math.nan}, "calibration-uncertainty", True),
        ({"expanded_u_n": math.inf}, "calibration-uncertainty", True),
    ],
)
def test_what_does_not_count(changes, code, final):
    calibration = dataclasses.replace(GOOD_ONE, **changes)
    (one,) = validity(calibration, "2026-11-26")
    assert (one.code, one.refuses, one.final) == (code, True, final)
    intended = dataclasses.replace(GOOD, calibration=calibration, day="2026-11-26")
    assert code in [one.code for one in refusals(intended)]


@pytest.mark.parametrize("changes", [{}, {"date": "2020-03-01", "good_for_days": 0}])
def test_what_counts(changes):
    (one,) = validity(dataclasses.replace(GOOD_ONE, **changes), "2026-11-26")
    assert (one.holds, one.refuses) == (True, False)


OVERRIDE = ["--override-by", "R. Lead", "--override-reason", "due next week"]


@pytest.mark.parametrize(
    ("old", "new", "word", "may"),
    [
        (DATED, '\ndate = ""', "its day is not stated", False),
        (DATED, '\ndate = "2020-03-01"', "it is too old on", True),
        (
            "expanded_u_fraction = 0.04",
            "expanded_u_fraction = 0",
            "every measurement has one",
            False,
        ),
    ],
)
def test_the_drop_is_refused_and_only_an_expired_one_overridden(kite, capsys, old, new, word, may):
    change(kite, old, new)
    assert word in refusal(capsys)
    told = refusal(capsys, *OVERRIDE)
    assert (told == "") if may else ("nobody may override" in told and word in told)


@pytest.mark.parametrize("day", ["01.03.2026", "2999-01-01", "", None, 20260301])
def test_a_file_that_tells_no_age_arms_nobody(kite, capsys, day):
    run(table(kite))
    (path,) = kite.glob("calibrations/*.json")
    told = json.loads(path.read_text())
    told["calibration"]["date"] = day
    path.write_text(json.dumps(told))
    assert "nobody may override" in refusal(capsys, *OVERRIDE)


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ('"date"', '"date": "2026-03-01", "date"', "'date' occurs twice"),
        ('"newton_per_volt"', '"newton_per_volts"', "does not state newton_per_volt"),
        ('"newton_per_volt": ', '"newton_per_volt": NaN, "was": ', "NaN is not a JSON number"),
        (
            '"calibration": {',
            '"calibration": [], "was": {',
            "expected a JSON object that holds an object",
        ),
    ],
)
def test_a_file_that_can_be_read_two_ways_is_not_read(kite, capsys, old, new, word):
    run(table(kite))
    (path,) = kite.glob("calibrations/*.json")
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    told = refusal(capsys)
    assert word in told
    assert path.name in told


def test_an_old_date_is_told_at_once_and_a_coming_one_refused(kite, capsys):
    status, out, _ = said(capsys, *table(kite), "--date", "1990-01-01")
    assert status == 0
    assert "LOOK: calibration: it is of 1990-01-01 and valid for 365 days: it is too old" in out
    assert said(capsys, *table(kite), "--date", "2999-01-01")[0] == 2
    from tautlog.calibrate.calibrating import calibrate
    from tautlog.calibrate.points_table import read_points

    points = read_points(kite / "points.csv", volt_per_count=1.0)
    campaign = read_campaign(kite)
    for day in ("2999-01-01", "", "soon"):
        with pytest.raises(CalibrationError, match="the calibration is not kept"):
            add_calibration(campaign, calibrate(points, Calibration(), date=day))


# Scale and sign


def curved(kite, newton_per_square_volt):
    """A calibration as a version before kept it, curved upwards or downwards."""
    run(table(kite))
    path = max(kite.glob("calibrations/*.json"))
    told = json.loads(path.read_text())
    stored = told["calibration"]
    stored["newton_per_square_volt"] = newton_per_square_volt
    for point in told["points"]:
        volt = point["volt"] - stored["zero_v"]
        point["load_n"] = stored["newton_per_volt"] * volt + newton_per_square_volt * volt**2
    write_numbered(path.parent, told, datetime.now(UTC))


@pytest.mark.parametrize(
    ("curve", "word"),
    [
        # Slope at F is sqrt(1000**2 + 4 x curve x F); planned are 1980 N.
        (200.0, "at 1980 N its slope is 1607.5 N/V, but data sheet and gain promise 1000"),
        (-100.0, "at 1980 N its slope is 456.07 N/V"),
        (-200.0, "bends back before it reaches 1980 N"),
    ],
)
def test_a_curvature_is_held_against_the_sheet_over_all_that_is_used(kite, capsys, curve, word):
    curved(kite, curve)
    assert word in refusal(capsys)
    change(kite, "gain = 500.0", "# no gain")
    assert word.partition(", but data")[0] in refusal(capsys)


def test_a_slight_curvature_is_no_matter(kite, capsys):
    curved(kite, 10.0)  # 1039 N/V at 1980 N
    assert refusal(capsys) == ""


def test_a_curvature_is_held_up_to_what_the_gate_reckons_with(kite, capsys):
    """At 1980 N 8 % more, at the prediction's upper end of 2355 N 9.7 %, at 2390 N 10 %."""
    curved(kite, 22.0)
    assert refusal(capsys) == ""
    assert "at 2396 N its slope is" in refusal(capsys, "--target", "2396", "--limit", "2397")


def test_a_table_that_goes_down_with_the_load_is_not_kept_by_itself(kite, capsys):
    (kite / "down.csv").write_text(
        "load_n,volt\n0,2.45\n98,2.352\n196,2.254\n294,2.156\n98,2.352\n0,2.45\n"
    )
    given = ["calibrate", "--from-csv", "down.csv"]
    status, _, err = said(capsys, *given)
    assert status == 1
    assert "tension lowers the voltage, but campaign.toml says that it raises it" in err
    assert "--accept NAME REASON" in err
    assert not list(kite.glob("calibrations/*"))
    assert run([*given, "--accept", "R. Lead", "cell turned round"]) == 0
    assert "sign" not in refusal(capsys)
    (path,) = kite.glob("calibrations/*.json")
    told = json.loads(path.read_text())
    told["calibration"]["accepted"] = ""
    path.write_text(json.dumps(told))
    assert "the sign of the bridge is reversed" in refusal(capsys)
    # A campaign that says so has it so.
    change(kite, "newton_per_volt = 1000.0", "newton_per_volt = -1000.0")
    assert "sign" not in refusal(capsys)
    assert run(given) == 0
    assert said(capsys, *table(kite))[0] == 1


def test_a_minus_that_only_campaign_toml_states_is_a_doubt(kite, capsys):
    """The sheet promises 1000 N/V and tells no sign: one letter would turn every force round."""
    change(kite, "newton_per_volt = 1000.0", "newton_per_volt = -1000.0")
    told = refusal(capsys, *OVERRIDE)
    assert "nobody may override" in told
    assert "no calibration with weights has shown it: calibrate with weights" in told
    assert "no calibration with weights has shown it" in read_campaign(kite).calibration_doubts[0]
    # Weights that show the opposite are no proof; weights of the same sign are.
    assert said(capsys, *table(kite))[0] == 1
    (kite / "points.csv").write_text(
        "load_n,volt\n0,2.45\n98,2.352\n196,2.254\n294,2.156\n0,2.45\n"
    )
    assert run(["calibrate", "--from-csv", "points.csv"]) == 0
    assert refusal(capsys) == ""


def test_a_minus_may_be_accepted_by_a_named_person(kite, capsys):
    change(kite, "newton_per_volt = 1000.0", "newton_per_volt = -1000.0")
    change(kite, "[calibration]", '[calibration]\naccepted = "R. Lead: seen on the meter"')
    change(kite, "\nzero_v = 0.45", "\nzero_v = 2.9")
    assert refusal(capsys) == ""


def test_kilograms_for_newtons_are_told_where_nothing_checks_them(kite, capsys, tmp_path):
    given = table(kite, 1 / 9.80665)
    assert "masses in kg typed as newtons" in said(capsys, *given)[2]
    change(kite, "newton_per_volt = 1000.0", "# never said")
    change(kite, "target_n = 1800.0", "target_n = 180.0")
    change(kite, "rated_n = 5000.0", "# rated_n")
    status, out, _ = said(capsys, *given)
    assert status == 0
    assert "LOOK: nothing checks the scale of these forces (not stated: [cell] rated_n;" in out
    (path,) = kite.glob("calibrations/*.json")
    assert any("9.80665 times off" in one for one in json.loads(path.read_text())["warnings"])
    # The next one is held against it; of a good one the plan tells that no sheet checks it.
    assert "the earlier calibration has" in said(capsys, *table(kite))[2]
    path.unlink()
    assert run(table(kite)) == 0
    checks = json.loads(said(capsys, "plan", "--json")[1])["checks"]
    assert "scale-unchecked" in [one["code"] for one in checks]


def test_without_a_campaign_that_nothing_checks_it_is_told(kite, capsys, tmp_path, monkeypatch):
    given = table(kite)
    monkeypatch.chdir(tmp_path)
    _, out, _ = said(capsys, *given[:2], kite / "points.csv")
    assert "nothing checks the scale" in out


# Files that nobody reads


@pytest.mark.parametrize(
    "name",
    [
        "new.json",
        "0002.json",
        "0002_2026-03-01.JSON",
        "0002_2026-03-01 (1).json",
        "cal 2026",
        "2.json",
    ],
)
def test_a_calibration_by_another_name_is_told_and_refused(kite, capsys, name):
    run(table(kite))
    (path,) = kite.glob("calibrations/*.json")
    (kite / "calibrations" / name).write_text(path.read_text())
    (doubt,) = read_campaign(kite).calibration_doubts
    assert f"calibrations/{name} may be a calibration" in doubt
    assert "rename it to NUMBER_DAY.json, such as 0002_2026-03-01.json" in doubt
    assert "remove it from the folder" in doubt
    # Nobody overrides it, and no acceptance of a slope covers it.
    assert doubt in refusal(capsys, *OVERRIDE)
    change(kite, "[calibration]", '[calibration]\naccepted = "R. Lead: old"')
    assert doubt in refusal(capsys)
    # Under its right name it is read; where it came from is not known all the same.
    (kite / "calibrations" / name).rename(path.with_name("0002_2026-03-02.json"))
    assert newest_file(kite).name == "0002_2026-03-02.json"
    assert "0002_2026-03-02.json: is not in the chain" in refusal(capsys)


def test_two_calibrations_of_one_number_are_told(kite, capsys):
    run(table(kite))
    (path,) = kite.glob("calibrations/*.json")
    path.with_name("0001_2026-03-01.json").write_text(path.read_text())
    assert "another file has the same number" in refusal(capsys)


def test_other_files_of_the_folder_are_no_matter(kite, capsys):
    run(table(kite))
    folder = kite / "calibrations"
    (folder / "weights.txt").write_text("weights of the laboratory")
    (folder / ".0002.json.swp").write_text("")
    (folder / "old").mkdir()
    assert refusal(capsys) == ""


def test_health_tells_of_a_calibration_by_another_name(kite, capsys):
    run(table(kite))
    (path,) = kite.glob("calibrations/*.json")
    path.rename(path.with_name("newest.json"))
    with BoardProcess(SimulatedRig(default_scene(), seed=1), speed=8.0) as board:
        status, _, err = said(capsys, "health", "--port", board.url, "--link-timeout", "3")
    assert status == 1
    assert "calibrations/newest.json may be a calibration" in err


# Uncertainties that are too small


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        # A relative part alone, of 3150 N from rail to rail.
        ({"expanded_u_fraction": 1e-9}, "0.00 % of 3150 N, less than 0.02 %"),
        ({"expanded_u_fraction": 1.9e-4}, "0.019 % of 3150 N, less than 0.020 %"),
        # One step of 3.3 V / 4096 at 1000 N/V is 0.806 N.
        ({"expanded_u_fraction": 1e-9, "expanded_u_n": 0.8}, "0.80 N, less than the 0.81 N of one"),
        (
            {"expanded_u_fraction": 1e-3, "range_n": 800.0},
            "at 800 N is 0.80 N, less than the 0.81 N",
        ),
    ],
)
def test_an_uncertainty_that_no_chain_keeps_is_a_doubt(changes, word):
    one = dataclasses.replace(GOOD_ONE, **changes)
    assert word in " / ".join(uncertainty_doubts(one))
    found = refusals(dataclasses.replace(GOOD, calibration=dataclasses.replace(one, date=today())))
    assert [(a.code, a.final) for a in found] == [("calibration", True)]
    accepted = dataclasses.replace(one, date=today(), accepted="R. Lead: 24-bit laboratory chain")
    assert not refusals(dataclasses.replace(GOOD, calibration=accepted))


@pytest.mark.parametrize(
    "changes",
    [
        {"expanded_u_fraction": 2.6e-4},
        {"expanded_u_fraction": 1e-9, "expanded_u_n": 20.0},
        {"expanded_u_fraction": 1e-3, "range_n": 810.0},
        {"expanded_u_fraction": 2e-4, "converter_bits": 16},
    ],
)
def test_an_uncertainty_that_a_good_chain_keeps_is_none(changes):
    assert uncertainty_doubts(dataclasses.replace(GOOD_ONE, **changes)) == ()


def test_too_small_an_uncertainty_in_campaign_toml_arms_nobody_unless_accepted(kite, capsys):
    change(kite, "expanded_u_fraction = 0.04", "expanded_u_fraction = 1e-9")
    assert "no such chain is that good" in refusal(capsys, *OVERRIDE)
    change(kite, "[calibration]", '[calibration]\naccepted = "R. Lead: read once"')
    assert refusal(capsys) == ""


def test_what_calibrate_makes_is_never_better_than_one_step(kite, capsys):
    """30 kg on 5 kN, without any scatter: weights of 0.2 % are 0.6 N, one step is 0.81 N."""
    assert run(table(kite)) == 0
    used = read_campaign(kite).calibration
    assert used.expanded_u_n == pytest.approx(1000.0 * 3.3 / 4096, rel=1e-3)


@pytest.mark.parametrize("factor", [0.95, 1.02, 1.09])
def test_a_factor_that_is_not_that_of_its_own_points_is_refused(kite, capsys, factor):
    """Each lies within 10 % of the data sheet, and read so much wrong."""
    run(table(kite))
    path = max(kite.glob("calibrations/*.json"))
    told = json.loads(path.read_text())
    told["calibration"]["newton_per_volt"] *= factor
    path.write_text(json.dumps(told))
    assert "does not follow from its own points" in refusal(capsys)


def test_a_calibration_without_points_is_refused(kite, capsys):
    run(table(kite))
    path = max(kite.glob("calibrations/*.json"))
    told = json.loads(path.read_text())
    del told["points"]
    path.write_text(json.dumps(told))
    assert "holds no points" in refusal(capsys)
