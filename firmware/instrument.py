"""The board's main loop: link, interlocks, release, recording.

`step` is called for ever. Each part is small and knows nothing of registers;
whatever touches hardware is the `board` that is passed in.
"""

import json

import commands
import describe
import events
import release
import wire
from ages import Age
from events import EventLog
from force import ForceTrigger
from history import History
from interlocks import Interlocks
from keepsake import Keepsake
from levels import counts_per_part
from outputs import Outputs
from release import Release
from sender import Sender
from states import ARM, DISCARD, DOUBT, END, FOUND, OPEN, States
from window import Window

BYTES_A_STEP = 64
_QUIET = (wire.ARMED, wire.RECORDING)
_WIRES = (
    (wire.INPUT_ARTICLE_WHOLE, wire.EVENT_ARTICLE_WIRE),
    (wire.INPUT_MOUNT_WHOLE, wire.EVENT_MOUNT_WIRE),
    (wire.EDGE_FLASH, wire.EVENT_FLASH),
)


class Instrument:
    """One board, from power-up to power-off.

    Parameters
    ----------
    board : object
        The only thing that touches hardware; see board.py.
    config : module or object
        See config.py.
    """

    def __init__(self, board, config):
        self.board = board
        self.config = config
        channels = len(config.CHANNELS)
        block_rate_hz = config.CONVERSION_RATE_HZ / (
            config.REDUCTION * channels * config.SAMPLES_PER_BLOCK
        )
        self.window = Window(config)
        # As a whole number: a float made later would be allocated.
        self._silence_us = config.LAPTOP_SILENCE_MS * 1000
        self._copy_after_us = config.COPY_AFTER_S * 1000000
        self._longest_blocks = int(config.RECORDING_LONGEST_S * block_rate_hz)
        values = channels * config.SAMPLES_PER_BLOCK
        slots, path = config.HISTORY_BLOCKS, config.EVENT_FILE
        bits = wire.bits_for(config.REDUCTION, config.CONVERTER_BITS)
        self.keepsake = Keepsake(
            board, slots, wire.block_frame_bytes(values, bits), events.MEMORY_BYTES, path
        )
        self.history = History(slots, values, bits, self.keepsake.blocks, self.keepsake.table)
        self.events = EventLog(self.keepsake.events)
        self.states = States()
        self.release = Release(config)
        now_us = board.ticks_us()
        self.interlocks = Interlocks(self.history, config, self.window, now_us)
        self.force = ForceTrigger(self.history, config.FORCE_TRIGGER * counts_per_part(config))
        self.outputs = Outputs(config)
        self.sender = Sender(board, self.history, self.events, config.SAMPLES_PER_BLOCK, channels)
        self.decoder = wire.Decoder(wire.MAX_COMMAND, check=board.check)
        self._busy = {
            state: commands.BusyAnswer(describe.refusal([wire.WRONG_STATE], state))
            for state in _QUIET
        }
        self._streaming = False
        self._more_to_send = False
        self._leaving = False
        self._heard = Age(now_us)
        self._heard_ago_us = 0
        self._reported = Age(now_us)
        self._armed_at_block = 0
        self._release_block = 0
        self._called_off = 0
        self._finish_reason = 0
        self._inputs = 0
        self._take_up_event()
        board.start(self.history)

    def _take_up_event(self):
        """Hold again what a board held before it lost power, or was reset."""
        found = self.keepsake.load()
        if found is None:
            return
        reason, self._release_block, first, count = found
        self.history.restore()
        self.events.restore(first, count)
        self.states.take(FOUND, reason)
        if reason == wire.RESTARTED:  # nobody was there to note the end
            self._note_now(wire.EVENT_ENDED, reason)

    def step(self):
        """Do a little of everything, and never wait."""
        board = self.board
        board.poll(not self._more_to_send)
        now_us = board.ticks_us()
        self._look_at_clock(now_us)
        # Edges first: what the laptop asks for is judged by all that has happened.
        self._read_edges()
        before = self._inputs
        self._inputs = board.inputs()
        if self.interlocks.readbacks and self.states.now in _QUIET:
            self.interlocks.readbacks.note(
                self.events, before, self._inputs, self.history.head, now_us
            )
        self._read_link(now_us)
        if self.states.now == wire.ARMED:
            self._watch_armed(now_us)
        elif self.states.now == wire.RECORDING:
            self._watch_recording()
        elif self._is_silent():
            self._streaming = False
            if self.states.now == wire.HELD:
                self._copy()
        self._set_outputs(now_us)
        self._report(now_us)
        self._more_to_send = self.sender.step(self._streaming)
        if self._leaving and self.sender.is_idle():
            board.reset_to_prompt()

    def _look_at_clock(self, now_us):
        """Keep every age that may grow long; see whether this step comes too late."""
        self._heard_ago_us = self._heard.look(now_us)
        self._reported.look(now_us)
        self.interlocks.look(now_us)
        if self.states.now == wire.ARMED and self._is_silent():
            # Also where words of the laptop still wait: nobody knows how old they are.
            self._call_off(wire.LAPTOP_SILENT)

    # What the laptop says

    def _read_link(self, now_us):
        for count in range(BYTES_A_STEP):
            byte = self.board.read_byte()
            if byte < 0:
                if not count:
                    return
                break
            self.decoder.feed_byte(byte)
        while self.decoder.next():
            self._heard.restart(now_us)
            self._heard_ago_us = 0
            self._obey(now_us)

    def _obey(self, now_us):
        decoder = self.decoder
        kind = decoder.kind
        if kind == wire.ACK and decoder.length == 5:
            next_block = wire.u32(decoder.buffer, decoder.at)
            self.history.acknowledge(next_block)
            if decoder.buffer[decoder.at + 4] & wire.ACK_AGAIN:
                self.history.rewind(next_block)
        elif kind == wire.RELEASE:
            self._pulse(now_us)
        elif kind == wire.ABORT:
            self._abort()
        elif kind == wire.FINISH:
            if self.states.now == wire.RECORDING and not self._finish_reason:
                self._finish_reason = wire.FINISHED
        elif kind == wire.ASK:
            self._answer(now_us)

    def _pulse(self, now_us):
        decoder = self.decoder
        if self.states.now != wire.ARMED:
            reason = wire.WRONG_STATE
        elif self.history.acked <= self._armed_at_block:
            reason = wire.NOT_STORING
        else:
            reason = self._doubt()
        if not reason and not self._inputs & wire.INPUT_LATCHED:
            reason = wire.NOT_LATCHED
        if not reason:
            reason = self.release.pulse(decoder.buffer, decoder.at, decoder.length, now_us)
        self._note_now(wire.EVENT_REFUSED if reason else wire.EVENT_DRIVEN, reason)

    def _abort(self):
        self.release.stop()
        if self.states.now == wire.ARMED:
            self._call_off(wire.ABORTED)
        elif self.states.now == wire.RECORDING:
            # The sled has gone; what it does now is worth keeping.
            self._finish_reason = wire.ABORTED

    def _answer(self, now_us):
        busy = self._busy.get(self.states.now)
        if busy is not None:
            busy.address(self.decoder.sequence)
            self.sender.answer_busy(busy)
            return
        try:
            command = commands.parse(self.decoder.payload())
            answer = self._do(command)
        except commands.Malformed as problem:
            answer = {"ok": False, "error": problem.error, "text": problem.text, "reasons": []}
        answer["to"] = self.decoder.sequence
        answer["state"] = wire.STATES[self.states.now]
        self.sender.answer(json.dumps(answer).encode())

    def _do(self, command):
        name = command["do"]
        state = self.states.now
        if name == "hello":
            self._streaming = self._streaming and state != wire.SAFE
            return describe.hello(self.board, self.config)
        if name == "status":
            return describe.state(self, self._inputs)
        if name == "arm":
            return self._arm(command)
        if name == "prompt" and state == wire.SAFE:
            self._leaving = True
            return {"ok": True}
        if name == "stream" and state == wire.SAFE:
            self.history.start_at(self.history.head)
            self._streaming = command["on"]
            return {"ok": True, "first": self.history.head}
        if name == "shunt" and state == wire.SAFE:
            self.outputs.shunt_on = command["on"]
            return {"ok": True}
        if name == "fetch" and state == wire.HELD:
            return self._fetch(command["from"])
        if name == "discard" and state == wire.HELD:
            self._go(DISCARD)
            self.history.roll()
            self.keepsake.forget()
            self._streaming = False
            return {"ok": True}
        return describe.refusal([wire.WRONG_STATE], state)

    def _arm(self, command):
        board, history = self.board, self.history
        self.interlocks.levels.use(command)
        # From here on an opening of the key counts, however short it is.
        board.watch_key()
        self._inputs = board.inputs()
        reasons = self.interlocks.arming_refusals(self.states.now, self._inputs)
        if reasons:
            return describe.refusal(reasons, self.states.now)
        by_hand = command["by"] == "hand"
        token = board.random_bytes(wire.TOKEN_BYTES)
        self.events.clear()
        self.release.arm(by_hand, token)
        self._called_off = self._finish_reason = 0
        board.arm_flash()
        self._go(ARM)
        head = self._armed_at_block = history.head
        first = head - self.config.QUIET_BLOCKS
        history.start_at(first)
        self.interlocks.begin(head)
        self.force.begin(history.span_of(first, head)[1], head)
        self._streaming = True
        self._note_now(wire.EVENT_ARMED, 2 if by_hand else 1)
        return {"ok": True, "token": token.hex(), "first": history.unsent, "armed": head}

    def _fetch(self, first):
        history = self.history
        history.rewind(min(first, history.head))
        self.events.rewind()
        self._streaming = True
        return {
            "ok": True,
            "oldest": history.oldest,
            "head": history.head,
            "release": self._release_block,
            "reason": self.states.reason,
            "kept": self.keepsake.came_from,
        }

    def _go(self, happening, reason=0):
        """Follow the table of states; nothing is allocated while armed or recording."""
        before = self.states.now in _QUIET
        self.states.take(happening, reason)
        self._note_page()
        quiet = self.states.now in _QUIET
        if quiet != before:
            self.board.set_quiet(quiet)

    # What the wires say

    def _read_edges(self):
        board = self.board
        while board.next_edge():
            bit, closed = board.edge_input, board.edge_closed
            if self.states.now in _QUIET:
                self._take_edge(bit, closed, board.edge_block, board.edge_offset, board.edge_us)
        lost = board.lost_edges()
        if lost and self.states.now in _QUIET:
            self._note_now(wire.EVENT_LOST, lost)
        if self.states.now == wire.RECORDING:
            self._note_page()

    def _take_edge(self, bit, closed, block, offset, stamp_us):
        if bit == wire.INPUT_LATCHED:
            seen = release.EDGE
            if self.states.now == wire.ARMED:
                seen = self.release.edge(not closed, block, offset, stamp_us)
            if seen == release.KNOCK:
                self._note_knock()
            elif seen == release.EDGE:
                self.events.note(wire.EVENT_EDGE, block, offset, stamp_us, 1 - closed)
        elif bit == wire.INPUT_KEY_ON:
            self.events.note(wire.EVENT_KEY, block, offset, stamp_us, closed)
            if not closed and self.states.now == wire.ARMED:
                self._call_off(wire.KEY_OFF)
        for wire_bit, code in _WIRES:
            if bit == wire_bit and not closed:
                self.events.note(code, block, offset, stamp_us)

    def _note_knock(self):
        one = self.release
        self.events.note(wire.EVENT_KNOCK, one.knock_block, one.knock_offset, one.knock_us)

    def _watch_armed(self, now_us):
        one = self.release
        seen = one.watch(not self._inputs & wire.INPUT_LATCHED, now_us)
        if seen == release.OPENED:
            self._begin_recording(wire.EVENT_OPENED, one.block, one.offset, one.stamp_us)
            self.outputs.flash(one.stamp_us)
            return
        if seen == release.UNSEEN:
            # Nobody knows when; what follows is kept all the same.
            self._begin_recording(wire.EVENT_OPENED, self.history.head, 0, one.stamp_us)
            self._note_now(wire.EVENT_LOST, 1)
            return
        if self._watch_force():
            self.board.light_flash()
            self.outputs.flash(now_us)
            return
        if seen == release.KNOCK:
            self._note_knock()
        reason = wire.NO_RELEASE if seen == release.NO_RELEASE else self._doubt()
        if reason and one.opening:
            # The sled may be falling: no drive any more, but see it through.
            self._call_off(reason)
        elif reason:
            self._go_safe(reason)

    def _watch_force(self):
        """The fallback: the line came taut, and the switch has said nothing."""
        head = self.history.head
        if not self.release.is_expected():
            self.force.skip(head)
            return False
        block = self.force.look(head)
        if block < 0:
            return False
        self.release.stop()
        stamp_us = self.history.stamps_us[block % self.history.slots]
        self._begin_recording(wire.EVENT_FORCE, block, 0, stamp_us)
        return True

    def _doubt(self):
        """The first reason to leave `armed`, or 0; once there was one, it stays."""
        if self._called_off:
            return self._called_off
        if self.board.key_was_off():
            return wire.KEY_OFF
        return self.interlocks.doubt(self._inputs)

    def _call_off(self, reason):
        """No release any more, whatever comes; the board goes safe when it may."""
        self.release.stop()
        if not self._called_off:
            self._called_off = reason

    def _note_page(self):
        """Keep with the event what it is, for after a reset."""
        log = self.events
        self.keepsake.note(
            self.states.now, self.states.reason, self._release_block, log.first, log.count
        )

    def _copy(self):
        """Copy the event that nobody fetches to the board's flash, piece by piece."""
        if not self.keepsake.is_saved and self._heard_ago_us > self._copy_after_us:
            self.keepsake.save_step()

    def _begin_recording(self, code, block, offset, stamp_us):
        if self._called_off == wire.ABORTED:
            self._finish_reason = wire.ABORTED
        self.history.guard(block - self.window.before_blocks)
        self._release_block = block
        self._go(OPEN)
        self.events.note(code, block, offset, stamp_us)
        self._note_page()

    def _watch_recording(self):
        history = self.history
        is_whole = history.head > self._release_block + self.window.after_blocks
        if history.frozen and not (is_whole and self._is_silent()):
            self._end_recording(wire.MEMORY_FULL)
        elif is_whole:
            blocks = history.head - self._release_block
            if self._finish_reason:
                self._end_recording(self._finish_reason)
            elif self._is_silent():
                self._end_recording(wire.WINDOW_COMPLETE)
            elif blocks > self._longest_blocks:
                self._end_recording(wire.TIME_UP)

    def _end_recording(self, reason):
        self.history.freeze()
        self._go(END, reason)
        if self.events.dropped:
            self._note_now(wire.EVENT_LOST, self.events.dropped)
        self._note_now(wire.EVENT_ENDED, reason)
        self._note_page()

    def _go_safe(self, reason):
        self.release.stop()
        self._go(DOUBT, reason)
        self._note_now(wire.EVENT_WENT_SAFE, reason)

    # What the board shows

    def _is_silent(self):
        return self._heard_ago_us > self._silence_us

    def _set_outputs(self, now_us):
        outputs, high = self.outputs, self.release.drive_high
        if outputs.decide(self.states.now, high, self._is_silent(), now_us):
            self.board.output(outputs.bits)

    def _report(self, now_us):
        if not self._streaming:
            return
        if self._reported.look(now_us) < self.config.STATUS_INTERVAL_MS * 1000:
            return
        self._reported.restart(now_us)
        history = self.history
        head = history.head
        slot = (head - 1) % history.slots
        wire.struct.pack_into(
            wire.STATUS_BODY,
            self.sender.status_body(),
            0,
            self.states.now,
            self.states.reason,
            self._inputs,
            self.outputs.bits,
            head,
            history.oldest,
            history.acked,
            history.lost_total,
            history.lows[slot],
            history.highs[slot],
            now_us,
        )

    def _note_now(self, code, value):
        self.events.note(code, self.history.head, 0, self.board.ticks_us(), value)
