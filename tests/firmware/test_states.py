"""The table of states, explored to closure."""

import pytest

import states
import wire
from states import ARM, DISCARD, DOUBT, END, FOUND, HAPPENINGS, OPEN, States

WAYS = {
    (wire.SAFE, ARM): wire.ARMED,
    (wire.ARMED, OPEN): wire.RECORDING,
    (wire.ARMED, DOUBT): wire.SAFE,
    (wire.RECORDING, END): wire.HELD,
    (wire.HELD, DISCARD): wire.SAFE,
    (wire.SAFE, FOUND): wire.HELD,
}


def after(path):
    one = States()
    for happening in path:
        one.take(happening)
    return one.now


def test_every_happening_in_every_state_to_closure():
    reached, waiting = {wire.SAFE: ()}, [()]
    while waiting:
        path = waiting.pop()
        before = after(path)
        for happening in range(HAPPENINGS):
            now = after((*path, happening))
            assert now == WAYS.get((before, happening), before)
            if now not in reached:
                reached[now] = (*path, happening)
                waiting.append(reached[now])
    assert set(reached) == {wire.SAFE, wire.ARMED, wire.RECORDING, wire.HELD}


def test_the_only_way_into_armed_is_arming_from_safe():
    assert [way for way, to in WAYS.items() if to == wire.ARMED] == [(wire.SAFE, ARM)]


@pytest.mark.parametrize("happening", range(HAPPENINGS))
def test_a_held_event_is_left_by_discard_only(happening):
    held = (ARM, OPEN, END)
    assert (after((*held, happening)) == wire.SAFE) == (happening == DISCARD)


def test_the_reason_goes_with_the_change():
    one = States()
    one.take(ARM)
    assert one.take(DOUBT, wire.KEY_OFF)
    assert one.reason == wire.KEY_OFF
    assert not one.take(END, wire.TIME_UP)
    assert one.reason == wire.KEY_OFF


def test_table_holds_nothing_else():
    assert len(states.TABLE) == len(WAYS)
