"""Answers: what a board answers to a command, field by field and within bounds.

A board may be broken, or be something else that looks like one. Its numbers are not believed
because they parse, and its texts are shown shortened, without signs that move a terminal.
"""

from __future__ import annotations

from collections.abc import Mapping

from tautlog.errors import BoardError, RefusedError
from tautlog.firmware import wire
from tautlog.model.names import short
from tautlog.model.readbacks import reason_text

MOST_BLOCK = (1 << 32) - 1  # a block's number has 32 bits, see `wire.BLOCK_HEAD`
MOST_BYTES = (1 << 32) - 1  # of memory, that a 32-bit controller addresses
MOST_REASONS = 12  # that are told; a board that refuses has some at once, none has more
MOST_SIGNS = 300  # of a text of the board, in an error; own choice
MEND = (
    "try again; if it says so again, put the firmware of this program on it with `tautlog install`"
)


def whole(command: str, answer: Mapping[str, object], name: str, most: int = MOST_BLOCK) -> int:
    """A whole number out of an answer.

    Parameters
    ----------
    command : str
        What was asked, for the message.
    answer : mapping
        The answer's fields.
    name : str
        The field.
    most : int
        Largest value that means anything; the least is 0.

    Raises
    ------
    BoardError
        If it is missing, no whole number (JSON's true, 1.5 and 1e3 are none), or out of bounds.
    """
    value = answer.get(name)
    if type(value) is not int or not 0 <= value <= most:
        seen = f"{name} = {short(value)}" if name in answer else f"no {name}"
        raise BoardError(
            f"the board's answer to `{command}` has {seen}, expected a whole number from 0 to "
            f"{most}: {MEND}"
        )
    return value


def granted(command: str, answer: dict[str, object]) -> dict[str, object]:
    """The answer, if the board does what it was asked.

    Raises
    ------
    RefusedError
        If it refuses; with its reasons, at most `MOST_REASONS`.
    """
    if answer.get("ok") is True:
        return answer
    reasons = reason_texts(answer.get("reasons"))
    said = answer.get("text") or answer.get("error") or "no reason given"
    why = "; ".join(reasons) or told(said)
    state = next((one for one in wire.STATES if answer.get("state") == one), "")
    raise RefusedError(f"the board refuses `{command}`: {why}", reasons=reasons, state=state)


def reason_texts(reasons: object) -> tuple[str, ...]:
    """The texts of the reason numbers of an answer."""
    if not isinstance(reasons, list):
        return ()
    more = len(reasons) - MOST_REASONS
    texts = [
        reason_text(number)
        if type(number) is int and abs(number) <= MOST_BLOCK
        else f"reason {short(number)}, not a number"
        for number in reasons[:MOST_REASONS]
    ]
    return (*texts, *([f"and {more} more"] if more > 0 else []))


def told(value: object) -> str:
    """A text of the board for a message: on one line, shortened, harmless to a terminal."""
    return short(value, MOST_SIGNS, quoted=False)
