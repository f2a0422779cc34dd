"""Calibrations: from points to what every later record uses."""

import json
from pathlib import Path

import numpy as np
import pytest

from tautlog.board.shunt import shunt_check, shunt_step_mv_per_v
from tautlog.calibrate.calibrating import Point, calibrate
from tautlog.calibrate.hanging import Hanging
from tautlog.calibrate.plausibility import data_sheet_slope
from tautlog.calibrate.points_table import read_points
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.cli import run
from tautlog.errors import CalibrationError, CampaignError
from tautlog.model.calibration import Calibration
from tautlog.planning.electronics_advice import (
    Electrics,
    advise,
    class_for,
    gain_for,
    shunt_step_n,
)

EVEN = Calibration(converter="even")  # a chain whose points are exact volts
LOADS = [0, 50, 100, 150, 200, 250, 200, 150, 100, 50, 0]


def points(slope=1000.0, curve=0.0, zero_v=0.45, noise_v=0.0, seed=1):
    """Points of a chain whose force is slope x V + curve x V**2 above its zero."""
    rng = np.random.default_rng(seed)
    found = []
    for load in LOADS:
        above = load / slope
        for _ in range(30):  # invert by Newton
            above -= (slope * above + curve * above**2 - load) / (slope + 2 * curve * above)
        found.append(Point(float(load), zero_v + above + rng.normal(0, noise_v)))
    return found


def test_a_straight_chain():
    made = calibrate(points(noise_v=2e-5), EVEN)
    assert made.degree == 1
    assert made.calibration.newton_per_volt == pytest.approx(1000.0, rel=5e-4)
    assert made.calibration.range_n == 250.0
    assert 0.001 < made.calibration.expanded_u_fraction < 0.005
    assert made.hysteresis_fraction < 0.001


def test_a_curved_chain_is_found_and_used():
    made = calibrate(points(curve=200.0, noise_v=1e-5), EVEN)
    assert made.degree == 2
    one = made.calibration
    counts = np.arange(600, 1200, dtype=np.uint16)
    volt = counts * one.volt_per_count(1)
    true_n = 1000.0 * (volt - 0.45) + 200.0 * (volt - 0.45) ** 2
    force_n = one.force_n(counts, 1)
    zero = one.force_n(np.array([round(0.45 / one.volt_per_count(1))], dtype=np.uint16), 1)
    np.testing.assert_allclose(force_n - zero, true_n, atol=0.6)


def test_hysteresis_repeatability_and_zero_return():
    way_up = [Point(float(load), 0.45 + load / 1000) for load in (0, 100, 200)]
    way_down = [Point(100.0, 0.552), Point(0.0, 0.451)]
    again = [Point(float(load), 0.4504 + load / 1000, 2) for load in (0, 100, 200)]
    made = calibrate([*way_up, *way_down, *again], EVEN, degree=1)
    assert made.hysteresis_fraction == pytest.approx(2.0 / 200, rel=0.2)
    assert made.repeatability_fraction == pytest.approx(0.4 / 200, rel=0.2)
    assert made.zero_return_fraction > 0


def test_what_people_must_know():
    made = calibrate(points(), EVEN, planned_n=3300.0, data_sheet_newton_per_volt=500.0)
    text = " / ".join(made.warnings)
    assert "calibrated to 250 N, but 3300 N is planned: extrapolation x 13.2" in text
    assert "differs by +100.0 %" in text
    few = calibrate([Point(0, 0.4), Point(50, 0.45), Point(100, 0.5)], EVEN)
    assert any("hysteresis is not known" in one for one in few.warnings)
    backward = calibrate(points(slope=-800.0, zero_v=1.5), EVEN)
    assert backward.calibration.newton_per_volt == pytest.approx(-800.0)
    assert any("wired in reverse" in one for one in backward.warnings)


@pytest.mark.parametrize(
    "bad", [[Point(0, 1), Point(1, 1.1)], [Point(0, 1.0), Point(5, 1.0), Point(9, 1.0)]]
)
def test_points_that_give_no_calibration(bad):
    with pytest.raises(CalibrationError):
        calibrate(bad, EVEN)


# Electrics: arithmetic of bridges and amplifiers


def test_amplifier_sizing():
    """2 mV/V, 5 V: 10 mV at rated load; gain 330 for 3.3 V; N a count of a 5 kN cell."""
    cell = Electrics(rated_n=5000.0, sensitivity_mv_per_v=2.0, excitation_v=5.0, rail_high_v=3.3)
    assert 5000.0 * cell.bridge_volt_per_n == pytest.approx(0.010)
    assert gain_for(cell, 5000.0) == pytest.approx(330.0)
    for gain, step_n in ((100, 4.0283203125), (200, 2.01416015625), (300, 1.3427734375)):
        one = Electrics(rated_n=5000.0, sensitivity_mv_per_v=2.0, excitation_v=5.0, gain=gain)
        assert one.newton_per_count == pytest.approx(step_n, rel=1e-12)
    assert data_sheet_slope(5000.0, 2.0, 5.0, 200.0) == pytest.approx(2500.0)


# R, Rs, mV/V: |Vo/Vex| = R / (4 Rs + 2 R), exact (equations of Micro-Measurements'
# engineering note TN-514 on shunt calibration, for physics only).
@pytest.mark.parametrize(
    ("bridge", "shunt", "step"),
    [
        (350, 174_650, 0.500500501),
        (350, 87_150, 1.002004008),
        (350, 100_000, 0.873471425),
        (350, 59_880, 1.456997752),
    ],
)
def test_shunt_step(bridge, shunt, step):
    assert shunt_step_mv_per_v(bridge, shunt) == pytest.approx(step, rel=1e-8)
    cell = Electrics(rated_n=5000.0, sensitivity_mv_per_v=2.0)
    assert shunt_step_n(cell, bridge, shunt) == pytest.approx(2500.0 * step, rel=1e-8)


