"""The real main loop on a strict fake board: arming, releasing, keeping, refusing."""

import json

import pytest
from fakes.board import BLOCK_US, Bench, Config, content

import wire

DRIVE = wire.OUTPUT_DRIVE


def reason_names(answer):
    return {wire.REASONS[number][0] for number in answer["reasons"]}


# Arming


def test_arms_when_all_is_well():
    bench = Bench()
    token = bench.arm()
    assert bench.state == wire.ARMED
    assert len(token) == wire.TOKEN_BYTES
    assert bench.board.outputs & wire.OUTPUT_LAMP
    assert not bench.board.outputs & DRIVE


def test_heartbeat_is_renewed_in_each_step_and_only_while_armed():
    bench = Bench()
    bench.run(8)
    assert not bench.board.beats
    bench.arm()
    for _ in range(6):
        before = bench.board.beats
        bench.run(1)
        assert bench.board.beats == before + 1
    bench.board.move(wire.INPUT_KEY_ON, False)
    bench.run(3)
    assert bench.state == wire.SAFE
    assert bench.board.outputs == 0


ALONE = {
    "key-off": lambda board: board.move(wire.INPUT_KEY_ON, False),
    "not-latched": lambda board: board.move(wire.INPUT_LATCHED, False),
    "signal-clipped": lambda board: setattr(board, "level", 4 * 8),
    "signal-restless": lambda board: setattr(board, "level", 9000),
    "conversions-lost": lambda board: setattr(board, "samples_lost", 2),
}


@pytest.mark.parametrize("name", ALONE)
def test_each_doubt_alone_refuses(name):
    bench = Bench()
    bench.run(8)
    ALONE[name](bench.board)
    # Restless is a signal that has just changed; the others must be alone.
    bench.run(Config.QUIET_BLOCKS - (name == "signal-restless"))
    answer = bench.ask("arm", by="drive")
    assert not answer["ok"]
    assert reason_names(answer) == {name}
    assert bench.state == wire.SAFE


def test_all_doubts_at_once():
    bench = Bench()
    bench.run(8)
    for change in ALONE.values():
        change(bench.board)
    bench.board.level = 4095 * 8
    bench.run(1)
    names = reason_names(bench.ask("arm", by="drive"))
    assert names == {
        *("key-off", "not-latched", "signal-clipped", "signal-restless", "conversions-lost")
    }


def test_a_converter_that_stands_still_refuses():
    bench = Bench()
    assert reason_names(bench.ask("arm", by="drive")) == {"not-sampling"}
    bench.run(8)
    bench.board.now_us += 300_000
    assert reason_names(bench.ask("arm", by="drive")) == {"not-sampling"}


# Releasing


def test_release_by_drive_to_held_and_back():
    bench = Bench()
    token = bench.arm()
    bench.release(token)
    assert not bench.board.outputs & DRIVE
    bench.send(wire.FINISH)
    bench.run(30)
    assert bench.state == wire.HELD
    assert [one[0] for one in bench.events()] == [
        *("armed", "release-driven", "flash", "release-opened", "recording-ended")
    ]
    assert bench.ask("discard")["ok"]
    assert bench.state == wire.SAFE


def test_the_drive_was_high_once_and_low_as_soon_as_the_switch_had_opened():
    bench = Bench()
    bench.release(bench.arm())
    (up_us, up), (down_us, down) = bench.board.drive_log
    assert (up, down) == (DRIVE, 0)
    confirm_us = Config.RELEASE_CONFIRM_MS * 1000
    assert down_us - up_us <= 4 * BLOCK_US + confirm_us + 2 * BLOCK_US


def test_pulse_is_bounded_when_the_latch_sticks():
    bench = Bench()
    token = bench.arm()
    bench.send(wire.RELEASE, token)
    bench.run(700)
    (up_us, _), (down_us, _) = bench.board.drive_log
    assert down_us - up_us <= Config.RELEASE_PULSE_MS * 1000 + BLOCK_US
    assert bench.state == wire.SAFE
    assert ("went-safe", wire.NO_RELEASE) in [one[:2] for one in bench.events()]


def refused(bench):
    return [wire.REASONS[value][0] for name, value, *_ in bench.events() if name == "refused"]


@pytest.mark.parametrize(
    "token", [b"", b"\0" * 8, b"\1" * 7, b"\1" * 9], ids=["none", "wrong", "short", "long"]
)
def test_wrong_tokens(token):
    bench = Bench()
    assert bench.arm() == b"\1" * 8
    bench.send(wire.RELEASE, token)
    bench.run(3)
    assert bench.board.drive_log == []
    assert bench.state == wire.ARMED
    assert refused(bench) == ["wrong-token"]


