"""Lies of a board, by name: what it says, and to which command."""

import itertools
import json

from fakes import at_desk
from fakes.drops import PER_BLOCK
from fakes.liars import Lie
from tautlog.firmware import wire

ESC = "\x1b[2J\x1b[31m\x9b2J\x07\u202e"
DEEP = json.loads("[" * 31 + "]" * 31)
GONE = object()
# In a field that must be a whole number within bounds.
NO_NUMBERS = {
    "missing": GONE,
    "null": None,
    "true": True,
    "a text": "12",
    "text that moves": ESC,
    "a fraction": 1.5,
    "1e30": 1e30,
    "negative": -1,
    "beyond the wire": 1 << 32,
    "of 300 digits": 10**299,
    "a list": [4],
    "an object": {"4": 4},
    "deep": DEEP,
}


def fields(**changes):
    """Another value in some fields."""

    def tell(answer):
        told = {**answer, **changes}
        return {name: value for name, value in told.items() if value is not GONE}

    return tell


def raw(text):
    """An answer as bytes, with its `to` where TO stands."""
    return lambda answer: text.replace("TO", str(answer["to"])).encode()


def refuses(**more):
    return lambda answer: {"to": answer["to"], "ok": False, "state": answer["state"], **more}


def silent(answer):
    return None


# Answers to `stream`, `status`, `fetch`, `arm`, `shunt`, `discard`


def _numbers(command, name, way, may_pass=()):
    return {
        f"{command}: {name} is {what}": (
            way,
            Lie({command: fields(**{name: value})}, may_pass=what in may_pass),
        )
        for what, value in NO_NUMBERS.items()
    }


_TEXTS = {
    "NaN": raw('{"to":TO,"ok":true,"head":NaN,"oldest":0}'),
    "infinity": raw('{"to":TO,"ok":true,"head":-Infinity,"oldest":0}'),
    "a name twice": raw('{"to":TO,"ok":false,"ok":true,"head":9,"oldest":0}'),
    "deep JSON": raw(f'{{"to":TO,"ok":true,"head":{"[" * 2000}1{"]" * 2000}}}'),
    "no JSON": raw("ok TO"),
    "a list": raw("[TO]"),
    "nothing": raw(""),
    "no UTF-8": lambda answer: b'{"to":%d,"ok":true,"kept":"\xff\xfe"}' % answer["to"],
    "`to` is a text": fields(to="3"),
    "`to` is true": fields(to=True),
    "`to` is 1e30": fields(to=1e30),
    "silence": silent,
    "ok is 1": fields(ok=1),
    "ok is a text": fields(ok="true"),
    "ok is missing": fields(ok=GONE),
    "refused without a reason": refuses(),
    "refused with 4000 signs": refuses(text="x" * 4000),
    "refused with signs that move": refuses(text=ESC * 20),
    "refused, text is deep": refuses(text=DEEP),
    "refused, unknown reasons": refuses(reasons=[9999, -1, 1 << 70]),
    "refused, 600 reasons": refuses(reasons=list(range(600))),
    "refused, reasons are objects": refuses(reasons=[{"a": ESC}, [DEEP], None, 2.5, "x" * 900]),
    "refused, error is an object": refuses(error={"a": ESC}),
}


def _texts(command, way):
    return {f"{command}: {what}": (way, Lie({command: tell})) for what, tell in _TEXTS.items()}


