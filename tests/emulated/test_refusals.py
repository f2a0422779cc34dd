"""What the board refuses, on the emulated chips: each of these could let a sled go."""

import ast
import subprocess
import sys
import threading

import configs
import pytest

from emulated.bench import EmulatedBoard, board_files, march_of
from tautlog.firmware import wire

pytestmark = pytest.mark.timeout(6000)
SLOW_S = 3000.0  # of the laptop: the emulator may have to share its processor
DRIVE_PIN = 12
OUTPUT_PINS = (12, 13, 14, 17, 18, 25)

# The instrument on the real board module; the laptop's words come from the script.
BUILD = """
import config, wire
import entry as main
board, one = main.build(*main.checked())
"""
BEGIN = """
import json, time
class Script:
    def __init__(self):
        self.bytes = b''
        self.at = 0
    def readable(self):
        return self.at < len(self.bytes)
    def read_byte(self):
        if self.at == len(self.bytes):
            return -1
        self.at += 1
        return self.bytes[self.at - 1]
    def write(self, view, start, end):
        return end - start
    def give_back(self):
        pass
    def say(self, kind, body=b''):
        self.bytes = wire.frame(kind, 1, body)
        self.at = 0
board._link = link = Script()
answers = []
one.sender.answer = lambda data: answers.append(json.loads(data))
def steps(blocks):
    end = one.history.head + blocks
    while one.history.head < end:
        link.say(wire.ACK, wire.struct.pack(wire.ACK_BODY, one.history.head, 0))
        one.step()
def arm(**fields):
    fields.update({'do': 'arm', 'by': 'drive'})
    link.say(wire.ASK, json.dumps(fields).encode())
    answers.clear()
    while not answers:
        one.step()
    return answers.pop()
"""


# Short blocks: a second of the board is a minute of the emulator.
SHORT = {
    "SAMPLES_PER_BLOCK": 256,
    "QUIET_BLOCKS": 4,
    "HISTORY_BLOCKS": 120,
    "GUARD_AFTER_S": 0.05,
    "FORCE_TRIGGER": 0,
    "WATCHDOG_MS": 0,
}
EDGES = ("knock", "release-edge", "release-opened")
AGAIN = """
link.say(wire.ABORT)
one.step()
while one.states.now == wire.RECORDING:
    steps(1)
if one.states.now == wire.HELD:
    link.say(wire.ASK, b'{"do":"discard"}')
    one.step()
print(wire.STATES[one.states.now])
"""


@pytest.fixture(scope="module")
def built(image, tmp_path_factory):
    """A board at its prompt on which the instrument was built by a script."""
    files = board_files(tmp_path_factory.mktemp("board"), march_of(image), **SHORT)
    (files / "main.py").rename(files / "entry.py")
    with EmulatedBoard(image, files, "level") as board:
        board.run(BUILD, SLOW_S)
        board.run(BEGIN, SLOW_S)
        yield board


@pytest.fixture
def scripted(built):
    """The same board, safe, with key and switch closed and a quiet chain."""
    built.tell(pin=10, level=0)
    built.tell(pin=11, level=0)
    built.tell(value=560, noisy=1)
    built.tell(spike=0)
    built.now_s()
    assert built.run(AGAIN, SLOW_S).strip() == "safe"
    built.lines.clear()
    return built


ARM = """
steps(6)
print(arm(%s).get('reasons', 'armed'), wire.STATES[one.states.now])
"""


def test_a_dead_chain_does_not_arm(scripted):
    """Parked low, parked high, constant; a living one off its zero; and one that is well (60 s)."""
    chains = (  # level in converter steps of 3.3 V / 4096, noise, limits of the laptop
        (50, 1, "", [wire.SIGNAL_CLIPPED]),  # 0.040 V
        (3984, 1, "", [wire.SIGNAL_CLIPPED]),  # 3.21 V
        (1365, 0, "", [wire.SIGNAL_DEAD]),  # 1.1 V
        (1365, 1, "level_low=3600, level_high=5360", [wire.SIGNAL_OFF_ZERO]),
        (560, 1, "rail_low=4600", [wire.SIGNAL_CLIPPED]),
        (560, 1, "least_span=1000", [wire.SIGNAL_DEAD]),
    )
    for value, noisy, fields, reasons in chains:
        scripted.tell(value=value, noisy=noisy)
        said = scripted.run(ARM % fields, SLOW_S)
        assert said.strip() == f"{reasons} safe", (value, fields)
    assert not scripted.changes(14)  # the lamp, on while armed
    scripted.tell(value=560, noisy=1)
    limits = "rail_low=496, rail_high=31800, level_low=3600, level_high=5360, least_span=24"
    assert scripted.run(ARM % limits, SLOW_S).strip() == "armed armed"
    assert not scripted.changes(DRIVE_PIN)


