"""What is no object of its kind is refused with what was seen and what was expected."""

from dataclasses import dataclass

import pytest

from tautlog.files.typed_json import built


@dataclass(frozen=True)
class Thing:
    name: str
    size_m: float
    number: int | None = None


@pytest.mark.parametrize(
    ("told", "word"),
    [
        ([1], r"expected one JSON object, got \[1\]"),
        ({"size_m": 1.0}, "name is missing; expected text"),
        ({"name": "a", "size_m": 1, "colour": 2}, "unknown name 'colour'; allowed are name"),
        ({"name": None, "size_m": 1}, "name = None: expected text"),
        ({"name": "a", "size_m": "1"}, "size_m = '1': expected a number"),
        ({"name": "a", "size_m": True}, "size_m = True: expected a number"),
        ({"name": "a", "size_m": 1, "number": 1.5}, "expected a whole number or null"),
        ({"name": "a", "size_m": 1, "number": True}, "expected a whole number or null"),
    ],
)
def test_what_is_no_such_object(told, word):
    with pytest.raises(ValueError, match=word):
        built(Thing, told)


def test_what_is_good():
    assert built(Thing, {"name": "a", "size_m": 1}) == Thing("a", 1)
    assert built(Thing, {"name": "", "size_m": 1.5, "number": None}).number is None