ANSWERS = {
    **_numbers("stream", "first", "health"),
    **_numbers("status", "free_bytes", "health", ("missing", "null")),
    **_numbers("status", "inputs", "bring-up"),
    **_numbers("fetch", "head", "recover"),
    **_numbers("fetch", "oldest", "recover"),
    **_numbers("arm", "first", "drop"),
    **_numbers("arm", "armed", "drop"),
    **_texts("stream", "health"),
    **_texts("fetch", "recover"),
    **_texts("arm", "drop"),
    **_texts("hello", "health"),
    **_texts("shunt", "shunt"),
    "fetch: head below oldest": ("recover", Lie({"fetch": fields(head=10, oldest=900)})),
    "fetch: head a million ahead": (
        "recover",
        Lie({"fetch": lambda said: {**said, "head": said["head"] + 1_000_000}}),
    ),
    "fetch: head 2^32 - 1": ("recover", Lie({"fetch": fields(head=(1 << 32) - 1)})),
    "fetch: oldest a million ahead": (
        "recover",
        Lie(
            {
                "fetch": lambda said: {
                    **said,
                    "oldest": said["head"] + 10**6,
                    "head": said["head"] + 10**6,
                }
            }
        ),
    ),
    "fetch: nothing is held": ("recover", Lie({"fetch": fields(head=0, oldest=0)})),
    "fetch: less than is held": (
        "recover",
        Lie({"fetch": lambda said: {**said, "head": said["oldest"] + 2}}),
    ),
    # Not here: an `oldest` too late. A board that has let go of acknowledged blocks says the same
    # when the file with them is lost, and must be free for the next drop.
    "fetch: kept is a list": ("recover", Lie({"fetch": fields(kept=[ESC])}, may_pass=True)),
    "fetch: kept moves the terminal": (
        "recover",
        Lie({"fetch": fields(kept=ESC * 90)}, may_pass=True),
    ),
    "arm: first is 0": ("drop", Lie({"arm": fields(first=0)})),
    "arm: first a million back": (
        "drop",
        Lie(
            {
                "arm": lambda said: {
                    **said,
                    "first": said["first"] + 10**6,
                    "armed": said["armed"] + 10**6,
                }
            }
        ),
    ),
    "arm: armed a million ahead": (
        "drop",
        Lie({"arm": lambda said: {**said, "armed": said["armed"] + 10**6}}),
    ),
    "arm: the token is a number": ("drop", Lie({"arm": fields(token=12)})),
    "arm: the token is odd": ("drop", Lie({"arm": fields(token="0" * 15)})),
    "arm: the token is not hex": ("drop", Lie({"arm": fields(token="zz" * 8)})),
    "arm: the token has blanks": ("drop", Lie({"arm": fields(token="0000 " * 4)})),
    "discard: refused": ("drop", Lie({"discard": refuses(text=ESC * 40)}, may_pass=True)),
    "discard: silence": ("drop", Lie({"discard": silent}, may_pass=True)),
    "discard: nonsense": ("drop", Lie({"discard": fields(ok=[[]])}, may_pass=True)),
    "status: state is a list": ("bring-up", Lie({"status": fields(state=[ESC])})),
    "status: silence": ("bring-up", Lie({"status": silent})),
    "status: refused": ("health", Lie({"status": refuses(text=DEEP)})),
    "shunt: on, and never off": (
        "shunt",
        Lie(every=lambda board: setattr(board, "shunt", "shunt" in board.heard)),
    ),
}

# Greetings


def _hello(may_pass=False, **changes):
    return "health", Lie({"hello": fields(**changes)}, may_pass=may_pass)


