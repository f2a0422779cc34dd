"""Legs before a drop: a plan that takes one over its limit is a reason not to drop."""

import dataclasses
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intended_drops import DATED, GOOD

from tautlog.model.channels import Channel
from tautlog.model.display_units import SI, Units
from tautlog.model.leg_facts import LegFacts
from tautlog.planning.gate import findings, refusals
from tautlog.planning.leg_loads import leg_checks, leg_force_n

NAMES = ("force left", "force right")


def said(facts, force_n=2000.0, names=NAMES):
    return [(one.code, one.holds, one.refuses) for one in leg_checks(facts, names, force_n, "told")]


def leg(limit_n=None, angle_deg=None, **more):
    return LegFacts(
        "force left", angle_deg, None, None if angle_deg is None else 1.0, limit_n=limit_n, **more
    )


OTHER = LegFacts("force right", 60.0, None, 1.0)


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ([leg()], []),
        # 1000 N each by equal shares, 2000 N if one carried all.
        ([leg(990.0)], [("leg-over", False, True)]),
        ([leg(1010.0)], [("leg-share", False, False)]),
        ([leg(2010.0)], [("leg-share", True, False)]),
        ([leg(target_n=900.0)], [("leg-over", False, True)]),  # 1.1 x target is its limit
        # At 60 degrees both double: 2000 N by equal shares (sling angle tables: 2.000); at 61,
        # which is within their uncertainty, 2000 / (2 cos 61 deg) = 2063 N.
        ([leg(1990.0, 60.0), OTHER], [("leg-over", False, True)]),
        ([leg(2060.0, 60.0), OTHER], [("leg-over", False, True)]),
        ([leg(2066.0, 60.0), OTHER], [("leg-share", False, False)]),
        ([leg(4010.0, 60.0), OTHER], [("leg-share", True, False)]),
    ],
)
def test_equal_shares_and_one_leg_alone_are_the_bounds(facts, expected):
    assert said(facts) == expected


def test_a_limit_of_what_is_no_leg_is_no_limit():
    assert said([leg(9000.0)], names=("force left",)) == [("leg-unknown", False, True)]
    assert said([leg(9000.0)], names=("force", "force right")) == [("leg-unknown", False, True)]


def test_the_gate_asks_for_legs_and_says_what_it_cannot_know():
    legs = (Channel("force right", DATED),)
    bridle = dataclasses.replace(GOOD, channel="force left", legs=legs)
    assert not refusals(bridle)
    over = dataclasses.replace(bridle, leg_facts=(leg(800.0),))
    assert [one.code for one in refusals(over)] == ["leg-over"]
    perhaps = dataclasses.replace(bridle, leg_facts=(leg(1300.0),))
    assert not refusals(perhaps)
    (told,) = [one for one in findings(perhaps) if one.code == "leg-share"]
    assert "not known before the drop" in told.text


@given(st.floats(100.0, 1e5), st.floats(50.0, 1e5), st.floats(0.0, 80.0), st.integers(2, 5))
def test_more_pull_or_a_wider_leg_is_never_more_harmless(force_n, limit_n, angle_deg, count):
    names = tuple(f"force {number}" for number in range(count))
    worst = {("leg-share", True): 0, ("leg-share", False): 1, ("leg-over", False): 2}

    def severity(force, angle):
        # With sure angles: two legs of 3 degrees, give or take one, may share as 1 to 2.
        facts = [LegFacts(name, angle, None, 0.0, limit_n=limit_n) for name in names]
        return [worst[one.code, one.holds] for one in leg_checks(facts, names, force, "told")]

    now = severity(force_n, angle_deg)
    assert len(set(now)) == 1
    assert severity(1.1 * force_n, angle_deg) >= now
    assert severity(force_n, min(angle_deg + 5.0, 85.0)) >= now
    equal_n = force_n / (count * math.cos(math.radians(angle_deg)))
    if abs(equal_n / limit_n - 1.0) > 1e-9:
        assert (now[0] == 2) == (equal_n > limit_n)


