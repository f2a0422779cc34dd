"""A wrong config.py: found before any pin becomes an output, and named."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from configs import RIGHT, WRONG, Changed
from places import FIRMWARE, TESTS

import config
import config_check
import refusal
import wire
from tautlog.board.health import read_health
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.errors import BoardConfigError, RefusedError
from tautlog.model.calibration import Calibration
from tautlog.rehearsal.process import BoardProcess, find_interpreter
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene


@pytest.mark.parametrize(("name", "changes"), WRONG, ids=str)
def test_a_wrong_config_is_found_and_the_line_named(name, changes):
    faults = config_check.find_faults(Changed(config, changes))
    assert [one for one in faults if one.startswith((name + " ", name + ":"))], faults


def test_there_are_many_ways_to_be_wrong():
    assert len(WRONG) >= 60
    named = {name for name, _ in WRONG}
    assert set(config_check.NAMES) <= named | {"PIN_ARTICLE_WIRE", "PIN_LAMP"}


@pytest.mark.parametrize("changes", RIGHT, ids=str)
def test_a_right_config_is_not_refused(changes):
    assert config_check.find_faults(Changed(config, changes)) == []


@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_the_same_is_found_under_both_interpreters(interpreter, request, tmp_path):
    """With all texts; and files that cannot be imported are told of."""
    found = sys.executable if interpreter == "cpython" else request.getfixturevalue("micropython")
    done = subprocess.run(
        [
            str(found),
            str(TESTS / "on_micropython" / "wrong_configs.py"),
            str(FIRMWARE),
            str(TESTS / "tools"),
        ],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
        env={"PYTHONDONTWRITEBYTECODE": "1"},
    )
    assert done.returncode == 0, done.stderr
    *table, unreadable = done.stdout.splitlines()
    here = [config_check.find_faults(Changed(config, changes)) for _, changes in WRONG]
    assert [json.loads(line) for line in table] == here
    for text, seen in zip(json.loads(unreadable), UNREADABLE, strict=True):
        assert text.startswith("config.py cannot be read: " + seen[0])
        assert seen[1] in text


# The error, and what of it must be told; the files stand in wrong_configs.py.
UNREADABLE = [
    ("SyntaxError", "line 3"),
    ("NameError", "PIN_KYE"),
    ("ZeroDivisionError", "zero"),
    ("SystemExit", ""),
]


class Mute:
    """A board that has a name and nothing else; any pin or sample would be an error."""

    regulator = ""

    def name(self):
        return "mute"

    def serial(self):
        return "m-1"


def test_a_board_with_a_wrong_config_answers_and_refuses():
    one = refusal.Refusal(Mute(), wire.WRONG_CONFIG, ["PIN_LAMP = 12: must be a pin of its own"])
    said = one.answer(b'{"do":"hello","wire":1}')
    assert (said["refused"], said["faults"]) == (wire.WRONG_CONFIG, one.faults)
    assert one.answer(b'{"do":"status"}')["reason"] == wire.WRONG_CONFIG
    for text in ('"arm","by":"drive"', '"stream","on":true', '"shunt","on":true', '"discard"'):
        said = one.answer(b'{"do":%s}' % text.encode())
        assert (said["ok"], said["reasons"]) == (False, [wire.WRONG_CONFIG])
        assert "PIN_LAMP = 12" in said["text"]


def test_what_it_says_fits_into_a_frame():
    one = refusal.Refusal(Mute(), wire.WRONG_CONFIG, ["x" * 200] * 90)
    answer = json.dumps(one.answer(b'{"do":"hello","wire":1}'))
    assert len(answer) + 100 < wire.MAX_PAYLOAD


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"PIN_LAMP": 12}, "PIN_LAMP = 12: must be a pin of its own, PIN_DRIVE has that one"),
        ({"RELEASE_PULSE_MS": 60000}, "RELEASE_PULSE_MS = 60000"),
        ({"PIN_LAPM": 3}, "PIN_LAPM: nothing has that name"),
    ],
    ids=str,
)
@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_the_laptop_says_which_line_is_wrong(interpreter, changes, text):
    """Through the real entry, on the rehearsed board; no output ever rises."""
    rig = SimulatedRig(default_scene())
    seen, advance = [], rig.advance
    rig.advance = lambda n_samples, outputs: (seen.append(outputs), advance(n_samples, outputs))[1]
    path = Path(sys.executable) if interpreter == "cpython" else find_interpreter()
    process = BoardProcess(rig, interpreter=path, changes=changes)
    with process as board, SerialLink(board.url) as link:
        session = Session(link)
        with pytest.raises(BoardConfigError, match=r"config\.py is wrong") as caught:
            session.greet()
        assert text in str(caught.value)
        for ask in (
            lambda: session.ask("arm", by="drive"),
            lambda: read_health(session, Calibration()),
        ):
            with pytest.raises(RefusedError, match="no pin is an output"):
                ask()
    assert not any(seen)
