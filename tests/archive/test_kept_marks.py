"""Marks that were kept: what they say is read once, and nonsense says nothing."""

import pytest

from tautlog.archive.kept_marks import marks_in
from tautlog.model.predicted import Predicted, predicted_in

TOLD = {
    "peak_force_n": 1900.0,
    "peak_low_n": 1800,
    "peak_high_n": 2000.0,
    "mass_kg": 9,
    "height_m": 1.2,
    "line": "l",
    "stiffness_n_per_m": 2e4,
    "hardening_per_m2": 0.0,
    "damping_ratio": 0.1,
    "friction_n": None,
    "source": "campaign.toml",
}


def test_no_marks_are_none():
    assert marks_in({}) is None


@pytest.mark.parametrize("value", ["1900", True, [1900.0], {}, 10**400, None])
def test_what_is_no_force_is_not_known(value):
    marks = marks_in({"peak_force_n": value, "record_verdict": "valid"})
    assert marks.peak_force_n is None
    assert marks.record_verdict == "valid"
    assert marks.headline()["load_verdict"] is None
    assert marks.odd == (("peak_force_n",) if value is not None else ())


def test_a_class_that_is_not_said_is_not_none():
    """None is a class: marks that were not filtered."""
    assert marks_in({"peak_force_n": 1.0}).cfc == 0
    assert marks_in({"cfc": None}).cfc is None


def test_a_prediction_comes_back_as_it_was():
    told = predicted_in(TOLD)
    assert isinstance(told, Predicted)
    assert told.friction_n is None
    assert not told.on_the_day
    assert predicted_in({**TOLD, "of a later program": 1}) == told


@pytest.mark.parametrize(
    "changes",
    [{"line": 7}, {"peak_low_n": "1"}, {"mass_kg": True}, {"on_the_day": 1}, {"height_m": None}],
)
def test_a_prediction_that_makes_no_sense_is_none(changes):
    assert predicted_in({**TOLD, **changes}) is None
    lacking = {name: one for name, one in TOLD.items() if name not in changes}
    assert predicted_in(lacking) is None or "on_the_day" in changes


def test_what_is_no_prediction_is_none():
    assert predicted_in(None) is predicted_in([]) is predicted_in("x") is None
