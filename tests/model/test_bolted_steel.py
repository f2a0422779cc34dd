"""Bolts in steel, tapped threads, washers and groups, against published values."""

import math

import pytest

from tautlog.errors import PlanError
from tautlog.model import bolted_steel as steel
from tautlog.model.fastener_group import (
    bolt_distances,
    effective_number,
    most_pulled_n,
    pulled_screw_distances,
)
from tautlog.model.fasteners import stress_area_m2


def test_bolts_in_shear():
    """Public table of class 8.8 bolts (orangebook.arcelormittal.com): M16 60.3 kN, M12 27.5 kN.

    The M12 of the table is taken times 0.85, for its wide holes.
    """
    assert steel.bolt_shear_n(16) == pytest.approx(60_300, rel=5e-3)
    assert 0.85 * steel.bolt_shear_n(12) == pytest.approx(27_500, rel=5e-3)
    assert steel.bolt_tension_n(16) == pytest.approx(0.9 * 800 * 157 / 1.25, rel=5e-3)
    assert steel.bolt_shear_n(16, "10.9") == pytest.approx(
        60_300 * (0.5 * 1000) / (0.6 * 800), 5e-3
    )


def test_bearing_at_an_edge():
    """Worked example (steelcalculator.app, bolt bearing): M20 in S355, e1 40, e2 30, d0 22 mm."""
    end, edge = steel.bearing_factors(0.022, 0.040, 0.030)
    assert end == pytest.approx(0.606, abs=5e-4)
    assert edge == pytest.approx(2.118, abs=5e-4)
    found = steel.plate_bearing_n(0.020, 0.010, 470e6, end_m=0.040, edge_m=0.030)
    assert found == pytest.approx(2.118 * 0.606 * 470 * 20 * 10 / 1.25, rel=1e-3)
    assert steel.bearing_factors(0.013, 0.2, 0.2) == (1.0, 2.5)
    hard, bolt = (
        steel.plate_bearing_n(0.012, 0.006, tensile_pa, end_m=0.2, edge_m=0.2)
        for tensile_pa in (2000e6, 800e6)
    )
    assert hard == bolt  # then the bolt gives


def test_a_plate_pressed_on_wood():
    """Porteous and Kermani, Structural Timber Design to Eurocode 5, worked example of a bolted
    joint with 12 mm plates, M12 of 400 N/mm2 in C24: 1.26e4 N; the bolt itself 3.37e4 N."""
    counted = min(12 * 0.012, 4 * 0.012)
    for washer_m in (counted, 0.200):  # of a larger plate no more counts
        found = steel.washer_on_wood_n(2.5e6, washer_m, 0.012, 0.012)
        assert found == pytest.approx(1.26e4, rel=5e-3)
    thin = steel.washer_on_wood_n(2.5e6, 0.100, 0.006, 0.001)  # a circle of 12 mm
    assert thin == pytest.approx(3 * 2.5 * math.pi / 4 * (12**2 - 7**2))
    assert 400e6 * stress_area_m2(12) == pytest.approx(3.37e4, rel=2e-3)


def test_how_deep_a_thread_goes():
    """Published example: M10 x 1.5 of 69 600 N in aluminium of 130 MPa in shear: 21.6 mm.

    Chapter abstract at taylorfrancis.com, 10.1201/9781482273786-99; D 9.968, E 9.206 mm.
    """
    area = steel.tapped_shear_area_m(9.968e-3, 9.206e-3, 1.5e-3)
    assert 69_600 / (area * 130e6) == pytest.approx(21.6e-3, abs=5e-5)


def test_a_tapped_hole_with_the_smallest_bolt():
    whole = steel.tapped_shear_area_m(9.968e-3, 9.206e-3, 1.5e-3) * 0.01 * 0.6 * 400e6
    assert 0.85 * whole < steel.tapped_hole_n(10, 0.01, 400e6) < whole


def test_arm_of_a_bracket():
    """Bhandari, Design of Machine Elements, example 7.6: 25 kN at 500 mm, two bolts at 550 and
    two at 50 mm, 35 N/mm2 allowed on the principal stress: 401.446 mm2."""
    tension = most_pulled_n(25_000, 0.5, [(2, 0.55), (2, 0.05)])
    shear = 25_000 / 4
    stress = tension / 2 + math.hypot(tension / 2, shear)
    assert stress / 35 == pytest.approx(401.446244, rel=1e-6)


def test_distances_of_bolts_in_wood():
    """EN 1995-1-1, table 8.4, as a public table has it, along the grain and at its largest."""
    for size, along, across, loaded_end, edge in (
        (12, 60, 48, 84, 36),
        (16, 80, 64, 112, 48),
        (20, 100, 80, 140, 60),
    ):
        found = bolt_distances(size / 1000)
        assert 1000 * found.along_m == pytest.approx(along)
        assert 1000 * found.across_m == pytest.approx(across)
        assert 1000 * found.loaded_end_m == pytest.approx(loaded_end)
        assert 1000 * found.free_edge_m == pytest.approx(edge)
        assert 1000 * bolt_distances(size / 1000, 90).loaded_edge_m == pytest.approx(4 * size)
    assert bolt_distances(0.008).loaded_end_m == pytest.approx(0.080)
    assert pulled_screw_distances(0.010).free_edge_m == pytest.approx(0.040)


def test_not_all_in_a_row_count():
    assert effective_number(1, 0.06, 0.012) == 1.0
    assert effective_number(2, 0.06, 0.012) == pytest.approx(2**0.9 * (60 / 156) ** 0.25)
    assert effective_number(2, 13 * 0.012, 0.012) == pytest.approx(2**0.9)
    assert effective_number(2, 30 * 0.012, 0.012) == 2.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: steel.bolt_shear_n(12, "12.9"),
        lambda: steel.bolt_tension_n(11),
        lambda: steel.plate_bearing_n(0.012, 0.006, 360e6, end_m=0.012, edge_m=0.03),
        lambda: steel.plate_bearing_n(0.012, 0.006, 360e6, end_m=0.03, edge_m=0.01),
        lambda: steel.tapped_hole_n(7, 0.01, 360e6),
        lambda: steel.washer_on_wood_n(2.5e6, 0.012, 0.012, 0.006),
        lambda: effective_number(0, 0.06, 0.012),
        lambda: effective_number(2, 0.03, 0.012),
        lambda: most_pulled_n(1.0, 0.1, [(2, 0.0)]),
        lambda: bolt_distances(0.01, 100),
    ],
)
def test_what_cannot_be_is_refused(call):
    with pytest.raises(PlanError):
        call()
