"""JSON text: what can be read in two ways, or is no such object, is refused with its place."""

from dataclasses import dataclass

import pytest

from tautlog.jsontext import JsonTextError, built, parse


@dataclass(frozen=True)
class Thing:
    name: str
    size_m: float
    number: int | None = None


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ('{"a": 1, "a": 2}', "'a' stands there twice"),
        ('{"b": {"a": 1, "a": 2}}', "'a' stands there twice"),
        ('{"a": NaN}', "NaN is no number"),
        ('{"a": -Infinity}', "-Infinity is no number"),
        ("[" * 100_000, "nested too deep"),
        ('{"a": ' + "9" * 5000 + "}", "it is no JSON"),
        ('{"a"', "it is no JSON"),
        ("\ufeff{}", "it is no JSON"),
    ],
)
def test_what_is_not_read(text, word):
    with pytest.raises(JsonTextError, match=word):
        parse(text)


@pytest.mark.parametrize(
    ("told", "word"),
    [
        ([1], r"expected one JSON object, seen \[1\]"),
        ({"size_m": 1.0}, "name lacks; expected is a text"),
        ({"name": "a", "size_m": 1, "colour": 2}, "'colour' is no name of it; allowed are name"),
        ({"name": None, "size_m": 1}, "name = None: allowed is a text"),
        ({"name": "a", "size_m": "1"}, "size_m = '1': allowed is a number"),
        ({"name": "a", "size_m": True}, "size_m = True: allowed is a number"),
        ({"name": "a", "size_m": 1, "number": 1.5}, "allowed is a whole number or null"),
        ({"name": "a", "size_m": 1, "number": True}, "allowed is a whole number or null"),
    ],
)
def test_what_is_no_such_object(told, word):
    with pytest.raises(ValueError, match=word):
        built(Thing, told)


def test_what_is_good():
    assert built(Thing, parse('{"name": "a", "size_m": 1}')) == Thing("a", 1)
    assert built(Thing, parse('{"name": "", "size_m": 1.5, "number": null}')).number is None
