"""The board's main loop: link, interlocks, release, recording.

`step` is called for ever. Each part is small and knows nothing of registers;
whatever touches hardware is the `board` that is passed in.
"""

import json

import commands
import events
import release
import wire
from events import EventLog
from history import History
from interlocks import Interlocks
from keepsake import Keepsake
from release import Release
from sender import Sender
from states import ARM, DISCARD, DOUBT, END, FOUND, OPEN, States

FIRMWARE = "0.1.0"
BYTES_A_STEP = 64
_QUIET = (wire.ARMED, wire.RECORDING)
_WIRES = (
    (wire.INPUT_ARTICLE_WHOLE, wire.EVENT_ARTICLE_WIRE),
    (wire.INPUT_MOUNT_WHOLE, wire.EVENT_MOUNT_WIRE),
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
        # As whole numbers: a float made later would be allocated.
        self._before_blocks = int(config.GUARD_BEFORE_S * block_rate_hz) + 1
        self._after_blocks = int(config.GUARD_AFTER_S * block_rate_hz) + 1
        self._silence_us = config.LAPTOP_SILENCE_MS * 1000
        self._copy_after_us = config.COPY_AFTER_S * 1000000
        self._longest_blocks = int(config.RECORDING_LONGEST_S * block_rate_hz)
        if self._before_blocks + self._after_blocks + 1 > config.HISTORY_BLOCKS:
            raise ValueError("HISTORY_BLOCKS is too small for the guarded window")
        values = channels * config.SAMPLES_PER_BLOCK
        slots, path = config.HISTORY_BLOCKS, config.EVENT_FILE
        self.keepsake = Keepsake(
            board, slots, wire.block_frame_bytes(values), events.MEMORY_BYTES, path
        )
        self.history = History(slots, values, self.keepsake.blocks, self.keepsake.table)
        self.events = EventLog(self.keepsake.events)
        self.states = States()
        self.release = Release(config)
        self.interlocks = Interlocks(self.history, config)
        self.sender = Sender(board, self.history, self.events, config.SAMPLES_PER_BLOCK, channels)
        self.decoder = wire.Decoder(wire.MAX_COMMAND, check=board.check)
        self._busy = {
            state: commands.BusyAnswer(_refusal([wire.WRONG_STATE], state)) for state in _QUIET
        }
        self._streaming = False
        self._more_to_send = False
        self._leaving = False
        self._heard_us = board.ticks_us()
        self._status_us = self._heard_us
        self._armed_at_block = 0
        self._release_block = 0
        self._force_limit = 0
        self._finish_reason = 0
        self._inputs = 0
        self._outputs = 0
        self._flash_on = False
        self._shunt_on = False
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
        self._inputs = board.inputs()
        self._read_link(now_us)
        self._read_edges()
        if self.states.now == wire.ARMED:
            self._watch_armed(now_us)
        elif self.states.now == wire.RECORDING:
            self._watch_recording(now_us)
        elif self._is_silent(now_us):
            self._streaming = False
            if self.states.now == wire.HELD:
                self._copy(now_us)
        self._set_outputs(now_us)
        self._report(now_us)
        self._more_to_send = self.sender.step(self._streaming)
        if self._leaving and self.sender.is_idle():
            board.reset_to_prompt()

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
            self._heard_us = now_us
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
            reason = self.interlocks.doubt(
                self._inputs, now_us, self._heard_us, self._armed_at_block
            )
        if not reason:
            reason = self.release.pulse(decoder.buffer, decoder.at, decoder.length, now_us)
        self._note_now(wire.EVENT_REFUSED if reason else wire.EVENT_DRIVEN, reason)

    def _abort(self):
        self.release.stop()
        if self.states.now == wire.ARMED:
            self._go_safe(wire.ABORTED)
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
            answer = self._do(command, now_us)
        except commands.Malformed as problem:
            answer = {"ok": False, "error": problem.error, "text": problem.text, "reasons": []}
        answer["to"] = self.decoder.sequence
        answer["state"] = wire.STATES[self.states.now]
        self.sender.answer(json.dumps(answer).encode())

    def _do(self, command, now_us):
        name = command["do"]
        if name == "hello":
            return self._hello()
        if name == "status":
            return self._describe_state()
        if name == "arm":
            return self._arm(command["by"] == "hand", now_us)
        state = self.states.now
        if name == "prompt" and state == wire.SAFE:
            self._leaving = True
            return {"ok": True}
        if name == "stream" and state == wire.SAFE:
            self.history.start_at(self.history.head)
            self._streaming = command["on"]
            return {"ok": True, "first": self.history.head}
        if name == "shunt" and state == wire.SAFE:
            self._shunt_on = command["on"]
            return {"ok": True}
        if name == "fetch" and state == wire.HELD:
            return self._fetch(command["from"])
        if name == "discard" and state == wire.HELD:
            self._go(DISCARD)
            self.history.roll()
            self.keepsake.forget()
            self._streaming = False
            return {"ok": True}
        return _refusal([wire.WRONG_STATE])

    def _hello(self):
        config = self.config
        if self.states.now == wire.SAFE:
            self._streaming = False
        return {
            "ok": True,
            "wire": wire.VERSION,
            "firmware": FIRMWARE,
            "board": self.board.name(),
            "serial": self.board.serial(),
            "rate_hz": config.CONVERSION_RATE_HZ / (config.REDUCTION * len(config.CHANNELS)),
            "reduction": config.REDUCTION,
            "channels": list(config.CHANNELS),
            "per_block": config.SAMPLES_PER_BLOCK,
            "history": config.HISTORY_BLOCKS,
            "bits": 12,
            "silence_s": config.LAPTOP_SILENCE_MS / 1000,
            "before_s": config.GUARD_BEFORE_S,
            "after_s": config.GUARD_AFTER_S,
        }

    def _describe_state(self):
        history = self.history
        return {
            "ok": True,
            "reason": self.states.reason,
            "inputs": self._inputs,
            "head": history.head,
            "oldest": history.oldest,
            "acked": history.acked,
            "lost": history.lost_total,
            "damaged": self.decoder.damaged,
            "skipped": self.decoder.skipped,
            "rest_us": self.board.rest_us,
            "free_bytes": self.board.free_bytes(),
            "stamp_us": self.board.ticks_us(),
        }

    def _arm(self, by_hand, now_us):
        reasons = self.interlocks.arming_refusals(self.states.now, self._inputs, now_us)
        if reasons:
            return _refusal(reasons)
        history = self.history
        token = self.board.random_bytes(wire.TOKEN_BYTES)
        self.events.clear()
        self.release.arm(by_hand, token)
        self._go(ARM)
        history.start_at(history.head - self.config.QUIET_BLOCKS)
        self._armed_at_block = history.head
        quiet = history.span_of_last(self.config.QUIET_BLOCKS)[1]
        trigger = self.config.FORCE_TRIGGER * self.config.REDUCTION
        self._force_limit = quiet + trigger if trigger else 0
        self._streaming = True
        self._finish_reason = 0
        self._note_now(wire.EVENT_ARMED, 2 if by_hand else 1)
        return {"ok": True, "token": token.hex(), "first": history.unsent, "armed": history.head}

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
            block, offset, stamp_us = board.edge_block, board.edge_offset, board.edge_us
            if bit == wire.INPUT_LATCHED:
                first = self.states.now == wire.ARMED and self.release.edge(
                    not closed, block, offset, stamp_us
                )
                if not first and self.states.now in _QUIET:
                    self.events.note(wire.EVENT_EDGE, block, offset, stamp_us, 1 - closed)
            elif self.states.now in _QUIET:
                if bit == wire.INPUT_KEY_ON:
                    self.events.note(wire.EVENT_KEY, block, offset, stamp_us, closed)
                for wire_bit, code in _WIRES:
                    if bit == wire_bit and not closed:
                        self.events.note(code, block, offset, stamp_us)
            if self.states.now == wire.RECORDING:
                self._note_page()

    def _watch_armed(self, now_us):
        seen = self.release.watch(not self._inputs & wire.INPUT_LATCHED, now_us)
        if seen == release.OPENED:
            one = self.release
            self._begin_recording(wire.EVENT_OPENED, one.block, one.offset, one.stamp_us)
            self._flash_on = True
            return
        if self._force_seen():
            # The fallback: the line came taut, and the switch has said nothing.
            self.release.stop()
            block = self.history.head - 2
            stamp_us = self.history.stamps_us[block % self.history.slots]
            self._begin_recording(wire.EVENT_FORCE, block, 0, stamp_us)
            return
        if seen == release.KNOCK:
            one = self.release
            self.events.note(wire.EVENT_KNOCK, one.block, one.offset, one.stamp_us)
        reason = self.interlocks.doubt(self._inputs, now_us, self._heard_us, self._armed_at_block)
        if seen == release.NO_RELEASE:
            reason = wire.NO_RELEASE
        if reason and self.release.opening:
            # The sled may be falling: no drive any more, but see it through.
            self.release.stop()
        elif reason:
            self._go_safe(reason)

    def _force_seen(self):
        """Whether a sled was let go that no switch told of: two blocks far above quiet."""
        history = self.history
        if not self._force_limit or not self.release.is_expected():
            return False
        last = (history.head - 1) % history.slots
        before = (history.head - 2) % history.slots
        return history.highs[last] > self._force_limit and (
            history.highs[before] > self._force_limit
        )

    def _note_page(self):
        """Keep with the event what it is, for after a reset."""
        log = self.events
        self.keepsake.note(
            self.states.now, self.states.reason, self._release_block, log.first, log.count
        )

    def _copy(self, now_us):
        """Copy the event that nobody fetches to the board's flash, piece by piece."""
        if not self.keepsake.is_saved and self._is_silent_for(self._copy_after_us, now_us):
            self.keepsake.save_step()

    def _begin_recording(self, code, block, offset, stamp_us):
        self.history.guard(block - self._before_blocks)
        self._release_block = block
        self._go(OPEN)
        self.events.note(code, block, offset, stamp_us)
        self._note_page()

    def _watch_recording(self, now_us):
        history = self.history
        if history.frozen:
            self._end_recording(wire.MEMORY_FULL)
        elif history.head > self._release_block + self._after_blocks:
            blocks = history.head - self._release_block
            if self._finish_reason:
                self._end_recording(self._finish_reason)
            elif self._is_silent(now_us):
                self._end_recording(wire.WINDOW_COMPLETE)
            elif blocks > self._longest_blocks:
                self._end_recording(wire.TIME_UP)

    def _end_recording(self, reason):
        self.history.freeze()
        self._go(END, reason)
        self._note_now(wire.EVENT_ENDED, reason)
        self._note_page()

    def _go_safe(self, reason):
        self.release.stop()
        self._go(DOUBT, reason)
        self._note_now(wire.EVENT_WENT_SAFE, reason)

    # What the board shows

    def _is_silent(self, now_us):
        return self._is_silent_for(self._silence_us, now_us)

    def _is_silent_for(self, span_us, now_us):
        return wire.ticks_elapsed_us(now_us, self._heard_us) > span_us

    def _set_outputs(self, now_us):
        outputs = 0
        if self._shunt_on:
            # Never with a drop, and never longer than somebody listens.
            self._shunt_on = self.states.now == wire.SAFE and not self._is_silent(now_us)
            if self._shunt_on:
                outputs |= wire.OUTPUT_SHUNT
        if self.states.now == wire.ARMED:
            outputs = wire.OUTPUT_LAMP | (~self._outputs & wire.OUTPUT_BEAT)
            if self.release.drive_high:
                outputs |= wire.OUTPUT_DRIVE
        if self._flash_on:
            age_us = wire.ticks_elapsed_us(now_us, self.release.stamp_us)
            self._flash_on = age_us < self.config.FLASH_MS * 1000
            if self._flash_on:
                outputs |= wire.OUTPUT_FLASH
        if outputs != self._outputs:
            self._outputs = outputs
            self.board.output(outputs)

    def _report(self, now_us):
        if not self._streaming:
            return
        if wire.ticks_elapsed_us(now_us, self._status_us) < self.config.STATUS_INTERVAL_MS * 1000:
            return
        self._status_us = now_us
        history = self.history
        slot = (history.head - 1) % history.slots
        wire.struct.pack_into(
            wire.STATUS_BODY,
            self.sender.status_body(),
            0,
            self.states.now,
            self.states.reason,
            self._inputs,
            self._outputs,
            history.head,
            history.oldest,
            history.acked,
            history.lost_total,
            history.lows[slot],
            history.highs[slot],
            now_us,
        )

    def _note_now(self, code, value):
        self.events.note(code, self.history.head, 0, self.board.ticks_us(), value)


def _refusal(reasons, state=wire.SAFE):
    text = "; ".join([wire.REASONS[reason][1] for reason in reasons])
    state = wire.STATES[state]
    return {"ok": False, "error": "refused", "text": text, "reasons": reasons, "state": state}
