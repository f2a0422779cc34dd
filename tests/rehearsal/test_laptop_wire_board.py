"""Laptop, wire and board together, as a machine of states: whatever fails, and in any order.

The firmware, the drop and the recovery are the real ones, on simulated time; see `worlds`, which
holds them to these rules after every step:

- the drive is high only while armed, once for each token, after a countdown, and not for long;
- a block that was acknowledged is on disk, whenever the program is killed;
- an event is given up only when a finished, sealed record has all of it;
- a finished record with missing blocks says so, with their number.
"""

import errno
from collections import Counter

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test
from worlds import World

import wire
from tautlog.record import RecordWriter, disk, open_record

SEEN = Counter()  # what happened in all lives
STEPS = st.sampled_from([1, 5, 30, 100, 250, 600])


class Life(RuleBasedStateMachine):
    """What may happen to a rig in a day."""

    folders = None

    def __init__(self):
        super().__init__()
        self.world = World(self.folders.mktemp("life"), seed=1)
        self.world.run(40)
        self._written = disk.write_all
        disk.write_all = self._write
        self.disk_is_full = False

    def _write(self, raw, offset, data):
        if self.disk_is_full:
            raise OSError(errno.ENOSPC, "No space left on device")
        self._written(raw, offset, data)

    idle = precondition(lambda self: not self.world.busy)
    busy = precondition(lambda self: self.world.busy)

    @idle
    @rule()
    def drops(self):
        self.world.drop()

    @idle
    @rule()
    def recovers(self):
        self.world.recover()

    @rule(steps=STEPS)
    def time_passes(self, steps):
        self.world.run(steps)

    @busy
    @rule(state=st.sampled_from(["armed", "recording", "held"]))
    def the_program_goes_on_until_the_board_is(self, state):
        while self.world.busy and self.world.state != state:
            self.world.step()

    @busy
    @rule()
    def the_program_goes_on_to_its_end(self):
        self.world.run_until_idle()

    @busy
    @rule()
    def the_program_is_killed(self):
        self.world.kill()

    @rule()
    def the_cable_is_pulled(self):
        self.world.pull_cable()

    @rule()
    def the_cable_is_plugged_in(self):
        self.world.plug_cable()

    @rule(
        loss=st.sampled_from([0.0, 0.02, 0.2]),
        damage=st.sampled_from([0.0, 0.02, 0.2]),
        twice=st.sampled_from([0.0, 0.2]),
        delay_us=st.sampled_from([0, 20_000, 300_000]),
    )
    def the_line_is_bad(self, loss, damage, twice, delay_us):
        self.world.weather(loss, damage, twice, delay_us)

    @rule()
    def the_line_is_good(self):
        self.world.weather()

    @rule(number=st.integers(0, 500))
    def an_old_frame_comes_again(self, number):
        self.world.replay(-1 - number)

    @rule()
    def the_board_is_reset(self):
        self.world.reset()

    @rule()
    def the_board_loses_power(self):
        self.world.lose_power()

    @rule(full=st.booleans())
    def the_disk_is(self, full):
        self.disk_is_full = full

    @rule(word=st.sampled_from(["key off", "key on", "hand", "fault latch-stuck", "fault none"]))
    def hands_do(self, word):
        self.world.hands(word)

    @rule()
    def the_sled_is_raised(self):
        self.world.hands("lower")
        self.world.hands("latch")

    def teardown(self):
        """Mend everything: then the board is safe again, and no event is left on it."""
        world = self.world
        self.disk_is_full = False
        try:
            self._mend(world)
        finally:
            disk.write_all = self._written
        for name in ("drives", "drops", "kills", "resets", "forgotten", "holey"):
            SEEN[name] += getattr(world, name)

    def _mend(self, world):
        world.weather()
        world.run_until_idle()
        for _ in range(4):
            world.plug_cable()
            world.run(1000)  # 3.2 s of silence
            if world.state != "held":
                break
            world.recover()
            world.run_until_idle()
        assert world.state == "safe"
        world.check_records()


def live(folders, examples, steps, **more):
    Life.folders = folders
    run_state_machine_as_test(
        Life,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            derandomize=True,
            **more,
        ),
    )


def test_whatever_fails(tmp_path_factory):
    live(tmp_path_factory, 6, 14)


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_whatever_fails_for_long(tmp_path_factory):
    live(tmp_path_factory, 600, 40)


@pytest.fixture
def world(tmp_path):
    (tmp_path / "life").mkdir()
    return World(tmp_path / "life", seed=1)


def status(world):
    return [open_record(path).status for path in sorted(world.folder.glob("*.h5"))]


def test_what_happens_includes_whole_drops(world):
    """The rules above would hold of a rig on which nothing ever happens."""
    world.run(40)
    world.drop()
    world.run_until_idle()
    assert (world.state, world.drives, world.drops, world.forgotten) == ("safe", 1, 1, 1)
    assert status(world) == ["complete"]


def recording(world):
    world.run(40)
    world.drop()
    while world.state != "recording":
        world.step()
    world.run(40)


def test_a_drop_goes_on_after_a_reset_of_the_board(world):
    """The board holds what its memory kept; the program asks for it, and has it whole."""
    recording(world)
    world.reset()
    assert world.state == "held"
    world.run_until_idle()
    assert world.laptop.problem is None, world.laptop.problem
    assert (world.state, world.forgotten) == ("safe", 1)
    assert status(world) == ["complete"]


@pytest.mark.parametrize("end", ["kill", "pull_cable"])
def test_what_happens_includes_recoveries(world, end):
    recording(world)
    getattr(world, end)()
    world.plug_cable()
    world.run_until_idle()
    world.run(1200)
    assert world.state == "held"
    world.recover()
    world.run_until_idle()
    assert world.laptop.problem is None, world.laptop.problem
    assert (world.state, world.forgotten) == ("safe", 1)
    assert status(world) == ["recovered"]


def test_an_event_that_was_copied_survives_a_loss_of_power(world):
    recording(world)
    world.kill()
    world.run(3000)
    world.lose_power()
    assert world.state == "held"
    world.recover()
    world.run_until_idle()
    assert status(world) == ["recovered"]


# The rules can be broken


def test_blocks_that_were_acknowledged_and_not_stored_are_found(world, monkeypatch):
    monkeypatch.setattr(RecordWriter, "commit", lambda self: self.next_block)
    recording(world)
    with pytest.raises(AssertionError, match="acknowledged blocks are not on disk"):
        world.kill()


def test_an_event_that_is_given_up_too_early_is_found(world):
    recording(world)
    world.kill()
    world.run(1200)
    assert world.state == "held"
    world.to_board.put(wire.frame(wire.ASK, 9, b'{"do": "discard"}'), world.now_us)
    with pytest.raises(AssertionError, match="given up"):
        world.run(10)


@pytest.mark.parametrize("state", ["safe", "armed"])
def test_a_drive_that_rises_unasked_is_found(world, state):
    world.run(40)
    world.drop()
    while world.state != state:
        world.step()
    world.board.drive_log.append((world.now_us, 1))
    with pytest.raises(AssertionError, match=r"not armed|unasked"):
        world.step()
