"""Numbers: refuses impossible numbers in a record's samples, set-up and calibration.

Typed values were checked on entry, but a file may come from anywhere. A NaN in it would spread
into every figure, mean and picture.
"""

from __future__ import annotations

from collections.abc import Mapping

from tautlog.record.parts import PlaceAttributes

LARGEST = 1e12  # own choice: far above every mass, force and factor of a rig
SMALLEST = 1.0 / LARGEST  # of what something is divided by; own choice
MOST_BITS = 16  # of a converter: a sample holds no more
# Attributes that scale or time the samples; others there are free.
_OF_SAMPLES = {
    "sample_rate_hz",
    "reduction",
    "samples_per_block",
    "converter_bits",
    "newton_per_unit",
    "polarity",
}
_SCALE = ("newton_per_volt", "reference_v", "converter_bits")
MOST_POLES = 12  # as in campaign.toml
LEAST_SENSITIVITY, MOST_SENSITIVITY = 1e-9, 1e3  # V for 1 m/s2, far beyond every accelerometer
# Must be above 0.
_ABOVE_ZERO = {"reference_v", *_OF_SAMPLES} - {"polarity"}
_NOT_ZERO = {"newton_per_volt", "volt_per_m_s2", "divider_ratio", "expected_v"}
_ANY_SIGN = {
    "newton_per_volt",
    "newton_per_square_volt",
    "zero_v",
    "rail_low_v",
    "rail_high_v",
    "polarity",
    "volt_per_m_s2",
    "temperature_c",
}


def refuse_nonsense(attributes: PlaceAttributes) -> None:
    """Raise ValueError for the first impossible number of samples, set-up or calibration.

    Parameters
    ----------
    attributes : mapping
        A record's attributes, by place.
    """
    for place, values in attributes.items():
        for name, value in values.items():
            scales = place in ("/setup", "/calibration") or place.startswith("/channels/")
            counts = scales or name in _OF_SAMPLES
            if counts and isinstance(value, (int, float)) and (wrong := _problem(name, value)):
                raise ValueError(f"{place} {name} = {value!r}, allowed is {wrong}")
        for name in _NOT_ZERO & set(values):
            if values[name] == 0:
                raise ValueError(f"{place} {name} = 0, allowed is any other number")


def require_scale(place: str, values: Mapping[str, object]) -> None:
    """Raise ValueError if a calibration lacks what turns counts into newtons: none is assumed."""
    lacking = [name for name in _SCALE if name not in values]
    if lacking:
        raise ValueError(f"{place} does not state {', '.join(lacking)}")


def _problem(name: str, value: float) -> str:
    if not abs(value) <= LARGEST:  # not-a-number too
        return f"a number up to {LARGEST:g}"
    if name in _ABOVE_ZERO and value < SMALLEST:
        return f"{SMALLEST:g} or more"
    if name == "polarity" and value not in (1, -1):
        return "1 or -1"
    if name == "filter_poles" and value > MOST_POLES:
        return f"up to {MOST_POLES}"
    if name == "volt_per_m_s2" and not LEAST_SENSITIVITY <= abs(value) <= MOST_SENSITIVITY:
        return f"{LEAST_SENSITIVITY:g} to {MOST_SENSITIVITY:g}"
    if name == "converter_bits" and value > MOST_BITS:
        return f"up to {MOST_BITS}"
    return "0 or more" if value < 0 and name not in _ANY_SIGN else ""
