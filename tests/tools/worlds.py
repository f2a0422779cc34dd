"""A whole rig whose laptop, cable and board fail in any order, and the rules that it is held to."""

import functools
import random

import numpy as np
from fakes.crew import SilentCrew
from fakes.stepped import Laptop, Line, SlowConfig, config_of, copied, instrument_on

import keepsake
import wire
from tautlog.archive.assess import assess
from tautlog.board.session import Session
from tautlog.drop.granting import rehearsal
from tautlog.drop.outcome import DropPlan
from tautlog.drop.recovery import (
    Known,
    already_in,
    held_event,
    missing_blocks,
    recover,
    unfinished_record,
)
from tautlog.drop.run import run_drop
from tautlog.errors import CampaignError, TautlogError
from tautlog.record import open_record
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene

RATE_HZ = 10_000.0
STEP = 32  # samples: 3.2 ms
COUNTDOWN_S, RECORD_S = 0.3, 0.6
PULSE_LONGEST_US = 1000 * config_of().RELEASE_PULSE_MS + 2 * round(STEP / RATE_HZ * 1e6)


class World:
    """Rig, board, cable and laptop, and what they did.

    Attributes
    ----------
    now_us : int
        The clock of all.
    laptop : Laptop or None
        The program that runs.
    drives, drops, kills, resets, forgotten, holey : int
        Pulses of the drive; drops that began to be recorded; what was done; events that a board
        gave up, each of them on purpose; finished records with missing blocks.
    """

    def __init__(self, folder, seed):
        self.folder = folder
        self._away = folder.with_name(folder.name + "-board")
        self._away.mkdir()
        self._chance = random.Random(seed)
        self.to_board, self.to_laptop = Line(self._chance), Line(self._chance)
        self.rig = SimulatedRig(_scene(), seed=seed, sample_rate_hz=RATE_HZ)
        self.config = config_of(SlowConfig, EVENT_FILE=str(self._away / "event.bin"))
        self.now_us = 0
        self.laptop = None
        self.cable_in = True
        self._sent, self._released_with = [], set()
        self._token_used = set()
        self._files = 0
        self._path = self._first = self._armed_us = None
        self._acked = -1  # by the program that runs, since the board armed for it
        self.wrong = []  # seen where an error would be taken for one of the laptop's
        self.drives = self.drops = self.kills = self.resets = self.forgotten = self.holey = 0
        self._power_up()

    def _power_up(self):
        send = self._from_board
        self.board, self.instrument = instrument_on(self.rig, self.config, send, self.now_us)
        self._state = self.instrument.states.now
        self._pulses = 0

    def _from_board(self, data):
        if self.cable_in:
            self.to_laptop.put(data, self.now_us)

    # Time

    def run(self, steps):
        """Let time pass."""
        for _ in range(steps):
            self.step()

    def step(self):
        if self.board.advance(STEP):
            self.pull_cable()
        self.now_us = self.board.now_us
        before = self.instrument.states.now
        self.board.receive(self.to_board.take(self.now_us))
        for _ in range(3):
            self.instrument.step()
        self._check_board(before)
        assert not self.wrong, self.wrong
        if self.laptop is not None and not self.laptop.ended:
            self.laptop.turn()
            self._see_end()

    def run_until_idle(self, longest_s=120.0):
        """Let the laptop's program come to its end."""
        end_us = self.now_us + longest_s * 1e6
        while self.busy:
            assert self.now_us < end_us, "the program never ends"
            self.step()

    @property
    def busy(self):
        return self.laptop is not None and not self.laptop.ended

    @property
    def state(self):
        return wire.STATES[self.instrument.states.now]

    # What the laptop does

    def drop(self):
        scene = self.rig.scene
        self._files += 1
        path = self.folder / f"{self._files:03d}.h5"
        permit = rehearsal(scene.setup, scene.calibration, scene.channels)
        plan = DropPlan(path=path, permit=permit, countdown_s=COUNTDOWN_S, record_s=RECORD_S)
        crew = SilentCrew(armed=self._armed)
        self._start(lambda link: run_drop(_session(link), plan, crew), path)

    def recover(self):
        self._files += 1
        path = self.folder / f"{self._files:03d}.h5"
        self._start(functools.partial(_recover, folder=self.folder, path=path, rig=self.rig), None)

    def _start(self, does, path):
        self._path, self._first, self._acked, self._armed_us = path, None, -1, None
        self.laptop = Laptop(self, does, self.folder)
        self.laptop.cable_in = self.cable_in
        self._see_end()

    def _armed(self):
        self._armed_us = self.now_us

    def heard(self, data):
        """Note what the laptop sends."""
        kind, payload = data[3], data[wire.HEADER_BYTES : -wire.TRAILER_BYTES]
        self._sent.append(bytes(data))
        if kind == wire.RELEASE:
            if self._armed_us is None or self.now_us - self._armed_us < COUNTDOWN_S * 1e6 - 1:
                self.wrong.append("a release without a countdown")
            self._released_with.add(bytes(payload))
        if kind == wire.ACK:
            number = wire.struct.unpack(wire.ACK_BODY, payload)[0]
            self._acked = max(self._acked, number)

    def kill(self):
        """Kill the laptop's program, and look at once what is on disk."""
        if not self.busy:
            return
        self.kills += 1
        self.laptop.kill()
        self._see_end(killed=True)

    def _see_end(self, *, killed=False):
        if not self.laptop.ended:
            return
        problem = self.laptop.problem
        if problem is not None and not isinstance(problem, TautlogError):
            raise problem
        self._check_acknowledged()
        if not killed:
            self.check_records()

    # What else happens

    def pull_cable(self):
        self.cable_in = False
        if self.laptop is not None:
            self.laptop.cable_in = False
        self.to_board.clear()
        self.to_laptop.clear()

    def plug_cable(self):
        """A program whose cable was pulled does not see it come back."""
        self.cable_in = True

    def weather(self, loss=0.0, damage=0.0, twice=0.0, delay_us=0):
        for line in (self.to_board, self.to_laptop):
            line.loss, line.damage, line.twice, line.delay_us = loss, damage, twice, delay_us

    def replay(self, number):
        """A frame that the laptop sent once comes again."""
        if self._sent and self.cable_in:
            self.to_board.put(self._sent[number % len(self._sent)], self.now_us)

    def hands(self, words):
        """What hands do at the rig; they are told what they must not."""
        try:
            self.rig.bench.do(words)
        except CampaignError:
            return False
        return True

    def reset(self):
        """The watchdog bites: memory is spared, pins fall, the processor begins anew."""
        self.resets += 1
        memory = memoryview(self.board.ram)
        keeps = keepsake.page_state(memory) in (wire.RECORDING, wire.HELD)
        if keeps:  # as firmware/hardware/powerup.py does
            keepsake.seal_rescued(memory)
            for _ in keepsake.write_pieces(self.config.EVENT_FILE, memory):
                pass
        self._restart(keeps=keeps)

    def lose_power(self):
        """Nothing is left but what was copied to flash."""
        self.resets += 1
        self._restart(keeps=self._state == wire.HELD and self.instrument.keepsake.is_saved)

    def _restart(self, *, keeps):
        held, taken = self._state in (wire.RECORDING, wire.HELD), self.board.taken
        self.to_board.clear()
        self.to_laptop.clear()
        self.board.output(0)
        self._power_up()
        if not keeps:
            self._event = None  # numbers of blocks begin anew
            return
        assert held
        assert self.state == "held", "a reset lost the event"
        self.board.taken = taken
        self._event = self._event_now()

    # What must hold

    _event = None  # first and last block, and samples, of the event that the board must keep

    def _check_board(self, before):
        board, now = self.board, self.instrument.states.now
        for at_us, level in board.drive_log[self._pulses :]:
            if level:
                self.drives += 1
                assert before == wire.ARMED, "the drive rose, and the board was not armed"
                assert board.token in self._released_with, "the drive rose unasked"
                assert board.token not in self._token_used, "a token was used twice"
                self._token_used.add(board.token)
                self._rose_us = at_us
            else:
                assert at_us - self._rose_us <= PULSE_LONGEST_US
        self._pulses = len(board.drive_log)
        if board.outputs & wire.OUTPUT_DRIVE:
            assert now == wire.ARMED
            assert self.now_us - self._rose_us <= PULSE_LONGEST_US
        if board.outputs & (wire.OUTPUT_LAMP | wire.OUTPUT_BEAT):
            assert now == wire.ARMED
        if before != wire.ARMED and now == wire.ARMED:
            self._first, self._acked = self.instrument.history.acked, -1
            self._life = self.board.taken
        if before != wire.RECORDING and now == wire.RECORDING:
            self.drops += 1
        if now != before and wire.HELD in (before, now):
            self._check_event(before, now)
        self._state = now

    def _event_now(self):
        first = self.instrument._release_block - self.instrument.window.before_blocks
        return max(first, 0), self.instrument.history.head, self.board.taken

    def _check_event(self, before, now):
        if now == wire.HELD:
            self._event = self._event_now()
            one = self.instrument
            assert one.history.head > one._release_block + one.window.after_blocks
            return
        self.forgotten += 1
        first, head, samples = self._event
        self._event = None
        for path in sorted(self.folder.glob("*.h5")):
            record = open_record(copied(path, self._away))
            found = samples_of(record)
            whole = all(np.array_equal(found.get(one), samples[one]) for one in range(first, head))
            if whole and record.status in ("complete", "recovered"):
                assert record.verify_seal().state == "intact"
                return
        raise AssertionError(f"an event was given up ({first} to {head}), and no record has it")

    def _check_acknowledged(self):
        """What a drop acknowledged is in its record."""
        if self._path is None or self._first is None or self._acked <= self._first:
            return
        assert self._path.exists(), "a record with acknowledged blocks is gone"
        record = open_record(copied(self._path, self._away))
        found = samples_of(record)
        assert max(found, default=-1) + 1 >= self._acked, "acknowledged blocks are not on disk"
        wanted = set(range(self._first, self._acked))
        # A hole is known before what follows it is acknowledged.
        assert len(wanted - set(found)) <= missing_blocks(record), "an acknowledged block is lost"
        for number in wanted & set(found) & set(self._life):
            assert np.array_equal(found[number], self._life[number])

    def check_records(self):
        """No record says more than it has."""
        for path in sorted(self.folder.glob("*.h5")):
            record = open_record(copied(path, self._away))
            if record.status == "recording":
                continue
            missing = missing_blocks(record)
            if not missing:
                continue
            self.holey += 1
            drop = assess(record)
            assert drop.marks.missing_samples == missing * self.config.SAMPLES_PER_BLOCK
            assert {"gap", "gap-in-contact"} & {one.code for one in drop.verdict.reasons}
            if record.status == "complete":
                assert "block(s)" in record.status_text


@functools.cache
def _scene():
    return default_scene()


def _session(link):
    return Session(link, clock=link.clock)


def _recover(link, folder, path, rig):
    """What `tautlog recover` does."""
    session = _session(link)
    held = held_event(session)
    known, _ = already_in(session, held, folder)
    if known is not None:
        return known
    begun = unfinished_record(folder, held)
    if begun is not None:
        return recover(session, begun, held=held)
    facts = Known(rig.scene.setup, rig.scene.calibration, rig.scene.channels)
    return recover(session, path, facts, held)


def samples_of(record):
    """Samples of a record by block."""
    counts, table = record.counts(), record.block_table
    ends = [*table["row"][1:], len(counts)][: len(table)]
    rows = zip(table["block"], table["row"], ends, strict=True)
    return {int(number): counts[start:end] for number, start, end in rows}