GREETINGS = {
    "hello: serial is empty": _hello(serial=""),
    "hello: serial is a list": _hello(serial=["f-1"]),
    "hello: serial has 3000 signs": _hello(serial="s" * 3000),
    "hello: serial moves the terminal": _hello(serial=ESC),
    "hello: serial is a path": _hello(serial="../../etc/passwd\x00"),
    "hello: board is null": _hello(board=None),
    "hello: board moves the terminal": _hello(board=ESC),
    "hello: firmware is an object": _hello(firmware={"a": DEEP}),
    "hello: rate is 1e-300": _hello(rate_hz=1e-300),
    "hello: rate is a text": _hello(rate_hz="62500"),
    "hello: rate is 1e300": _hello(rate_hz=1e300),
    "hello: before_s is 1e308": _hello(before_s=1e308, after_s=1e308, may_pass=True),
    "hello: channel moves the terminal": _hello(channels=[ESC]),
    "hello: two channels of one name": _hello(channels=["force", "force"]),
    "hello: readbacks are deep": _hello(readbacks=[DEEP]),
    "hello: readback is a number": _hello(readbacks=[[1, 2]]),
    "hello: readback is a list": _hello(readbacks=[[["stop"], 2]]),
    "hello: wire is a text": _hello(wire="2"),
    "hello: wire is true": _hello(wire=True),
    "hello: wire is of 300 digits": _hello(wire=10**299),
    "hello: firmware of another wire moves": _hello(wire=9, firmware=ESC * 40),
    "hello: refused is a list": _hello(refused=[18]),
    "hello: refused, faults move": _hello(refused=wire.WRONG_CONFIG, faults=[ESC] * 40),
    "hello: refused, faults have 4000 signs": _hello(refused=wire.NOT_STARTED, faults=["x" * 3500]),
    "hello: refused, faults are deep": _hello(refused=wire.UNFIT, faults=[DEEP, 1, None]),
    "hello: regulator is an object": _hello(regulator={"a": ESC}),
    "hello: state is a list": _hello(state=["safe"]),
    "hello: pins are 1e30": ("bring-up", Lie({"hello": fields(pins=[1e30] * 13)})),
    "hello: pins are true": ("bring-up", Lie({"hello": fields(pins=[True] * 13)})),
    "hello: flash_ms is of 300 digits": ("bring-up", Lie({"hello": fields(flash_ms=10**299)})),
}

# Frames while a drop goes on

_HEAD = wire.struct.Struct(wire.BLOCK_HEAD)
_STATUS = wire.struct.Struct(wire.STATUS_BODY)
_EVENT = wire.struct.Struct(wire.EVENT_BODY)
NUMBER, OLDEST, STAMP, FLAGS, LOST, COUNT, CHANNELS, BITS = range(8)
STATE, REASON, INPUTS, OUTPUTS, S_HEAD, S_OLDEST, ACKED, S_LOST, LOW, HIGH, S_STAMP = range(11)
E_NUMBER, CODE, _, E_BLOCK, OFFSET, _, VALUE, E_STAMP = range(8)


def _changed(layout, kind, change, when):
    """Frames of a kind with other values; `when` says from when on."""

    def tell(board, payload):
        if not when(board):
            return [payload]
        values = list(layout.unpack_from(payload))
        told = change(board, values)
        if told is None:
            return []
        return [layout.pack(*values) + payload[layout.size :] if told is True else told]

    return {kind: tell}


def after_release(board):
    return board.release is not None


def armed(board):
    return "arm" in board.heard


def always(board):
    return True


def soon(board):
    """A while after the release."""
    return board.release is not None and board.now_s > board.release / 62500.0 + 1.0


def _set(**values):
    names = globals()

    def change(board, told):
        for name, value in values.items():
            told[names[name]] = value(board, told) if callable(value) else value
        return True

    return change


def _block(change, when=soon, may_pass=False, way="drop"):
    return way, Lie(frames=_changed(_HEAD, wire.BLOCK, change, when), may_pass=may_pass)


def _status(change, when=soon, may_pass=False, way="drop"):
    return way, Lie(frames=_changed(_STATUS, wire.STATUS, change, when), may_pass=may_pass)


def _event(change, when=always, may_pass=False, way="drop"):
    return way, Lie(frames=_changed(_EVENT, wire.EVENT, change, when), may_pass=may_pass)


def _code(name):
    return next(code for code, known in wire.EVENT_NAMES.items() if known == name)


def of(name, change):
    """A change of the events of one name."""

    def one(board, told):
        return change(board, told) if told[CODE] == _code(name) else True

    return one


def nothing(board, told):
    return None


def once(name, change):
    """A change that is made once."""

    def one(board, told):
        if name in board.notes:
            return True
        board.notes[name] = True
        return change(board, told)

    return one


