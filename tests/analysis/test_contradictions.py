"""What a board tells that cannot all be true reaches the verdict, at the drop and later."""

import functools
from dataclasses import replace

import numpy as np
import pytest
from fakes.crew import SilentCrew
from fakes.drops import ONSET, PEAK, PER_BLOCK, DropBoard, Lies, plan_at, session_with
from traces import RATE_HZ, arrest, recorded

from tautlog.analysis.contradictions import Story, contradictions
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assess import assess
from tautlog.archive.verdict_lines import quick_look
from tautlog.drop.run import run_drop
from tautlog.model.contradiction import SEVERITIES
from tautlog.model.marks import Finding
from tautlog.model.reception import Reception, reception_in
from tautlog.model.stream import BoardEvent
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import Reason
from tautlog.record import open_record


def dropped(folder, lies, crew=None, **changes):
    """The board and the outcome of a drop with one that lies so."""
    board = DropBoard(lies)
    plan = plan_at(folder / "drop.h5", **changes)
    return board, run_drop(session_with(board), plan, crew or SilentCrew())


def marked_later(outcome):
    return assess(open_record(outcome.path))


def told(marked):
    return {one.code: one.text for one in marked.verdict.reasons}


def test_a_board_that_does_not_lie_is_valid(tmp_path):
    board, outcome = dropped(tmp_path, Lies())
    marked = marked_later(outcome)
    assert (marked.verdict.record_verdict, marked.verdict.load_verdict) == ("valid", "on-target")
    assert marked.verdict.trace_says == "held"
    assert not set(told(marked)) & set(SEVERITIES)
    assert outcome.notes == ()
    assert board.heard[-3:] == ["RELEASE", "FINISH", "discard"]


def test_a_hand_release_needs_no_drive(tmp_path):
    _, outcome = dropped(tmp_path, Lies(lets_go_after_s=1.0), by_hand=True)
    assert open_record(outcome.path).trace().contradictions == ()


def test_a_board_that_lets_go_by_itself(tmp_path):
    """On the screen at once, in the record, and in the verdict."""
    crew = SilentCrew()
    board, outcome = dropped(tmp_path, Lies(lets_go_after_s=0.1), crew)
    marked = marked_later(outcome)
    assert "RELEASE" not in board.heard
    words = "opened although it was not commanded"
    assert words in crew.findings[0].text.lower()
    assert any(words in one for one in outcome.notes)
    assert words in open_record(outcome.path).status_text
    assert marked.verdict.record_verdict == "suspect"
    assert words in quick_look(marked)[1]
    assert marked.verdict.test_verdict == "pending"


S = int(RATE_HZ)
BY_CODE = {
    "told-twice": [
        Lies(more=(("release-opened", 20_000, 0),)),
        Lies(
            more=(
                ("release-edge", 9000, 0),
                ("release-edge", 9500, 1),
                ("release-opened", 20_000, 0),
            )
        ),
        Lies(more=(("release-by-force", 30_000, 0),)),
        Lies(more=(("armed", 20_000, 1),)),
        Lies(more=(("recording-ended", 20_000, 20),)),
    ],
    "event-outside": [
        Lies(more=(("release-opened", 10**9, 0),)),
        Lies(more=(("article-wire-opened", 30 * S, 0),)),
    ],
    "release-misplaced": [Lies(moved_s=0.5), Lies(moved_s=-0.3), Lies(moved_s=-1.6)],
    "switch-reclosed": [
        Lies(more=(("release-edge", 40_000, 0),)),
        Lies(more=(("release-edge", 40_000, 0), ("release-edge", 60_000, 1))),
    ],
    "state-impossible": [
        Lies(says={"recording": "safe"}),
        Lies(says={"recording": "armed"}),
    ],
    "block-changed": [Lies(changed=frozenset({PEAK})), Lies(changed=frozenset({5, 60}))],
    "block-reflagged": [Lies(reflagged=frozenset({PEAK}))],
    "block-misfit": [Lies(shapes={60: (500, 1)}), Lies(shapes={60: (512, 2)})],
    "block-astray": [Lies(strays=frozenset({60}))],
    "block-withheld": [Lies(withheld=frozenset({60, 61}), oldest=0)],
    "frame-nonsense": [Lies(short=frozenset({60}))],
    "lost-untold": [Lies(lost_more=100)],
    "clock-jumped": [Lies(clock_jumps_at=60)],
    "not-armed": [Lies(untold=frozenset({"armed"}))],
    "unasked-release": [Lies(untold=frozenset({"release-driven"}))],
    "wrong-order": [Lies(more=(("went-safe", 20_000, 2),))],
}


@pytest.mark.parametrize(
    ("code", "lies"), [(code, lies) for code, all_of in BY_CODE.items() for lies in all_of]
)
def test_every_lie_is_seen(tmp_path, code, lies):
    """By whoever reads the record later; what needs no blocks is told at the drop, too."""
    _, outcome = dropped(tmp_path, lies)
    trace = open_record(outcome.path).trace()
    assert code in {one.code for one in trace.contradictions}
    ends = any(name == "recording-ended" for name, _, _ in lies.more)  # that is believed
    assert ends or trace.force_n.size > 2.9 * RATE_HZ


def test_a_recording_that_never_ended(tmp_path):
    _, outcome = dropped(tmp_path, Lies(untold=frozenset({"recording-ended"})))
    marked = marked_later(outcome)
    assert marked.verdict.record_verdict == "suspect"
    assert "never reported the end of the recording" in quick_look(marked)[1]


