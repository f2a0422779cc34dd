"""Strength across the axis, against published tables and solved examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.errors import PlanError
from tautlog.model.fasteners import INCH_M, LBF_N
from tautlog.model.fastening import Fastening
from tautlog.model.lateral import (
    BOLT_YIELD_PA,
    PSI_PA,
    ShearPlane,
    combined_allowable_n,
    combined_share,
    hankinson,
    steel_bearing_pa,
    wood_bearing_pa,
)

# NDS table 12K (2015 edition, public in a building permit: lfportal.everettwa.gov, documents
# 1831805 page 32 and 1614580 page 114): lag screws, side plate of ASTM A653 grade 33 steel,
# penetration of 8 diameters; pounds along and across the grain. Roots and yield strengths of the
# screws: appendices L and I of the same standard, from memory.
PLATE_PSI = 61_850.0
SCREWS = {0.25: (0.173, 70_000.0), 0.3125: (0.227, 60_000.0), 0.375: (0.265, 45_000.0)}
TABLE = [
    (0.67, 0.075, 0.25, 170, 130),
    (0.55, 0.075, 0.25, 160, 120),
    (0.67, 0.075, 0.3125, 220, 160),
    (0.55, 0.075, 0.3125, 200, 140),
    (0.67, 0.075, 0.375, 220, 160),
    (0.55, 0.075, 0.375, 200, 140),
    (0.50, 0.075, 0.375, 200, 130),
    (0.49, 0.075, 0.375, 190, 130),
    (0.46, 0.075, 0.375, 190, 120),
    (0.43, 0.075, 0.375, 180, 120),
    (0.42, 0.075, 0.375, 180, 120),
    (0.37, 0.075, 0.375, 170, 110),
    (0.36, 0.075, 0.375, 170, 100),
    (0.35, 0.075, 0.375, 170, 100),
    (0.67, 0.105, 0.25, 180, 140),
    (0.55, 0.105, 0.375, 210, 140),
    (0.50, 0.105, 0.375, 200, 140),
    (0.67, 0.120, 0.3125, 230, 170),
    (0.67, 0.120, 0.375, 240, 170),
    (0.55, 0.120, 0.375, 220, 150),
    (0.67, 0.134, 0.25, 200, 150),
    (0.67, 0.134, 0.3125, 240, 180),
]


def lag_screw(gravity, plate_in, inches, grain_deg):
    root, strength = SCREWS[inches]
    shank = inches * INCH_M
    return ShearPlane(
        shank_m=shank,
        bearing_m=root * INCH_M,
        yield_pa=strength * PSI_PA,
        main_pa=wood_bearing_pa(gravity, shank, grain_deg),
        side_pa=PLATE_PSI * PSI_PA,
        main_m=8 * shank,
        side_m=plate_in * INCH_M,
        grain_deg=grain_deg,
    )


@pytest.mark.parametrize("row", TABLE, ids=str)
def test_lag_screws_under_a_steel_plate(row):
    """The table is rounded to tens."""
    *screw, along, across = row
    for pounds, grain_deg in ((along, 0.0), (across, 90.0)):
        found, mode = lag_screw(*screw, grain_deg).allowable_n()
        assert found / LBF_N == pytest.approx(pounds, abs=5.5)
        assert mode == "IIIs"


def test_a_solved_example_of_wood_on_wood():
    """AWC solved example E2.4: nail 0.148 x 3 in, 3/4 in on 2.25 in, both of G 0.50: 467.49 N.

    As worked by a public structural library, whose bearing strength is rounded to 4650 psi as in
    NDS table 12.3.3 (4637 by the formula); Fyb 90 000 psi.
    """
    exact = wood_bearing_pa(0.50, 0.148 * INCH_M)
    assert exact / PSI_PA == pytest.approx(4650, abs=25)
    found = []
    for bearing_pa in (exact, 4650 * PSI_PA):
        plane = ShearPlane(
            shank_m=0.148 * INCH_M,
            bearing_m=0.148 * INCH_M,
            yield_pa=90_000 * PSI_PA,
            main_pa=bearing_pa,
            side_pa=bearing_pa,
            main_m=2.25 * INCH_M,
            side_m=0.75 * INCH_M,
        )
        found.append(plane.allowable_n())
    assert {mode for _, mode in found} == {"IIIs"}
    assert found[0][0] <= found[1][0]
    assert min(abs(force - 467.488421732) for force, _ in found) < 1.0


def test_bearing_strengths():
    """NDS table 12.3.3 for G 0.50: 5600 psi along, 4450 across 1/4 in and 3150 across 1/2 in."""
    assert wood_bearing_pa(0.5, 0.25 * INCH_M) / PSI_PA == pytest.approx(5600)
    assert wood_bearing_pa(0.5, 0.25 * INCH_M, 90) / PSI_PA == pytest.approx(4450, abs=26)
    assert wood_bearing_pa(0.5, 0.5 * INCH_M, 90) / PSI_PA == pytest.approx(3150, abs=26)
    # 1.5 Fu and 1.375 Fu give the standard's 87 000 and 61 850 psi for A36 and A653 grade 33.
    assert steel_bearing_pa(58_000, 0.25 * INCH_M) == pytest.approx(87_000)
    assert steel_bearing_pa(45_000, 0.134 * INCH_M) == pytest.approx(61_850, rel=1e-3)


def test_hankinson_and_both_directions_at_once():
    assert hankinson(10.0, 4.0, 0) == pytest.approx(10.0)
    assert hankinson(10.0, 4.0, 90) == pytest.approx(4.0)
    assert combined_allowable_n(3000.0, 1000.0, 0) == pytest.approx(1000.0)
    assert combined_allowable_n(3000.0, 1000.0, 90) == pytest.approx(3000.0)
    assert combined_allowable_n(3000.0, 1000.0, 45) == pytest.approx(3000 * 1000 / 2000)
    assert combined_share(3.0, 5.0, 4.0, 5.0) == pytest.approx(1.0)


sound = st.builds(
    lambda gravity, shank, root, plate, deep, grain: ShearPlane(
        shank,
        root * shank,
        BOLT_YIELD_PA,
        wood_bearing_pa(gravity, shank, grain),
        540e6,
        deep * shank,
        plate,
        grain,
    ),
    st.floats(0.3, 0.8),
    st.floats(0.007, 0.025),
    st.floats(0.6, 1.0),
    st.floats(0.002, 0.02),
    st.floats(4, 20),
    st.floats(0, 90),
)


@given(sound)
def test_each_mode_is_a_strength_and_the_smallest_counts(plane):
    modes = plane.modes_n()
    assert all(0.0 < force < math.inf for force in modes.values())
    assert plane.allowable_n()[0] == min(modes.values())


@given(sound)
def test_nothing_is_stronger_across_the_grain(plane):
    from dataclasses import replace

    assert replace(plane, grain_deg=90.0).allowable_n()[0] <= plane.allowable_n()[0] * 1.000001


@pytest.mark.parametrize(
    "call",
    [
        lambda: wood_bearing_pa(1.2, 0.01),
        lambda: wood_bearing_pa(0.4, 0.01, 91),
        lambda: ShearPlane(0.01, 0.02, 3e8, 4e7, 5e8, 0.08, 0.006),
        lambda: ShearPlane(0.05, 0.05, 3e8, 4e7, 5e8, 0.08, 0.006),
        lambda: ShearPlane(0.01, 0.008, 3e8, 4e7, 5e8, math.nan, 0.006),
        lambda: ShearPlane(0.01, 0.008, 3e8, 4e7, 5e8, 0.08, 0.0),
        lambda: combined_allowable_n(1.0, 1.0, -1),
    ],
)
def test_beyond_their_validity_formulas_refuse(call):
    with pytest.raises(PlanError):
        call()


@pytest.mark.parametrize(
    "absurd",
    [
        {"kind": "lag-screw", "diameter_mm": 10.0, "thread_mm": 1000.0, "wood": 0.5},
        {"kind": "tapped-hole", "diameter_mm": 10.0, "thread_mm": 1000.0},
        {"kind": "wood-screw", "diameter_mm": 4.0, "thread_mm": 120.0, "wood": 0.5},
        {
            "kind": "lag-screw",
            "diameter_mm": 10.0,
            "thread_mm": 80.0,
            "wood": 0.5,
            "count": 1000,
        },
    ],
)
def test_what_would_break_by_itself_first_is_not_reckoned(absurd):
    with pytest.raises(PlanError, match=r"diameters are reckoned|allowed are 1 to"):
        Fastening(**absurd)
