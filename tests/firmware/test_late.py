"""The main loop comes late: levels read twice, stalled steps, clocks that come round."""

import pytest
from fakes.board import BLOCK_US, QUIET, Bench, Config
from hypothesis import example, given, settings
from hypothesis import strategies as st

import ages
import events
import release
import wire
from force import ForceTrigger
from history import MOST_LOST, History

DRIVE = wire.OUTPUT_DRIVE
LATCHED, KEY = wire.INPUT_LATCHED, wire.INPUT_KEY_ON
MINUTE_US = 60_000_000
REAL = {"RELEASE_CONFIRM_MS": 20, "RELEASE_BOUNCE_MS": 3}  # of the firmware's own config


def names(bench):
    return [one[0] for one in bench.events()]


def highs(bench):
    return [at_us for at_us, level in bench.board.drive_log if level]


def told(bench):
    """What the switch did, by the events: sample, and open or closed."""
    edges = {"release-opened": 1, "knock": 1}
    return sorted(
        (block * Config.SAMPLES_PER_BLOCK + offset, edges.get(name, value))
        for name, value, block, offset, _ in bench.events()
        if name in ("release-opened", "knock", "release-edge")
    )


def sample(bench):
    return bench.board.now_us // 16


# A level that is read before, or after, the edges that belong to it


@pytest.mark.parametrize("by", ["drive", "hand"])
@pytest.mark.parametrize("after", ["inputs", "edges", "link"])
def test_a_bounce_at_the_very_end_of_the_confirmation(by, after):
    """The level was read closed, the switch is open: it was released, not knocked."""
    bench = Bench(RELEASE_WAIT_MS=100)
    token = bench.arm(by)
    if by == "drive":
        bench.send(wire.RELEASE, token)
        bench.run(2)
    board = bench.board
    first = sample(bench)
    board.move(LATCHED, False)
    bench.run(7)
    board.now_us += 180
    board.move(LATCHED, True)
    board.now_us += 30  # the confirmation has just passed
    board.meanwhile(after, lambda: board.move(LATCHED, False))
    bench.acknowledge()
    bench.instrument.step()
    bench.run(20)
    assert bench.state == wire.RECORDING
    assert [sample for sample, _ in told(bench)][:1] == [first]
    assert "release-opened" in names(bench)
    assert "knock" not in names(bench)


@pytest.mark.parametrize("after", ["edges", "inputs", "link", "output"])
@pytest.mark.parametrize("asked", ["with it", "later"])
def test_a_key_that_was_off_for_a_moment_lets_nothing_go(after, asked):
    """Off and on again within one stalled step: safe, and no later pulse."""
    bench = Bench()
    token = bench.arm()
    board = bench.board

    def turn():
        board.move(KEY, False)
        board.pass_us(300)
        board.move(KEY, True)

    if asked == "with it":
        bench.send(wire.RELEASE, token)
    board.meanwhile(after, turn)
    bench.acknowledge()
    bench.instrument.step()
    bench.send(wire.RELEASE, token)
    bench.run(5)
    assert bench.state == wire.SAFE
    assert bench.instrument.states.reason == wire.KEY_OFF
    up = highs(bench)
    down = [at_us for at_us, level in board.drive_log if not level]
    assert len(up) <= (after == "output" and asked == "with it")
    assert len(down) == len(up)


def test_a_key_that_the_edges_alone_tell_of():
    """The other witness of the key: an edge that was stamped, whatever the latch says."""
    bench = Bench()
    token = bench.arm()
    bench.board._edges.append((KEY, 0, bench.board.now_us))
    bench.board._edges.append((KEY, 1, bench.board.now_us))
    bench.send(wire.RELEASE, token)
    bench.run(5)
    assert bench.state == wire.SAFE
    assert highs(bench) == []