def _jump(far, **more):
    return _set(NUMBER=lambda board, told: min(told[NUMBER] + far, (1 << 32) - 1), **more)


def _told_oldest(board, told):
    return told[NUMBER]


def same_block(board, told):
    told[NUMBER] = board.notes.setdefault("number", told[NUMBER])
    return True


def _slow(board, told):
    """One block in five seconds."""
    if board.now_s < board.notes.get("next", 0.0):
        return None
    board.notes["next"] = board.now_s + 5.0
    return True


BLOCKS = {
    "block: a million ahead, once": _block(once("jump", _jump(10**6)), may_pass=True),
    "block: a million ahead, from now on": _block(_jump(10**6)),
    "block: a million ahead, and the oldest": _block(
        once("jump", _jump(10**6, OLDEST=_told_oldest)), may_pass=True
    ),
    "block: a million ahead for ever, and the oldest": _block(_jump(10**6, OLDEST=_told_oldest)),
    "block: the last number of all, and the oldest": _block(
        _set(NUMBER=(1 << 32) - 1, OLDEST=(1 << 32) - 1)
    ),
    "block: the last number at arming": _block(
        _set(NUMBER=(1 << 32) - 1, OLDEST=(1 << 32) - 1), when=armed
    ),
    "block: a million ahead at arming, and the oldest": _block(
        _jump(10**6, OLDEST=_told_oldest), when=armed
    ),
    "block: a million ahead in a recovery": _block(
        _jump(10**6, OLDEST=_told_oldest), when=always, way="recover"
    ),
    "block: a million ahead at rest": _block(
        _jump(10**6, OLDEST=_told_oldest), when=always, way="health"
    ),
    "block: 300 ahead, and the oldest": _block(_jump(300, OLDEST=_told_oldest), may_pass=True),
    "block: 2 left out, and told as gone": _block(
        lambda board, told: (
            None if told[NUMBER] % 40 in (3, 4) else _set(OLDEST=_told_oldest)(board, told)
        ),
        may_pass=True,
    ),
    "block: 2 left out in a recovery, and told as gone": _block(
        lambda board, told: (
            None if told[NUMBER] % 40 in (3, 4) else _set(OLDEST=_told_oldest)(board, told)
        ),
        when=always,
        way="recover",
        may_pass=True,
    ),
    "block: 2 left out in a recovery, and told as held": _block(
        lambda board, told: None if told[NUMBER] % 40 in (3, 4) else True,
        when=always,
        way="recover",
        may_pass=True,
    ),
    "block: numbers go backward": _block(
        lambda board, told: _set(
            NUMBER=max(2 * board.notes.setdefault("n", told[NUMBER]) - told[NUMBER], 0)
        )(board, told)
    ),
    "block: number 0 for ever": _block(_set(NUMBER=0)),
    "block: the same for ever": _block(same_block),
    "block: the same for ever, at arming": _block(same_block, when=armed),
    "block: the same for ever, at rest": _block(same_block, when=always, way="health"),
    "block: the same for ever, in a recovery": _block(same_block, when=always, way="recover"),
    "block: none from the release on": _block(nothing, when=after_release),
    "block: none a second after it": _block(nothing),
    "block: none once it is armed": _block(nothing, when=armed),
    "block: none at rest": _block(nothing, when=always, way="health"),
    "block: none in a recovery": _block(nothing, when=always, way="recover"),
    "block: none, waiting for a hand": _block(nothing, when=armed, way="hand"),
    "block: one in five seconds": _block(_slow),
    "block: one in five seconds, in a recovery": _block(_slow, when=always, way="recover"),
    "block: oldest behind the number": _block(_set(OLDEST=(1 << 32) - 1), may_pass=True),
    "block: no samples": _block(_set(COUNT=0)),
    "block: 65535 samples": _block(_set(COUNT=65535)),
    "block: no channels": _block(_set(CHANNELS=0)),
    "block: 255 channels": _block(_set(CHANNELS=255)),
    "block: 13 bits": _block(_set(BITS=13)),
    "block: 0 bits": _block(_set(BITS=0)),
    "block: packed as 12 bits": _block(_set(BITS=12)),
    "block: half of it": _block(lambda board, told: _HEAD.pack(*told) + bytes(PER_BLOCK)),
    "block: only its head": _block(lambda board, told: _HEAD.pack(*told)),
    "block: half of its head": _block(lambda board, told: _HEAD.pack(*told)[:7]),
    "block: few samples, well packed": _block(
        lambda board, told: _HEAD.pack(*told[:COUNT], 16, 1, 16) + bytes(32), may_pass=True
    ),
    "block: all flags, all lost": _block(_set(FLAGS=65535, LOST=65535), may_pass=True),
    "block: stamps beyond their period": _block(_set(STAMP=(1 << 32) - 1), may_pass=True),
    "block: stamps stand still": _block(_set(STAMP=5), may_pass=True),
    "block: stamps go backward": _block(
        _set(STAMP=lambda board, told: (1 << 30) - 1 - told[STAMP]), may_pass=True
    ),
}

