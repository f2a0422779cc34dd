"""What a record's events say of the release, and what becomes of it in the marks."""

from dataclasses import replace

import pytest
from traces import arrest, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.letting_go import letting_go
from tautlog.analysis.marking import mark
from tautlog.model.stream import BoardEvent
from tautlog.model.trace import DropSetup

RATE_HZ = 62_500.0
SIZE = 100_000
CODES = {"o": "release-opened", "k": "knock", "e": "release-edge", "lost": "edges-lost"}


def said(*events):
    """Events as (name, milliseconds, value)."""
    made = [
        BoardEvent(number, CODES[name], round(at_ms * RATE_HZ / 1000), 0, value)
        for number, (name, at_ms, value) in enumerate(events)
    ]
    return letting_go(made, RATE_HZ, SIZE)


def test_a_clean_release():
    seen = said(("o", 400, 0))
    assert (seen.time_s, seen.doubt, seen.note) == (0.4, "", "")
    assert seen.u_s == pytest.approx(2 / RATE_HZ)


def test_bounces_are_no_doubt_and_all_there():
    bounces = [("e", 400 + 1.4 * n, n % 2 == 0) for n in range(1, 17)]
    seen = said(("o", 400, 0), *bounces)
    assert seen.doubt == ""
    assert len(seen.edges) == 17
    assert [edge.opens for edge in seen.edges[:3]] == [True, False, True]


def test_the_spike_of_a_coil_is_told_and_is_no_doubt():
    """The events are not in the order of time: a knock is noted when it is known to be one."""
    seen = said(("e", 388.1, 0), ("k", 388, 0), ("o", 400, 0))
    assert (seen.time_s, seen.doubt) == (0.4, "")
    assert "1 time(s) before the release" in seen.note
    assert [edge.opens for edge in seen.edges] == [True, False, True]


@pytest.mark.parametrize(
    ("events", "word"),
    [
        ((("k", 395, 0), ("e", 395.2, 0), ("o", 400, 0)), "4.8 ms before"),
        ((("o", 400, 0), ("e", 405, 0), ("e", 408, 1)), "closed for 3.0 ms"),
        ((("o", 400, 0), ("e", 430, 0)), "closed for 70.0 ms"),
        ((("o", 400, 0), ("lost", 900, 12)), "12 edge(s)"),
    ],
    ids=["a knock just before", "closes again", "stays closed", "edges lost"],
)
def test_doubts(events, word):
    seen = said(*events)
    assert word in seen.doubt
    assert seen.time_s == 0.4
    assert seen.u_s >= 0.003


def test_a_switch_that_a_hand_closes_later_is_no_doubt():
    assert said(("o", 400, 0), ("e", 900, 0)).doubt == ""


@pytest.mark.parametrize("events", [(), (("k", 300, 0), ("e", 301, 0))])
def test_no_release(events):
    seen = said(*events)
    assert (seen.time_s, seen.doubt) == (None, "")
    assert len(seen.edges) == len(events)


def test_a_doubt_takes_away_what_the_release_tells_and_nothing_else():
    setup = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)
    trace = recorded(arrest(10.0, 1.0, 30_000.0, 0.1)[1])
    sure = mark(trace, setup)
    marks = mark(replace(trace, release_doubt="edges were lost"), setup)
    assert sure.fall_time_s is not None
    assert marks.fall_time_s is None
    assert marks.friction_n is None
    assert marks.release_delay_s is None
    assert marks.peak_force_n == sure.peak_force_n
    told = {one.code: one.text for one in judge(marks, setup).reasons}
    assert "edges were lost" in told["release-doubt"]
    assert "release-doubt" not in {one.code for one in judge(sure, setup).reasons}