def balanced_n(force_n, own_deg, other_deg):
    """Two legs that hold a ring: the two equations of its balance, solved."""
    own, other = math.radians(own_deg), math.radians(other_deg)
    across, along = [math.sin(own), -math.sin(other)], [math.cos(own), math.cos(other)]
    return float(np.linalg.solve([across, along], [0.0, force_n])[0])


@given(st.floats(3.0, 80.0), st.floats(3.0, 80.0), st.floats(0.0, 2.0))
def test_two_legs_share_as_their_angles_tell(own_deg, other_deg, u_deg):
    """Found by an attack: 10 and 40 degrees were taken to share alike, 508 N for 839 N of 1000."""
    legs = [LegFacts("a", own_deg, 0.0, u_deg), LegFacts("b", other_deg, 180.0, u_deg)]
    ends = [
        balanced_n(1000.0, own_deg + one * u_deg, other_deg + two * u_deg)
        for one in (-1.0, 0.0, 1.0)
        for two in (-1.0, 0.0, 1.0)
    ]
    alike_n = 500.0 / math.cos(math.radians(own_deg))
    taken_n, how = leg_force_n(legs, ("a", "b"), "a", 1000.0)
    assert taken_n == pytest.approx(max(*ends, alike_n), rel=1e-9)
    if abs(max(ends) / alike_n - 1.0) > 1e-9:
        assert ("share alike" in how) == (max(ends) < alike_n)


def test_the_worked_example_of_unequal_legs():
    legs = [LegFacts("a", 10.0, 0.0, 0.0), LegFacts("b", 40.0, 180.0, 0.0)]
    assert leg_force_n(legs, ("a", "b"), "a", 1000.0)[0] == pytest.approx(839.1, abs=0.05)
    over = [dataclasses.replace(legs[0], limit_n=800.0), legs[1]]
    (told,) = leg_checks(over, ("a", "b"), 1000.0, "told")
    assert (told.code, told.refuses) == ("leg-over", True)
    assert "by the stated angles" in told.text


@pytest.mark.parametrize(
    "changes", [{"azimuth_deg": 90.0}, {"from_vertical_deg": 0.0}, {"from_vertical_deg": None}]
)
def test_where_angles_tell_no_share_it_is_said_that_they_are_taken_alike(changes):
    legs = [LegFacts("a", 10.0, 0.0, 0.0), LegFacts("b", 40.0, 180.0, 0.0)]
    odd = [legs[0], dataclasses.replace(legs[1], **changes)]
    assert "share alike" in leg_force_n(odd, ("a", "b"), "a", 1000.0)[1]


def test_a_cell_in_a_leg_that_leans_bears_more_than_the_pull():
    """At 75 degrees half of the pull is 1.93 times the pull in the leg."""
    legs = (Channel("force right", DATED),)
    wide = tuple(LegFacts(name, 75.0, None, 0.0) for name in NAMES)
    upright = tuple(LegFacts(name, 0.0, None, 0.0) for name in NAMES)
    bridle = dataclasses.replace(GOOD, channel="force left", legs=legs, leg_facts=upright)
    assert not refusals(bridle)
    refused = refusals(dataclasses.replace(bridle, leg_facts=wide))
    assert "cell-load" in [one.code for one in refused] or "amplifier-range" in [
        one.code for one in refused
    ]


@pytest.mark.parametrize("units", [SI, Units("kN"), Units("lbf")])
@pytest.mark.parametrize("limit_n", [999.8, 1000.2, 1999.8, 2000.2])
def test_what_is_told_of_a_leg_stands_on_its_side_of_the_limit(units, limit_n):
    """1000 N by equal shares and 2000 N alone; a limit of 999.8 N was told as 1000 N."""
    (check,) = leg_checks([leg(limit_n)], NAMES, 2000.0, "told", units)
    force, limit = map(float, re.findall(rf"([\d.]+) {units.force}", check.text))
    assert (force > limit) == (check.code == "leg-over")
