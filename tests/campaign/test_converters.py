"""Files of a campaign's converters: kept, read for the right board, and not believed blindly."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from tautlog.calibrate.code_density import evaluate
from tautlog.campaign.converters import (
    FOLDER,
    add_converter,
    kept_converters,
    newest_converter,
    read_converter,
)
from tautlog.errors import CalibrationError, CampaignError
from tautlog.rehearsal.converters import some_converter
from tautlog.rehearsal.density_test import SimulatedTest, simulated_counts

DAY = "2026-05-01"
BOARD, OTHER = "e66118604b3a2c2f", "e66118604b3a0000"


def of_board(found):
    """The table of a test, with the board and the chip that it holds for."""
    return replace(found.linearity, serial=found.counts.serial, chip=found.counts.chip)


def found_on(serial, seed=1):
    test = SimulatedTest(ramps=4, ramp_s=0.3, held_conversions=3000)
    counts = simulated_counts(some_converter("RP2040", seed), test, seed)
    machine = "Raspberry Pi Pico with RP2040"
    return evaluate(replace(counts, serial=serial, machine=machine), DAY)


@pytest.fixture(scope="module")
def found():
    return found_on(BOARD)


def test_it_is_kept_and_read_again(found, tmp_path):
    path = add_converter(tmp_path, found, DAY)
    assert path == tmp_path / FOLDER / f"0001_{datetime.now(UTC):%Y-%m-%d}.json"
    assert newest_converter(tmp_path, BOARD) == of_board(found)
    kept = read_converter(path)
    assert kept.chip == "RP2040"
    assert (kept.ramp_pin, kept.channel_pin) == (9, 28)
    assert kept.first_code == found.codes[0]
    np.testing.assert_allclose(
        np.array(kept.inl_steps.split(), dtype=float), found.inl, atol=0.0051
    )


def test_another_board_has_none(found, tmp_path):
    assert newest_converter(tmp_path, BOARD) is None
    add_converter(tmp_path, found, DAY)
    assert newest_converter(tmp_path, OTHER) is None
    assert newest_converter(tmp_path, BOARD.upper()) == of_board(found)


def test_the_newest_of_a_board_counts_and_none_is_overwritten(found, tmp_path):
    newer, other = found_on(BOARD, 2), found_on(OTHER, 3)
    paths = [add_converter(tmp_path, one, DAY) for one in (found, newer, other)]
    assert len(set(paths)) == 3
    assert newest_converter(tmp_path, BOARD) == of_board(newer)
    assert newest_converter(tmp_path, OTHER) == of_board(other)
    assert [path for path, _ in kept_converters(tmp_path)] == paths


def test_a_doubtful_test_is_not_kept(found, tmp_path):
    with pytest.raises(CalibrationError, match=r"not kept: ramps disagree\. Mend it and test"):
        add_converter(tmp_path, replace(found, doubts=("ramps disagree",)), DAY)
    assert not (tmp_path / FOLDER).exists()


def test_a_rehearsal_is_not_kept(found, tmp_path):
    counts = replace(found.counts, serial="rehearsal-1")
    with pytest.raises(CalibrationError, match="a rehearsal is no test"):
        add_converter(tmp_path, replace(found, counts=counts), DAY)


def shifted(text):
    words = text.split()
    return " ".join([words[0], *(f"{float(word) + 3.0:.2f}" for word in words[1:])])


NONSENSE = [
    ("format", lambda _: "tautlog calibration", "expected 'tautlog converter'"),
    ("version", lambda _: 2, "version 2"),
    ("date", lambda _: "yesterday", "ISO 8601 day"),
    ("utc", lambda _: "2126-01-01T00:00:00Z", "lies in the future"),
    ("serial", lambda _: " ", "names no board"),
    ("serial", lambda _: 7, "serial = 7: expected text"),
    ("linearity", lambda _: "", "holds no table"),
    ("linearity", lambda text: text.replace('"bits": 12', '"bits": 40'), "40 bits"),
    ("linearity", lambda text: text[:-9], "not the table of a converter"),
    ("inl_steps", shifted, "widths do not follow from its levels"),
    ("inl_steps", lambda text: text[: text.rindex(" ")], "levels and"),
    ("inl_steps", lambda text: text.replace("-", "n", 1), "could not convert"),
    ("dnl_steps", lambda text: "nan " + text[5:], "not a number"),
    ("first_code", lambda code: code + 50, "does not follow from its own levels"),
    ("first_code", lambda code: code + 500, "levels and"),
]


@pytest.mark.parametrize(("name", "change", "said"), NONSENSE)
def test_what_cannot_be_believed_is_refused(found, tmp_path, name, change, said):
    path = add_converter(tmp_path, found, DAY)
    content = json.loads(path.read_text())
    content[name] = change(content[name])
    path.write_text(json.dumps(content))
    with pytest.raises(CampaignError, match=f"{said}.*test again with `tautlog converter`"):
        newest_converter(tmp_path, BOARD)
    # It may be this board's: no older one takes its place, for no board.
    with pytest.raises(CampaignError):
        newest_converter(tmp_path, OTHER)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"format": "tautlog converter"}', "\x00"])
def test_files_that_are_none(tmp_path, text):
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / "0001_2026-05-01.json").write_text(text)
    with pytest.raises(CampaignError, match="cannot be read as a converter's table"):
        newest_converter(tmp_path, BOARD)


def test_an_unknown_or_missing_name_is_refused(found, tmp_path):
    path = add_converter(tmp_path, found, DAY)
    content = json.loads(path.read_text())
    for changed in ({**content, "gain": 1.0}, {k: v for k, v in content.items() if k != "ramps"}):
        path.write_text(json.dumps(changed))
        with pytest.raises(CampaignError, match=r"unknown name|ramps is missing"):
            newest_converter(tmp_path, BOARD)


def test_a_name_without_a_place_is_refused(found, tmp_path):
    path = add_converter(tmp_path, found, DAY)
    path.rename(path.with_name("pico two.json"))
    with pytest.raises(CampaignError, match="may be a converter's table, but its name"):
        newest_converter(tmp_path, BOARD)
