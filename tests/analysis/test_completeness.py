"""A record that was cut short says so, wherever it was cut."""

import dataclasses

import numpy as np
import pytest
from traces import BEFORE_S, RATE_HZ, G, arrest, plain, recorded

from tautlog.analysis.completeness import cut_short
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import Completeness, DropSetup, Trace

SETUP = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)
FALL_S = np.sqrt(2.0 / G)  # closed form; the line comes taut at BEFORE_S + FALL_S
WHOLE = Completeness("complete", "finished")


def whole(total_s=9.0):
    return recorded(arrest(10.0, 1.0, 5000.0, 0.1, total_s=total_s)[1])


def cut(trace, stop_s, told=WHOLE):
    """The trace up to a time; its release is known only if it lies within."""
    release_s = trace.release_time_s if stop_s > trace.release_time_s else None
    return dataclasses.replace(
        trace,
        force_n=trace.force_n[: int(stop_s * RATE_HZ)],
        clipped=np.zeros(0, dtype=bool),
        release_time_s=release_s,
        completeness=told,
    )


def judged(trace, setup=SETUP):
    marks = mark(trace, setup)
    return marks, judge(marks, setup)


def reason(verdict, code):
    return next((one.text for one in verdict.reasons if one.code == code), "")


# 72 ms is a quarter of a period, w = sqrt(k / m) = 22 /s: the peak, less what damping takes.
CUTS = [
    (BEFORE_S - 0.1, "before-release", "invalid"),
    (BEFORE_S + 0.3, "before-onset", "invalid"),
    (BEFORE_S + FALL_S - 0.01, "before-onset", "invalid"),
    (BEFORE_S + FALL_S + 0.010, "in-the-rise", "invalid"),
    (BEFORE_S + FALL_S + 0.060, "in-the-rise", "invalid"),
    (BEFORE_S + FALL_S + 0.130, "after-the-peak", "suspect"),
]


@pytest.mark.parametrize("told", [None, WHOLE, Completeness("recording"), Completeness("aborted")])
@pytest.mark.parametrize(("stop_s", "place", "verdict"), CUTS)
def test_a_record_that_was_cut(stop_s, place, verdict, told):
    """Whatever the record says of itself: the trace shows that it is not whole."""
    marks, seen = judged(cut(whole(), stop_s, told))
    if told is None and place == "before-release":
        place = "before-onset"  # of an imported trace nobody knows a release
    assert marks.record_ends == place
    assert seen.record_verdict == verdict
    assert reason(seen, "cut-short")
    if verdict == "invalid":
        assert seen.load_verdict == "at-least"


@pytest.mark.parametrize("millisecond", range(1, 140, 6))
@pytest.mark.parametrize("target_n", [300.0, 700.0, 1000.0])
def test_no_cut_is_valid_and_judged(millisecond, target_n):
    trace = cut(whole(), BEFORE_S + FALL_S + 1e-3 * millisecond)
    _, seen = judged(trace, dataclasses.replace(SETUP, target_n=target_n))
    assert seen.record_verdict != "valid"
    peak_is_in_it = millisecond > 75
    assert peak_is_in_it or seen.load_verdict == "at-least"


TOLD = [
    (Completeness("complete", "finished"), True),
    (Completeness("complete", "window-complete"), True),
    (Completeness("complete"), False),
    (Completeness("recovered", "window-complete"), True),
    (Completeness("recovered"), False),
    (Completeness("recording"), False),
    (Completeness("aborted"), False),
    (Completeness("complete", "aborted"), False),
    (Completeness("complete", "memory-full"), False),
    (Completeness("recovered", "restarted"), False),
]


@pytest.mark.parametrize(("told", "good"), TOLD)
def test_what_a_record_says_of_its_end_is_believed(told, good):
    assert (cut_short(told) == "") == good
    _, seen = judged(dataclasses.replace(whole(), completeness=told))
    assert seen.record_verdict == ("valid" if good else "suspect")


def test_what_is_missing_is_said():
    trace = cut(whole(), BEFORE_S + FALL_S + 1.0, Completeness("aborted"))
    marks, seen = judged(trace)
    assert (marks.record_ends, seen.record_verdict) == ("before-rest", "suspect")
    assert "the sled at rest" in reason(seen, "cut-short")


def test_no_load_needs_the_whole_time_in_which_one_could_come():
    """1.5 x the fall and a tenth of a second, after the release."""
    silent = recorded(np.zeros(100_000))
    for stop_s, load in ((0.7, "at-least"), (1.1, "at-least"), (1.25, "no-load")):
        _, seen = judged(cut(silent, stop_s))
        assert seen.load_verdict == load
        assert seen.record_verdict == ("valid" if load == "no-load" else "invalid")


def test_a_gap_may_hide_the_whole_pull():
    force = recorded(np.zeros(100_000)).force_n.copy()
    force[int(0.8 * RATE_HZ) : int(1.0 * RATE_HZ)] = np.nan
    _, seen = judged(Trace(force, RATE_HZ, release_time_s=BEFORE_S))
    assert (seen.record_verdict, seen.load_verdict) == ("invalid", "at-least")


@pytest.mark.parametrize("millisecond", range(5, 150, 9))
def test_a_trace_that_begins_in_the_pull(millisecond):
    """Its zero is none, or what it shows is only a bounce."""
    start = int((BEFORE_S + FALL_S + 1e-3 * millisecond) * RATE_HZ)
    _, seen = judged(plain(whole().force_n[start:]))
    assert seen.record_verdict == "invalid"
    why = {"starts-late", "reversed", "cut-short", "closure-wrong"}
    assert why & {one.code for one in seen.reasons}
