"""A board whose JSON answers lie: one typed error, and a board that may be armed is told ABORT."""

import pytest
from fakes.arming import ArmingLink
from fakes.crew import SilentCrew
from hypothesis import given
from hypothesis import strategies as st

from tautlog import cli
from tautlog.board.answers import reason_texts
from tautlog.board.session import Session
from tautlog.cli.console import ConsoleCrew
from tautlog.drop.granting import permitted
from tautlog.drop.outcome import DropPlan
from tautlog.drop.run import run_drop
from tautlog.errors import BoardError, LinkError
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.printable import printable
from tautlog.model.trace import DropSetup

MOVES_THE_TERMINAL = ("\x1b[2J", "\x9b2J", "\x07", "\u202e", "\u2066", "\u200b", "\u2028", "\ud800")
GOOD = {"ok": True, "token": "00" * 8, "first": 4, "armed": 20}
LIES_TO_ARM = {
    "block beyond the wire": {**GOOD, "first": 1 << 32, "armed": 1 << 32},
    "armed beyond the wire": {**GOOD, "armed": 1 << 40},
    "reason is a list": {"ok": False, "reasons": [[1]]},
    "reason is an object": {"ok": False, "reasons": [{}]},
    "reason is a text": {"ok": False, "reasons": ["\x1b[2J"]},
    "reason is a fraction": {"ok": False, "reasons": [wire.READBACK_OPEN + 0.5]},
    "reason is null": {"ok": False, "reasons": [None]},
    "reason is unknown": {"ok": False, "reasons": [9999, -1]},
    "reasons are no list": {"ok": False, "reasons": 3},
    "text is a list": {"ok": False, "text": [[]]},
    "ok is 1": {**GOOD, "ok": 1},
    "token is a list": {**GOOD, "token": ["00" * 8]},
    "token is too long": {**GOOD, "token": "00" * 9},
    "first is deep": {**GOOD, "first": [[[[[[[[]]]]]]]]},
    "first is a logical": {**GOOD, "first": True},
}


@pytest.mark.parametrize("lie", LIES_TO_ARM.values(), ids=LIES_TO_ARM)
def test_a_lie_about_arming_is_a_typed_error_and_abort_is_sent(tmp_path, lie):
    link = ArmingLink(lie)
    setup = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0)
    permit = permitted(None, setup, calibration=Calibration(zero_v=0.45), say=lambda text: None)
    plan = DropPlan(tmp_path / "drop.h5", permit)
    with pytest.raises((BoardError, LinkError)):
        run_drop(Session(link, clock=link.clock), plan, SilentCrew())
    assert wire.ABORT in link.heard
    assert wire.RELEASE not in link.heard
    assert link.state == wire.SAFE
    assert not list(tmp_path.iterdir())


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)


@given(JSON)
def test_whatever_reasons_are_they_become_texts(reasons):
    assert all(isinstance(text, str) for text in reason_texts(reasons))


@pytest.mark.parametrize("sign", MOVES_THE_TERMINAL, ids=ascii)
def test_foreign_text_moves_no_terminal(sign, capsys):
    assert printable(f"a{sign}b").isprintable()
    ConsoleCrew(yes=True, quiet=False).say(f"board: {sign}\nsecond line")
    cli._fail(f"the board refuses `arm`: {sign}")
    said = capsys.readouterr().err
    lines = said.split("\n")
    assert all(line.isprintable() for line in lines)
    assert "second line" in lines


@given(st.text())
def test_printable_keeps_what_is_seen(text):
    told = printable(text)
    assert len(told) == len(text)
    assert all(now == was or not was.isprintable() for now, was in zip(told, text, strict=True))
