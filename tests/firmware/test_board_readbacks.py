"""Readbacks of the release chain: they withhold, in the loop, and cost nothing when off."""

import sys

import pytest
from fakes.board import Bench

import wire

FITTED = (("gate", 3), ("pin", 4), ("stop", 2))
GATE, PIN, STOP = 16, 32, 64  # bits, in the order of the config
REASONS = {name: wire.READBACK_OPEN + place for place, name in enumerate(wire.READBACKS)}


def bench(fitted=FITTED, closed=GATE | PIN | STOP, **changes):
    made = Bench(READBACKS=fitted, **changes)
    made.board.closed |= closed
    return made


def moved(one, bit, closed):
    """The level alone: no edge of a readback is stamped."""
    one.board.closed = one.board.closed & ~bit | (bit if closed else 0)


def changes(one):
    return [value for name, value, *_ in one.events() if name == "readback"]


def test_off_as_delivered_nothing_is_imported_told_or_asked():
    sys.modules.pop("readbacks", None)
    one = Bench()
    assert one.instrument.interlocks.readbacks is None
    assert "readbacks" not in sys.modules
    answer = one.ask("hello", wire=wire.VERSION)
    assert answer["ok"]
    assert "readbacks" not in answer
    one.arm()  # with every bit of a readback 0
    assert one.state == wire.ARMED


def test_the_greeting_tells_names_and_pins_and_the_status_their_bits():
    one = bench()
    assert one.ask("hello", wire=wire.VERSION)["readbacks"] == [list(pair) for pair in FITTED]
    assert one.ask("status")["inputs"] == 15 | GATE | PIN | STOP
    moved(one, PIN, False)
    assert one.ask("status")["inputs"] == 15 | GATE | STOP


@pytest.mark.parametrize("by", ["drive", "hand"])
@pytest.mark.parametrize(("name", "bit"), [("gate", GATE), ("pin", PIN), ("stop", STOP)])
def test_an_open_one_refuses_by_its_number(name, bit, by):
    one = bench()
    one.run(8)
    moved(one, bit, False)
    answer = one.ask("arm", by=by)
    assert not answer["ok"]
    assert answer["reasons"] == [REASONS[name]]
    assert one.state == wire.SAFE
    moved(one, bit, True)
    one.arm(by)
    assert one.state == wire.ARMED


def test_all_open_ones_and_the_other_doubts_are_told_at_once():
    one = bench(closed=0)
    one.run(8)
    one.board.move(wire.INPUT_KEY_ON, False)
    reasons = {REASONS["gate"], REASONS["pin"], REASONS["stop"], wire.KEY_OFF}
    answer = one.ask("arm", by="drive")
    assert set(answer["reasons"]) == reasons
    assert len(answer["reasons"]) == 4


@pytest.mark.parametrize("driven", [False, True], ids=["waiting", "driving"])
@pytest.mark.parametrize(("name", "bit"), [("gate", GATE), ("pin", PIN), ("stop", STOP)])
def test_one_that_opens_while_armed_leads_to_safe(name, bit, driven):
    """In the step that sees it, however short it was; closing again gives nothing back."""
    one = bench(RELEASE_PULSE_MS=10_000, RELEASE_WAIT_MS=20_000)
    token = one.arm()
    if driven:
        one.send(wire.RELEASE, token)
        one.run(2)
        assert one.board.outputs & wire.OUTPUT_DRIVE
    moved(one, bit, False)
    one.run(1)
    assert one.state == wire.SAFE
    assert one.board.outputs == 0
    assert one.instrument.states.reason == REASONS[name]
    moved(one, bit, True)
    one.send(wire.RELEASE, token)
    one.run(3)
    assert one.state == wire.SAFE
    assert [level for _, level in one.board.drive_log][1:] == ([0] if driven else [])
    told = [value for event, value, *_ in one.events() if event == "went-safe"]
    assert told == [REASONS[name]]
    place = wire.READBACKS.index(name)
    assert changes(one) == [2 * place]  # what happens in state safe is no event


def test_a_release_that_comes_in_the_step_of_the_opening_is_refused():
    one = bench()
    token = one.arm()
    moved(one, GATE, False)
    one.send(wire.RELEASE, token)
    one.run(2)
    assert one.board.drive_log == []
    assert one.state == wire.SAFE
    assert [v for event, v, *_ in one.events() if event == "refused"] == [REASONS["gate"]]


def test_one_that_opens_while_the_switch_opens_stops_the_drive_and_keeps_the_drop():
    """As with the key: the sled may be falling. Closed again it does not come back."""
    one = bench()
    one.send(wire.RELEASE, one.arm())
    one.run(2)
    one.board.move(wire.INPUT_LATCHED, False)
    one.run(2)
    assert one.board.outputs & wire.OUTPUT_DRIVE
    moved(one, GATE, False)
    one.run(1)
    assert not one.board.outputs & wire.OUTPUT_DRIVE
    moved(one, GATE, True)
    one.run(10)
    assert one.state == wire.RECORDING
    assert not one.board.outputs & wire.OUTPUT_DRIVE


def test_after_the_release_it_is_an_event_and_the_record_goes_on():
    one = bench()
    one.release(one.arm())
    moved(one, GATE, False)
    one.run(2)
    moved(one, GATE, True)
    moved(one, STOP, False)
    one.run(2)
    assert one.state == wire.RECORDING
    gate, stop = (2 * wire.READBACKS.index(name) for name in ("gate", "stop"))
    assert changes(one) == [gate, gate + 1, stop]
    one.send(wire.FINISH)
    one.run(30)
    assert one.state == wire.HELD
    assert one.instrument.states.reason == wire.FINISHED


def test_one_that_chatters_leaves_room_for_what_matters():
    one = bench(RECORDING_LONGEST_S=10)
    one.release(one.arm())
    for number in range(200):
        moved(one, GATE, number % 2)
        one.run(1)
    one.send(wire.FINISH)
    one.run(30)
    names = [event for event, *_ in one.events()]
    assert names.count("readback") <= 64
    assert names[-2:] == ["edges-lost", "recording-ended"]


def test_bits_that_no_readback_has_are_of_no_meaning():
    one = bench(fitted=(("gate", 3),), closed=GATE)
    one.arm()
    moved(one, PIN, True)
    one.run(2)
    moved(one, PIN, False)
    one.run(2)
    assert one.state == wire.ARMED
    assert changes(one) == []


def test_names_and_numbers_are_kept_for_ever():
    """A record tells them by number."""
    assert wire.READBACKS == ("stop", "gate", "pin", "screen", "supply")
    assert wire.READBACK_OPEN == 27 > max(wire.REASONS)
    assert wire.INPUT_READBACK << (wire.MOST_READBACKS - 1) == 0x80  # the last bit of `inputs`
