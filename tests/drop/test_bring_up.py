"""The bring-up on a rehearsed board: the real firmware, every wire opened and shorted."""

from dataclasses import replace

import pytest
from benches import (
    SPEED,
    campaign_at,
    identity,
    is_found_in_its_step,
    restore,
    rig,
    session_of,
    tried,
)

from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.campaign.bring_ups import add_step, proving_of
from tautlog.errors import AbortedError, LinkError
from tautlog.firmware import wire
from tautlog.model.proven_wiring import AS_EXPECTED, NOT_AS_EXPECTED, NOT_DONE, unproven
from tautlog.model.wire_faults import LIGHTS
from tautlog.rehearsal.bench import Bench
from tautlog.rehearsal.bench_hands import BenchHands
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.scene import default_scene


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A board that greeted, its rig, and a campaign."""
    folder = tmp_path_factory.mktemp("bring-up") / "kite"
    campaign = campaign_at(folder)
    one = rig()
    with BoardProcess(one, speed=SPEED) as board, SerialLink(board.url) as link:
        session = Session(link, timeout_scale=3.0)
        session.greet()
        yield session, one.bench, campaign


@pytest.fixture
def whole(bench):
    yield
    restore(bench)


@pytest.mark.wide
def test_every_wire_as_it_must_be_and_the_drop_is_permitted(bench, whole):
    session, _, campaign = bench
    one = session_of(bench, keep=lambda done: add_step(campaign.folder, done))
    done = list(one.run(one.steps))
    assert [(step.step, step.why) for step in done if step.result != AS_EXPECTED] == []
    assert len(done) == len(one.steps) == len({step.step for step in done})
    proving = proving_of(campaign, session.instrument)
    assert unproven(proving) == ""
    assert all(step.rehearsed for step in proving.done)
    assert one.open_steps(proving.done) == ()
    # It counts for no real board.
    real = replace(session.instrument, board="Pico", serial="E660C062137A2B34")
    assert "was never brought up" in unproven(proving_of(campaign, real))


@pytest.mark.parametrize("fault", tried(further=False), ids=identity)
@pytest.mark.rows(7)
def test_each_line_of_the_table_is_found_in_its_step(bench, whole, fault):
    is_found_in_its_step(bench, fault)


@pytest.mark.parametrize("row", LIGHTS, ids=lambda row: row.what)
def test_the_lights_are_as_the_table_says(row):
    wanted = {
        name
        for name, lit in [
            *(("chain", row.chain), ("enable", row.enable), ("pulse", row.pulse)),
            ("coil", row.lamp),
        ]
        if lit
    }
    for fault in row.fault or (("drive", "mended"),):
        one = Bench(default_scene())
        one.do(f"fault {fault[1]} {fault[0]}")
        one.watch(wire.OUTPUT_BEAT | wire.OUTPUT_DRIVE)
        assert one.seen == wanted, fault


def test_a_coil_that_was_left_on_is_told_and_nothing_is_armed_after_it(bench, whole):
    class Forgetful(BenchHands):
        def do(self, step, phase):
            told = super().do(step, phase)
            bench[1].do("coil in")
            return told

    found = []
    one = session_of(bench, Forgetful(bench[1].do), found.append)
    with pytest.raises(AbortedError, match="the board was not armed"):
        list(one.run([one.named("drive"), one.named("drive-wire")]))
    assert found[-1].step == "drive"
    assert "THE LATCH OPENED" in found[-1].why
    assert bench[0].ask("status")["state"] == "safe"


@pytest.mark.parametrize("how", ["lost", "Ctrl-C"])
@pytest.mark.wide
def test_what_ends_while_armed_takes_an_earlier_good_result_away(bench, whole, monkeypatch, how):
    """Else the newest attempt, which came to nothing, would hide behind an older one."""
    kept = []
    one = session_of(bench, keep=kept.append)
    assert [step.result for step in one.run([one.named("lamp")])] == [AS_EXPECTED, AS_EXPECTED]

    def broken(*_):
        raise LinkError("the port is gone") if how == "lost" else KeyboardInterrupt

    monkeypatch.setattr("tautlog.drop.bring_up.try_armed", broken)
    with pytest.raises(AbortedError if how == "lost" else KeyboardInterrupt) as told:
        list(one.run([one.named("lamp")]))
    assert how != "lost" or "ARMED" in str(told.value)
    assert how != "lost" or "key off" in str(told.value)
    assert (kept[-1].step, kept[-1].result) == ("lamp", NOT_DONE)
    assert "while the board was armed" in kept[-1].why
    assert one.named("lamp") in one.open_steps(kept)


def test_without_the_phrase_nothing_is_armed_and_nothing_done(bench, whole):
    class Unsure(BenchHands):
        def coil_is_out(self, phase):
            return False

    done = []
    one = session_of(bench, Unsure(bench[1].do), done.append)
    with pytest.raises(AbortedError, match="coil was not confirmed"):
        list(one.run([one.named("lamp")]))
    assert [(step.step, step.result) for step in done] == [("coil-out", NOT_AS_EXPECTED)]
