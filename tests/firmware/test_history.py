"""The ring of blocks against a model that keeps every block."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wire
from history import History

SLOTS = 6


def test_blocks_lie_where_they_should():
    ring = History(4, 8, 16)
    for number in range(11):
        slot = ring.claim()
        assert slot == number % 4
        wire.put_values(ring.frames[slot], bytes([number]) * 16, 16)
        ring.commit(number, 0, 0, 0, 0)
    assert (ring.oldest, ring.head) == (7, 11)
    assert [ring.frames[n % 4][wire.SAMPLES_AT] for n in range(7, 11)] == [7, 8, 9, 10]


class Model:
    """What must be true, kept with no ring at all."""

    def __init__(self):
        self.ring = History(SLOTS, 2, 16)
        self.guard_from = None
        self.stopped = False

    def sample(self):
        ring = self.ring
        held_before = set(range(ring.oldest, ring.head))
        slot = ring.claim()
        kept = set(range(ring.oldest, ring.head))
        if self.guard_from is not None:
            precious = {n for n in held_before if n >= max(self.guard_from, ring.acked)}
            assert precious <= kept, "a guarded block that is not on disk was given up"
        if slot < 0:
            assert self.guard_from is not None or ring.frozen
            self.stopped = True
            return
        assert not self.stopped, "a block after one that was missed would lie about its time"
        assert slot == ring.head % SLOTS
        ring.commit(0, 0, 0, 0, 0)
        assert ring.head - ring.oldest <= SLOTS

    def guard(self, back):
        if self.guard_from is None:
            self.guard_from = max(self.ring.head - back, self.ring.oldest)
            self.ring.guard(self.ring.head - back)

    def acknowledge(self, number):
        before = self.ring.acked
        self.ring.acknowledge(number)
        assert before <= self.ring.acked <= self.ring.head

    def send(self):
        ring = self.ring
        number = ring.next_to_send()
        assert number == -1 or ring.oldest <= number < ring.head
        if number >= 0:
            ring.unsent = number + 1

    def rewind(self, number):
        self.ring.rewind(number)
        assert self.ring.unsent <= self.ring.head

    def roll(self):
        self.ring.roll()
        self.guard_from, self.stopped = None, False
        assert self.ring.oldest == self.ring.head == self.ring.unsent == self.ring.acked


STEPS = st.one_of(
    st.tuples(st.just("sample")),
    st.tuples(st.just("send")),
    st.tuples(st.just("roll")),
    st.tuples(st.just("guard"), st.integers(0, 9)),
    st.tuples(st.just("acknowledge"), st.integers(0, 60)),
    st.tuples(st.just("rewind"), st.integers(0, 60)),
)


@settings(max_examples=300)
@given(st.lists(STEPS, max_size=60))
def test_nothing_precious_is_ever_overwritten(steps):
    model = Model()
    for name, *values in steps:
        getattr(model, name)(*values)


def test_guard_freezes_when_the_laptop_stores_nothing():
    model = Model()
    for _ in range(10):
        model.sample()
    model.guard(2)
    for _ in range(20):
        model.sample()
    assert model.ring.frozen
    assert (model.ring.oldest, model.ring.head) == (8, 14)


def test_acknowledged_blocks_make_room():
    ring = History(SLOTS, 2, 16)
    ring.guard(0)
    for number in range(50):
        assert ring.claim() >= 0
        ring.commit(0, 0, 0, 0, 0)
        ring.acknowledge(number)
    assert not ring.frozen


@pytest.mark.parametrize("number", [-5, 3, 10_000])
def test_wrong_acknowledgements_change_nothing(number):
    ring = History(SLOTS, 2, 16)
    for _ in range(5):
        ring.claim()
        ring.commit(0, 0, 0, 0, 0)
    ring.acknowledge(4)
    ring.acknowledge(number)
    assert ring.acked == 4


def test_range_of_the_last_blocks():
    ring = History(SLOTS, 2, 16)
    for low in range(10):
        ring.claim()
        ring.commit(0, 0, 0, low, low + 100)
    assert ring.span_of(7, 10) == (7, 109)
    assert ring.span_of(-89, 10) == (4, 109)


@pytest.mark.parametrize("bits", [12, 16])
@pytest.mark.parametrize("channels", [1, 3])
def test_mean_of_the_first_channel(channels, bits):
    """Numpy's mean beside it; the other channels are not in it."""
    values = 384
    ring = History(SLOTS, values, bits)
    source = np.random.default_rng(3)
    seen = []
    for _ in range(9):
        samples = source.integers(2000, 4000, values, dtype=np.uint16)
        samples[1::channels] = 0 if channels > 1 else samples[1::channels]
        wire.put_values(ring.frames[ring.claim()], samples.tobytes(), bits)
        ring.commit(0, 0, 0, 0, 0)
        seen.append(samples[::channels])
    mean = np.concatenate(seen[-3:]).mean()
    spread = 2000 / np.sqrt(12) / np.sqrt(3 * 64)  # of so many values taken at random
    assert abs(ring.mean_of(6, 9, channels) - mean) < 4 * spread


def test_lost_conversions_are_counted():
    ring = History(SLOTS, 2, 16)
    for lost in (0, 3, 4):
        ring.claim()
        ring.commit(0, 1, lost, 0, 0)
    assert ring.lost_total == 7