STATUSES = {
    "status frame: state 4": _status(_set(STATE=4)),
    "status frame: state 255, armed": _status(_set(STATE=255), when=armed),
    "status frame: half of it": _status(lambda board, told: _STATUS.pack(*told)[:9]),
    "status frame: 4000 bytes": _status(lambda board, told: bytes(4000)),
    "status frame: recording for ever": _status(_set(STATE=wire.RECORDING)),
    "status frame: armed for ever": _status(_set(STATE=wire.ARMED), when=after_release),
    "status frame: safe after the release": _status(_set(STATE=wire.SAFE), when=after_release),
    "status frame: held at once": _status(_set(STATE=wire.HELD), when=after_release, may_pass=True),
    "status frame: safe while a hand is waited for": (
        "waiting",
        Lie(frames=_changed(_STATUS, wire.STATUS, _set(STATE=wire.SAFE), armed)),
    ),
    "status frame: held while a hand is waited for": (
        "waiting",
        Lie(frames=_changed(_STATUS, wire.STATUS, _set(STATE=wire.HELD), armed)),
    ),
    "status frame: head 2^32 - 1": _status(_set(S_HEAD=(1 << 32) - 1)),
    "status frame: head a million ahead": _status(
        _set(S_HEAD=lambda board, told: told[S_HEAD] + 10**6)
    ),
    "status frame: head a million ahead, once": _status(
        once("jump", _set(S_HEAD=lambda board, told: told[S_HEAD] + 10**6)), may_pass=True
    ),
    "status frame: head a million ahead at arming": _status(
        _set(S_HEAD=lambda board, told: told[S_HEAD] + 10**6), when=armed
    ),
    "status frame: head a million ahead in a recovery": _status(
        _set(S_HEAD=lambda board, told: told[S_HEAD] + 10**6),
        when=always,
        way="recover",
        may_pass=True,
    ),
    "status frame: head 0": _status(_set(S_HEAD=0), may_pass=True),
    "status frame: head goes backward": _status(
        _set(S_HEAD=lambda board, told: max(10**4 - told[S_HEAD], 0)), may_pass=True
    ),
    "status frame: held, and head is where it was": _status(
        lambda board, told: _set(
            STATE=wire.HELD, S_HEAD=board.notes.setdefault("head", told[S_HEAD])
        )(board, told),
        may_pass=True,
    ),
    "status frame: oldest behind the head": _status(_set(S_OLDEST=(1 << 32) - 1), may_pass=True),
    "status frame: acked 2^32 - 1": _status(_set(ACKED=(1 << 32) - 1), may_pass=True),
    "status frame: all lost": _status(_set(S_LOST=(1 << 32) - 1), may_pass=True),
    "status frame: lost goes backward": _status(
        _set(S_LOST=lambda board, told: (1 << 31) - board.head), may_pass=True
    ),
    "status frame: its clock stands still": _status(_set(S_STAMP=9), may_pass=True),
    "status frame: its clock is beyond its period": _status(
        _set(S_STAMP=(1 << 32) - 1), may_pass=True
    ),
    "status frame: none at all": _status(nothing, when=always, way="health"),
    "status frame: none once it is armed": _status(nothing, when=armed),
    "status frame: none after the release": _status(nothing, when=after_release),
    "status frame: drive high in state safe": _status(_set(OUTPUTS=255), when=always, way="health"),
    "status frame: inputs change every time": _status(
        _set(INPUTS=lambda board, told: board.head & 255), may_pass=True
    ),
}

