"""Every block once, in order, and word of it only when it is on disk."""

import tracemalloc

import h5py
import numpy as np
import pytest
from fakes.link import PER_BLOCK, FrameLink, block_body

from tautlog.board.receiver import HEARTBEAT_LATEST_S, Receiver
from tautlog.board.session import Session
from tautlog.model.calibration import Calibration
from tautlog.model.trace import DropSetup
from tautlog.record import RecordWriter, open_record


class Memory:
    """A store that only counts, and knows what was committed."""

    def __init__(self):
        self.taken, self.events, self.committed = [], [], 0

    def append(self, block):
        self.taken.append(block.number)

    def add_event(self, event):
        self.events.append(event)

    def commit(self):
        self.committed = self.taken[-1] + 1 if self.taken else 0


def receiving(link, store, first=0):
    session = Session(link, clock=link.clock)
    session.greet()
    return Receiver(session, store, first)


def run_until(receiver, blocks, steps=20_000):
    for _ in range(steps):
        receiver.step()
        if receiver.expected >= blocks:
            return
    raise AssertionError(f"only {receiver.expected} of {blocks} blocks came")


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("damage", "drop"), [(0.0, 0.0), (0.05, 0.0), (0.0, 0.05), (0.1, 0.1)])
def test_every_block_comes_once_and_in_order(damage, drop, seed):
    link = FrameLink(seed=seed, damage=damage, drop=drop)
    # The line gets bad once the greeting is through.
    link.damage = link.drop = 0.0
    store = Memory()
    receiver = receiving(link, store)
    link.damage, link.drop = damage, drop
    link.limit = 300
    run_until(receiver, 300)
    assert store.taken == list(range(300))
    assert receiver.missing_blocks == 0


def test_no_word_before_it_is_on_disk():
    link = FrameLink(damage=0.02, drop=0.02, seed=3)
    link.damage = link.drop = 0.0
    store = Memory()
    receiver = receiving(link, store)
    seen = []
    link.on_ack = lambda number: seen.append((number, store.committed))
    link.limit = 200
    run_until(receiver, 200)
    receiver.commit()
    assert all(number <= committed for number, committed in seen)
    assert seen[-1][0] == 200


def test_what_is_acknowledged_stands_in_the_file(tmp_path):
    """Read with a fresh handle at the moment the word goes out."""
    link = FrameLink(short=0.8)
    session = Session(link, clock=link.clock)
    instrument = session.greet()
    path = tmp_path / "drop.h5"
    writer = RecordWriter.create(
        path, setup=DropSetup(), calibration=Calibration(), instrument=instrument
    )
    receiver = Receiver(session, writer, 0)
    checked = []

    def check(number):
        copy = tmp_path / "copy.h5"
        for suffix in ("", ".journal"):
            source = path.with_name(path.name + suffix)
            target = copy.with_name(copy.name + suffix)
            target.unlink(missing_ok=True)
            if source.exists():
                target.write_bytes(source.read_bytes())
        with open_record(copy) as record:
            assert record.block_table.size >= number
        checked.append(number)

    link.on_ack = check
    link.limit = 60
    run_until(receiver, 60)
    receiver.commit()
    writer.finish()
    assert checked[-1] == 60
    with h5py.File(path) as file:
        seen = file["trace/counts"][:, 0]
    wanted = np.frombuffer(b"".join(block_body(n) for n in range(60)), "<u2")
    np.testing.assert_array_equal(seen, wanted)


def test_the_board_is_never_left_to_fill_its_memory():
    link = FrameLink()
    receiver = receiving(link, Memory())
    link.limit = 500
    for _ in range(3000):
        receiver.step()
        assert link.head - link.acked <= link.window
        if receiver.expected == 500:
            break
    receiver.commit()
    assert link.acked == 500


def test_the_heart_beats_while_nothing_comes():
    link = FrameLink()
    link.limit = 0
    receiver = receiving(link, Memory())
    link.acks.clear()
    start_s = link.now_s
    while link.now_s < start_s + 10.0:
        receiver.step()
    assert len(link.acks) >= 10.0 / HEARTBEAT_LATEST_S


def test_blocks_that_the_board_no_longer_has_are_a_gap():
    link = FrameLink()
    link.limit = 100
    link.head = link.oldest = link.unsent = link.acked = 40
    store = Memory()
    receiver = receiving(link, store, first=10)
    run_until(receiver, 100)
    assert store.taken == list(range(40, 100))
    assert receiver.missing_blocks == 30


def test_a_store_that_fails_gets_no_word():
    link = FrameLink()
    store = Memory()
    receiver = receiving(link, store)
    store.commit = lambda: (_ for _ in ()).throw(OSError("disk full"))
    link.acks.clear()
    with pytest.raises(OSError, match="disk full"):
        run_until(receiver, 100)
    assert all(number == 0 for number in link.acks)


@pytest.mark.wide
def test_memory_is_flat_in_the_length_of_the_capture(tmp_path):
    def peak_bytes(blocks):
        link = FrameLink(short=0.0)
        session = Session(link, clock=link.clock)
        writer = RecordWriter.create(
            tmp_path / f"{blocks}.h5",
            setup=DropSetup(),
            calibration=Calibration(),
            instrument=session.greet(),
        )
        receiver = Receiver(session, writer, 0)
        link.limit = blocks
        link.acks = type("Nothing", (list,), {"append": lambda self, one: None})()
        tracemalloc.start()
        run_until(receiver, blocks)
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        writer.finish()
        return peak

    # From where all that is taken once was taken; the file's index goes on by its logarithm.
    short, long = peak_bytes(2000), peak_bytes(8000)
    assert long - short < 6000 * PER_BLOCK * 2 // 2  # less than half of what came in
