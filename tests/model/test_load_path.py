"""Strengths against published tables, and what a mount is proven for."""

import json
import re

import pytest

from tautlog.errors import PlanError
from tautlog.model.display_units import Units
from tautlog.model.fasteners import (
    INCH_M,
    LBF_N,
    bolt_proof_n,
    lag_screw_allowable_n,
    shackle_working_n,
    stress_area_m2,
    timber_screw_characteristic_n,
    wood_screw_allowable_n,
    wood_screw_ultimate_n,
)
from tautlog.model.load_path import Element, Mount, check_mount, check_path


def test_wood_screw():
    """NDS eq. 12.2-2: G 0.45, No. 10 (0.190 in): 109 lb/in as printed, truncated."""
    found = wood_screw_allowable_n(0.45, 0.190 * INCH_M, INCH_M) / LBF_N
    assert found == pytest.approx(109.0, abs=0.7)


def test_wood_screw_ultimate():
    """Wood Handbook, chapter 8: G 0.70, No. 8 (0.164 in), 1 in: 1262 lb as printed."""
    found = wood_screw_ultimate_n(0.70, 0.164 * INCH_M, INCH_M) / LBF_N
    assert found == pytest.approx(1262.0, abs=0.5)


# NDS table 12.2A, pounds per inch of thread: specific gravity, then 1/4, 3/8, 1/2, 1 inch.
NDS = [
    (0.73, 397, 538, 668, 1123),
    (0.67, 349, 473, 587, 987),
    (0.55, 260, 352, 437, 734),
    (0.50, 225, 305, 378, 636),
    (0.42, 173, 235, 291, 490),
    (0.35, 132, 179, 222, 373),
]


@pytest.mark.parametrize("row", NDS)
def test_lag_screws(row):
    gravity, *printed = row
    for inches, pounds in zip((0.25, 0.375, 0.5, 1.0), printed, strict=True):
        found = lag_screw_allowable_n(gravity, inches * INCH_M, INCH_M) / LBF_N
        assert found == pytest.approx(pounds, abs=0.51)


def test_a_solved_example_of_a_lag_screw():
    """AWC solved example E2.3: 1/2 x 4 in, G 0.55, 2.1875 in of thread: 4247.94 N."""
    found = lag_screw_allowable_n(0.55, 0.5 * INCH_M, 2.1875 * INCH_M)
    assert found == pytest.approx(4.2479398904e3, rel=1e-6)
    assert lag_screw_allowable_n(0.55, 0.0127, 0.05, end_grain=True) == pytest.approx(
        0.75 * lag_screw_allowable_n(0.55, 0.0127, 0.05)
    )


# EN 1995-1-1, 8.7.2: no published example was found; own computation of its formula.
@pytest.mark.parametrize(
    ("d", "length", "density", "force"),
    [(8, 64, 350, 6735.421), (6, 48, 350, 3376.850), (12, 100, 420, 14262.426)],
)
def test_timber_screws(d, length, density, force):
    found = timber_screw_characteristic_n(density, d / 1000, length / 1000)
    assert found == pytest.approx(force, rel=1e-6)


# ISO 898-1, class 8.8, coarse thread: stress area in mm2, proof load in N, three figures.
@pytest.mark.parametrize(
    ("size", "area", "proof"),
    [
        (5, 14.2, 8230),
        (6, 20.1, 11_600),
        (8, 36.6, 21_200),
        (10, 58.0, 33_700),
        (12, 84.3, 48_900),
        (16, 157, 91_000),
    ],
)
def test_bolts(size, area, proof):
    assert 1e6 * stress_area_m2(size) == pytest.approx(area, rel=6e-3)
    # The table's loads are cut to three figures, after areas rounded to three.
    assert 580 * round(1e6 * stress_area_m2(size), 1) == pytest.approx(proof, rel=6e-3)
    assert bolt_proof_n(size) == pytest.approx(580e6 * stress_area_m2(size))


def test_shackle():
    """NAVEDTRA 14251: 1.59 cm, 1.05 tonne."""
    assert shackle_working_n(0.0159) / 9806.65 == pytest.approx(1.05, abs=0.005)


@pytest.mark.parametrize(
    "call",
    [
        lambda: wood_screw_allowable_n(1.2, 0.005, 0.03),
        lambda: timber_screw_characteristic_n(350, 0.005, 0.06),
        lambda: timber_screw_characteristic_n(350, 0.008, 0.03),
        lambda: timber_screw_characteristic_n(350, 0.008, 0.08, angle_deg=10),
        lambda: bolt_proof_n(7),
        lambda: bolt_proof_n(8, "12.9"),
    ],
)
def test_beyond_their_validity_formulas_refuse(call):
    with pytest.raises(PlanError):
        call()


PATH = (
    Element("screws", 9000.0, "computed", 2.0, 1.5, "mount"),
    Element("bridle", 2200.0, "ultimate", 1.0, 1.0, "article"),
    Element("shackle", 10_000.0, "working", 1.0, 1.0, "line"),
)


def test_the_weakest_is_named_and_the_mount_must_be_stronger():
    told = {one.code: one for one in check_path(PATH, 2000.0, mount_over_article=1.5)}
    assert told["element-mount"].holds
    assert "the weakest link is bridle (article), 2200 N" in told["weakest"].text
    assert told["weakest"].holds
    assert not told["mount-over-article"].holds
    assert "1.36 x as strong" in told["mount-over-article"].text
    low = {one.code: one for one in check_path(PATH, 3500.0, mount_over_article=1.0)}
    assert not low["element-mount"].holds
    assert "BELOW" in low["element-mount"].text
    assert check_path((), 1.0, mount_over_article=1.0)[0].code == "path-unknown"


@pytest.mark.parametrize(
    ("mount", "drops", "code"),
    [
        (None, 0, "mount-unproven"),
        (Mount("beam", 0.0), 0, "mount-unproven"),
        (Mount("beam", 3000.0), 0, "mount-proven"),
        (Mount("beam", 2000.0), 0, "mount-too-low"),
        (Mount("beam", 3000.0, good_for_drops=5), 5, "mount-expired"),
    ],
)
def test_mount(mount, drops, code):
    found = check_mount(mount, 2000.0, drops, proof_factor=1.25)
    assert found.code == code
    assert found.holds == (code == "mount-proven")


def test_as_it_goes_into_json():
    assert json.dumps([vars(one) for one in check_path(PATH, 1.0, mount_over_article=1.0)])


@pytest.mark.parametrize("units", [Units(), Units(force="kN"), Units(force="lbf")])
@pytest.mark.parametrize("off_n", [-0.4, -0.01, 0.01, 0.4])
def test_a_peak_never_looks_as_if_it_were_on_the_other_side_of_what_is_allowed(off_n, units):
    peak_n = 9000.0 + off_n
    mount = check_mount(Mount("beam", 11250.0), peak_n, 0, proof_factor=1.25, units=units)
    good_for, planned = re.search(r"up to ([\d.]+) \S+ .*; ([\d.]+) \S+ is", mount.text).groups()
    assert mount.holds == (float(planned) <= float(good_for)) == (off_n < 0.0)
    element = Element("screws", 18000.0, "computed", 2.0, 1.0, "mount")
    told = check_path((element,), peak_n, mount_over_article=1.5, units=units)[0]
    allowed, peak = re.search(r": ([\d.]+) \S+ allowed.* ([\d.]+) \S+$", told.text).groups()
    assert told.holds == (float(peak) <= float(allowed)) == (off_n < 0.0)
