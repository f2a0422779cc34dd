"""Worked figures of the mechanics against other ways to the same number."""

import re

import figures.beam as beam
import figures.catch as stop
import figures.mount as mount
import figures.rig as rig
import figures.zone as zone
import numpy as np
import pytest

from tautlog.cli import run


def test_the_planner_says_the_same_of_the_worked_example(tmp_path, monkeypatch, capsys):
    assert run(["init", str(tmp_path / "rig")]) == 0
    monkeypatch.chdir(tmp_path / "rig")
    text = (tmp_path / "rig" / "campaign.toml").read_text()
    assert f"rails_m = {rig.RAILS_M:g}" in text
    assert f"catch_stroke_m = {stop.STROKE_M:g}" in text
    assert f"friction_n = {rig.FRICTION_N:g}" in text
    given = ["--mass", f"{rig.SLED_KG:g}", "--height", f"{rig.DROP_M:g}"]
    assert run(["plan", *given, "--target", f"{rig.TARGET_N:g}"]) == 0
    said = capsys.readouterr().out
    assert float(re.search(r"catch: (\d+) J without", said)[1]) == round(stop.energy_with_stroke())
    assert float(re.search(r"energy +(\d+) J", said)[1]) == round(rig.taut_energy())


def test_the_catch_stops_the_sled_in_its_stroke():
    """Stepped in time: constant force against weight and speed."""
    speed, way, step = np.sqrt(2 * rig.G_M_S2 * rig.RAILS_M), 0.0, 1e-6
    force_n = stop.mean_n(rig.SLED_KG, rig.RAILS_M, stop.STROKE_M)
    while speed > 0:
        speed -= (force_n / rig.SLED_KG - rig.G_M_S2) * step
        way += speed * step
    assert way == pytest.approx(stop.STROKE_M, rel=1e-3)
    assert stop.energy_with_stroke() == pytest.approx(force_n * stop.STROKE_M)
    assert 1000 * stop.mean_force() > stop.without_weight()


def test_a_spring_of_the_same_stroke_reaches_twice_the_mean():
    stiffness = 2 * stop.energy_with_stroke() / stop.STROKE_M**2
    assert 1000 * stop.spring_peak() == pytest.approx(stiffness * stop.STROKE_M)


def test_what_tears_takes_the_energy():
    way_m = stop.absorber_stroke() / 1000
    taken = (1000 * stop.absorber_mean() - rig.WEIGHT_N) * way_m
    assert taken == pytest.approx(stop.energy())


def test_energy_in_the_line_at_its_peak():
    stretch_m = rig.stretch() / 1000
    assert rig.peak_energy() == pytest.approx(0.5 * rig.TARGET_N * stretch_m)


@pytest.mark.parametrize("height_m", [0.0, rig.mount_height()])
def test_no_angle_throws_a_fitting_farther(height_m):
    speed = np.sqrt(2 * rig.peak_energy() / rig.FITTING_KG)
    angle = np.linspace(0.0, np.pi / 2, 20001)
    up, out = speed * np.sin(angle), speed * np.cos(angle)
    flight_s = (up + np.sqrt(up**2 + 2 * rig.G_M_S2 * height_m)) / rig.G_M_S2
    told = zone.fitting_range_high() if height_m else zone.fitting_range()
    assert told == pytest.approx((out * flight_s).max(), rel=1e-6)


def test_a_whipping_line_has_the_energy():
    """Speed grows evenly from the fixed end."""
    place = (np.arange(100_000) + 0.5) / 100_000
    per_piece = zone.LINE_KG_M * rig.LINE_M / 100_000
    energy = 0.5 * per_piece * np.sum((zone.line_end_speed() * place) ** 2)
    assert energy == pytest.approx(rig.peak_energy(), rel=1e-6)


@pytest.mark.parametrize("modulus_n", [zone.TETHER_EA_N, zone.WIRE_EA_N])
def test_a_tether_takes_the_energy_by_stretching(modulus_n):
    stretch_m = zone.tether_n(modulus_n) * zone.TETHER_M / modulus_n
    taken = 0.5 * zone.tether_n(modulus_n) * stretch_m
    assert taken == pytest.approx(rig.peak_energy())


