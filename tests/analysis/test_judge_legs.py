"""A leg above its own limit beside what the sum of the legs reached."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.analysis.judge import judge
from tautlog.analysis.leg_limits import OVER, PERHAPS_OVER, UNDER, UNPROVEN
from tautlog.model.marks import Finding, Marks
from tautlog.model.trace import DropSetup

WHOLE = Marks(
    62_500.0, 1000, peak_force_n=1890.0, peak_force_expanded_u_n=30.0, rest_force_n=88.0, cfc=600
)
SETUP = DropSetup(mass_kg=9.0, target_n=1800.0, limit_n=1980.0, article_finding="intact")
LEGS = {code: Finding(code, f"'left': {code}") for code in (OVER, PERHAPS_OVER, UNDER, UNPROVEN)}
# What the sum reached, by its target and limit.
SUMS = {
    None: replace(SETUP, target_n=None, limit_n=None),
    "under": replace(SETUP, target_n=2500.0, limit_n=2750.0),
    "unproven": replace(SETUP, target_n=1880.0, limit_n=2080.0),
    "on-target": SETUP,
    "possible-overload": replace(SETUP, limit_n=1900.0),
    "overload": replace(SETUP, target_n=1000.0, limit_n=1200.0),
}
PASSES = ("pass", "pass-overtested")


def told(setup, *codes, marks=WHOLE):
    return judge(replace(marks, findings=tuple(LEGS[code] for code in codes)), setup)


@pytest.mark.parametrize("load", SUMS)
def test_a_leg_surely_above_its_limit_is_an_overload_whatever_the_sum(load):
    assert told(SUMS[load]).load_verdict == load
    over = told(SUMS[load], OVER)
    assert over.load_verdict == "overload"
    why = next(reason.text for reason in over.reasons if reason.code == "load-overload")
    assert ("'left'" in why) == (load != "overload")


@pytest.mark.parametrize("load", [None, "under", "unproven", "on-target"])
def test_a_leg_perhaps_above_its_limit_excludes_no_overload(load):
    assert told(SUMS[load], PERHAPS_OVER).load_verdict == "possible-overload"


@pytest.mark.parametrize("code", [OVER, PERHAPS_OVER])
@pytest.mark.parametrize("load", [None, "under", "unproven"])
def test_no_leg_above_its_limit_proves_the_target_of_the_sum(load, code):
    """Practice: "held" below the target proves nothing, and an overload makes no proof of it."""
    whole = told(SUMS[load], code)
    assert whole.test_verdict == told(SUMS[load]).test_verdict
    assert whole.test_verdict not in PASSES
    assert "above its own limit" in whole.reasons[-2].text or any(
        "above its own limit" in reason.text for reason in whole.reasons
    )
    gone = told(replace(SUMS[load], article_finding="parted"), code)
    assert gone.test_verdict == "no-verdict"  # it may have failed by the overload


def test_over_and_under_legs_together_are_an_overload_that_proves_nothing():
    both = told(SETUP, UNDER, OVER)
    assert (both.load_verdict, both.test_verdict) == ("overload", "no-test")


def test_what_is_only_possible_does_not_outweigh_a_lower_bound():
    cut = replace(WHOLE, clipped=True)
    assert told(SETUP, PERHAPS_OVER, marks=cut).load_verdict == "at-least"
    assert told(SETUP, OVER, marks=cut).load_verdict == "overload"
    assert told(SETUP, OVER, marks=cut).test_verdict not in PASSES


@given(
    st.floats(500.0, 5000.0),
    st.floats(1.02, 1.5),
    st.sets(st.sampled_from(sorted(LEGS))),
    st.sampled_from(["intact", "parted", "not-inspected"]),
)
def test_legs_never_turn_what_is_no_pass_into_one(target_n, band, codes, found):
    setup = replace(SETUP, target_n=target_n, limit_n=band * target_n, article_finding=found)
    alone, with_legs = told(setup), told(setup, *sorted(codes))
    if alone.test_verdict not in PASSES:
        assert with_legs.test_verdict not in PASSES
    if OVER in codes:
        assert with_legs.load_verdict == "overload"