def test_a_release_that_lay_waiting_for_longer_than_silence_is_not_obeyed():
    bench = Bench()
    token = bench.arm()
    bench.acknowledge()
    bench.send(wire.RELEASE, token)
    bench.board.pass_us(Config.LAPTOP_SILENCE_MS * 1000 + 5000)  # the main loop is held up
    bench.acknowledge()
    bench.instrument.step()
    bench.run(3)
    assert highs(bench) == []
    assert bench.instrument.states.reason == wire.LAPTOP_SILENT


def test_every_block_of_a_stalled_step_is_judged():
    bench = Bench()
    bench.arm()
    bench.board.level = 0
    bench.board.pass_blocks(1)
    bench.board.level = QUIET
    bench.board.pass_blocks(3)
    bench.acknowledge()
    bench.instrument.step()
    assert bench.state == wire.SAFE
    assert bench.instrument.states.reason == wire.SIGNAL_CLIPPED


def test_a_pull_that_came_and_went_in_a_stalled_step_is_seen():
    bench = Bench()
    bench.arm(by="hand")
    bench.board.level = QUIET + 400 * 8
    bench.board.pass_blocks(2)
    bench.board.level = QUIET
    bench.board.pass_blocks(5)
    bench.instrument.step()
    assert bench.state == wire.RECORDING


def test_one_loud_block_is_not_seen_twice():
    """The interrupt commits a block between two looks at the head."""

    class Moving:
        slots, highs = 8, [0, 9, 0, 0, 0, 0, 0, 0]

    trigger = ForceTrigger(Moving, 5)
    trigger.begin(0, 0)
    assert [trigger.look(head) for head in (2, 2, 3, 4)] == [-1, -1, -1, -1]


def test_no_pulse_into_an_open_switch():
    bench = Bench()
    token = bench.arm()
    bench.board.move(LATCHED, False)
    bench.send(wire.RELEASE, token)
    bench.run(2)
    assert highs(bench) == []


def test_an_opening_that_no_edge_told_of_is_recorded():
    bench = Bench()
    bench.arm(by="hand")
    bench.board.closed &= ~LATCHED  # the level alone
    bench.run(40)
    assert bench.state == wire.RECORDING
    assert "edges-lost" in names(bench)


def test_an_abort_while_the_switch_opens_keeps_the_drop():
    bench = Bench(**REAL)
    bench.arm(by="hand")
    bench.board.move(LATCHED, False)
    bench.run(2)
    bench.send(wire.ABORT)
    bench.run(1)
    assert bench.board.outputs & DRIVE == 0
    bench.run(120)
    assert bench.instrument.states.reason == wire.ABORTED
    assert "release-opened" in names(bench)


# Knocks and bounces, told from stamps