@pytest.mark.parametrize(("off", "state"), [(0.01, "good"), (0.04, "suspect"), (0.06, "invalid")])
def test_shunt_check(off, state):
    assert shunt_check(0.5 * (1 + off), 0.5)[0] == state
    assert shunt_check(0.5 * (1 - off), 0.5)[0] == state


def test_hanging_check():
    assert Hanging(99.9, 98.1).holds
    assert not Hanging(117.7, 98.1).holds
    assert not Hanging(-98.1, 98.1).holds


def test_a_slow_converter_is_named():
    """B2 of common practice: 60 % of a 17 ms pulse is lost at 80 samples/s."""
    told = {one.code: one for one in advise(Electrics(), 3000.0, 0.017)}
    assert "% at 80" in told["slow-converter"].text
    assert not told["anti-alias"].holds
    assert class_for(0.060) == 60
    assert class_for(0.010) == 180
    assert class_for(0.0005) == 1000


# From the command line


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    path = write_new_campaign(tmp_path / "kite")
    monkeypatch.chdir(path.parent)
    return path.parent


def table(folder, text):
    path = folder / "points.csv"
    path.write_text(text)
    return path


CSV = "mass_kg;volt\n0;0,4500\n10;0,5481\n20;0,6461\n30;0,7442\n20;0,6462\n10;0,5480\n0;0,4500\n"


def test_a_calibration_is_kept_and_used(campaign, capsys):
    path = table(campaign, CSV)
    picture = campaign / "left.png"
    assert run(["calibrate", "--from-csv", str(path), "--picture", str(picture), "--json"]) == 0
    out = json.loads(capsys.readouterr().out)
    assert out["calibration"]["newton_per_volt"] == pytest.approx(1000.0, rel=1e-3)
    assert picture.stat().st_size > 5000
    used = read_campaign(campaign).calibration
    assert used.newton_per_volt == out["calibration"]["newton_per_volt"]
    assert used.range_n == pytest.approx(30 * 9.80665)
    assert used.rail_high_v == 3.2
    run(["calibrate", "--from-csv", str(path), "--gravity", "9.81", "--json"])
    assert len(list((campaign / "calibrations").iterdir())) == 2
    assert read_campaign(campaign).calibration.newton_per_volt > used.newton_per_volt


def test_a_broken_calibration_file_is_told(campaign):
    folder = campaign / "calibrations"
    folder.mkdir()
    (folder / "0001_2026-03-01.json").write_text("{}")
    with pytest.raises(CampaignError, match="cannot be read as a calibration"):
        read_campaign(campaign)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "empty"),
        ("a,b\n1,2\n", "no column has a load"),
        ("load_n,b\n1,2\n", "no column has a reading"),
        ("load_n,volt\n1,x\n", "line 2: 'x' is not a number"),
        ("load_n,volt\n1_0,1\n", "line 2: '1_0' is not a number"),
        ("load_n,volt\n1,nan\n", "line 2: 'nan' is not a number"),
        ("load_n,volt\n1\n", "line 2"),
        ("load_n,volt\n0,0.1\n1,0.2\n", "different loads"),
    ],
)
def test_tables_that_are_wrong(campaign, capsys, text, word):
    assert run(["calibrate", "--from-csv", str(table(campaign, text))]) == 1
    err = capsys.readouterr().err
    assert word in err
    assert len(err.strip().splitlines()) == 1
    assert not (campaign / "calibrations").exists()


def test_counts_are_volts_of_the_converter(tmp_path: Path):
    path = table(tmp_path, "load_kn,counts,run\n0,500,1\n1,1500,1\n")
    (first, second) = read_points(path, volt_per_count=0.001)
    assert (first.volt, second.volt, second.load_n) == (0.5, 1.5, 1000.0)


@pytest.mark.parametrize(
    ("made", "used", "days", "expired"),
    [
        ("2025-01-01", "2025-12-31T10:00:00Z", 365, False),
        ("2025-01-01", "2026-01-02T10:00:00Z", 365, True),
        ("2025-01-01", "2030-01-01", 0, False),
        ("", "2030-01-01", 365, False),
        ("long ago", "2030-01-01", 365, True),
        ("01.03.2020", "2020-03-02", 365, True),
        ("2025-01-01 or so", "2025-01-02", 365, True),
    ],
)
def test_calibrations_expire(made, used, days, expired):
    assert Calibration(date=made, good_for_days=days).expired_on(used) == expired


def test_a_certificate_is_what_a_calibration_is_held_against(campaign, capsys):
    """2 mV/V, 5 kN, 5 V, gain 500: 1000 N/V as measured; 2.2 mV/V of a certificate: 10 % off."""
    path = campaign / "campaign.toml"
    text = path.read_text()
    run(["calibrate", "--from-csv", str(table(campaign, CSV))])
    assert "promise" not in capsys.readouterr().out
    path.write_text(text.replace("# certified_mv_per_v = 2.0006", "certified_mv_per_v = 2.2"))
    run(["calibrate", "--from-csv", str(campaign / "points.csv")])
    assert "differs by +10.0 % from the cell's data sheet and the gain" in capsys.readouterr().out
