"""Why a board does not run the firmware, in words; imported only there."""

import io
import sys

import bare
import wire
from refusal import Refusal

TOLD_LINES = 3  # of a traceback: what it was, and the places nearest to it


def unfit():
    """A board with a radio, which nothing here may drive."""
    board = bare.Bare()
    text = (
        "%s: the radio of such a board has its LED and the supply's mode, and uses GP23, GP24, "
        "GP25 and GP29; use one without a radio" % board.name()
    )
    return board, Refusal(board, wire.UNFIT, [text])


def wrong_config(faults):
    """A board whose config.py is wrong."""
    board = bare.Bare()
    return board, Refusal(board, wire.WRONG_CONFIG, faults)


def not_started(said):
    """A board on which the firmware fell over; board.py is gone again."""
    for name in ("board", "instrument"):
        sys.modules.pop(name, None)
    board = bare.Bare()
    return board, Refusal(board, wire.NOT_STARTED, said)


def last_lines(problem):
    """The end of an exception's traceback, in the words of the interpreter, newest first."""
    if hasattr(sys, "print_exception"):
        out = io.StringIO()
        sys.print_exception(problem, out)
        said = out.getvalue()
    else:  # a rehearsal under CPython
        import traceback

        said = "".join(traceback.format_exception(problem))
    lines = [line.strip() for line in said.split("\n") if line.strip()]
    return list(reversed(lines[-TOLD_LINES:]))
