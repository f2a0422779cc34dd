"""A hundred random drops: nothing is called held that let go, and so on.

The ten thousand of tests/benchmarks/drops.py print the whole table.
"""

import collections
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from drops import outcome, random_drop

from tautlog.model.trace import Trace

SEEDS = range(50_000, 50_120)
pytestmark = pytest.mark.timeout(600)  # all of them are dropped for the first test


def played(seed):
    """One drop, without its samples, and what is made of it."""
    drop = random_drop(seed)
    bare = replace(drop, trace=Trace(np.zeros(0), drop.trace.sample_rate_hz))
    return (bare, *outcome(drop))


@pytest.fixture(scope="module")
def outcomes():
    with ProcessPoolExecutor() as pool:
        return list(pool.map(played, SEEDS, chunksize=10))


@pytest.mark.wide
def test_nothing_that_let_go_is_called_held(outcomes):
    says = [verdict.trace_says for drop, _, verdict, _ in outcomes if drop.kind == "let-go"]
    assert len(says) > 10
    assert says.count("held") == 0
    assert says.count("let-go") >= 0.95 * len(says)


@pytest.mark.wide
def test_no_flawed_peak_is_on_target(outcomes):
    loads = [(str(drop), verdict.load_verdict) for drop, _, verdict, _ in outcomes if drop.flawed]
    assert len(loads) > 14
    assert [one for one in loads if one[1] not in ("at-least", "no-load")] == []


@pytest.mark.wide
def test_what_is_said_of_the_load_path_is_true(outcomes):
    wrong = [
        f"{drop} says {verdict.trace_says}"
        for drop, _, verdict, _ in outcomes
        if verdict.trace_says not in (*drop.says, "unclear")
    ]
    assert wrong == []


@pytest.mark.wide
def test_most_drops_are_told(outcomes):
    """Unclear is an answer, but not for everything."""
    told = collections.Counter(
        verdict.trace_says for drop, _, verdict, _ in outcomes if drop.kind == "held"
    )
    assert told["held"] >= 0.8 * sum(told.values())


@pytest.mark.wide
def test_the_true_peak_lies_within_the_stated_interval(outcomes):
    """K = 2 holds 95 % or more; of 65 drops 87 % is three standard deviations below."""
    inside = [fits for *_, fits in outcomes if fits is not None]
    assert len(inside) > 50
    assert sum(inside) >= 0.87 * len(inside)


@pytest.mark.wide
def test_what_cannot_be_believed_is_not_valid(outcomes):
    bad = ("gain", "reversed", "gap", "cable", "wrong-mass")
    valid = [
        str(drop)
        for drop, _, verdict, _ in outcomes
        if drop.kind in bad and verdict.record_verdict == "valid"
    ]
    assert valid == []


@pytest.mark.wide
def test_no_drop_of_one_load_is_accused_of_a_second(outcomes):
    assert [str(drop) for drop, marks, *_ in outcomes if marks.has("further-pull")] == []


# Drops that were once judged wrongly, and what was mended.
ONCE_WRONG = {
    148: "a slip whose fit had a tangent of a tenth of the secant",
    376: "a slip that k x (1 + b x**2) + c x' imitated with a force at no stretch",
    405: "the same at 5000 samples/s",
    633: "a slip of a line with little damping, told by its first rebound",
    860: "a slip whose force collapsed, and a sled that was caught again",
    1363: "the same, and at rest it hung",
    5979: "a clipped top whose noise was cut off",
    10036: "a slip with one fall on its way up",
    10198: "a slip that jammed: the force collapsed and the sled hung",
    10312: "two peaks and no rebound",
    10656: "an onset at 5000 samples/s that was off by half a sample",
    4777: "a line of a quarter of critical damping on rails of a tenth of the weight",
    4815: "a slip of a soft, damped line that does not bounce twice: nothing tells it",
    4980: "a clipped top of a soft, damped line, whose impulse is whole: no slip",
    5003: "as 4815",
    8639: "as 4815",
    8865: "as 4815",
    9170: "as 4815; the record is invalid",
    21714: "a line of a quarter of critical damping is no slip",
    21812: "a clipped top is no yield",
    23225: "a gap that hid the whole first pull, and a bounce that was taken for it",
}


@pytest.mark.parametrize("seed", ONCE_WRONG)
@pytest.mark.rows(6)
def test_once_wrong(seed):
    drop = random_drop(seed)
    marks, verdict, _ = outcome(drop)
    assert verdict.trace_says in (*drop.says, "unclear")
    if drop.flawed:
        assert verdict.load_verdict in ("at-least", "no-load")
    assert marks.samples == drop.trace.force_n.size
