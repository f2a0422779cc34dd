"""Contacts of the release chain that a board sees: what it tells of them, and the words for it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.board.answers import reason_texts
from tautlog.firmware import wire
from tautlog.model.readbacks import (
    MEANINGS,
    MENDS,
    Readback,
    change_text,
    name_of,
    open_names,
    open_text,
    readbacks_from,
)


def test_every_name_has_a_meaning_and_a_mend():
    assert tuple(MEANINGS) == tuple(MENDS) == wire.READBACKS


def test_a_greeting_tells_names_and_pins():
    assert readbacks_from(None) == readbacks_from([]) == ()
    assert readbacks_from([["gate", 3], ["stop", 2]]) == (Readback("gate", 3), Readback("stop", 2))


@pytest.mark.parametrize(
    "told",
    [
        *("gate", {"gate": 3}, [["gate"]], ["gate", 3], [["door", 3]], [[3, "gate"]], [[["x"], 3]]),
        *([["gate", True]], [["gate", 3.0]], [["gate", -1]], [["gate", 23]], [["gate", None]]),
        *([["gate", 3], ["gate", 4]], [["gate", 3], ["stop", 3]]),
        [[name, gpio] for gpio, name in enumerate(wire.READBACKS)],
    ],
)
def test_nonsense_in_a_greeting_is_refused(told):
    with pytest.raises(ValueError, match="readback"):
        readbacks_from(told)


@given(st.permutations(wire.READBACKS), st.integers(0, 255))
def test_each_reads_its_own_bit(names, inputs):
    fitted = tuple(Readback(name, gpio) for gpio, name in enumerate(names[:4]))
    expected = [name for place, name in enumerate(names[:4]) if not inputs >> 4 + place & 1]
    assert list(open_names(fitted, inputs)) == expected


def test_a_reason_is_told_by_the_name_of_the_contact():
    texts = reason_texts([2, 28, 99])
    assert texts[0] == wire.REASONS[2][1]
    assert (
        texts[1]
        == open_text("gate")
        == ("gate open: the zone gate is open, or the wire of its contact is open")
    )
    assert texts[2] == "reason 99, unknown to this tautlog"
    assert [name_of(number) for number in (26, 27, 31, 32)] == ["", "stop", "supply", ""]


def test_a_change_is_told_in_words():
    assert [change_text(value) for value in (2, 3, 99)] == [
        *("gate opened", "gate closed", "readback 49 closed")
    ]
