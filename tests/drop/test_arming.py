"""A board that may have armed is told to be safe, whatever became of its answer."""

import pytest
from fakes.arming import ArmingLink
from fakes.crew import SilentCrew

from tautlog.board.session import Session
from tautlog.drop.granting import permitted
from tautlog.drop.outcome import DropPlan
from tautlog.drop.run import run_drop
from tautlog.errors import BoardError, LinkTimeoutError, NotReadyError
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup

GOOD = {"ok": True, "token": "00" * 8, "first": 4, "armed": 20}
LOST = (None,)
MALFORMED = (
    {"ok": True},
    {name: one for name, one in GOOD.items() if name != "token"},
    {**GOOD, "token": "no hex"},
    {**GOOD, "token": "00"},
    {**GOOD, "first": None},
    {**GOOD, "first": "four"},
    {**GOOD, "first": 30},
    {**GOOD, "first": -1},
    {**GOOD, "armed": 1.5},
    {**GOOD, "armed": []},
)


def drop(link, folder, crew=None):
    setup = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0)
    permit = permitted(None, setup, calibration=Calibration(zero_v=0.45), say=lambda text: None)
    plan = DropPlan(folder / "drop.h5", permit)
    return run_drop(Session(link, clock=link.clock), plan, crew or SilentCrew())


@pytest.mark.parametrize("answer", LOST + MALFORMED, ids=str)
@pytest.mark.rows(3)
def test_no_answer_to_arm_leaves_a_board_armed(tmp_path, answer):
    link = ArmingLink(answer)
    kind = LinkTimeoutError if answer is None else BoardError
    with pytest.raises(kind, match=r"arm.*state safe, the release drive is low"):
        drop(link, tmp_path)
    assert wire.ABORT in link.heard
    assert link.state == wire.SAFE
    assert wire.RELEASE not in link.heard
    assert not list(tmp_path.iterdir())


@pytest.mark.wide
def test_a_board_that_does_not_confirm_is_called_armed(tmp_path):
    link = ArmingLink(None)
    obey = link._obey
    link._obey = lambda kind, payload: kind != wire.ABORT and obey(kind, payload)
    with pytest.raises(LinkTimeoutError, match="treat the sled as armed"):
        drop(link, tmp_path)


def test_the_limits_go_with_the_request(tmp_path):
    link = ArmingLink(None)
    with pytest.raises(LinkTimeoutError):
        drop(link, tmp_path)
    request = next(one for one in link.asked if one["do"] == "arm")
    assert request["by"] == "drive"
    # Of 0.05 V and 3.2 V with 3.3 V / 32768 a step, 0.5 % of the span inside; the zero of
    # 0.45 V with 5 % of it.
    step_v, span_v = 3.3 / 32768, 3.15
    expected = {
        "rail_low": (0.05 + 0.005 * span_v) / step_v,
        "rail_high": (3.2 - 0.005 * span_v) / step_v,
        "level_low": (0.45 - 0.05 * span_v) / step_v,
        "level_high": (0.45 + 0.05 * span_v) / step_v,
    }
    for name, value in expected.items():
        assert isinstance(request[name], int)
        assert request[name] == pytest.approx(value, abs=1.0)
    assert len(str(request)) < wire.MAX_COMMAND


def test_a_chain_that_is_refused_is_never_asked_to_arm(tmp_path):
    link = ArmingLink(GOOD)
    link._send_block = lambda number: super(ArmingLink, link)._send_block(number)  # no noise
    crew = SilentCrew()
    with pytest.raises(NotReadyError):
        drop(link, tmp_path, crew)
    assert "agree" not in crew.told
    assert all(one["do"] != "arm" for one in link.asked)
    assert not list(tmp_path.iterdir())