def test_two_truths_of_the_same_samples(tmp_path):
    _, outcome = dropped(tmp_path, Lies(changed=frozenset({PEAK})))
    marked = marked_later(outcome)
    assert marked.verdict.record_verdict == "invalid"
    assert "came twice, with other samples" in quick_look(marked)[1]


@pytest.mark.parametrize("code", SEVERITIES)
def test_the_verdict_is_as_grave(code):
    """Of a pull that is valid otherwise; the gravest is the reason that is told."""
    marks = pulled()
    assert judge(marks, PULLED).record_verdict == "valid"
    found = (*marks.findings, Finding(code, "this cannot be"))
    verdict = judge(replace(marks, findings=found), PULLED)
    assert verdict.record_verdict == SEVERITIES[code]
    assert verdict.reasons[0] == Reason(code, "this cannot be")


PULLED = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)


@functools.cache
def pulled():
    return mark(recorded(arrest(10.0, 1.0, 5000.0, 0.1, total_s=9.0)[1]), PULLED)


def test_a_bounce_is_no_contradiction(tmp_path):
    lies = Lies(more=(("release-edge", 25, 0), ("release-edge", 60, 1)))
    _, outcome = dropped(tmp_path, lies)
    assert open_record(outcome.path).trace().contradictions == ()


@pytest.mark.parametrize("name", ["armed", "release-driven", "recording-ended"])
def test_an_event_whose_frame_was_damaged_is_asked_for_again(tmp_path, name):
    """It is the line's fault, not the board's."""
    board, outcome = dropped(tmp_path, Lies(lost_events=frozenset({name})))
    assert "fetch" in board.heard
    record = open_record(outcome.path)
    assert name in {one.name for one in record.events}
    assert record.trace().contradictions == ()


def test_every_severity_is_tried():
    # Below, in test_limits_at_arming, and in drop/test_giving_up.
    here = {"events-missing", "rails-differ", "converter-differs", "event-given-up"}
    assert set(SEVERITIES) == set(BY_CODE) | here


def story(*names, **more):
    events = [
        BoardEvent(number, name, 1000 * (number + 1), 0, 1)
        for number, name in enumerate(names)
        if name
    ]
    return Story(events, RATE_HZ, PER_BLOCK, **more)


WHOLE = ("armed", "release-driven", "release-opened", "recording-ended")


def codes(one):
    return [found.code for found in contradictions(one)]


def test_numbers_of_events_come_round():
    events = [
        BoardEvent((65534 + place) % 65536, name, 1000 * place, 0, 1)
        for place, name in enumerate(WHOLE)
    ]
    shuffled = [events[place] for place in (2, 0, 3, 1)]
    assert codes(Story(shuffled, RATE_HZ, PER_BLOCK)) == []


def test_an_event_that_never_came():
    assert codes(story(*WHOLE[:2], None, *WHOLE[2:])) == ["events-missing"]


@pytest.mark.parametrize("sent", [True, False, None])
def test_a_pulse_that_the_laptop_did_not_ask_for(sent):
    found = codes(story(*WHOLE, reception=Reception(by="drive", release_sent=sent)))
    assert found == (["unasked-release"] if sent is False else [])


def test_the_drive_in_a_drop_by_hand():
    assert codes(story(*WHOLE, reception=Reception(by="hand"))) == ["unasked-release"]


def test_opened_before_it_was_driven():
    events = [
        BoardEvent(0, "armed", 0, 0, 1),
        BoardEvent(1, "release-opened", 1000, 5_000, 0),
        BoardEvent(2, "release-driven", 1000, 40_000, 0),
        BoardEvent(3, "recording-ended", 9000, 90_000, 20),
    ]
    (found,) = contradictions(Story(events, RATE_HZ, PER_BLOCK))
    assert "35 ms before it was driven" in found.text


def test_gaps_and_the_turn_of_the_clock_are_no_jump():
    numbers = np.array([10, 11, 12, 90, 91])
    stamps_us = (numbers * 16384 + 2**30 - 11 * 16384) % 2**30

    def seen(stamps_us):
        return codes(Story((), RATE_HZ, PER_BLOCK, 82 * PER_BLOCK, numbers, lengths, stamps_us))

    lengths = np.full(5, PER_BLOCK)
    assert seen(stamps_us) == []
    assert seen(stamps_us + np.array([0, 0, 0, 0, 100_000])) == ["clock-jumped"]


def test_a_release_of_another_day_does_not_record_for_ever(tmp_path):
    board, outcome = dropped(tmp_path, Lies(moved_s=9000.0))
    assert board.now_s < 10.0
    (found,) = open_record(outcome.path).trace().contradictions
    assert found.code == "event-outside"


def test_a_reception_comes_back_as_it_was():
    seen = Reception("drive", False, ["safe while it was recording"], [3], [4], 1, 2, 3, 4)
    assert reception_in(seen.as_json()) == seen
    assert reception_in({}) == Reception()
    assert Reception().as_json() == {}
    with pytest.raises(ValueError, match="list"):
        reception_in({"states": 3})
    with pytest.raises(ValueError, match="count"):
        reception_in({"misfit_blocks": "many"})


def test_the_pull_lies_where_these_tests_say():
    assert ONSET < PEAK < 40
