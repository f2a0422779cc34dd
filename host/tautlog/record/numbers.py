"""Numbers: those of a record's set-up and calibration that no drop can have.

What was typed was refused where it came in. What stands in a file may have been written by
anybody: a not-a-number there would spread into every figure, mean and picture.
"""

from __future__ import annotations

from tautlog.record.seal import Told

LARGEST = 1e12  # own choice: far above every mass, force and factor of a rig
# Where 0 or less is none.
_ABOVE_ZERO = {"reference_v", "converter_bits"}
_ANY_SIGN = {"newton_per_volt", "newton_per_square_volt", "zero_v", "rail_low_v", "rail_high_v"}


def refuse_nonsense(told: Told) -> None:
    """Raise ValueError for the first number of set-up or calibration that makes no sense.

    Parameters
    ----------
    told : mapping
        A record's attributes, by place.
    """
    for place in ("/setup", "/calibration"):
        for name, value in told[place].items():
            if isinstance(value, (int, float)) and (wrong := _problem(name, value)):
                raise ValueError(f"{place} {name} = {value!r}, allowed is {wrong}")
    if told["/calibration"].get("newton_per_volt") == 0:
        raise ValueError("/calibration newton_per_volt = 0, allowed is any other number")


def _problem(name: str, value: float) -> str:
    if not abs(value) <= LARGEST:  # not-a-number too
        return f"a number up to {LARGEST:g}"
    if name in _ABOVE_ZERO and value <= 0:
        return "a number above 0"
    return "0 or more" if value < 0 and name not in _ANY_SIGN else ""
