"""The JSON commands of ASK frames: what is understood and what is refused.

Parsing allocates memory, so these commands are obeyed only where nothing is at
stake; while armed there are the short binary frames alone.
"""

import json

# Every command with its fields; a field is a type or the values allowed.
COMMANDS = {
    "hello": {"wire": int},
    "status": {},
    "stream": {"on": bool},
    "shunt": {"on": bool},
    "arm": {"by": ("drive", "hand")},
    "fetch": {"from": int},
    "discard": {},
    "prompt": {},
}
# Fields that may be left out, whole numbers all; what they may say is for levels.py.
OPTIONAL = {"arm": ("rail_low", "rail_high", "level_low", "level_high", "least_span")}


class Malformed(Exception):
    """A command that cannot be obeyed; `error` is one of `wire.ERRORS`."""

    def __init__(self, error, text):
        super().__init__(text)
        self.error = error
        self.text = text


def parse(payload):
    """Return the command in `payload` as a dict that has been checked.

    Raises
    ------
    Malformed
        If it is not JSON, not a known command, or a field is missing, wrong or
        unknown.
    """
    try:
        command = json.loads(bytes(payload).decode())
    except (ValueError, UnicodeError):
        raise Malformed("not-json", "the payload is not a JSON object")
    if not isinstance(command, dict):
        raise Malformed("not-json", "the payload is not a JSON object")
    name = command.get("do")
    fields = COMMANDS.get(name) if isinstance(name, str) else None
    if fields is None:
        raise Malformed("not-a-command", "known commands: " + ", ".join(sorted(COMMANDS)))
    optional = OPTIONAL.get(name, ())
    for key in command:
        if key in optional:
            _check(name, key, command[key], int)
        elif key != "do" and key not in fields:
            raise Malformed("bad-value", "%s takes no field %s" % (name, key))
    for key, allowed in fields.items():
        _check(name, key, command.get(key), allowed)
    return command


def _check(name, key, value, allowed):
    if isinstance(allowed, tuple):
        if value not in allowed:
            raise Malformed("bad-value", "%s: %s must be one of %s" % (name, key, allowed))
        return
    # A bool is an int to Python, and not to us.
    right = isinstance(value, allowed) and (allowed is bool or not isinstance(value, bool))
    if not right or (allowed is int and not 0 <= value < 1 << 30):
        raise Malformed("bad-value", "%s: %s must be a %s" % (name, key, allowed.__name__))


class BusyAnswer:
    """A ready-made refusal, for states in which nothing may be allocated.

    Attributes
    ----------
    body : bytearray
        The JSON of the answer.
    """

    _DIGITS = 5

    def __init__(self, answer):
        rest = json.dumps(answer)[1:]
        self.body = bytearray(('{"to":' + " " * self._DIGITS + "," + rest).encode())
        self._last = self.body.index(b",") - 1

    def address(self, sequence):
        """Make it the answer to the command of that sequence number."""
        for i in range(self._DIGITS):
            blank = i and not sequence
            self.body[self._last - i] = 0x20 if blank else 0x30 + sequence % 10
            sequence //= 10
