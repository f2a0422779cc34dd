"""The amplifier's limits at arming are those that a record is judged by."""

from dataclasses import replace

import numpy as np
import pytest
from fakes.crew import SilentCrew
from fakes.drops import CALIBRATION, DropBoard, plan_at, session_with

from tautlog.analysis.limits_at_arming import in_force
from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.readiness import arm_fields
from tautlog.drop.run import run_drop
from tautlog.record import open_record
from tautlog.record.recalibration import Recalibration

REDUCTION = 8


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    path = tmp_path_factory.mktemp("drop") / "drop.h5"
    run_drop(session_with(DropBoard()), plan_at(path), SilentCrew())
    return open_record(path)


def used_with(record, **changes):
    """The record, marked with another calibration."""
    other = Recalibration("", "", "A", "a test", "", replace(record.calibration, **changes))
    return replace(record, recalibration=other)


def test_what_was_sent_is_in_the_record(record):
    assert record.arming["limits"] == arm_fields(CALIBRATION, REDUCTION, None)
    assert in_force(record.arming).unlike(record.calibration, REDUCTION) == ""
    assert "rails-differ" not in {one.code for one in record.trace().contradictions}


def test_another_factor_is_no_other_limit(record):
    again = used_with(record, newton_per_volt=1050.0, zero_v=0.51)
    assert again.trace().contradictions == ()


@pytest.mark.parametrize("rails", [{"rail_low_v": 0.0, "rail_high_v": 3.3}, {"rail_high_v": 2.5}])
def test_limits_that_differ_are_told(record, rails):
    marked = told_of(assess(used_with(record, **rails)))
    assert marked["record_verdict"] == "suspect"
    text = {one["code"]: one["text"] for one in marked["reasons"]}["rails-differ"]
    assert "armed with limits of the amplifier at 0.066 V and 3.184 V" in text


def test_a_calibration_of_another_converter_makes_no_force(record):
    """As where a drop is recovered without its campaign."""
    marked = told_of(assess(used_with(record, converter_bits=16)))
    assert marked["record_verdict"] == "invalid"
    text = {one["code"]: one["text"] for one in marked["reasons"]}["converter-differs"]
    assert "of a converter of 12 bits, the calibration in use is of one of 16" in text


@pytest.mark.parametrize(("at_v", "expected"), [(3.15, False), (3.19, True), (0.06, True)])
def test_the_narrower_of_both_are_judged_by(record, at_v, expected):
    """A calibration that calls the whole converter good does not widen what was in force."""
    wide = used_with(record, rail_low_v=0.0, rail_high_v=3.3)
    counts = record.counts()
    counts[1000] = at_v / record.calibration.volt_per_count(REDUCTION)
    limits = in_force(record.arming)
    assert limits.clipped(counts[1000:1001])[0] == expected
    assert not wide.calibration_used.clipped(counts[1000:1001], REDUCTION)[0]
    narrow = replace(record.calibration, rail_high_v=3.0)
    assert narrow.clipped(np.array([3.05 / narrow.volt_per_count(8)]), REDUCTION)[0]


def test_a_cut_top_under_a_wider_calibration(record):
    """Cut at the limit that was in force: clipped, whatever the calibration in use says."""
    cut = 23_000  # of 23 700 at the peak
    arming = {"limits": {**record.arming["limits"], "rail_high": cut}}
    trace = replace(record, arming=arming).trace()
    assert trace.clipped.any()
    assert trace.clipped.sum() == (record.counts() >= cut).sum()
    assert not record.trace().clipped.any()


@pytest.mark.parametrize("arming", [{}, {"limits": {}}, {"limits": {"level_low": 3}}])
def test_an_older_record_holds_none(arming):
    assert in_force(arming) is None


@pytest.mark.parametrize(("low", "high"), [(5, 5), (-1, 4), ("1", 2), (1.5, 3)])
def test_damage_is_an_error(low, high):
    with pytest.raises(ValueError, match="limits at arming"):
        in_force({"limits": {"rail_low": low, "rail_high": high}})
