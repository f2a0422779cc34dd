"""A loss of load that nothing but the force tells is in doubt: a burst looks the same."""

from dataclasses import replace

import numpy as np
import pytest
from traces import BEFORE_S, G, arrest, plain, recorded
from traces import RATE_HZ as PARTED_HZ

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

RATE_HZ = 20_000.0
SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1000.0)
FALL_S = np.sqrt(2.0 * SETUP.height_m / G)


def burst(length_s, at_s, shape, seed=3):
    """No drop at all: the noise of a slack line, and an electrical burst in it."""
    force = np.random.default_rng(seed).normal(0.0, 1.0, int(3.0 * RATE_HZ))
    count = int(length_s * RATE_HZ)
    start = int(at_s * RATE_HZ)
    x = np.linspace(0.0, 1.0, count, endpoint=False)
    force[start : start + count] += 1050.0 * shape(x)
    return plain(force, RATE_HZ, quantum_n=0.1)


SHAPES = {
    "square": lambda x: np.ones_like(x),
    "half-sine": lambda x: np.sin(np.pi * x),
    "decay": lambda x: np.exp(-3.0 * x),
    "rise": lambda x: np.sqrt(x),
    "ring": lambda x: np.exp(-2.0 * x) * np.abs(np.sin(9.0 * x)),
}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
@pytest.mark.parametrize("length_s", [0.001, 0.002, 0.005, 0.01, 0.02])
@pytest.mark.parametrize("release_s", [None, 0.4])
def test_a_burst_without_a_drop_is_never_valid(shape, length_s, release_s):
    trace = replace(burst(length_s, 1.2, shape), release_time_s=release_s)
    for finding in ("not-inspected", "intact"):
        setup = replace(SETUP, article_finding=finding)
        verdict = judge(mark(trace, setup), setup)
        assert verdict.record_verdict != "valid", verdict
        assert verdict.test_verdict in ("pending", "no-verdict", "no-test")


def parted():
    """A line that parts at some two thirds of its peak, and when."""
    _, force = arrest(9.0, 1.2, 21_000.0, 0.05, total_s=3.0, breaks_at_n=1300.0)
    return recorded(force), BEFORE_S + int(np.flatnonzero(force)[-1]) / PARTED_HZ


def test_what_confirms_a_real_loss():
    trace, broke_s = parted()
    onset_s = mark(trace, SETUP).onset_time_s
    bare = replace(trace, release_time_s=None)
    fell = replace(trace, release_time_s=onset_s - FALL_S)
    late = replace(trace, release_time_s=onset_s - 1.5 * FALL_S)
    wire = replace(bare, article_wire_s=broke_s + 0.002)
    other = replace(bare, article_wire_s=broke_s + 0.8)
    for one, told in ((bare, True), (fell, False), (late, True), (wire, False), (other, True)):
        verdict = judge(mark(one, SETUP), SETUP)
        assert verdict.trace_says == "let-go"
        assert told == ("let-go-unconfirmed" in {reason.code for reason in verdict.reasons})
    found = replace(SETUP, article_finding="parted")
    assert judge(mark(bare, found), found).record_verdict == "valid"


def test_an_article_that_is_whole_contradicts_a_loss_of_load():
    trace, _ = parted()
    fell = replace(trace, release_time_s=mark(trace, SETUP).onset_time_s - FALL_S)
    found = replace(SETUP, target_n=300.0, limit_n=5000.0, article_finding="intact")
    verdict = judge(mark(fell, found), found)
    assert "finding-contradicts" in {reason.code for reason in verdict.reasons}
    assert verdict.test_verdict == "no-verdict"


def test_after_a_loss_no_mass_is_told_from_what_hangs():
    trace, _ = parted()
    assert not any(one.code == "disagree-scale" for one in mark(trace, SETUP).findings)