SPIKE = """
steps(6)
token = bytes.fromhex(arm()['token'])
steps(3)
link.say(wire.RELEASE, token)
one.step()
%s
for _ in range(400):
    one.step()
    if one.states.now != wire.ARMED:
        break
print(wire.STATES[one.states.now])
log = one.events
for place in range(log.count):
    number, code, _, block, offset, _, value, stamp = wire.struct.unpack_from(
        wire.EVENT_BODY, log.memory, place * wire.EVENT_BODY_BYTES)
    print(code, block * config.SAMPLES_PER_BLOCK + offset, value)
"""


@pytest.mark.parametrize("stall", ["", "time.sleep_ms(60)"], ids=["steps", "one stalled step"])
def test_the_spike_of_a_coil_is_not_the_release(scripted, stall):
    """Open for 100 us when the drive rises, for good 12 ms later: placed to two samples (60 s)."""
    scripted.tell(spike=12)
    state, *lines = scripted.run(SPIKE % stall, SLOW_S).splitlines()
    assert state == "recording"
    numbers = [[int(word) for word in line.split()] for line in lines]
    events = [(wire.EVENT_NAMES[code], sample, value) for code, sample, value in numbers]
    true = [one["conversion"] / 8 for one in scripted.lines if "conversion" in one]
    assert len(true) == 3
    # While the board held the event of the test before, blocks were not numbered.
    per_block = SHORT["SAMPLES_PER_BLOCK"]
    told = sorted(sample for name, sample, _ in events if name in EDGES)
    held = round((true[0] - told[0]) / per_block) * per_block
    names = [(name, value) for name, sample, value in events if name in EDGES]
    assert sorted(names) == [("knock", 0), ("release-edge", 0), ("release-opened", 0)]
    assert told[2] == next(sample for name, sample, _ in events if name == "release-opened")
    assert all(abs(one + held - other) <= 2 for one, other in zip(told, true, strict=True))
    assert [level for _, level in scripted.changes(DRIVE_PIN)] == [1, 0]


KEY = """
steps(6)
token = bytes.fromhex(arm()['token'])
steps(3)
print('armed')
time.sleep_ms(300)
link.say(wire.RELEASE, token)
one.step()
steps(2)
print(wire.STATES[one.states.now], one.states.reason, board.inputs() & 2)
link.say(wire.RELEASE, token)
steps(3)
print(wire.STATES[one.states.now])
"""


def test_a_key_that_was_off_within_a_stalled_step_lets_nothing_go(scripted):
    """Off and on for less than 3 ms while the main loop sleeps; then RELEASE, twice (60 s)."""
    said = []
    running = threading.Thread(target=lambda: said.append(scripted.run(KEY, SLOW_S)))
    running.start()
    scripted.wait(lambda line: line.get("pin") == 14 and line["level"] == 1, SLOW_S)
    scripted.tell(shake=11, edges=2)
    running.join()
    assert [one["level"] for one in scripted.lines if "conversion" in one] == [1, 0]
    assert said[0].split() == ["armed", "safe", str(wire.KEY_OFF), "2", "safe"]
    assert not scripted.changes(DRIVE_PIN)


# Two contacts of the release chain, moved at the pins of the chip; see READ_BACK.
CONTACTS = """
steps(6)
print(arm().get('reasons', 'armed'), wire.STATES[one.states.now])
"""
OPENED = """
steps(6)
answer = arm()
print('armed')
while one.states.now == wire.ARMED:
    steps(1)
print(wire.STATES[one.states.now], one.states.reason, board.inputs() >> 4)
"""
READ_BACK = (("gate", 3), ("pin", 4))


def test_an_open_readback_refuses_and_calls_off(image, tmp_path):
    """Each open alone, both made, and the gate opened while armed: by their numbers (60 s)."""
    files = board_files(tmp_path / "board", march_of(image), **SHORT, READBACKS=READ_BACK)
    (files / "main.py").rename(files / "entry.py")
    gate, pin = (wire.READBACK_OPEN + wire.READBACKS.index(name) for name, _ in READ_BACK)
    with EmulatedBoard(image, files, "level") as board:
        for low in (10, 11):
            board.tell(pin=low, level=0)
        board.run(BUILD, SLOW_S)
        board.run(BEGIN, SLOW_S)
        for levels, expected in (
            ((1, 0), f"[{gate}] safe"),
            ((0, 1), f"[{pin}] safe"),
            ((1, 1), f"[{gate}, {pin}] safe"),
        ):
            for number, level in zip((3, 4), levels, strict=True):
                board.tell(pin=number, level=level)
            board.now_s()
            assert board.run(CONTACTS, SLOW_S).strip() == expected
        assert not board.changes(14)
        for number in (3, 4):
            board.tell(pin=number, level=0)
        board.now_s()
        said = []
        running = threading.Thread(target=lambda: said.append(board.run(OPENED, SLOW_S)))
        running.start()
        board.wait(lambda line: line.get("pin") == 14 and line["level"] == 1, SLOW_S)
        board.tell(pin=3, level=1)
        running.join()
        assert said[0].split() == ["armed", "safe", str(gate), "2"]
        assert not board.changes(DRIVE_PIN)