def test_the_textile_tether_has_twice_its_peak_and_the_wire_has_not():
    assert zone.tether_n(zone.TETHER_EA_N) < zone.TETHER_BREAKS_N / 2
    assert zone.tether_n(zone.WIRE_EA_N) > zone.TETHER_BREAKS_N


def test_side_load_and_reading_make_up_the_pull():
    for degrees in (1.0, 3.0, 10.0):
        along = rig.TARGET_N * (1 - mount.cosine_error(degrees) / 100)
        assert np.hypot(along, mount.side_n(degrees)) == pytest.approx(rig.TARGET_N)


def test_the_mount_of_the_example_is_stronger_than_its_proof():
    assert 1000 * mount.bolts_design() > mount.proof_pull() > rig.LIMIT_N
    assert 1000 * rig.pin_holds() > rig.pin_hit()
    assert 1000 * rig.pin_bends() > 3 * rig.pin_hit()
    assert beam.stress() < beam.thin_stress() < beam.design()
    assert beam.post_bears() < beam.post_buckles() / 5


def test_a_beam_that_bends_and_shears_gives_what_its_stiffness_says():
    """Moment and shear integrated along half of the span, by the unit-load method."""
    wide, deep, span = beam.BEAM_WIDE_M, mount.BEAM_M, beam.SPAN_M
    area, inertia = wide * deep, wide * deep**3 / 12
    step = span / 2 / 100_000
    moment = 0.5 * (np.arange(100_000) + 0.5) * step  # of 1 N in the middle
    bent = 2 * np.sum(moment**2) * step / (beam.C24_E_PA * inertia)
    sheared = 2 * 1.2 * 0.5**2 * span / 2 / (beam.C24_E_PA / beam.C24_E_OVER_G * area)
    assert 1e6 * beam.stiffness() * (bent + sheared) == pytest.approx(1.0, rel=1e-6)


def test_the_stroke_in_a_block_is_the_way_over_which_its_force_takes_the_fall():
    """14 kg from 1.8 m in 2.383 kN: 110 mm; the block's own mass stops in its own stroke."""
    force_n = 1000 * stop.mean_force()
    assert stop.stroke_m(rig.SLED_KG, rig.RAILS_M, force_n) == pytest.approx(stop.STROKE_M)
    way_m = stop.middle_stroke() / 1000
    fallen_j = stop.MIDDLE_KG * rig.G_M_S2 * (stop.MIDDLE_M + way_m)
    assert force_n * way_m == pytest.approx(fallen_j)
    assert stop.heavy_stroke() > stop.crush_height()  # solid
    assert stop.second_stroke() < 1000 * stop.SECOND_PAD_M


def test_the_sled_reaches_its_catches_before_the_tether_on_the_lines_side():
    lowest_m = rig.mount_height() - rig.LINE_M - rig.SLED_DEEP_M  # underside where it is taut
    assert lowest_m - rig.CATCH_TOP_M == pytest.approx(rig.below_taut())
    assert zone.LINE_TETHER_M > zone.line_tether_least() > rig.below_taut()
    assert 1000 * zone.line_tether_force() < zone.TETHER_BREAKS_N / 2


@pytest.mark.parametrize("friction", [0.0, rig.FRICTION * rig.ROLLER_SHARE, rig.FRICTION])
def test_the_coil_beats_the_moment_about_the_pivot(friction):
    """Weight down at the roller, friction along the lug: their moments about the pivot."""
    at = np.array([-(rig.LATCH_OFFSET_M + rig.LIP_M), -rig.LATCH_ARM_M])
    load = (
        np.array([friction, -1.0]) * rig.WEIGHT_N
    )  # the lug holds back against the way to the left
    moment = at[0] * load[1] - at[1] * load[0]
    assert moment > 0  # anticlockwise: the lower end swings to the right, shut
    assert rig.coil_n(friction) * rig.COIL_ARM_M == pytest.approx(moment)