@pytest.mark.parametrize("stalled", [False, True], ids=["steps", "one stalled step"])
def test_the_spike_of_a_coil_is_not_the_release(stalled):
    """100 us open at energising; the latch lets go 12 ms later."""
    bench = Bench(**REAL, RELEASE_WAIT_MS=200)
    bench.send(wire.RELEASE, bench.arm())
    bench.run(2)
    board = bench.board
    pass_us = board.pass_us if stalled else lambda us: bench.run(us // BLOCK_US)
    wanted = []
    for closed, after_us in ((0, 100), (1, 12_000), (0, 512), (1, 512), (0, 6_000)):
        wanted.append((sample(bench), 1 - closed))
        board.move(LATCHED, closed)
        board.now_us += after_us % BLOCK_US
        pass_us(after_us)
    bench.acknowledge()
    bench.run(90)
    assert bench.state == wire.RECORDING
    assert told(bench) == wanted
    found = {name: (block, offset) for name, _, block, offset, _ in bench.events()}
    first, spike = wanted[2][0], wanted[0][0]
    assert found["release-opened"] == divmod(first, Config.SAMPLES_PER_BLOCK)
    assert found["knock"] == divmod(spike, Config.SAMPLES_PER_BLOCK)


@pytest.mark.parametrize("stalled", [False, True], ids=["steps", "one stalled step"])
def test_the_first_of_eight_bounces_is_the_release(stalled):
    """Eight times closed within 12 ms, for up to two milliseconds."""
    bench = Bench(**REAL)
    bench.arm(by="hand")
    board = bench.board
    pass_us = board.pass_us if stalled else lambda us: bench.run(us // BLOCK_US)
    first = sample(bench)
    board.move(LATCHED, False)
    for number in range(8):
        pass_us(512)
        board.move(LATCHED, True)
        pass_us(2048 if number in (2, 5) else 512)
        board.move(LATCHED, False)
    bench.run(90)
    assert bench.state == wire.RECORDING
    assert told(bench)[0] == (first, 1)
    assert len(told(bench)) == 17
    assert "knock" not in names(bench)


def test_every_edge_of_many_knocks_is_in_the_record():
    bench = Bench(**REAL)
    bench.arm(by="hand")
    wanted = []
    for _ in range(5):
        for closed, blocks in ((0, 2), (1, 40)):
            wanted.append((sample(bench), 1 - closed))
            bench.board.move(LATCHED, closed)
            bench.run(blocks)
    assert bench.state == wire.ARMED
    assert told(bench) == wanted
    assert names(bench).count("knock") == 5


def test_edges_that_find_no_place_are_told():
    bench = Bench()
    bench.release(bench.arm())
    for _ in range(100):
        bench.board.move(LATCHED, True)
        bench.board.move(LATCHED, False)
    bench.send(wire.FINISH)
    bench.run(40)
    kept = names(bench).count("release-edge")
    assert kept == events.CAPACITY - events.ROOM_FOR_OTHERS - 4  # armed, driven, flash, opened
    assert ("edges-lost", 200 - kept) in [one[:2] for one in bench.events()]


def test_edges_that_the_hardware_lost_are_told():
    bench = Bench()
    bench.arm(by="hand")
    bench.board.move(LATCHED, False)
    bench.board.edges_lost = 7
    bench.run(20)
    assert ("edges-lost", 7) in [one[:2] for one in bench.events()]


# (microseconds, opens) of any contact that ends open or closed for long
MOVES = st.lists(st.integers(20, 9000), min_size=1, max_size=20)


@settings(max_examples=200)
@given(MOVES, st.lists(st.integers(1, 12), min_size=1, max_size=8), st.integers(0, 2**30 - 1))
@example([20, 20, 7960, 3000, 9000, 20], [1], 0)  # closes as it is confirmed
@example([9000, 20, 9000, 20, 9000, 20], [9, 12, 12], 0)  # opened and closed while the loop slept
def test_the_release_is_told_alike_however_late_the_loop_comes(spans, steps, start_us):
    """The reference reads the list of edges as a whole; the firmware step by step, anyhow."""
    config = type("C", (Config,), {**REAL, "RELEASE_WAIT_MS": 60_000})
    one = release.Release(config)
    one.arm(True, b"12345678")
    at_us, edges = start_us, []
    for number, span_us in enumerate(spans):
        edges.append((at_us, number % 2 == 0))
        at_us += span_us
    seen, place, now_us, turn = [], 0, start_us, 0
    while now_us < at_us + 300_000 and "opened" not in [name for name, _ in seen]:
        now_us += 1000 * steps[turn % len(steps)]
        turn += 1
        while place < len(edges) and edges[place][0] <= now_us:
            edge_us, opens = edges[place]
            if one.edge(opens, 0, 0, edge_us % 2**30) == release.KNOCK:
                seen.append(("knock", one.knock_us))
            place += 1
        level = edges[place - 1][1] if place else False
        said = one.watch(level, now_us % 2**30)
        if said == release.KNOCK:
            seen.append(("knock", one.knock_us))
        elif said == release.OPENED:
            seen.append(("opened", one.stamp_us))
    assert seen == reference(edges, 3000, 20_000)


def reference(edges, bounce_us, confirm_us):
    """Openings of one burst belong together; the first burst that stays open is the release."""
    told, first = [], None
    for place, (at_us, opens) in enumerate(edges):
        last = place + 1 == len(edges)
        lasts_us = 10**9 if last else edges[place + 1][0] - at_us
        if opens:
            first = at_us if first is None else first
            if at_us + lasts_us >= first + confirm_us and lasts_us > bounce_us:
                return [*told, ("opened", first % 2**30)]
        elif lasts_us > bounce_us:
            told.append(("knock", first % 2**30))
            first = None
    return told


# Clocks that come round


def idle(bench, span_us, step_us=2_000_000):
    """Nothing happens for so long, and the main loop goes round."""
    end_us = bench.board.now_us + span_us
    while bench.board.now_us < end_us:
        bench.board.now_us += min(step_us, end_us - bench.board.now_us)
        bench.instrument.step()


def stream_comes(bench):
    """Whether status frames come at their rate once the laptop asks for a stream."""
    bench.run(8)
    bench.ask("stream", on=True)
    bench.read()
    bench.messages.clear()
    bench.run(1 + 5 * Config.STATUS_INTERVAL_MS * 1000 // BLOCK_US)
    bench.read()
    return 4 <= sum(kind == wire.STATUS for kind, _ in bench.messages) <= 6


@pytest.mark.parametrize("minutes", [1, 8, 9, 10, 13, 17, 18, 20, 27, 30])
def test_status_comes_however_long_the_board_was_idle(minutes):
    bench = Bench()
    idle(bench, minutes * MINUTE_US)
    assert stream_comes(bench)


@settings(max_examples=25)
@given(
    st.integers(0, 2**30 - 1),
    st.lists(st.integers(0, 3 * 2**29), min_size=1, max_size=3),
    st.integers(20_000, 30_000_000),
)
def test_no_age_errs_whatever_the_clock_reads(start_us, spans, step_us):
    """Idle for up to half an hour at a time, and steps that take up to half a minute."""
    bench = Bench(start_us=start_us)
    bench.run(8)
    bench.ask("shunt", on=True)
    assert bench.board.outputs & wire.OUTPUT_SHUNT
    for span_us in spans:
        idle(bench, span_us + 250_000, max(step_us, span_us // 200))
        assert not bench.board.outputs & wire.OUTPUT_SHUNT
        answer = bench.ask("arm", by="drive")  # the converter stands still
        assert answer["reasons"] == [wire.NOT_SAMPLING]
        assert stream_comes(bench)
    bench.release(bench.arm())


@pytest.mark.parametrize("minutes", [1, 9, 12, 17, 26])
def test_a_held_event_is_copied_however_long_nobody_asked(minutes):
    """The file is begun again and again, and never left half written."""
    bench = Bench(COPY_AFTER_S=1)
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(30)
    assert bench.state == wire.HELD
    saved = []
    bench.instrument.keepsake.save_step = lambda: saved.append(bench.board.now_us)
    idle(bench, minutes * MINUTE_US)
    assert bench.board.now_us - saved[-1] <= 2_000_000


def test_an_age_is_right_up_to_its_cap():
    for start_us in (0, 2**29 - 5, 2**30 - 5):
        age = ages.Age(start_us)
        for spent_us in range(0, 2**31, 2**24 - 3):
            seen_us = age.look((start_us + spent_us) % 2**30)
            assert seen_us == min(spent_us, ages.LONGEST_US)


def test_counters_do_not_outgrow_the_board():
    """A count above 2**30 would be allocated, in an interrupt at that."""
    ring = History(4, 4, 16)
    ring.lost_total = MOST_LOST - 5
    ring.claim()
    ring.commit(0, 0, 9, 0, 0)
    assert ring.lost_total == MOST_LOST < 2**30


def test_events_are_numbered_round_and_round():
    bench = Bench()
    bench.instrument.events.first = bench.instrument.events.unsent = 2 * 65_536 - 2
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(30)
    assert [one[4] for one in bench.events()] == [65_534, 65_535, 0, 1, 2]
