"""Words follow what was seen: what is no pull is told as such, and claims nothing."""

from dataclasses import replace

import numpy as np
import pytest
from traces import BEFORE_S, RATE_HZ, arrest

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment
from tautlog.archive.verdict_lines import quick_look
from tautlog.model.trace import DropSetup, Trace

SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0)
SIZE = int(4.0 * RATE_HZ)
TIME_S = np.arange(SIZE) / RATE_HZ


def look(force_n, *, release=True, noise_n=0.5):
    noise = np.random.default_rng(1).normal(0.0, noise_n, force_n.size)
    trace = Trace(force_n + noise, RATE_HZ, release_time_s=BEFORE_S if release else None)
    marks = mark(trace, SETUP, cfc=180)
    one = Assessment(marks, judge(marks, SETUP), SETUP)
    return one, "\n".join(quick_look(one))


@pytest.mark.parametrize("release", [True, False])
@pytest.mark.parametrize(
    "force_n",
    [
        945.0 * (1 + np.sign(np.sin(2 * np.pi * 25 * TIME_S))),
        945.0 * (1 + np.sign(np.sin(2 * np.pi * 100 * TIME_S))),
        945.0 * np.sin(2 * np.pi * 50 * TIME_S),
        400.0 * np.sin(2 * np.pi * 50 * TIME_S),
    ],
    ids=["square-25", "square-100", "hum-945", "hum-400"],
)
def test_what_is_no_pull_is_told_as_such(force_n, release):
    """A square wave was told as "no load reached the part"."""
    one, told = look(force_n, release=release)
    assert one.verdict.record_verdict == "invalid"
    assert one.verdict.load_verdict not in ("no-load", "on-target", "under")
    assert "no load reached" not in told
    assert "ON TARGET" not in told or "but the record is INVALID" in told
    if one.marks.peak_force_n is None:
        assert "does not look like a pull" in told


@pytest.mark.parametrize("level_n", [0.0, 1890.0])
@pytest.mark.parametrize("noise_n", [0.5, 5.0])
def test_nothing_at_all_is_no_bound(level_n, noise_n):
    """Zeros were told as "no peak: AT LEAST this load"."""
    one, told = look(np.full(SIZE, level_n), release=False, noise_n=noise_n)
    assert one.marks.peak_force_n is None
    assert "AT LEAST" not in told
    assert "no pull was seen, the load is NOT KNOWN" in told
    assert "not-a-pull" not in {reason.code for reason in one.verdict.reasons}


def pulled():
    force_n = arrest(9.0, 1.2, 20_800.0, 0.12, total_s=3.6)[1]
    return np.concatenate([np.zeros(int(BEFORE_S * RATE_HZ)), force_n])


def test_a_negative_pull_is_on_no_target_as_it_stands():
    one, told = look(-pulled())
    assert one.verdict.record_verdict == "invalid"
    assert "ON TARGET" not in told
    assert "NEGATIVE, not a pull as wired: swap the wires" in told


def test_an_invalid_record_proves_nothing():
    one, _ = look(pulled())
    assert one.verdict.record_verdict == "valid"
    for verdict in ("on-target", "overload", "possible-overload"):
        verdicts = replace(one.verdict, load_verdict=verdict, record_verdict="invalid")
        told = quick_look(replace(one, verdict=verdicts))[2]
        assert told.endswith(", but the record is INVALID")
    assert "INVALID" not in quick_look(one)[2]
