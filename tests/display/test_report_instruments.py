"""Instruments of a report: which calibration, how long it is valid, and for which drops."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_report_answer import MARKS, SETUP, drop

from tautlog.archive.assessment import CalibrationUse
from tautlog.campaign.laboratory import Laboratory
from tautlog.display.report.conditions import conditions_text
from tautlog.display.report.instruments import instrument_items, numbers
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument

BOARD = Instrument("0.1.0", "RP2040 board", "e66138", 62_500.0, 8, ("force",), 1024, 68)


def on(number, day, calibration):
    one = drop(number, "pass", marks=MARKS)
    one.record.utc, one.record.instrument = f"{day}T10:00:00.000Z", BOARD
    return replace(one, drop=replace(one.drop, calibration=CalibrationUse(calibration)))


@given(st.sets(st.integers(1, 30), min_size=1))
def test_numbers_name_each_drop_once(some):
    told = numbers([drop(number, "pass") for number in some])
    found = set()
    for part in told.split(", "):
        first, _, last = part.partition(" to ")
        found |= set(range(int(first), int(last or first) + 1))
    assert found == some


@pytest.mark.parametrize(
    ("calibration", "words"),
    [
        (Calibration(date="2026-03-01"), ("valid until 2027-03-01", "valid on the day of every")),
        (Calibration(date="2025-01-01", good_for_days=365), ("valid until 2026-01-01", "EXPIRED")),
        (Calibration(date="2026-04-01"), ("made on: 2026-04-01", "made after 1, 2")),
        (Calibration(), ("made on: not stated", "whether it was valid on the day is not known")),
        (Calibration(date="soon"), ("cannot be told without its day", "EXPIRED")),
        (Calibration(date="2026-03-01", good_for_days=0), ("no end of its validity is stated",)),
        (Calibration(date="2026-03-01", good_for_days=1_000_000_000), ("cannot be told",)),
    ],
)
def test_a_calibration_says_whether_it_was_valid(calibration, words):
    items = instrument_items([on(n, f"2026-03-0{n}", calibration) for n in (1, 2)], None)
    (told,) = (item for item in items if item.what == "calibration")
    assert told.drops == "1, 2"
    for word in words:
        assert word in "; ".join(told.facts)


def test_two_calibrations_and_boards_are_told_apart():
    first, second = Calibration(date="2026-03-01"), Calibration(1040.0, date="2026-03-02")
    items = instrument_items([on(1, "2026-03-03", first), on(2, "2026-03-04", second)], None)
    assert [item.drops for item in items if item.what == "calibration"] == ["1", "2"]
    (board,) = (item for item in items if item.what == "board and converter")
    assert (board.drops, "serial number e66138" in board.facts) == ("1, 2", True)
    assert "not stated: there is no campaign.toml" in items[0].facts


def test_conditions_are_those_of_the_records_too():
    warm = replace(SETUP, temperature_c=20.0, humidity_percent=65.0, condition="wet")
    drops = [drop(1, "pass", setup=warm), drop(2, "pass", setup=warm), drop(3, "pass")]
    assert conditions_text(drops, Laboratory(environment="in the shade")) == (
        "in the shade; drops 1, 2: 20 degC, 65 % relative humidity, wet; drop 3: not stated"
    )
    assert conditions_text(drops[2:], Laboratory()) == "not stated"
