"""Numbers: those of a record's samples, set-up and calibration that no drop can have.

What was typed was refused where it came in. What stands in a file may have been written by
anybody: a not-a-number there would spread into every figure, mean and picture.
"""

from __future__ import annotations

from tautlog.record.parts import Told

LARGEST = 1e12  # own choice: far above every mass, force and factor of a rig
MOST_BITS = 64  # 2**converter_bits is worked out
# What scales samples or says when they were taken; other attributes there are free.
_OF_SAMPLES = {
    "sample_rate_hz",
    "reduction",
    "samples_per_block",
    "converter_bits",
    "newton_per_unit",
    "polarity",
}
# Where 0 or less is none.
_ABOVE_ZERO = {"reference_v", *_OF_SAMPLES} - {"polarity"}
_ANY_SIGN = {
    "newton_per_volt",
    "newton_per_square_volt",
    "zero_v",
    "rail_low_v",
    "rail_high_v",
    "polarity",
}


def refuse_nonsense(told: Told) -> None:
    """Raise ValueError for the first number of samples, set-up or calibration that makes no sense.

    Parameters
    ----------
    told : mapping
        A record's attributes, by place.
    """
    for place, values in told.items():
        for name, value in values.items():
            counts = place in ("/setup", "/calibration") or name in _OF_SAMPLES
            if counts and isinstance(value, (int, float)) and (wrong := _problem(name, value)):
                raise ValueError(f"{place} {name} = {value!r}, allowed is {wrong}")
    if told["/calibration"].get("newton_per_volt") == 0:
        raise ValueError("/calibration newton_per_volt = 0, allowed is any other number")


def _problem(name: str, value: float) -> str:
    if not abs(value) <= LARGEST:  # not-a-number too
        return f"a number up to {LARGEST:g}"
    if name in _ABOVE_ZERO and value <= 0:
        return "a number above 0"
    if name == "polarity" and value not in (1, -1):
        return "1 or -1"
    if name == "converter_bits" and value > MOST_BITS:
        return f"up to {MOST_BITS}"
    return "0 or more" if value < 0 and name not in _ANY_SIGN else ""