EVENTS = {
    "event: code 0": _event(_set(CODE=0)),
    "event: code 255": _event(_set(CODE=255)),
    "event: half of it": _event(lambda board, told: _EVENT.pack(*told)[:11]),
    "event: 4000 bytes": _event(lambda board, told: bytes(4000)),
    "event: block 2^32 - 1": _event(_set(E_BLOCK=(1 << 32) - 1)),
    "event: the release in block 2^32 - 1": _event(
        of("release-opened", _set(E_BLOCK=(1 << 32) - 1)), may_pass=True
    ),
    "event: the release a million blocks ahead": _event(
        of("release-opened", _set(E_BLOCK=lambda board, told: told[E_BLOCK] + 10**6)), may_pass=True
    ),
    "event: the release in block 0": _event(of("release-opened", _set(E_BLOCK=0)), may_pass=True),
    "event: the release beyond its block": _event(
        of("release-opened", _set(OFFSET=65535)), may_pass=True
    ),
    "event: arming in block 2^32 - 1": _event(
        of("armed", _set(E_BLOCK=(1 << 32) - 1)), may_pass=True
    ),
    "event: the end in block 2^32 - 1": _event(
        of("recording-ended", _set(E_BLOCK=(1 << 32) - 1)), may_pass=True
    ),
    "event: the end's reason is the least number": _event(
        of("recording-ended", _set(VALUE=-(1 << 31))), may_pass=True
    ),
    "event: armed by the least number": _event(of("armed", _set(VALUE=-(1 << 31))), may_pass=True),
    "event: stamps beyond their period": _event(_set(E_STAMP=(1 << 32) - 1), may_pass=True),
    "event: all have number 0": _event(_set(E_NUMBER=0)),
    "event: all have number 65535": _event(_set(E_NUMBER=65535)),
    "event: numbers go backward": _event(
        _set(E_NUMBER=lambda board, told: 65535 - told[E_NUMBER]), may_pass=True
    ),
    "event: the end is never told": _event(of("recording-ended", nothing), may_pass=True),
    "event: the arming is never told": _event(of("armed", nothing), may_pass=True),
    "event: the release is never told": _event(of("release-opened", nothing)),
    "event: none is told": _event(nothing),
    "event: none is told in a recovery": _event(nothing, way="recover", may_pass=True),
    "event: the release is a knock": _event(of("release-opened", _set(CODE=_code("knock")))),
    "event: block 2^32 - 1 in a recovery": _event(
        _set(E_BLOCK=(1 << 32) - 1), way="recover", may_pass=True
    ),
    "event: all have number 0 in a recovery": _event(
        _set(E_NUMBER=0), way="recover", may_pass=True
    ),
    "event: stamps of the arming change": _event(
        of(
            "armed",
            _set(
                E_STAMP=lambda board, told: board.notes.setdefault(
                    "n", itertools.count(7)
                ).__next__()
            ),
        ),
        way="recover",
        may_pass=True,
    ),
}

# Frames that nobody asked for, at every read


def _flood(*frames, when=always, count=200):
    def every(board):
        if when(board):
            for _ in range(count):
                for kind, payload in frames:
                    board.raw(kind, payload(board) if callable(payload) else payload)

    return every


