"""Cut tops under noise: drops of laws of their own (see `tops`), with noise behind the rail.

The thousands that give rates are those of tests/benchmarks/clipping.py.
"""

import dataclasses

import numpy as np
import pytest
from tops import LINES, Case, drawn, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup, Trace

SOFT = Case(mass_kg=10.0, height_m=1.0, stiffness=30e3, damping=0.1)  # some 60 ms of pull


def judged(case):
    trace, setup, _ = recorded(case)
    marks = mark(trace, setup, cfc=case.cfc)
    return marks, judge(marks, setup)


def codes(verdict):
    return {one.code for one in verdict.reasons}


def words(verdict, code):
    return next(one.text for one in verdict.reasons if one.code == code)


# A rail at 0.97 to 0.7 of the peak, noise of 0.05 to 1 % behind it.
SHOWN = [
    (10e3, 0.002, 0.03, "hard"),
    (10e3, 0.004, 0.05, "hard"),
    (20e3, 0.0005, 0.03, "sinks"),
    (62.5e3, 0.002, 0.03, "hard"),
    (62.5e3, 0.004, 0.03, "sinks"),
    (62.5e3, 0.004, 0.06, "rounded"),
    (62.5e3, 0.01, 0.05, "hard"),
    (62.5e3, 0.002, 0.1, "averaged"),
    (62.5e3, 0.003, 0.3, "rounded"),
    (500e3, 0.01, 0.03, "hard"),
]


@pytest.mark.parametrize(("rate_hz", "noise", "depth", "kind"), SHOWN)
def test_a_cut_top_is_seen_through_noise(rate_hz, noise, depth, kind):
    case = dataclasses.replace(
        SOFT, rate_hz=rate_hz, noise=noise, depth=depth, kind=kind, behind_hz=600.0, behind_poles=2
    )
    marks, verdict = judged(case)
    assert marks.clipped
    assert verdict.load_verdict == "at-least"
    assert verdict.record_verdict != "valid"
    assert "clipped" in codes(verdict)


@pytest.mark.parametrize("seed", range(24))
def test_no_cut_of_three_percent_is_valid_and_on_target(seed):
    """Any line, rate, noise and filter: shown, or said that it is not excluded."""
    kind = ("hard", "sinks", "rounded", "averaged")[seed % 4]
    ring = 0.0 if kind == "rounded" else drawn(seed).ring
    case = drawn(seed, depth=(0.03, 0.05, 0.1)[seed % 3], kind=kind, ring=ring)
    _, verdict = judged(case)
    assert (verdict.record_verdict, verdict.load_verdict) != ("valid", "on-target")


@pytest.mark.parametrize("noise", [0.0005, 0.004])
@pytest.mark.parametrize("line", LINES)
def test_a_whole_top_is_whole(line, noise):
    case = dataclasses.replace(SOFT, line=line, damping=0.2, extra=0.6, noise=noise)
    marks, verdict = judged(case)
    assert not marks.clipped
    assert not {"clipped", "clip-not-excluded", "flat-top"} & codes(verdict)


@pytest.mark.parametrize("seed", range(100, 124))
def test_no_whole_top_is_called_cut(seed):
    assert not judged(drawn(seed))[0].clipped


def test_what_noise_hides_is_not_excluded():
    """Ten milliseconds at 5 kS/s with 1 % of noise: eight samples lie within 3 % of the top."""
    case = dataclasses.replace(SOFT, stiffness=8e5, rate_hz=5e3, noise=0.01, bandwidth_hz=0.0)
    _, verdict = judged(case)
    assert "clip-not-excluded" in codes(verdict)
    assert verdict.record_verdict == "suspect"


def test_a_plateau_with_a_whole_impulse_is_no_rail():
    case = dataclasses.replace(SOFT, yields=0.6)
    _, verdict = judged(case)
    assert (verdict.record_verdict, verdict.load_verdict) != ("valid", "on-target")
    assert "yielded" in words(verdict, "clipped")
    assert "no rail" in words(verdict, "clipped")


def test_a_plateau_that_lacks_its_impulse_is_a_rail():
    case = dataclasses.replace(SOFT, depth=0.4)
    _, verdict = judged(case)
    assert "impulse is lacking" in words(verdict, "clipped")


# Known limits, anywhere in the record.


@pytest.mark.parametrize(
    ("at_s", "where"),
    [(0.05, "before the release"), (0.4, "in the fall"), (1.5, "after the contact")],
)
def test_a_record_at_a_rail_is_invalid_wherever_it_is(at_s, where):
    trace, setup, _ = recorded(SOFT)
    clipped = np.zeros(trace.force_n.size, dtype=bool)
    first = int(at_s * trace.sample_rate_hz)
    clipped[first : first + 125] = True
    marks = mark(dataclasses.replace(trace, clipped=clipped), setup)
    verdict = judge(marks, setup)
    assert verdict.record_verdict == "invalid"
    text = words(verdict, "clipped")
    assert where in text
    assert "2 ms" in text


@pytest.mark.parametrize("level_n", [0.0, 40.0, 3210.0])
def test_a_record_that_lies_at_a_rail_is_clipped_and_not_without_load(level_n):
    """An amplifier parked at its rail, with the noise of a converter."""
    noise = np.random.default_rng(1).normal(0.0, 0.5, 60_000)
    trace = Trace(level_n + noise, 62.5e3, release_time_s=0.3, clipped=np.ones(60_000, dtype=bool))
    setup = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1800.0)
    marks = mark(trace, setup)
    verdict = judge(marks, setup)
    assert marks.clipped
    assert verdict.record_verdict == "invalid"
    assert verdict.load_verdict == "at-least"
    assert "960 ms of the record" in words(verdict, "clipped")


def test_a_limit_hidden_in_a_sum_of_conversions_is_seen():
    """Seven of eight conversions at the converter's last code, one a few codes lower."""
    made = Calibration(rail_low_v=0.0, rail_high_v=3.3)
    counts = np.array([8 * 4095 - 5, 8 * 4080, 3, 100], dtype=np.uint16)
    assert made.clipped(counts, 8).tolist() == [True, False, True, False]
    assert made.clipped(np.array([4095, 4094, 0, 1], dtype=np.uint16), 1).tolist() == [
        True,
        False,
        True,
        False,
    ]
