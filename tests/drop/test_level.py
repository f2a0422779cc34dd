"""A force wire that opens during the countdown calls the drop off; hum and a knock do not."""

from dataclasses import replace

import numpy as np
import pytest
from fakes.crew import SilentCrew
from fakes.drops import BLOCK_S, CALIBRATION, PER_BLOCK, RATE_HZ, DropBoard, plan_at, session_with
from fakes.liars import Liar

from tautlog.drop.level import WINDOW_S, Level
from tautlog.drop.run import run_drop
from tautlog.errors import AbortedError, TautlogError
from tautlog.firmware import wire
from tautlog.model.channels import Channel
from tautlog.model.stream import Block, Instrument
from tautlog.record import open_record

STEP_V = CALIBRATION.volt_per_count(8)
OPENS = {
    "to the upper rail": (lambda volts: np.full_like(volts, 3.29), "limit"),
    "to the lower rail": (lambda volts: np.zeros_like(volts), "limit"),
    "to another level": (lambda volts: volts + 0.6, "zero"),
    "dead where it was": (lambda volts: np.full_like(volts, 0.5), "dead"),
    "floating, with hum": (
        lambda volts: 1.6 + 1.7 * np.sin(np.arange(volts.size) * 2 * np.pi * 50 / RATE_HZ),
        "limit",
    ),
}


class Opens(Liar):
    """A board whose force signal changes so long after arming."""

    def __init__(self, change, after_s, until_s=1e9):
        super().__init__()
        self._change, self._after_s, self._until_s = change, after_s, until_s

    def _samples(self, number):
        counts = super()._samples(number)
        if self.armed_s is None:
            return counts
        since_s = number * BLOCK_S - self.armed_s
        if not self._after_s <= since_s < self._until_s:
            return counts
        volts = self._change(counts * STEP_V)
        return np.clip(np.round(volts / STEP_V), 0, 65520).astype("<u2")


@pytest.mark.parametrize(("change", "said"), OPENS.values(), ids=OPENS)
@pytest.mark.parametrize("by_hand", [False, True])
def test_an_open_wire_during_the_countdown_calls_it_off(tmp_path, change, said, by_hand):
    """Found by an attack: the release went out, and the drop was blind."""
    board = Opens(change, 1.0)
    plan = plan_at(tmp_path / "drop.h5", countdown_s=3.0, by_hand=by_hand)
    with pytest.raises(AbortedError, match=f"{said}.*a wire may be open.*state safe"):
        run_drop(session_with(board), plan, SilentCrew())
    assert "RELEASE" not in board.heard
    assert "ABORT" in board.heard
    assert board.state == wire.SAFE
    assert board.now_s < board.armed_s + 1.0 + 3 * WINDOW_S
    assert open_record(tmp_path / "drop.h5").status == "aborted"


def test_what_is_open_just_before_the_release_withholds_it(tmp_path):
    """One block is enough there: nothing is lost by calling off."""
    board = Opens(lambda volts: volts + 0.6, 3.0 - 2.5 * BLOCK_S)
    with pytest.raises(AbortedError, match="left its zero"):
        run_drop(session_with(board), plan_at(tmp_path / "drop.h5", countdown_s=3.0), SilentCrew())
    assert "RELEASE" not in board.heard


@pytest.mark.parametrize(
    "change",
    [
        lambda volts: volts + 0.02 * np.sin(np.arange(volts.size) * 2 * np.pi * 50 / RATE_HZ),
        lambda volts: volts + 0.05,
    ],
    ids=["hum", "drift"],
)
def test_hum_and_drift_call_nothing_off(tmp_path, change):
    board = Opens(change, 1.0, 2.5)
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5", countdown_s=3.0), SilentCrew())
    assert open_record(tmp_path / "drop.h5").status == "complete"


def test_a_knock_calls_nothing_off(tmp_path):
    board = Opens(lambda volts: volts + 0.6, 1.0, 1.0 + WINDOW_S / 2)
    run_drop(session_with(board), plan_at(tmp_path / "drop.h5", countdown_s=3.0), SilentCrew())
    assert open_record(tmp_path / "drop.h5").status == "complete"


def test_the_force_of_the_drop_itself_calls_nothing_off(tmp_path):
    """The release event is lost on the line: force comes while none is known."""
    board = DropBoard()
    board.lies = replace(board.lies, untold=frozenset({"release-opened"}))
    with pytest.raises(TautlogError) as caught:
        run_drop(session_with(board), plan_at(tmp_path / "drop.h5"), SilentCrew())
    assert "wire may be open" not in str(caught.value)


def test_every_force_channel_is_watched_and_no_other(tmp_path):
    names = ("force", "force right", "acceleration")
    board = Instrument("0", "board", "serial", RATE_HZ, 8, names, PER_BLOCK, 68)
    plan = plan_at(tmp_path / "drop.h5")
    object.__setattr__(plan.permit, "channels", (Channel("force right", CALIBRATION),))
    level = Level(plan, board)
    rng = np.random.default_rng(1)

    def block(volts):
        noise = rng.normal(0.0, 5e-4, (PER_BLOCK, 3))
        return Block(1, 0, 0, 0, np.round((np.array(volts) + noise) / STEP_V).astype(np.uint16))

    for _ in range(20):
        level.take(block([0.5, 0.5, 3.2]))
        assert not level.lost
        assert not level.in_doubt
    for _ in range(20):
        level.take(block([0.5, 1.2, 3.2]))
    assert "'force right' left its zero" in level.lost
    assert "'force right'" in level.in_doubt