def _at_head(board):
    """Blocks that never end, faster than any board."""
    number = board.notes["n"] = max(board.notes.get("n", 0), board.head) + 1
    return _HEAD.pack(number, max(number - 60, 0), 0, 0, 0, PER_BLOCK, 1, 16) + bytes(2 * PER_BLOCK)


def _many_events(board):
    number = board.notes["e"] = board.notes.get("e", 100) + 1
    return _EVENT.pack(number & 0xFFFF, 4, 0, board.head, 0, 0, number & 1, number)


def _released(board):
    return _EVENT.pack(40, _code("release-opened"), 0, board.head, 0, 0, 0, 9)


def _ends(board):
    return _EVENT.pack(41, _code("recording-ended"), 0, board.head, 0, 0, wire.FINISHED, 9)


STATUS_NOW = _STATUS.pack(wire.RECORDING, 0, 15, 0, 500, 400, 0, 0, 1, 2, 3)
FLOODS = {
    "flood: blocks that never end": (
        "drop",
        Lie(every=_flood((wire.BLOCK, _at_head), when=soon, count=20), may_pass=True),
    ),
    "flood: blocks that never end, once it should end": (
        "drop",
        Lie(
            every=_flood((wire.BLOCK, _at_head), when=lambda board: board.reason, count=5),
            may_pass=True,
        ),
    ),
    "flood: blocks at rest": (
        "health",
        Lie(every=_flood((wire.BLOCK, _at_head), count=20), may_pass=True),
    ),
    "flood: statuses": (
        "drop",
        Lie(every=_flood((wire.STATUS, STATUS_NOW), when=soon, count=50), may_pass=True),
    ),
    "flood: statuses at rest": (
        "health",
        Lie(every=_flood((wire.STATUS, STATUS_NOW), count=50), may_pass=True),
    ),
    "flood: events": ("drop", Lie(every=_flood((wire.EVENT, _many_events), when=soon, count=300))),
    "flood: unknown frames": (
        "drop",
        Lie(every=_flood((99, b"x" * 100), when=soon), may_pass=True),
    ),
    "flood: damaged frames": (
        "drop",
        Lie(
            every=lambda board: (
                board._outgoing.extend(wire.frame(wire.BLOCK, 0, bytes(900))[:-2] + b"??")
                if soon(board)
                else None
            ),
            may_pass=True,
        ),
    ),
    "flood: bytes before the greeting": (
        "health",
        Lie({"hello": silent}, every=lambda board: board._outgoing.extend(bytes(range(256)) * 200)),
    ),
    "flood: prompts before the greeting": (
        "health",
        Lie(
            {"hello": silent},
            every=lambda board: board._outgoing.extend(b">>> raw REPL; CTRL-B to exit\r\n>" * 200),
        ),
    ),
    "flood: a prompt's last words without an end": (
        "health",
        Lie(
            {"hello": silent},
            every=lambda board: board._outgoing.extend(b">>> raw REPL\x04OK" + ESC.encode() * 500),
        ),
    ),
    "flood: a prompt's last words": (
        "health",
        Lie(
            {"hello": silent},
            every=lambda board: board._outgoing.extend(
                b">>> raw REPL OK" + ESC.encode() * 900 + b"\x04\x04>"
            ),
        ),
    ),
    "flood: answers to nothing": (
        "health",
        Lie(every=_flood((wire.ANSWER, b'{"to":9999,"ok":true}')), may_pass=True),
    ),
    "flood: answers before they are asked for": (
        "health",
        Lie(
            every=lambda board: [
                board.raw(wire.ANSWER, b'{"to":%d,"ok":false,"text":"no"}' % n) for n in range(20)
            ]
        ),
    ),
    "release: told while it only armed": (
        "drop",
        Lie(
            every=lambda board: (
                board.raw(wire.EVENT, _released(board))
                if board.state == wire.ARMED
                and board.release is None
                and board.now_s > board.armed_s + 0.2
                else None
            ),
            may_pass=True,
        ),
    ),
    "release: told and ended at once": (
        "drop",
        Lie(
            every=lambda board: (
                (board.raw(wire.EVENT, _released(board)), board.raw(wire.EVENT, _ends(board)))
                if armed(board) and board.now_s > board.armed_s + 0.2
                else None
            ),
            may_pass=True,
        ),
    ),
    "silence: from arming on": (
        "drop",
        Lie(
            every=lambda board: (
                board._outgoing.clear()
                if armed(board) and board.now_s > board.armed_s + 0.1
                else None
            ),
            frames={
                kind: lambda board, payload: (
                    [] if armed(board) and board.now_s > board.armed_s + 0.1 else [payload]
                )
                for kind in (wire.BLOCK, wire.EVENT, wire.STATUS)
            },
        ),
    ),
    "silence: while a hand is waited for": (
        "waiting",
        Lie(
            frames={
                kind: lambda board, payload: (
                    [] if armed(board) and board.now_s > board.armed_s + 0.5 else [payload]
                )
                for kind in (wire.BLOCK, wire.EVENT, wire.STATUS)
            }
        ),
    ),
    "silence: from the release on": (
        "drop",
        Lie(
            frames={
                kind: lambda board, payload: [] if soon(board) else [payload]
                for kind in (wire.BLOCK, wire.EVENT, wire.STATUS)
            }
        ),
    ),
    "silence: but for statuses, from the release on": (
        "drop",
        Lie(
            frames={
                kind: lambda board, payload: [] if soon(board) else [payload]
                for kind in (wire.BLOCK, wire.EVENT)
            }
        ),
    ),
    "silence: but for statuses, while a hand is waited for": (
        "waiting",
        Lie(
            frames={
                kind: lambda board, payload: (
                    [] if armed(board) and board.now_s > board.armed_s + 0.5 else [payload]
                )
                for kind in (wire.BLOCK, wire.EVENT)
            }
        ),
    ),
}

