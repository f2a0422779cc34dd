"""Commands: checked fields or a typed refusal, whatever comes."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

import wire
from commands import COMMANDS, BusyAnswer, Malformed, parse

GOOD = [
    {"do": "hello", "wire": 1},
    {"do": "status"},
    {"do": "stream", "on": True},
    {"do": "arm", "by": "hand"},
    {"do": "arm", "by": "drive"},
    {"do": "fetch", "from": 0},
    {"do": "shunt", "on": True},
    {"do": "discard"},
    {"do": "prompt"},
]
ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@pytest.mark.parametrize("command", GOOD, ids=str)
def test_good_commands_come_back_as_they_are(command):
    assert parse(json.dumps(command).encode()) == command


def test_every_command_is_among_the_good_ones():
    assert {one["do"] for one in GOOD} == set(COMMANDS)


@pytest.mark.parametrize(
    ("command", "error"),
    [
        (b"", "not-json"),
        (b"\xff\xfe", "not-json"),
        (b'"arm"', "not-json"),
        (b"[1]", "not-json"),
        (b"{}", "not-a-command"),
        (b'{"do": "fire"}', "not-a-command"),
        (b'{"do": {"do": "arm"}}', "not-a-command"),
        (b'{"do": "arm"}', "bad-value"),
        (b'{"do": "arm", "by": "magnet"}', "bad-value"),
        (b'{"do": "arm", "by": "hand", "now": 1}', "bad-value"),
        (b'{"do": "stream", "on": 1}', "bad-value"),
        (b'{"do": "fetch", "from": -1}', "bad-value"),
        (b'{"do": "fetch", "from": true}', "bad-value"),
        (b'{"do": "fetch", "from": 1073741824}', "bad-value"),
        (b'{"do": "hello", "wire": "1"}', "bad-value"),
    ],
)
def test_refusals_are_typed(command, error):
    with pytest.raises(Malformed) as caught:
        parse(command)
    assert caught.value.error == error
    assert error in wire.ERRORS
    assert caught.value.text


def parse_or_refuse(payload):
    try:
        return parse(payload)
    except Malformed:
        return None


@given(st.binary(max_size=240))
def test_any_bytes(payload):
    assert parse_or_refuse(payload) is None or payload.startswith(b"{")


@given(ANY)
def test_any_json(value):
    command = parse_or_refuse(json.dumps(value).encode())
    assert command is None or command["do"] in COMMANDS


@given(st.sampled_from(GOOD), st.text(max_size=6), ANY)
def test_one_field_changed(good, name, value):
    command = parse_or_refuse(json.dumps({**good, name: value}).encode())
    if command is not None:
        assert set(command) == {"do", *COMMANDS[command["do"]]}


@given(st.integers(0, 65535))
def test_busy_answer_is_json_for_every_sequence(sequence):
    busy = BusyAnswer({"ok": False, "reasons": [11]})
    length = len(busy.body)
    busy.address(65535)
    busy.address(sequence)
    assert json.loads(busy.body) == {"to": sequence, "ok": False, "reasons": [11]}
    assert len(busy.body) == length


def test_busy_answers_fit_the_sender():
    from fakes.board import Bench

    import sender

    for busy in Bench().instrument._busy.values():
        assert len(busy.body) <= sender._SMALL_PAYLOAD
