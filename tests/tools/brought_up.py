"""A whole bring-up on record, made through the function that keeps each step."""

from __future__ import annotations

from tautlog.campaign.bring_ups import add_step, parts_of
from tautlog.campaign.campaign import read_campaign
from tautlog.model.commissioning import at_rest, expected_text, watched
from tautlog.model.commissioning_steps import steps_for
from tautlog.model.proven_wiring import AS_EXPECTED, BoardSeen, StepDone
from tautlog.model.timestamp import stamp
from tautlog.model.wiring import SIGNALS, Wiring, read_wiring

# The pins of the delivered config.py.
DELIVERED = dict(zip(SIGNALS, (10, 11, 12, 13, 14, 15, 16, 17, 18), strict=False))
WIRING = Wiring(DELIVERED, {"force": 26}, 50)
BOARD = BoardSeen(
    "E660C062137A2B34", "Raspberry Pi Pico with RP2040, MicroPython 1.28", WIRING.text
)
REHEARSED = BoardSeen("rehearsal-1", "virtual board under CPython 3.11.2", WIRING.text)


def step_done(name, board=BOARD, **changes):
    """A step as it came out."""
    told = {
        **{"utc": stamp(), "by": "A. Rigger", "serial": board.serial, "board": board.board},
        **{"firmware": "0.1.0", "wiring": board.wiring, "step": name},
        **{"expected": "as it must be", "read": "as it must be", "result": AS_EXPECTED},
    }
    return StepDone(**told | changes)


def bring_up(folder, *boards):
    """Every step of every board, as expected."""
    parts = parts_of(read_campaign(folder, to_drop=False))
    for board in boards or (BOARD, REHEARSED):
        wiring = read_wiring(board.wiring)
        rest, names = at_rest(parts, wiring), watched(parts, wiring)
        for step in steps_for(parts, wiring):
            texts = "; then ".join(expected_text(one, rest, names) for one in step.phases)
            add_step(folder, step_done(step.name, board, expected=texts, read=texts))