def test_a_token_is_good_for_one_arming_only():
    bench = Bench()
    old = bench.arm()
    bench.send(wire.ABORT)
    bench.run(2)
    assert bench.state == wire.SAFE
    assert bench.arm() != old
    bench.send(wire.RELEASE, old)
    bench.run(3)
    assert bench.board.drive_log == []


def test_a_token_is_good_for_one_pulse_only():
    bench = Bench()
    token = bench.arm()
    bench.send(wire.RELEASE, token)
    bench.run(200)  # the pulse has ended, the wait for the switch has not
    assert not bench.board.outputs & DRIVE
    bench.send(wire.RELEASE, token)
    bench.run(3)
    assert len(bench.board.drive_log) == 2
    assert refused(bench) == ["wrong-token"]


def test_no_release_before_a_block_since_arming_is_on_disk():
    bench = Bench()
    bench.run(8)
    answer = bench.ask("arm", by="drive")
    token = bytes.fromhex(answer["token"])
    bench.acknowledge(answer["armed"])
    bench.send(wire.RELEASE, token)
    bench.run(3, acknowledge=False)
    assert bench.board.drive_log == []
    assert refused(bench) == ["not-storing"]
    bench.acknowledge(answer["armed"] + 1)
    bench.send(wire.RELEASE, token)
    bench.run(2, acknowledge=False)
    assert bench.board.outputs & DRIVE


@pytest.mark.parametrize("state", ["safe", "recording", "held"])
def test_no_release_in_any_other_state(state):
    bench = Bench()
    token = b"\1" * 8
    if state == "safe":
        bench.run(8)
        bench.ask("stream", on=True)
    else:
        bench.release(bench.arm())
    if state == "held":
        bench.send(wire.FINISH)
        bench.run(30)
    pulses = len(bench.board.drive_log)
    bench.send(wire.RELEASE, token)
    bench.run(3)
    assert wire.STATES[bench.state] == state
    assert len(bench.board.drive_log) == pulses
    assert refused(bench)[-1] == "wrong-state"


def test_hand_release_needs_no_command_and_takes_none():
    bench = Bench()
    token = bench.arm(by="hand")
    bench.send(wire.RELEASE, token)
    bench.run(3)
    assert refused(bench) == ["by-hand"]
    assert bench.board.drive_log == []
    bench.board.move(wire.INPUT_LATCHED, False)
    bench.run(12)
    assert bench.state == wire.RECORDING


