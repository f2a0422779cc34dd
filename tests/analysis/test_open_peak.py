"""Where ring or amplifier leave the line's peak open, no load is claimed that they may move."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.signal import bilinear, butter, lfilter, sosfilt
from solved_rig import HEIGHT_M, MASS_KG, RATE_HZ, kelvin, soft, solved

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.analysis.release_edge import bandwidth_at_least_hz
from tautlog.cli import run
from tautlog.model.trace import DropSetup, Trace
from tautlog.record import open_record

SETUP = DropSetup(mass_kg=MASS_KG, height_m=HEIGHT_M, target_n=1800.0)
FIXTURES = [(60.0, 0.03), (150.0, 0.01), (250.0, 0.01), (400.0, 0.005)]


@cache
def dropped(line=kelvin):
    return solved(line)


def judged(force_n, setup=SETUP, **of_chain):
    noise_n = np.random.default_rng(7).normal(0.0, 2.0, force_n.size)
    marks = mark(replace(Trace(force_n + noise_n, RATE_HZ), **of_chain), setup)
    return marks, judge(marks, setup)


def rung(hz, damping):
    """Cell and fittings as a mass on a spring, behind the line."""
    omega = 2.0 * np.pi * hz
    b, a = bilinear([omega**2], [1.0, 2.0 * damping * omega, omega**2], RATE_HZ)
    return lfilter(b, a, dropped().force_n)


def slow(hz, line=kelvin):
    return sosfilt(butter(1, hz, fs=RATE_HZ, output="sos"), dropped(line).force_n)


@pytest.mark.parametrize(("hz", "damping"), FIXTURES)
def test_a_ring_is_no_overload_and_rips_nothing(hz, damping):
    """The line never pulls more than 1886 N, of a limit of 1980 N."""
    marks, verdict = judged(rung(hz, damping))
    assert marks.fixture_hz == pytest.approx(hz, rel=0.01)
    assert verdict.load_verdict in ("possible-overload", "unproven")
    assert marks.serrations == 0
    assert not marks.has("ripping")
    assert not marks.has("two-peaks")
    assert marks.first_damage_time_s is None
    peak_n = marks.peak_force_n
    assert peak_n - marks.ring_peak_n == pytest.approx(dropped().truth.peak_n, rel=0.03)


def test_far_above_the_limit_a_ring_changes_nothing():
    marks, verdict = judged(rung(150.0, 0.01), replace(SETUP, target_n=1000.0))
    assert marks.ring_peak_n > 100.0
    assert verdict.load_verdict == "overload"


def test_what_rips_under_a_ring_is_still_told():
    """Five falls of a fifth of the peak, slower than the ring."""
    force_n = rung(400.0, 0.005)
    first = int(np.argmax(dropped().force_n > 200.0))
    for turn in range(4):
        at = first + 60 + 40 * turn
        force_n[at : at + 16] -= 400.0 * np.sin(np.pi * np.arange(16) / 16)
    assert judged(force_n)[0].serrations >= 3


@pytest.mark.parametrize("hz", [10.0, 15.0])
def test_a_slow_amplifier_proves_no_under(hz):
    """The true force is on target; the trace falls no faster than the amplifier can."""
    marks, verdict = judged(slow(hz))
    assert verdict.load_verdict == "unproven"
    assert marks.bandwidth_at_least_hz == pytest.approx(hz, rel=0.2)
    assert marks.bandwidth_at_least_hz <= 1.05 * hz


def test_a_slow_amplifier_that_is_stated_is_reckoned_with():
    assert judged(slow(15.0), bandwidth_hz=15.0)[1].load_verdict != "under"


@pytest.mark.parametrize("line", [kelvin, soft])
@pytest.mark.parametrize(
    ("target_n", "load"), [(2200.0, "under"), (1500.0, "overload"), (1775.0, "on-target")]
)
def test_the_edge_of_a_usual_drop_bounds_the_amplifier(line, target_n, load):
    """Nobody stated a bandwidth, and the verdict stands: the force fell quickly at slack."""
    marks, verdict = judged(
        dropped(line).force_n, replace(SETUP, target_n=target_n), calibration_u_fraction=0.01
    )
    assert marks.bandwidth_at_least_hz > 200.0
    assert verdict.load_verdict == load
    assert verdict.record_verdict == "valid"


def test_the_discharge_of_one_pole_by_the_closed_form():
    time_s = np.arange(0, 1.0, 1e-4)
    even_n = 1000.0 * np.exp(-2.0 * np.pi * 20.0 * time_s)
    found = bandwidth_at_least_hz(even_n, 1e4, 0, even_n.size, 1e-3)
    assert 14.0 < found <= 20.0


def test_an_import_states_the_bandwidth_of_its_own_instrument(tmp_path):
    """It goes into the record; without it that of the campaign counts, else nobody's."""
    table = tmp_path / "a.csv"
    rows = (f"{i / RATE_HZ:.6f},{one:.3f}" for i, one in enumerate(slow(15.0)))
    table.write_text("t,F\n" + "\n".join(rows) + "\n")
    asked = ["import", str(table), "--force-column", "F", "--time-column", "t", "--mass", "9"]
    for name, more in (("stated", ["--bandwidth", "15"]), ("unstated", [])):
        path = tmp_path / f"{name}.h5"
        assert run([*asked, "--height", "1.2", *more, "--out", str(path)]) == 0
        marks = mark(open_record(path).trace(), SETUP)
        assert marks.has("bandwidth-unknown") == (name == "unstated")


def test_a_peak_between_target_missed_and_limit_passed_is_suspect():
    """The cell is above the limit, the line below the target."""
    setup = replace(SETUP, target_n=1960.0, limit_n=2060.0)
    _, verdict = judged(rung(150.0, 0.01), setup)
    assert verdict.record_verdict == "suspect"
    assert verdict.load_verdict == "unproven"
    assert any(reason.code == "peak-open" for reason in verdict.reasons)


def test_a_narrow_band_alone_opens_nothing():
    assert judged(dropped().force_n, replace(SETUP, limit_n=1900.0))[1].record_verdict == "valid"
