"""An event in its file: whole or not at all, and held again at power-up."""

import threading

import pytest
from fakes.board import Bench, content
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import SPEED, drop, plan_for, played

import keepsake
import wire
from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.drop.recovery import recover
from tautlog.errors import LinkError
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess


def held(path, **changes):
    """A board that holds an event and has copied it to its file."""
    bench = Bench(EVENT_FILE=str(path), **changes)
    bench.run(6)
    bench.release(bench.arm())
    bench.laptop_alive = False
    bench.run(6000)
    assert bench.state == wire.HELD
    return bench


def test_an_event_that_nobody_fetches_survives_a_loss_of_power(tmp_path):
    path = tmp_path / "event.bin"
    before = held(path)
    ring = before.instrument.history
    after = Bench(EVENT_FILE=str(path))
    assert after.state == wire.HELD
    assert after.instrument.states.reason == before.instrument.states.reason
    answer = after.ask("fetch", **{"from": 0})
    assert answer["kept"] == "flash"
    assert (answer["oldest"], answer["head"]) == (ring.oldest, ring.head)
    assert answer["release"] == before.instrument._release_block
    for _ in range(30):
        after.instrument.step()
    assert [number for number, _ in after.blocks()] == list(range(ring.oldest, ring.head))
    assert all(body == content(number) for number, body in after.blocks())
    names = [one[0] for one in after.events()]
    assert names == ["armed", "release-driven", "flash", "release-opened", "recording-ended"]
    assert after.ask("discard")["ok"]
    assert not path.exists()
    assert Bench(EVENT_FILE=str(path)).state == wire.SAFE


def test_a_board_that_was_asked_does_not_copy(tmp_path):
    path = tmp_path / "event.bin"
    bench = Bench(EVENT_FILE=str(path))
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(400)  # the laptop goes on saying that it lives
    assert bench.state == wire.HELD
    assert not list(tmp_path.iterdir())


def test_nothing_is_written_while_anything_is_at_stake(tmp_path):
    bench = Bench(EVENT_FILE=str(tmp_path / "event.bin"), COPY_AFTER_S=0)
    bench.release(bench.arm())
    bench.run(400)
    assert bench.state == wire.RECORDING
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("share", [0.0, 0.01, 0.5, 0.99])
def test_a_file_cut_short_is_none(tmp_path, share):
    path = tmp_path / "event.bin"
    held(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    assert Bench(EVENT_FILE=str(path)).state == wire.SAFE


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_one_wrong_bit_anywhere_is_seen(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("any") / "event.bin"
    memory = memoryview(bytearray(range(256)) * 40)
    page = memory[: keepsake.PAGE_BYTES]
    page[:8] = keepsake.MAGIC
    page[8] = wire.HELD
    keepsake.seal_rescued(memory)
    for _ in keepsake.write_pieces(str(path), memory):
        pass
    assert keepsake.read_file(str(path), memoryview(bytearray(len(memory))))
    damaged = bytearray(path.read_bytes())
    damaged[data.draw(st.integers(0, len(damaged) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    path.write_bytes(damaged)
    assert not keepsake.read_file(str(path), memoryview(bytearray(len(memory))))


def test_interrupted_copying_leaves_no_file(tmp_path):
    path = tmp_path / "event.bin"
    pieces = keepsake.write_pieces(str(path), memoryview(bytearray(20_000)))
    next(pieces)
    next(pieces)
    pieces.close()
    assert not path.exists()


def test_a_reset_in_the_midst_of_a_recording(tmp_path):
    """The memory is spared, the processor begins anew: what hardware/ does at power-up."""
    path = tmp_path / "event.bin"
    bench = Bench()
    bench.run(40)
    bench.release(bench.arm())
    bench.run(5, acknowledge=False)
    ring = bench.instrument.history
    memory = bench.instrument.keepsake._memory
    assert keepsake.page_state(memory) == wire.RECORDING
    keepsake.seal_rescued(memory)
    for _ in keepsake.write_pieces(str(path), memory):
        pass
    after = Bench(EVENT_FILE=str(path))
    assert after.state == wire.HELD
    assert after.instrument.states.reason == wire.RESTARTED
    answer = after.ask("fetch", **{"from": 0})
    assert answer["kept"] == "reset"
    assert answer["head"] == ring.head
    assert answer["oldest"] <= bench.instrument._release_block - 2
    told = [one[0] for one in after.events()]
    assert "release-opened" in told
    assert told[-1] == "recording-ended"  # what `recover` waits for


@pytest.mark.parametrize("state", ["safe", "armed"])
def test_a_reset_without_an_event_leaves_none(state):
    bench = Bench()
    bench.run(8)
    if state == "armed":
        bench.arm()
    assert keepsake.page_state(bench.instrument.keepsake._memory) in (-1, wire.SAFE, wire.ARMED)


def test_blocks_of_an_earlier_event_are_not_mixed_in(tmp_path):
    path = tmp_path / "event.bin"
    bench = Bench(EVENT_FILE=str(path))
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(40)
    bench.ask("discard")
    first_of_new = bench.instrument.history.head
    bench.board.move(wire.INPUT_LATCHED, True)
    bench.run(8)
    bench.release(bench.arm())
    bench.laptop_alive = False
    bench.run(6000)
    after = Bench(EVENT_FILE=str(path))
    assert after.instrument.history.oldest >= first_of_new


def test_a_rehearsed_board_that_loses_power(tmp_path, micropython):
    """Cable out, event copied, process killed; a new process has it all."""
    rig = played("cable-pulled")
    plan = plan_for(rig, tmp_path / "drop.h5")
    changes = {"EVENT_FILE": str(tmp_path / "event.bin"), "COPY_AFTER_S": 3}
    with BoardProcess(rig, speed=SPEED, serial="p", changes=changes) as board:
        with pytest.raises(LinkError):
            drop(board, plan)
        for _ in range(100):
            if (tmp_path / "event.bin").exists():
                break
            threading.Event().wait(0.2)
    again = BoardProcess(played(None), speed=SPEED, serial="p", changes=changes)
    with again as board, SerialLink(board.url) as link:
        outcome = recover(Session(link), plan.path)
    assert outcome.kept == "flash"
    assert outcome.missing_blocks == 0
    marks = told_of(assess(open_record(plan.path), cfc=180))
    assert marks["load_verdict"] == "on-target"
    assert not (tmp_path / "event.bin").exists()