def test_the_first_edge_is_the_release_and_bounces_are_noted():
    bench = Bench()
    bench.arm(by="hand")
    bench.board.now_us += 96  # six samples into a block
    first = divmod(bench.board.now_us // 16, Config.SAMPLES_PER_BLOCK)
    bench.board.move(wire.INPUT_LATCHED, False)
    for _ in range(3):
        bench.board.now_us += 32
        bench.board.move(wire.INPUT_LATCHED, True)
        bench.board.now_us += 32
        bench.board.move(wire.INPUT_LATCHED, False)
    bench.run(12)
    events = bench.events()
    assert bench.state == wire.RECORDING
    assert [one[2:4] for one in events if one[0] == "release-opened"] == [first]
    assert [one[1] for one in events if one[0] == "release-edge"] == [0, 1, 0, 1, 0, 1]


def test_a_knock_is_recorded_and_no_release():
    bench = Bench()
    bench.arm()
    bench.board.move(wire.INPUT_LATCHED, False)
    bench.board.now_us += 300
    bench.board.move(wire.INPUT_LATCHED, True)
    bench.run(12)
    assert bench.state == wire.ARMED
    assert "knock" in [one[0] for one in bench.events()]
    assert "release-opened" not in [one[0] for one in bench.events()]


def test_force_tells_of_a_release_when_the_switch_does_not():
    bench = Bench()
    token = bench.arm()
    bench.send(wire.RELEASE, token)
    bench.run(5)
    bench.board.level = 4480 + 304 * 8
    bench.run(4)
    assert bench.state == wire.RECORDING
    assert not bench.board.outputs & DRIVE
    assert "release-by-force" in [one[0] for one in bench.events()]
    assert bench.board.outputs & wire.OUTPUT_FLASH
    flashed = stamps(bench)
    # The program lights it in the step that knows: two blocks after the force rose, or more.
    late_us = flashed["flash"] - flashed["release-by-force"]
    assert BLOCK_US <= late_us <= 4 * BLOCK_US


def stamps(bench):
    """The stamp of the last event of each name."""
    bench.read()
    bodies = [body for kind, body in bench.messages if kind == wire.EVENT]
    return {wire.EVENT_NAMES[one[2]]: wire.u32(one, 16) for one in bodies}


def test_the_last_flash_is_that_of_the_release():
    """A knock is flashed too, and its flash is put out; a bounce is no new flash."""
    bench = Bench()
    bench.send(wire.RELEASE, bench.arm())
    bench.run(2)
    for closed, blocks in ((0, 4), (1, 6), (0, 1), (1, 2), (0, 20)):
        bench.board.move(wire.INPUT_LATCHED, closed)
        bench.run(blocks)
    assert bench.state == wire.RECORDING
    found = [one[0] for one in bench.events()]
    assert found.count("flash") == 2
    assert found.count("knock") == 1
    flashed = stamps(bench)
    assert 0 <= flashed["flash"] - flashed["release-opened"] <= 100
    assert not bench.board.outputs & wire.OUTPUT_FLASH


def test_nothing_is_flashed_unless_armed():
    bench = Bench()
    bench.run(8)
    bench.board.move(wire.INPUT_LATCHED, False)
    bench.run(8)
    bench.board.move(wire.INPUT_LATCHED, True)
    token = bench.arm()
    bench.send(wire.ABORT)
    bench.run(2)
    bench.board.move(wire.INPUT_LATCHED, False)
    bench.run(8)
    assert token
    assert "flash" not in [one[0] for one in bench.events()]


@pytest.mark.parametrize("level", [4480 + 280 * 8, 4480])
def test_a_force_below_the_trigger_tells_of_nothing(level):
    bench = Bench()
    bench.arm(by="hand")
    bench.board.level = level
    bench.run(10)
    assert bench.state == wire.ARMED


def test_force_before_the_pulse_tells_of_nothing():
    bench = Bench()
    bench.arm()
    bench.board.level = 9000
    bench.run(10)
    assert bench.state == wire.ARMED


def test_a_doubt_while_the_switch_opens_stops_the_drive_and_keeps_the_drop():
    bench = Bench()
    token = bench.arm()
    bench.send(wire.RELEASE, token)
    bench.run(2)
    bench.board.move(wire.INPUT_LATCHED, False)
    bench.run(2)
    assert bench.board.outputs & DRIVE
    bench.board.move(wire.INPUT_KEY_ON, False)
    bench.run(2)
    assert not bench.board.outputs & DRIVE
    bench.run(10)
    assert bench.state == wire.RECORDING


# Doubts while armed


DOUBTS = {
    "aborted": lambda bench: bench.send(wire.ABORT),
    "key-off": lambda bench: bench.board.move(wire.INPUT_KEY_ON, False),
    "laptop-silent": lambda bench: setattr(bench, "laptop_alive", False),
    "signal-clipped": lambda bench: setattr(bench.board, "level", 0),
    "conversions-lost": lambda bench: setattr(bench.board, "samples_lost", 1),
    "not-sampling": lambda bench: (
        setattr(bench.board, "now_us", bench.board.now_us + 100_000),
        bench.acknowledge(),
        bench.instrument.step(),
    ),
}


@pytest.mark.parametrize("driven", [False, True], ids=["waiting", "driving"])
@pytest.mark.parametrize("name", DOUBTS)
def test_any_doubt_leads_to_safe_with_the_drive_low(name, driven):
    bench = Bench(RELEASE_PULSE_MS=10_000, RELEASE_WAIT_MS=20_000)
    token = bench.arm()
    if driven:
        bench.send(wire.RELEASE, token)
        bench.run(2)
        assert bench.board.outputs & DRIVE
    DOUBTS[name](bench)
    bench.run(1 + Config.LAPTOP_SILENCE_MS * 1000 // BLOCK_US)
    assert bench.state == wire.SAFE
    assert bench.board.outputs == 0
    assert (
        bench.instrument.states.reason
        == {number for number, (one, _) in wire.REASONS.items() if one == name}.pop()
    )


def test_armed_for_too_long():
    bench = Bench()
    bench.arm()
    bench.run(Config.ARMED_LONGEST_S * 1_000_000 // BLOCK_US + 2)
    assert bench.instrument.states.reason == wire.ARMED_TOO_LONG
    assert bench.state == wire.SAFE


def test_key_off_after_the_release_changes_nothing():
    bench = Bench()
    bench.release(bench.arm())
    bench.board.move(wire.INPUT_KEY_ON, False)
    bench.run(5)
    assert bench.state == wire.RECORDING
    assert "key-turned" in [one[0] for one in bench.events()]


def test_abort_after_the_release_keeps_the_window():
    bench = Bench()
    bench.release(bench.arm())
    bench.send(wire.ABORT)
    bench.run(1)
    assert bench.state == wire.RECORDING
    bench.run(20)
    assert bench.state == wire.HELD
    assert bench.instrument.states.reason == wire.ABORTED


# The event is never lost


@pytest.mark.parametrize("take", [0, 1, 7, 64, 1 << 16])
def test_guarded_window_without_a_laptop(take):
    bench = Bench()
    bench.run(40)
    token = bench.arm()
    bench.send(wire.RELEASE, token)
    bench.run(4, acknowledge=False)  # what is on the laptop's disk need not be kept
    released_at = bench.instrument.history.head
    bench.board.move(wire.INPUT_LATCHED, False)
    bench.laptop_alive = False
    bench.board.take = take  # a stalled host takes nothing any more
    bench.run(1000)
    assert bench.state == wire.HELD
    ring = bench.instrument.history
    assert ring.oldest <= released_at - 2
    assert ring.head >= released_at + 1 + 15
    bench.board.take, bench.laptop_alive = 1 << 16, True
    bench.read()
    bench.messages.clear()
    answer = bench.ask("fetch", **{"from": 0})
    assert (answer["oldest"], answer["head"]) == (ring.oldest, ring.head)
    for _ in range(40):
        bench.instrument.step()
    wanted = list(range(ring.oldest, ring.head))
    # The frame that the stall cut in two is ended first.
    assert [number for number, _ in bench.blocks()][-len(wanted) :] == wanted
    assert all(body == content(number) for number, body in bench.blocks())


def test_recording_ends_with_full_memory_when_nothing_is_stored():
    bench = Bench(GUARD_AFTER_S=0.003)
    token = bench.arm()
    bench.release(token)
    for _ in range(60):  # alive, and never says that anything is on disk
        bench.board.pass_blocks(1)
        bench.acknowledge(0)
        bench.instrument.step()
    assert bench.state == wire.HELD
    assert bench.instrument.states.reason == wire.MEMORY_FULL


def test_recording_has_an_end():
    bench = Bench()
    bench.release(bench.arm())
    bench.run(Config.RECORDING_LONGEST_S * 1_000_000 // BLOCK_US + 3)
    assert bench.instrument.states.reason == wire.TIME_UP


def test_a_board_that_holds_an_event_does_not_arm():
    bench = Bench()
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(30)
    bench.board.move(wire.INPUT_LATCHED, True)
    bench.run(3)
    answer = bench.ask("arm", by="drive")
    assert reason_names(answer) == {"event-held"}
    assert bench.state == wire.HELD


def test_all_events_come_again_on_fetch():
    bench = Bench()
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(30)
    before = bench.events()
    bench.messages.clear()
    bench.ask("fetch", **{"from": 0})
    for _ in range(20):
        bench.instrument.step()
    assert bench.events() == before


def test_broken_wires_are_events():
    bench = Bench()
    bench.release(bench.arm())
    bench.board.move(wire.INPUT_ARTICLE_WHOLE, False)
    bench.run(2)
    bench.board.move(wire.INPUT_MOUNT_WHOLE, False)
    bench.run(2)
    names = [one[0] for one in bench.events()]
    assert names[-2:] == ["article-wire-opened", "mount-wire-opened"]


def test_a_thousand_bounces_leave_room_for_the_end():
    bench = Bench()
    bench.release(bench.arm())
    for _ in range(1000):
        bench.board.move(wire.INPUT_LATCHED, True)
        bench.board.move(wire.INPUT_LATCHED, False)
    bench.send(wire.FINISH)
    bench.run(40)
    assert bench.state == wire.HELD
    assert bench.events()[-1][0] == "recording-ended"


# Commands


def test_hello_describes_the_board():
    answer = Bench().ask("hello", wire=wire.VERSION)
    assert answer["ok"]
    assert answer["wire"] == wire.VERSION
    assert answer["rate_hz"] == 62_500
    assert answer["state"] == "safe"


@pytest.mark.parametrize("name", ["fetch", "discard", "stream"])
def test_commands_out_of_state(name):
    fields = {"fetch": {"from": 0}, "discard": {}, "stream": {"on": True}}[name]
    bench = Bench()
    bench.run(8)
    if name == "stream":
        bench.release(bench.arm())
        bench.send(wire.FINISH)
        bench.run(30)
    before = bench.state
    answer = bench.ask(name, **fields)
    assert not answer["ok"]
    assert reason_names(answer) == {"wrong-state"}
    assert bench.state == before


@pytest.mark.parametrize("sequence", [0, 7, 12345, 65535])
def test_busy_board_answers_that_it_is(sequence):
    bench = Bench()
    bench.arm()
    bench.sequence = sequence
    answer = bench.ask("hello", wire=wire.VERSION)
    assert answer["to"] == sequence
    assert answer["state"] == "armed"
    assert reason_names(answer) == {"wrong-state"}


@pytest.mark.parametrize(
    "payload", [b"", b"{", b"[]", b"\xff", b'{"do":"fly"}', b'{"do":"arm"}', b'{"do":["arm"]}']
)
def test_half_and_wrong_commands_change_nothing(payload):
    bench = Bench()
    bench.run(8)
    bench.send(wire.ASK, payload)
    bench.run(3)
    bench.read()
    bodies = [json.loads(body) for kind, body in bench.messages]
    assert [one["ok"] for one in bodies] == [False]
    assert bodies[0]["error"] in wire.ERRORS
    assert bench.state == wire.SAFE


def test_blocks_come_again_when_asked():
    bench = Bench()
    bench.arm()
    bench.run(10, acknowledge=False)
    head = bench.instrument.history.head
    bench.read()
    bench.messages.clear()
    bench.acknowledge(head - 6, wire.ACK_AGAIN)
    bench.instrument.step()
    bench.instrument.step()
    assert [number for number, _ in bench.blocks()] == list(range(head - 6, head))


@pytest.mark.parametrize("take", [1, 5, 100])
def test_a_slow_link_gets_no_wrong_samples(take):
    """A block that the rolling window overtakes on its way arrives damaged, and only that."""
    bench = Bench()
    bench.may_be_damaged = True
    bench.arm()
    bench.board.take = take
    bench.run(100)
    blocks = bench.blocks()
    numbers = [number for number, _ in blocks]
    assert numbers == sorted(set(numbers))
    assert len(numbers) > 0
    assert all(body == content(number) for number, body in blocks)


def test_a_silent_laptop_is_sent_nothing_in_safe():
    bench = Bench()
    bench.run(8)
    bench.ask("stream", on=True)
    bench.run(3)
    bench.laptop_alive = False
    bench.run(1 + Config.LAPTOP_SILENCE_MS * 1000 // BLOCK_US)
    bench.read()
    bench.messages.clear()
    bench.run(10)
    assert bench.read() == []


@pytest.mark.parametrize("start_us", [wire.TICKS_PERIOD_US - 3000, wire.TICKS_PERIOD_US // 2])
def test_the_clock_may_wrap_at_any_moment(start_us):
    bench = Bench(start_us=start_us)
    bench.release(bench.arm())
    bench.send(wire.FINISH)
    bench.run(30)
    assert bench.state == wire.HELD


def test_a_memory_too_small_for_the_window_does_not_arm():
    """0.0005 s before and 0.004 s after are 2 and 16 blocks of 256 us, and 2 are spare."""
    enough, short = Bench(HISTORY_BLOCKS=20), Bench(HISTORY_BLOCKS=19)
    for bench in (enough, short):
        bench.run(8)
    answer = short.ask("arm", by="drive")
    assert (answer["ok"], answer["reasons"]) == (False, [wire.WINDOW_SHORT])
    assert short.ask("hello", wire=1)["after_s"] < Config.GUARD_AFTER_S
    assert enough.ask("arm", by="drive")["ok"]


def test_the_window_is_all_that_the_memory_holds():
    """Nobody stores: what is held reaches from before the release to the last block but one."""
    bench = Bench(HISTORY_BLOCKS=200, LAPTOP_SILENCE_MS=20)
    told = bench.ask("hello", wire=1)
    assert told["after_s"] == pytest.approx(196 * BLOCK_US / 1e6, abs=1e-3)
    bench.release(bench.arm())
    bench.laptop_alive = False
    for _ in range(1000):
        bench.run(1)
    history, window = bench.instrument.history, bench.instrument.window
    release = bench.instrument._release_block
    assert bench.state == wire.HELD
    assert bench.instrument.states.reason == wire.WINDOW_COMPLETE
    assert history.oldest <= release - window.before_blocks
    assert history.head - release > window.after_blocks