TABLE = """
import sys
from machine import mem32
import config, config_check, wire
import entry as main
from configs import GONE, WRONG
# GPIO_OE and GPIO_OUT of SIO (data sheets, 2.3.1.7 and 3.1.11).
ENABLED, LEVELS = 0xd0000030 if 'RP2350' in sys.implementation._machine else 0xd0000020, 0xd0000010
before = mem32[ENABLED], mem32[LEVELS]
def change(lines):
    for key, value in lines.items():
        if value == GONE:
            delattr(config, key)
        else:
            setattr(config, key, value)
def is_refused(name, changes):
    kept = {key: getattr(config, key, GONE) for key in changes}
    change(changes)
    faults = config_check.find_faults(config)
    named = [one for one in faults if one.startswith((name + ' ', name + ':'))]
    board, one = main.build(config, faults)
    change(kept)
    said = one.answer(b'{"do":"arm","by":"drive"}')
    refused = said['reasons'] == [wire.WRONG_CONFIG] and name in said['text']
    still = (mem32[ENABLED], mem32[LEVELS]) == before
    return bool(named and refused and still and type(board).__name__ == 'Bare')
bad = []
for number, (name, changes) in enumerate(WRONG):
    if not is_refused(name, changes):
        bad.append((number, name))
print([number + 1, bad, before[0] & 0x3ffffff])
del WRONG, name, changes, is_refused, change, bad, config_check, sys.modules['configs']
board, one = main.build(*main.checked())
print([mem32[ENABLED] & 0x3ffffff])
board.close()
"""


@pytest.mark.long
def test_no_wrong_config_makes_an_output(emulated, tmp_path):
    """The table of tests/tools/configs.py through the firmware's entry, then a right one."""
    board = emulated("level", entry=False, files=(configs.__file__,), WATCHDOG_MS=0)
    said = board.run(TABLE, SLOW_S)
    (count, bad, enabled), (after,) = (ast.literal_eval(line) for line in said.splitlines())
    assert count == len(configs.WRONG) >= 60
    assert bad == []
    assert enabled & sum(1 << pin for pin in OUTPUT_PINS) == 0
    # The right one does make outputs: what is looked at above would have shown it.
    assert after & sum(1 << pin for pin in OUTPUT_PINS) == sum(1 << pin for pin in OUTPUT_PINS)


def health(board):
    return subprocess.run(
        [sys.executable, "-m", "tautlog", "health", "--port", board.port, "--link-timeout", "200"],
        capture_output=True,
        text=True,
        timeout=SLOW_S,
    )


WHOLE = [
    ("PIN_LAMP = 12\n", "PIN_LAMP = 12: must be a pin of its own, PIN_DRIVE has that one"),
    pytest.param(
        "PIN_DRIVE = = 12\n", "config.py cannot be read: SyntaxError", marks=pytest.mark.long
    ),
    pytest.param("del PIN_KEY\n", "PIN_KEY is missing", marks=pytest.mark.long),
    pytest.param("PIN_CONVERTER = (12,)\n", "PIN_CONVERTER = (12,)", marks=pytest.mark.long),
    pytest.param("RELEASE_PULSE_MS = 60000\n", "RELEASE_PULSE_MS = 60000", marks=pytest.mark.long),
    pytest.param("HISTORY_BLOCKS = -1\n", "HISTORY_BLOCKS = -1", marks=pytest.mark.long),
]


@pytest.mark.parametrize(("line", "text"), WHOLE)
def test_a_board_that_starts_with_a_wrong_config(emulated, line, text):
    """From power-up, through the laptop's program: no output, and the line is named (60 s)."""
    board = emulated("level", lines=line)
    done = health(board)
    assert done.returncode == 1
    assert text in done.stderr
    assert "Traceback" not in done.stderr
    assert not any(board.changes(pin) for pin in (*OUTPUT_PINS, 13))
    # It can be mended: the prompt is there for who asks.
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session

    with SerialLink(board.port) as link:
        assert Session(link, timeout_scale=200.0).ask("prompt")["ok"]


def test_a_board_whose_firmware_does_not_start(emulated):
    """It falls over while it is built: it says so, with the last line, and releases its pins."""
    board = emulated("level", lines="import sys\nsys.modules['instrument'] = sys\n")
    done = health(board)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "firmware did not start: ImportError" in done.stderr
    assert not any(level for pin in (*OUTPUT_PINS, 13) for _, level in board.changes(pin))