# At the other commands: one of each kind
ELSEWHERE = {
    f"{way}, {name}": (way, lie)
    for way in (
        *("calibrate", "shunt", "hang", "check", "bring-up", "drop command"),
        *at_desk.WAYS,
    )
    for name, lie in {
        "stream: first is 1e30": Lie({"stream": fields(first=1e30)}),
        "stream: deep JSON": Lie({"stream": _TEXTS["deep JSON"]}),
        "stream: refused with signs that move": Lie({"stream": refuses(text=ESC * 90)}),
        "blocks a million ahead": Lie(
            frames=_changed(_HEAD, wire.BLOCK, _jump(10**6, OLDEST=_told_oldest), always)
        ),
        "no blocks": Lie(frames=_changed(_HEAD, wire.BLOCK, nothing, always)),
        "no statuses": Lie(frames=_changed(_STATUS, wire.STATUS, nothing, always)),
        "blocks with other channels": Lie(
            frames=_changed(_HEAD, wire.BLOCK, _set(COUNT=PER_BLOCK // 2, CHANNELS=2), always)
        ),
        "a serial that moves": Lie({"hello": fields(serial=ESC, board=ESC)}),
    }.items()
}

# `boards --ask` greets, and no more
ASKED = {
    f"boards, {name}": ("boards", lie)
    for name, (way, lie) in (GREETINGS | _texts("hello", "health") | FLOODS).items()
    if way == "health" and ("hello" in name or "greeting" in name)
}

# A board that holds an event, at the desk
HELD = {
    f"desk held, {name}": ("desk held", lie)
    for name, (way, lie) in (ANSWERS | BLOCKS | EVENTS | STATUSES).items()
    if way == "recover"
}

LIES = ASKED | HELD | ANSWERS | GREETINGS | BLOCKS | STATUSES | EVENTS | FLOODS | ELSEWHERE
