"""Traces that others have measured, against the laws of motion and their own second sensors.

Sources and licences stand in tests/data. Nothing here was made by this project.
"""

import csv
import dataclasses
import json

import numpy as np
import pytest
from scipy.integrate import trapezoid

from tautlog.analysis.marking import mark
from tautlog.io.importer import import_csv
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup, Trace

RATE_HZ = 1000.0


def jump(data, name, from_s):
    """One landing on two force plates: the record from a time on."""
    folder = data / "forceplate_dropjump_1000hz"
    trace = import_csv(
        folder / f"{name}.csv", force_column="plate1_Fz_N+plate2_Fz_N", time_column="time_s"
    ).trace()
    return Trace(force_n=trace.force_n[int(from_s * RATE_HZ) :], sample_rate_hz=RATE_HZ)


def expected(data, words):
    folder = data / "forceplate_dropjump_1000hz"
    traces = json.loads((folder / "expected.json").read_text())["traces"]
    return next(one for one in traces if one["file"].startswith(words))


LANDINGS = [
    ("drop_jump", "drop_jump.csv sum, t>=2.2", 2.2, 0.487),
    ("countermovement_jump", "countermovement_jump.csv sum", 2.4, 0.511),
    ("squat_jump", "squat_jump.csv sum", 2.21, 0.471),
]


@pytest.mark.parametrize(("name", "words", "from_s", "flight_s"), LANDINGS)
def test_a_landing_that_ends_at_rest(data, name, words, from_s, flight_s):
    """Impulse less weight x time, over mass, is g x flight / 2: within 1 %, as published.

    The mass is that of the resting load; the clock gives the speed. No duration: the load
    stays above 10 % of the peak (or not, in the counter-movement jump, whose peak is lower).
    """
    facts = expected(data, words)
    trace = jump(data, name, from_s)
    marks = mark(trace, DropSetup(), cfc=None)
    assert marks.peak_force_n == pytest.approx(facts["peak"], abs=4.0)
    assert marks.peak_time_s + from_s == pytest.approx(facts["t_peak_s"], abs=1.5e-3)
    # The person stands still at the end, but breathes: rest is judged by hand here.
    weight_n = trace.force_n[-1000:].mean() - marks.zero_offset_n
    touched_s = facts["impulse_window_s"][0]
    assert marks.onset_time_s + from_s == pytest.approx(touched_s, abs=0.012)
    touched = round((touched_s - from_s) * RATE_HZ)
    force_n = trace.force_n[touched:] - marks.zero_offset_n
    impulse_ns = trapezoid(force_n - weight_n, dx=1 / RATE_HZ)
    assert impulse_ns / (weight_n / G) == pytest.approx(G * flight_s / 2, rel=0.01)


def test_impulse_closure_of_a_landing(data):
    """Drop jump, first landing: push-off to the second flight; the legs work, so loosely 5 %.

    v_out from the flight that follows (0.487 s) is what the clock says; v_in follows from
    the impulse, and lies near the 2.6 m/s of the authors' own figure.
    """
    trace = jump(data, "drop_jump", 0.0)
    mass_kg = (trace.force_n[-1000:].mean() - trace.force_n[:1000].mean()) / G
    marks = mark(trace, DropSetup(mass_kg=mass_kg), cfc=None)
    turned = marks.impulse_ns / mass_kg - G * marks.base_duration_s
    flight_s = marks.bounce_list[0].flight_s
    assert flight_s == pytest.approx(0.487, abs=0.006)
    assert turned - G * flight_s / 2 == pytest.approx(2.6, rel=0.05)


def test_a_car_against_a_wall_of_load_cells(data):
    """Impulse over mass (force) and accelerometers agree to 5 %: 1719 kg at 57.09 km/h."""
    folder = data / "nhtsa_10146_load_cells"
    trace = import_csv(
        folder / "barrier_total.csv", force_column="total_Fx_N", time_column="time_s", invert=True
    ).trace()
    marks = mark(trace, DropSetup(mass_kg=1719.0), cfc=60, zero="none")
    # Zero of the mean before the impact, as in the published values: 227.5 N.
    assert marks.peak_force_n - 227.5 == pytest.approx(678_018, rel=1e-3)
    for cfc, peak_n in ((180, 724_756), (600, 728_491)):
        found = mark(trace, DropSetup(), cfc=cfc, zero="none").peak_force_n
        assert found - 227.5 == pytest.approx(peak_n, rel=1e-3)
    pulse = trace.force_n[500:1801] - 227.5  # 0 to 130 ms
    change_m_s = trapezoid(pulse, dx=1e-4) / 1719.0
    with (folder / "vehicle_rear_crossmember_accel.csv").open() as file:
        lines = list(csv.DictReader(file))
    sensors = [name for name in lines[0] if name != "time_s"]
    changes = [
        -G * trapezoid([float(line[name]) for line in lines[500:1801]], dx=1e-4) for name in sensors
    ]
    assert np.mean(changes) == pytest.approx(18.40, abs=0.05)
    assert change_m_s == pytest.approx(np.mean(changes), rel=0.05)


def test_a_measured_peak_belongs_to_its_class(data):
    """Peaks of class 60 and 600 differ by 7 %: two measurands (JCGM 200, 2.3), one each."""
    folder = data / "nhtsa_10146_load_cells"
    trace = import_csv(
        folder / "barrier_total.csv", force_column="total_Fx_N", time_column="time_s", invert=True
    ).trace()
    exact = dataclasses.replace(trace, calibration_u_fraction=0.0, covered_n=1e9)
    low = mark(exact, DropSetup(), cfc=60)
    high = mark(exact, DropSetup(), cfc=600)
    assert high.peak_force_n - low.peak_force_n > 0.05 * low.peak_force_n
    assert abs(high.peak_force_n - low.peak_force_n) > low.peak_force_expanded_u_n
    assert (low.cfc, high.cfc) == (60, 600)
